"""The starter file on disk: whole or not at all, never over something, and sections added to a file that is there."""

import stat
import tomllib

import pytest

from pcbstator.design import add_sections, load_design, starter_text, write_starter
from pcbstator.design.template import EVERY, OWNERS, section_names, section_text
from pcbstator.errors import DesignError, OutputError
from tests.command import DESIGNS, run


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


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


@pytest.mark.parametrize("names", [(), ("cooling", "drive"), (EVERY,)])
def test_starter_is_whole_and_readable_by_others(tmp_path, names):
    write_starter(tmp_path / "new.toml", names)
    assert [path.name for path in tmp_path.iterdir()] == ["new.toml"]
    assert (tmp_path / "new.toml").read_text(encoding="utf-8") == starter_text(names)
    assert stat.S_IMODE((tmp_path / "new.toml").stat().st_mode) == 0o644
    assert load_design(tmp_path / "new.toml").title == "Photo turntable"


def test_added_sections_stand_in_full_behind_what_was_there_to_the_byte(tmp_path):
    file = tmp_path / "mine.toml"
    before = DESIGNS[0].read_bytes().rstrip(b"\n") + b"  # no line end"
    file.write_bytes(before)
    file.chmod(0o600)
    assert add_sections(file, ["cooling", " tolerance"]) == ("cooling", "tolerance")
    after = file.read_bytes()
    assert after[: len(before)] == before
    assert after[len(before) :].decode() == f"\n\n{section_text('cooling')}\n{section_text('tolerance')}"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert load_design(file).cooling is not None and load_design(file).tolerance is not None
    assert [path.name for path in tmp_path.iterdir()] == ["mine.toml"]


@pytest.mark.parametrize("head", [b"", b"\xef\xbb\xbf"])
def test_line_ends_of_another_system_and_a_mark_at_the_head_stay(tmp_path, head):
    file = tmp_path / "mine.toml"
    before = head + starter_text().replace("\n", "\r\n").encode()
    file.write_bytes(before)
    add_sections(file, ["cooling"])
    after = file.read_bytes()
    assert after.startswith(before) and after.count(b"\n") == after.count(b"\r\n")
    assert load_design(file).cooling is not None


@pytest.mark.parametrize("design", DESIGNS, ids=lambda path: path.stem)
def test_every_section_can_be_added_to_every_design(design, tmp_path):
    """Where a section's usual lines need what the design lacks, they stand as comments, and the design loads."""
    tables = tomllib.loads(design.read_text(encoding="utf-8"))
    for name in section_names():
        file = tmp_path / f"{name}.toml"
        file.write_bytes(design.read_bytes())
        top, _, inner = name.partition(".")
        if (tables.get(top) or {}).get(inner) if inner else name in tables:
            with pytest.raises(OutputError, match=r"is there already"):
                add_sections(file, [name])
        else:
            owner = OWNERS.get(name)
            there = owner == "slip_ring" and owner in tables
            owned = (name,) if owner is None or there else (owner, name)
            assert add_sections(file, [name]) == owned
            assert load_design(file)
    file = tmp_path / "all.toml"
    file.write_bytes(design.read_bytes())
    add_sections(file, [EVERY])
    assert load_design(file)


def test_a_requirement_without_a_drive_is_added_as_comments(tmp_path):
    """A fan without [drive] would be refused with requirement.position_error_deg, which needs one."""
    file = tmp_path / "fan.toml"
    text = starter_text()
    keep = text[: text.index("# What is asked")] + text[text.index("# The room") : text.index("# What the drive turns")]
    file.write_text(keep, encoding="utf-8")
    add_sections(file, ["requirement"])
    assert "\n# position_error_deg = 0" in file.read_text(encoding="utf-8")
    assert load_design(file).requirement is not None


def test_mistakes_change_nothing_and_say_what_holds(tmp_path):
    (tmp_path / "small.toml").write_text(starter_text(), encoding="utf-8")
    (tmp_path / "inline.toml").write_text("board = { layers = 2 }\n", encoding="utf-8")
    (tmp_path / "broken.toml").write_text("[board\n", encoding="utf-8")
    before = contents(tmp_path)
    for name, sections, message in (
        ("small", ["cooling", "coolin"], r"--with: 'coolin' is no section; known are requirement, .*drive.* and all"),
        ("small", [""], r"--with: '' is no section"),
        (
            "small",
            ["drive", "board"],
            r"\[drive\] is there already; it may still take .*sensor_delay_us.*; nothing was added\n",
        ),
        ("inline", ["board.holes"], r"\[board.holes\] cannot stand at its end; give each table in it a line \[name\]"),
    ):
        with pytest.raises(OutputError, match=message):
            add_sections(tmp_path / f"{name}.toml", sections)
    with pytest.raises(DesignError, match="must be valid TOML"):
        add_sections(tmp_path / "broken.toml", ["cooling"])
    with pytest.raises(DesignError, match="must be a file"):
        add_sections(tmp_path, ["cooling"])
    with pytest.raises(OutputError, match="is no section"):
        write_starter(tmp_path / "new.toml", ["rotors"])
    assert contents(tmp_path) == before


def test_all_twice_has_nothing_left_but_parts_that_stand_as_comments(tmp_path):
    file = tmp_path / "new.toml"
    file.write_text(starter_text(section_names()), encoding="utf-8")
    with pytest.raises(OutputError, match="every section is there already"):
        add_sections(file, [EVERY])


def test_command_line_writes_adds_and_refuses(tmp_path):
    file = tmp_path / "new.toml"
    assert run("start", file).code == 0
    shown = run("start", file, "--with", "cooling,tolerance")
    assert shown.code == 0 and "[cooling], [tolerance] added" in shown.out
    shown = run("start", file, "--with", "cooling")
    assert shown.code == 2 and "[cooling] is there already" in shown.err
    shown = run("start", file, "--with", "drive,magnets,operation")
    assert shown.code == 2 and "'magnets' is no section" in shown.err
    before = file.read_bytes()
    shown = run("start", file, "--with", "drive,operation")  # what is missing is added, what is there stays
    assert shown.code == 0 and "[drive] is there already; it may still take" in shown.out
    assert "[operation] added at its end" in shown.out
    assert file.read_bytes().startswith(before) and load_design(file).operation is not None
    shown = run("start", file, "--with", "coling")
    assert shown.code == 2 and "is no section; known are" in shown.err
    assert run("start", tmp_path / "other.toml", "--with", "all").code == 0
    assert (tmp_path / "other.toml").read_text(encoding="utf-8") == starter_text([EVERY])
