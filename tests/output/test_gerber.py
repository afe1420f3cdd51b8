"""Gerber files, read back by gerbonara, pygerber's strict grammar, gerbv and a small reader of net names."""

from __future__ import annotations

import re
import shutil
import subprocess
import warnings
from pathlib import Path

import numpy as np
import pytest
import shapely
from pyparsing import ParseBaseException

from pcbstator.copper import Copper, Track, Via
from pcbstator.copper.geometry.areas import without_holes
from pcbstator.errors import OutputError
from pcbstator.output.fabrication.drill import drill_xnc
from pcbstator.output.fabrication.gerber import copper_gerber, legend_gerber, mask_gerber, profile_gerber
from tests.calls import calls_of
from tests.output import readback

LAYERS = (1, 2, 3, 4)
SIDES = ("top", "bottom")


@pytest.fixture(scope="module")
def stator() -> Copper:
    return readback.small_stator()


def changed(copper: Copper, **fields: object) -> Copper:
    """``copper`` with other fields."""
    names = copper.__dataclass_fields__
    return Copper(**({name: getattr(copper, name) for name in names} | fields))


def all_gerber(copper: Copper, title: str) -> dict[str, str]:
    """Every Gerber file of a board by a name."""
    files = {f"copper {number}": copper_gerber(copper, number, title) for number in LAYERS}
    for side in SIDES:
        files[f"mask {side}"] = mask_gerber(copper, side, title)
        files[f"legend {side}"] = legend_gerber(copper, side, title, ("three coils",))
    return files | {"profile": profile_gerber(copper, title)}


def strictly_parsed(text: str) -> int:
    """How many tokens pygerber's strict grammar finds up to the end of the file; it raises on a mistake."""
    from pygerber.gerberx3.parser2.parser2 import Parser2
    from pygerber.gerberx3.tokenizer.tokenizer import Tokenizer
    from pygerber.gerberx3.tokenizer.tokens.m02_end_of_file import M02EndOfFile

    with warnings.catch_warnings():  # the library uses old names of its own parser library
        warnings.simplefilter("ignore")
        tree = list(stack := Tokenizer().tokenize(text))
        Parser2().parse(stack)
    assert isinstance(tree[-1], M02EndOfFile)
    return len(tree)


@pytest.mark.slow  # plain titles go through the same grammar in every run
def test_strict_grammar(stator: Copper) -> None:
    for text in all_gerber(stator, readback.ODD_TITLE).values():
        assert text.isascii()
        assert strictly_parsed(text) > 20


@pytest.mark.parametrize("title", ["Scan stage", ""])
def test_strict_grammar_of_plain_titles(stator: Copper, title: str) -> None:
    assert strictly_parsed(profile_gerber(stator, title)) > 20
    assert strictly_parsed(mask_gerber(stator, "bottom", title)) > 20


def test_strict_grammar_can_fail(stator: Copper) -> None:
    text = profile_gerber(stator, "Scan stage").replace("G75*", "G75")
    with pytest.raises(ParseBaseException):
        strictly_parsed(text)


def test_same_bytes_twice_and_no_date(stator: Copper) -> None:
    files = all_gerber(stator, "Scan stage")
    assert files == all_gerber(readback.small_stator(), "Scan stage")
    assert not any("CreationDate" in text for text in files.values())


@pytest.mark.parametrize("number", LAYERS)
def test_copper_read_by_gerbonara(stator: Copper, number: int) -> None:
    """Coordinates are rounded to 1 nm, on copper 0.3 mm wide: 1e-5 is the claim, far under the 0.2 % asked for."""
    read = shapely.union_all(readback.read_shapes(copper_gerber(stator, number, "t")))
    meant = readback.layer_shape(stator, number)
    assert read.area == pytest.approx(meant.area, rel=1e-5)
    assert read.symmetric_difference(meant).area < 1e-4 * meant.area


def test_nets_are_one_piece_each_and_never_touch(stator: Copper) -> None:
    layers = [readback.net_shapes(copper_gerber(stator, number, "t")) for number in LAYERS]
    holes = [hole[:3] for hole in readback.read_holes(drill_xnc(stator, plated=True))]
    found = sorted(readback.pieces(layers, holes), key=sorted)
    assert found == [{"PHASE_A"}, {"PHASE_B"}, {"PHASE_C"}]


