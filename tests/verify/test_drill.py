"""The reader of drill files."""

from __future__ import annotations

import math

import pytest

from pcbstator.errors import FilesError
from pcbstator.verify.reading.drill import DrillFormat, read_drill
from tests.output.readback import read_holes
from tests.verify.gerber_texts import drill


def places(text: str, told: DrillFormat | None = None) -> list[tuple[float, float]]:
    return [hole.path[0] for hole in read_drill(text, "a.drl", told).holes]


@pytest.mark.parametrize(
    ("head", "body", "place", "diameter"),
    [
        ("METRIC\nT1C0.3\n", "T1\nX1.5Y-2.25", (1.5, -2.25), 0.3),
        ("INCH\nT1C0.0118\n", "T1\nX0.1Y0.2", (2.54, 5.08), 0.29972),
        ("METRIC,TZ\nT1C0.3\n", "T1\nX1500Y-2250", (1.5, -2.25), 0.3),
        ("METRIC,LZ\nT1C0.3\n", "T1\nX0015Y-00225", (1.5, -2.25), 0.3),
        ("METRIC,LZ,0000.00\nT1C0.3\n", "T1\nX00015Y-0002", (1.5, -2.0), 0.3),
        ("INCH,TZ\nT1C0.02\n", "T1\nX1000Y2000", (2.54, 5.08), 0.508),
        (";FILE_FORMAT=4:4\nMETRIC,TZ\nT1C0.3\n", "T1\nX15000Y-22500", (1.5, -2.25), 0.3),
    ],
)
def test_units_and_number_formats(head: str, body: str, place: tuple[float, float], diameter: float) -> None:
    hole = read_drill(drill(body, head), "a.drl").holes[0]
    assert hole.path[0] == pytest.approx(place)
    assert hole.diameter == pytest.approx(diameter)


def test_a_user_says_the_format_that_a_file_leaves_open() -> None:
    text = drill("T1\nX15\n", "METRIC\nT1C0.3\n")
    with pytest.raises(FilesError, match="zeros_left_out"):
        read_drill(text, "a.drl")
    assert places(text, DrillFormat(digits=(3, 3), left_out="trailing")) == [(150.0, 0.0)]


def test_slots_repeats_and_incremental_places() -> None:
    holes = read_drill(drill("T01\nX1.0Y2.0G85X4.0Y2.0\nX10.0Y0\nR3X2.0\nG91\nX1.0Y1.0"), "a").holes
    assert holes[0].path == ((1.0, 2.0), (4.0, 2.0))
    assert [hole.path[0] for hole in holes[1:]] == [(10, 0), (12, 0), (14, 0), (16, 0), (17, 1)]


def test_routed_slots_with_arcs() -> None:
    text = drill("T01\nG00X5.0Y0.0\nM15\nG03X-5.0Y0.0I-5.0J0.0\nG01X-5.0Y-3.0\nM16\nG05\nX1.0Y1.0")
    holes = read_drill(text, "a").holes
    assert len(holes) == 2
    length = sum(math.dist(a, b) for a, b in zip(holes[0].path, holes[0].path[1:], strict=False))
    assert length == pytest.approx(5 * math.pi + 3, rel=1e-4)
    by_radius = text.replace("I-5.0J0.0", "A5.0")
    assert read_drill(by_radius, "a").holes[0].path[-1] == (-5.0, -3.0)


def test_plating_by_function_comment_and_tool() -> None:
    function = "; #@! TF.FileFunction,NonPlated,1,2,NPTH\nMETRIC\nT1C1\n"
    assert [h.plated for h in read_drill(drill("T1\nX0.Y0.", function), "a").holes] == [False]
    kinds = ";TYPE=PLATED\nMETRIC\nT1C1\n;TYPE=NON_PLATED\nT2C2\n"
    assert [h.plated for h in read_drill(drill("T1\nX0.Y0.\nT2\nX5.Y0.", kinds), "a").holes] == [True, False]
    tools = (
        "; #@! TF.FileFunction,MixedPlating,1,2\nMETRIC\n; #@! TA.AperFunction,Plated,PTH,ViaDrill\nT1C1\n"
        "; #@! TA.AperFunction,NonPlated,NPTH,ComponentDrill\nT2C2\n"
    )
    assert [h.plated for h in read_drill(drill("T1\nX0.Y0.\nT2\nX5.Y0.", tools), "a").holes] == [True, False]
    assert [h.plated for h in read_drill(drill("T01\nX0.Y0."), "a").holes] == [None]


def test_another_reader_finds_the_same_holes() -> None:
    text = drill("T01\nX1.250Y-3.500\nX2.000Y0.125\nT02\nX-7.5Y8.25", "METRIC\nT01C0.300\nT02C1.000\n")
    ours = [(*hole.path[0], hole.diameter) for hole in read_drill(text, "a").holes]
    assert ours == [pytest.approx(hole[:3]) for hole in read_holes(text)]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (drill("T01\nX1.0Y1.0").replace("M30", ""), "ends with M30"),
        (drill("X1.0Y1.0"), "no tool"),
        (drill("T01\nX1.0Y1.0", "T01C0.3\n"), "unit"),
        (drill("T05\nX1.0Y1.0"), "not defined"),
        (drill("T01\nX99999999.0Y0"), "within 10000 mm"),
        (drill("T01\nX0.0Y0.0\nR999999999X1.0"), "repetition"),
        (drill("T01\nNONSENSE"), "no such statement"),
        (drill("T01\n" + "X" * 5000), "characters"),
        (drill("T01\nX0.Y0.", "METRIC\nT01C0.0\n"), "above zero"),
        (drill("T01\nG00X0.Y0.\nM15\nG02X5.Y0.A1.0\nM16"), "radius"),
        (drill("T01\nX" + "1" * 30 + "Y0"), "figures"),
    ],
)
def test_what_cannot_be_followed_is_refused_in_words(text: str, says: str) -> None:
    with pytest.raises(FilesError, match=says):
        read_drill(text, "a.drl")
