"""The starter file, its sections in full, and the page of keys."""

import re
import tomllib
from pathlib import Path

import pytest

import pcbstator
from pcbstator.design import design_from_document, starter_text
from pcbstator.design.keys import keys, sections
from pcbstator.design.template import EVERY, OWNERS, SMALL, WRITTEN_OUT, Written, key_table, section_names, section_text
from pcbstator.study.suggestion.parts import load_parts

PAGE = Path(__file__).parents[2] / "docs" / "design-file.md"
WHOLE = starter_text([EVERY])
BLOCKS = re.findall(r"(# \[+([\w.]+)\]+\n(?:# \w+ = .*\n)+)", WHOLE)  # whole tables as comments
REST = WHOLE
for block, _ in BLOCKS:
    REST = REST.replace(block, "")
OPTIONAL = [line for line in REST.splitlines() if re.match(r"# \w+ = ", line)]
SHAPES = {
    "sector": ["inner_diameter_mm", "outer_diameter_mm", "arc_ratio", "array", "segments_per_pole"],
    "block": ["length_mm", "width_mm", "circle_diameter_mm"],
}


def loaded(text):
    return design_from_document(tomllib.loads(text))


def starter_with(line):
    """The whole file with one optional line made live."""
    return loaded(WHOLE.replace("\n" + line + "\n", "\n" + line.removeprefix("# ") + "\n"))


def own_section(line):
    """The section that an optional line stands in, and its key."""
    before = WHOLE[: WHOLE.index("\n" + line + "\n")]
    return re.findall(r"^\[+([\w.]+)\]+$", before, re.MULTILINE)[-1], line.split()[1]


def live(text):
    return re.sub(r"^# (?=\[|\w+ = )", "", text, flags=re.MULTILINE)


def test_small_file_is_small_and_says_first_what_is_asked_and_what_room_there_is():
    text = starter_text()
    assert re.findall(r"^\[([\w.]+)\]$", text, re.MULTILINE)[:2] == ["requirement", "envelope"]
    assert 40 <= len([line for line in text.splitlines() if line and line[0] != "#"]) <= 60
    design = loaded(text)
    assert (design.board.layers, design.boards, design.winding.connection) == (2, 1, "star")
    assert design.rotor.magnet.shape == "disc"


def test_starter_raises_no_warning_and_meets_what_it_asks():
    prediction = pcbstator.predict(loaded(starter_text()))
    assert [finding for finding in prediction.findings if finding.severity != "note"] == []
    assert [verdict.verdict for verdict in prediction.requirement] == ["met"] * len(SMALL["requirement"])


def test_parts_of_the_small_file_are_usual_sizes():
    parts = load_parts()
    magnet, rotor = SMALL["rotor.magnet"], SMALL["rotor"]
    assert (magnet["diameter_mm"], magnet["thickness_mm"], magnet["grade"]) in {
        (each.length, each.thickness, parts.grade) for each in parts.magnets if each.shape == "disc"
    }
    assert rotor["back_iron_mm"] in parts.steel and SMALL["board"]["track_width_mm"] in parts.tracks
    assert SMALL["board"]["layers"] in parts.layers


def test_every_meaning_of_the_small_file_is_the_records():
    for path, values in SMALL.items():
        for name, value in values.items():
            [key] = [key for key in sections()[path].keys if key.name == name and key.shape in ("", "disc")]
            assert re.search(rf"^{name} = .*# {re.escape(key.meaning)}$", starter_text(), re.MULTILINE), key.path
            table = tomllib.loads(starter_text())
            for step in path.split(".") if path else []:
                table = table[step]
            assert table[name] == value


def test_every_section_is_in_the_small_file_or_named_with_its_command_there():
    text = starter_text()
    named = re.findall(r"^#   pcbstator start FILE --with ([\w.]+) +\w.*\.$", text, re.MULTILINE)
    there = re.findall(r"^\[([\w.]+)\]$", text, re.MULTILINE)
    assert sorted(named + there) == sorted(section_names())