def test_pieces_show_a_short_and_a_break(stator: Copper) -> None:
    """The check above can fail: a bridge joins two nets, a missing hole parts one."""
    jumper = Track(1, np.array([[40.5e-3, 0], [-20.25e-3, 35.074e-3]]), 0.3e-3, "PHASE_A", "A", "interconnect")
    shorted = changed(stator, interconnects=(jumper,))
    layers = [readback.net_shapes(copper_gerber(shorted, number, "t")) for number in LAYERS]
    holes = [hole[:3] for hole in readback.read_holes(drill_xnc(stator, plated=True))]
    assert {"PHASE_A", "PHASE_B"} in readback.pieces(layers, holes)
    layers = [readback.net_shapes(copper_gerber(stator, number, "t")) for number in LAYERS]
    assert len(readback.pieces(layers, holes[1:])) > 3


def test_net_and_pin_names(stator: Copper) -> None:
    words = list(readback.tokens(copper_gerber(stator, 2, "t")))
    assert [word for word in words if word.startswith("TO.N")] == ["TO.N,PHASE_A", "TO.N,PHASE_B", "TO.N,PHASE_C"]
    pins = [word for word in words if word.startswith("TO.P")]
    assert pins == ["TO.P,J1,1,A", "TO.P,J1,2,A-", "TO.P,J1,3,B", "TO.P,J1,4,B-", "TO.P,J1,5,C", "TO.P,J1,6,C-"]
    functions = {word for word in words if word.startswith("TA.")}
    assert functions == {"TA.AperFunction,Conductor", "TA.AperFunction,ViaPad", "TA.AperFunction,ComponentPad"}


def test_file_functions(stator: Copper) -> None:
    """Values of .FileFunction and .FilePolarity: The Gerber Layer Format Specification 2024.05, 5.6 (from memory)."""
    heads = {
        name: re.findall(r"%TF\.(?:FileFunction|FilePolarity),([^*]*)\*%", text)
        for name, text in all_gerber(stator, "t").items()
    }
    assert heads == {
        "copper 1": ["Copper,L1,Top", "Positive"],
        "copper 2": ["Copper,L2,Inr", "Positive"],
        "copper 3": ["Copper,L3,Inr", "Positive"],
        "copper 4": ["Copper,L4,Bot", "Positive"],
        "mask top": ["Soldermask,Top", "Negative"],
        "mask bottom": ["Soldermask,Bot", "Negative"],
        "legend top": ["Legend,Top", "Positive"],
        "legend bottom": ["Legend,Bot", "Positive"],
        "profile": ["Profile,NP", "Positive"],
    }


def test_titles_survive_in_the_attribute(stator: Copper) -> None:
    text = profile_gerber(stator, readback.ODD_TITLE)
    field = re.search(r"%TF\.ProjectId,([^,*%]*),", text)
    assert field is not None
    decoded = re.sub(r"\\u([0-9A-F]{4})", lambda found: chr(int(found[1], 16)), field[1])
    assert decoded == " ".join(readback.ODD_TITLE.split()).replace("🌀", "\ufffd")


def test_coordinates_are_rounded_and_empty_moves_dropped(stator: Copper) -> None:
    points = np.array([[1e-3, 0], [1.0000004e-3, 0], [1.9999999996e-3, -0.6e-9], [1.9999999996e-3, -0.6e-9]])
    track = Track(1, points, 0.2e-3, "X", "A", "interconnect")
    text = copper_gerber(changed(stator, interconnects=(track,)), 1, "t")
    block = text[text.index("TO.N,X*%\n") :]
    assert block.splitlines()[2:5] == ["X1000000Y0D02*", "X2000000Y-1D01*", "%TD*%"]


