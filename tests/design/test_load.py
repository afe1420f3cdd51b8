"""Files that can or cannot be read."""

import os
from pathlib import Path

import pytest

from pcbstator.design import load_design
from pcbstator.errors import DesignError
from tests.calls import calls_of

DESIGNS = sorted((Path(__file__).parents[2] / "designs").glob("*.toml"))


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)
def test_shipped_design_loads_and_fits_its_envelope(path):
    design = load_design(str(path))
    assert path.read_text(encoding="utf-8").startswith("# ")
    assert (design.source, design.document["title"]) == (path.name, design.title)
    rotors = 2 if design.rotor.arrangement == "double" else 1
    plate = design.rotor.air_gap + design.rotor.magnet.thickness + design.rotor.back_iron
    assert design.board.thickness + rotors * plate <= design.envelope.height
    assert design.board.inner_diameter >= design.envelope.bore_diameter
    assert design.board.outer_diameter <= design.envelope.outer_diameter
    per_phase = design.winding.coils // design.winding.phases
    assert per_phase * design.winding.phases == design.winding.coils


def test_designs_show_every_magnet_shape_and_both_arrangements():
    designs = [load_design(path) for path in DESIGNS]
    assert {design.rotor.magnet.shape for design in designs} == {"sector", "disc", "block"}
    assert {design.rotor.arrangement for design in designs} == {"single", "double"}


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)
def test_records_are_made_once_for_all_files(path):
    """What is known of the keys is not made anew for each file: about 4000 calls are its reading and its checks."""
    load_design(DESIGNS[0])
    assert calls_of(lambda: load_design(path)) < 15_000


@pytest.mark.parametrize("prefix", [b"", b"\xef\xbb\xbf"], ids=["plain", "byte-order-mark"])
def test_line_ends_and_byte_order_mark_of_other_systems(tmp_path, prefix):
    file = tmp_path / "windows.toml"
    file.write_bytes(prefix + DESIGNS[0].read_bytes().replace(b"\n", b"\r\n"))
    assert load_design(file).document == load_design(DESIGNS[0]).document


@pytest.mark.parametrize(
    ("content", "text"),
    [
        (b"title = \n", r"line 1: must be valid TOML: .*"),
        (
            b"title = 'x'\n[board]\ntrack_width_mm = 0,3\n",
            r"line 3: .*got \"track_width_mm = 0,3\"; write decimals with a point",
        ),
        (b"[winding\n", r"must be valid TOML"),
        (b"a = 1\na = 2\n", r"must be valid TOML"),
        (b"title = 'x", r"must be valid TOML"),
        (b"title = '\xff'\n", r"must be text in UTF-8; got another byte in line 1; save it as UTF-8"),
        (b"\n\n\x80", r"another byte in line 3"),
        (b"a = " + b"[" * 5000, r"must "),
        (b"a = " + b"9" * 5000, r"must be valid TOML"),
        (b"# " + b"x" * (1 << 20), r"must be at most 1 MiB"),
        (b"", r"winding: this section is required"),
        (b"title = 1979-05-27\n", r"title: must be one line of text"),
    ],
)
def test_file_that_is_no_design(tmp_path, content, text):
    file = tmp_path / "odd.toml"
    file.write_bytes(content)
    with pytest.raises(DesignError, match=text) as caught:
        load_design(file)
    assert "odd.toml: " in str(caught.value)


def test_file_that_is_not_there(tmp_path):
    with pytest.raises(DesignError, match=r"nowhere.toml: file: must exist; check the name"):
        load_design(tmp_path / "nowhere.toml")
    with pytest.raises(DesignError, match="file: must be a file; got a folder; name the file in it"):
        load_design(tmp_path)
    with pytest.raises(DesignError, match="file: must"):
        load_design("a\0b")
    with pytest.raises(DesignError, match="file: must"):
        load_design("x" * 5000)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_pipe_is_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(DesignError, match="must be an ordinary file"):
        load_design(tmp_path / "pipe.toml")