def test_whole_starter_loads_and_names_every_key():
    assert loaded(WHOLE).title == "Photo turntable"
    for path, section in sections().items():
        assert f"[{path}]" in WHOLE or not path
        assert (f"[[{path}]]" in WHOLE) == section.many
        for key in section.keys if path else ():
            assert re.search(rf"^(# )?{key.name} = .*# .*{re.escape(key.meaning)}", WHOLE, re.MULTILINE), key.path


@pytest.mark.parametrize("name", section_names())
def test_section_in_full_names_its_keys_and_adds_no_error(name):
    text = starter_text([name])
    design = loaded(text)
    assert section_text(name) in text
    owner = design
    for step in name.split("."):
        owner = getattr(owner, step)
    assert owner is not None and owner != ()
    if name == "board.rules":
        assert owner.name == "limits of the design file"
    findings = pcbstator.predict(design).findings
    assert [found for found in findings if found.severity != "note" and found.code != "accepted.idle"] == []


def test_sections_in_full_leave_the_small_file_as_it_is():
    """Writing out the sections that are there already changes no value."""
    same = [path for path in SMALL if path]
    assert loaded(starter_text(same)).model_dump() == loaded(starter_text()).model_dump()


def test_only_required_keys_or_none_stand_live_where_so_asked():
    for path in section_names():
        assert not re.search(r"^[^#\n]", section_text(path, Written.AS_COMMENT), re.MULTILINE)
        lines = re.findall(r"^(\w+) = ", section_text(path, Written.REQUIRED), re.MULTILINE)
        section = sections().get(path)
        assert set(lines) <= {key.name for key in (section.keys if section else ()) if key.required}


def test_every_optional_line_is_right_when_made_live():
    instead = ["stops_deg", "table_csv"]  # of move_deg
    elsewhere = [*SHAPES["sector"], *SHAPES["block"], "remanence_t"]
    lines = [line for line in OPTIONAL if own_section(line)[0] != "rotor.magnet" or line.split()[1] not in elsewhere]
    lines = [line for line in lines if line.split()[1] not in instead]
    assert len(lines) >= 60
    for line in lines:
        assert starter_with(line), line


@pytest.mark.parametrize("path", [path for _, path in BLOCKS])
def test_table_that_is_a_comment_loads_when_made_live(path):
    block = next(block for block, name in BLOCKS if name == path)
    table = live(block)
    if path == "board.keepouts":  # each shape has its own keys
        table = re.sub(r"^(circle_diameter_mm|angle_deg|length_mm|width_mm|diameter_mm) = .*\n", "", table, flags=re.M)
    if path == "board.holes":
        table = table.replace("plated = false", "plated = true")
    text = WHOLE.replace(block, table)
    if path in OWNERS:
        owned = next(block for block, name in BLOCKS if name == OWNERS[path])
        text = text.replace(owned, live(owned))
    if path == "board.rules":
        text = re.sub(r"^rules = .*\n", "", text, flags=re.MULTILINE)
    design = loaded(text)
    owner = design
    for step in path.split("."):
        owner = getattr(owner, step)
    assert owner


def test_commented_default_is_the_default():
    plain = loaded(WHOLE)
    for line in OPTIONAL:
        section, name = own_section(line)
        found = [key for key in keys()[f"{section}.{name}"] if key.shape in ("", "disc")]
        if len(found) == 1 and found[0].default is not None:
            assert starter_with(line).model_dump() == plain.model_dump(), line


@pytest.mark.parametrize("shape", ["sector", "block"])
def test_other_shapes_load_from_their_lines(shape):
    found = re.search(rf'# For shape = "{shape}":\n((?:# \w+ = .*\n)+)', WHOLE)
    text = re.sub(r'^shape = "disc"', f'shape = "{shape}"', WHOLE, flags=re.MULTILINE)
    text = re.sub(r"^(diameter_mm|circle_diameter_mm) = .*\n", "", text, flags=re.MULTILINE)
    assert loaded(text.replace(found[0], live(found[1]))).rotor.magnet.shape == shape


def test_written_out_keys_are_known():
    for path, values in (*SMALL.items(), *WRITTEN_OUT.items()):
        assert set(values) <= {key.name for key in sections()[path].keys}


def test_page_of_keys_is_up_to_date():
    """Else put the text of ``pcbstator.design.template.key_table()`` in place of the table."""
    assert key_table() in PAGE.read_text(encoding="utf-8")