def test_what_the_format_cannot_hold(stator: Copper) -> None:
    track = Track(1, np.array([[0, 0], [np.nan, 1]]), 0.2e-3, "X", "A", "interconnect")
    with pytest.raises(OutputError, match="not a number"):
        copper_gerber(changed(stator, interconnects=(track,)), 1, "t")
    blind = Via(0.02, 0.0, 0.3e-3, 0.6e-3, "X", 1, 2)
    with pytest.raises(OutputError, match="through"):
        copper_gerber(changed(stator, interconnect_vias=(blind,)), 1, "t")


def test_mask_opens_terminals_only(stator: Copper) -> None:
    for side in SIDES:
        shapes = readback.read_shapes(mask_gerber(stator, side, "t", 0.075e-3))
        places = sorted((round(s.centroid.x, 3), round(s.centroid.y, 3)) for s in shapes)
        assert places == sorted((round(t.x * 1e3, 3), round(t.y * 1e3, 3)) for t in stator.terminals)
        assert np.allclose([np.sqrt(s.area / np.pi) for s in shapes], 1.75 / 2, rtol=1e-3)


def test_profile_is_two_circles(stator: Copper) -> None:
    """gerbonara's arcs: start, end, centre; the two radii and a closed turn each."""
    from gerbonara import GerberFile

    arcs = GerberFile.from_string(profile_gerber(stator, "t")).objects
    radii = [np.hypot(arc.cx, arc.cy) for arc in arcs]
    assert radii == [44.0, 44.0, 18.0, 18.0]
    assert all((arc.x1 + arc.cx, arc.y1 + arc.cy) == (0.0, 0.0) and not arc.clockwise for arc in arcs)
    assert all(np.hypot(arc.x2, arc.y2) == radius for arc, radius in zip(arcs, radii, strict=True))
    assert [(a.x1, a.x2) for a in arcs] == [(44.0, -44.0), (-44.0, 44.0), (18.0, -18.0), (-18.0, 18.0)]


def test_cutting_regions_keeps_their_area() -> None:
    ring = (
        shapely.Point(0, 0)
        .buffer(2e-3)
        .difference(
            shapely.union_all(
                [
                    shapely.Point(0.5e-3, 0.2e-3).buffer(0.5e-3),
                    shapely.Point(-1e-3, 0.0).buffer(0.3e-3),
                ]
            )
        )
    )
    parts = without_holes(ring)
    assert not any(part.interiors for part in parts)
    assert shapely.union_all(parts).area == pytest.approx(ring.area, rel=1e-9)


def test_points_cost_no_calls_of_their_own(stator: Copper) -> None:
    """Four times the vertices, as many calls: a board of 900 000 vertices takes seconds only if they are formatted
    all at once."""

    def board(vertices: int) -> Copper:
        turn = np.linspace(0, 200 * np.pi, vertices)
        points = np.column_stack([30e-3 * np.cos(turn), 30e-3 * np.sin(turn)])
        return changed(stator, interconnects=(Track(1, points, 0.2e-3, "X", "A", "interconnect"),))

    few, many = board(10_000), board(40_000)
    assert copper_gerber(many, 1, "t").count("\n") > 40_000
    calls = calls_of(lambda: copper_gerber(few, 1, "t"))
    assert calls_of(lambda: copper_gerber(many, 1, "t")) < 1.2 * calls < 10_000


@pytest.mark.skipif(shutil.which("gerbv") is None, reason="gerbv draws the picture")
def test_copper_drawn_by_gerbv(stator: Copper, tmp_path: Path) -> None:
    """The area of the picture that gerbv draws, in pixels of 0.01 mm (it rounds widths to whole pixels)."""
    from PIL import Image

    picture, source = tmp_path / "layer.png", tmp_path / "layer.gbr"
    source.write_text(copper_gerber(stator, 1, readback.ODD_TITLE))
    command = ["gerbv", "-x", "png", "-D", "2540", "-b", "#ffffff", "-f", "#000000ff", "-o", str(picture), str(source)]
    subprocess.run(command, check=True, capture_output=True)
    dark = 1 - np.asarray(Image.open(picture).convert("L"), dtype=float) / 255
    assert dark.sum() * 0.01**2 == pytest.approx(readback.layer_shape(stator, 1).area, rel=0.002)
