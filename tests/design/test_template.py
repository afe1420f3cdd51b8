"""The starter file and the page of keys name every key."""

import re
import stat
import tomllib
from pathlib import Path

import pytest

from pcbstator.design import design_from_document, load_design, starter_text, write_starter
from pcbstator.design.keys import keys, sections
from pcbstator.design.template import key_table
from pcbstator.errors import OutputError

PAGE = Path(__file__).parents[2] / "docs" / "design-file.md"
BLOCKS = re.findall(r"(# \[+(board\.\w+|slip_ring)\]+\n(?:# \w+ = .*\n)+)", starter_text())  # whole tables as comments
REST = starter_text()
for block, _ in BLOCKS:
    REST = REST.replace(block, "")
OPTIONAL = [line for line in REST.splitlines() if re.match(r"# \w+ = ", line)]


def starter_with(line):
    """The starter file with one optional line made live."""
    text = starter_text().replace("\n" + line + "\n", "\n" + line.removeprefix("# ") + "\n")
    return tomllib.loads(text)


def test_starter_file_loads_and_names_every_key(tmp_path):
    write_starter(tmp_path / "new.toml")
    assert load_design(tmp_path / "new.toml").title == "My motor"
    text = (tmp_path / "new.toml").read_text(encoding="utf-8")
    for path, section in sections().items():
        assert f"[{path}]" in text or not path
        assert (f"[[{path}]]" in text) == section.many
        for key in section.keys:
            assert re.search(rf"^(# )?{key.name} = .*# .*{re.escape(key.meaning)}", text, re.MULTILINE), key.path


def test_every_optional_line_is_right_when_made_live():
    shapes = ["diameter_mm", "circle_diameter_mm", "length_mm", "width_mm", "remanence_t"]
    instead = ["stops_deg", "table_csv"]  # of move_deg
    lines = [line for line in OPTIONAL if line.split()[1] not in shapes + instead]
    assert len(lines) >= 10
    for line in lines:
        assert design_from_document(starter_with(line)), line


@pytest.mark.parametrize("path", [path for _, path in BLOCKS])
def test_table_that_is_a_comment_loads_when_made_live(path):
    block = next(block for block, name in BLOCKS if name == path)
    live = re.sub(r"^# ", "", block, flags=re.MULTILINE)
    if path == "board.keepouts":  # each shape has its own keys
        live = re.sub(r"^(circle_diameter_mm|angle_deg|length_mm|width_mm|diameter_mm) = .*\n", "", live, flags=re.M)
    if path == "board.holes":
        live = live.replace("plated = false", "plated = true")
    text = starter_text().replace(block, live)
    if path == "board.rules":
        text = re.sub(r"^rules = .*\n", "", text, flags=re.MULTILINE)
    design = design_from_document(tomllib.loads(text))
    assert getattr(design if path == "slip_ring" else design.board, path.removeprefix("board."))


def test_commented_default_is_the_default():
    plain = design_from_document(tomllib.loads(starter_text()))
    for line in OPTIONAL:
        name = line.split()[1]
        found = [key for path in keys() for key in keys()[path] if key.name == name and key.section != "board.rules"]
        if len(found) == 1 and found[0].default is not None:
            assert design_from_document(starter_with(line)).model_dump() == plain.model_dump(), line


@pytest.mark.parametrize("shape", ["disc", "block"])
def test_other_shapes_load_from_their_lines(shape):
    text = starter_text()
    block = re.search(rf'# For shape = "{shape}":\n((?:# \w+ = .*\n)+)', text)[1]
    live = "".join(line.removeprefix("# ") for line in block.splitlines(keepends=True))
    text = re.sub(r'^shape = "sector"', f'shape = "{shape}"', text, flags=re.MULTILINE)
    text = re.sub(
        r"^(inner_diameter_mm|outer_diameter_mm|arc_ratio) = .*\n", "", text[: text.index(block)], flags=re.MULTILINE
    ) + (live + 'thickness_mm = 3.0\ngrade = "N42"\n')
    text += "[drive]\nsupply_v = 24.0\ncurrent_limit_peak_a = 1.0\npwm_khz = 50.0\nsensor_counts = 16384\n"
    text = text.replace("[envelope]\n", "[envelope]\nouter_diameter_mm = 90.0\n")
    assert design_from_document(tomllib.loads(text)).rotor.magnet.shape == shape


def test_table_of_rules_of_the_starter_loads():
    text = re.sub(r"^rules = .*\n", "", starter_text(), flags=re.MULTILINE)
    head, rest = text.split("# [board.rules]\n")
    table, tail = rest.split("\n\n", 1)
    live = "\n".join(line.removeprefix("# ") for line in table.splitlines())
    design = design_from_document(tomllib.loads(f"{head}[board.rules]\n{live}\n\n{tail}"))
    assert (design.rules.name, design.rules.edge) == ("limits of the design file", 0.3e-3)


def test_slip_ring_of_the_starter_loads():
    text = starter_text()
    block = next(block for block, name in BLOCKS if name == "slip_ring")
    asked = design_from_document(tomllib.loads(text.replace(block, re.sub(r"^# ", "", block, flags=re.M)))).slip_ring
    assert (asked.rings, asked.width, asked.stated_lead_width) == (4, 2e-3, 1e-3)
    assert design_from_document(tomllib.loads(text)).slip_ring is None


def test_starter_never_overwrites_and_leaves_nothing_behind(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text("mine")
    (tmp_path / "dangling").symlink_to(tmp_path / "nowhere")
    for place in (file, tmp_path, tmp_path / "dangling"):
        with pytest.raises(OutputError, match="is there already and is never overwritten"):
            write_starter(place)
    for place in (tmp_path / "no-folder" / "a.toml", file / "a.toml", "a\0b", tmp_path / ("x" * 300)):
        with pytest.raises(OutputError, match="cannot be written"):
            write_starter(place)
    assert file.read_text() == "mine"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["dangling", "mine.toml"]


def test_starter_is_whole_and_readable_by_others(tmp_path):
    write_starter(tmp_path / "new.toml")
    assert [path.name for path in tmp_path.iterdir()] == ["new.toml"]
    assert (tmp_path / "new.toml").read_text(encoding="utf-8") == starter_text()
    assert stat.S_IMODE((tmp_path / "new.toml").stat().st_mode) == 0o644


def test_page_of_keys_is_up_to_date():
    """Else put the text of ``pcbstator.design.template.key_table()`` in place of the table."""
    assert key_table() in PAGE.read_text(encoding="utf-8")
