"""The reader of Gerber files: areas by hand, and two other readers."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from pcbstator.errors import FilesError
from pcbstator.verify.reading.gerber import file_attributes, read_gerber
from tests.output.readback import read_shapes
from tests.verify.gerber_texts import HEAD, flash, gerber, line, region

CLOSE = 2e-3  # discs are cut into chords, 64 at least: 0.16 % of the area


def area(body: str, head: str = HEAD) -> float:
    return read_gerber(gerber(body, head), "a.gbr").area.area


@pytest.mark.parametrize(
    ("define", "expected"),
    [
        ("C,2", math.pi),
        ("C,2X1", math.pi * 0.75),
        ("R,2X3", 6.0),
        ("R,2X3X1", 6.0 - math.pi / 4),
        ("O,3X1", 2 + math.pi / 4),
        ("O,1X3", 2 + math.pi / 4),
        ("P,2X6", 3 * math.sqrt(3) / 2),
        ("P,2X4X45", 2.0),
    ],
)
def test_areas_of_standard_apertures(define: str, expected: float) -> None:
    """Areas of the plane figures that chapter 4.4 of the format names."""
    assert area(f"%ADD10{define}*%D10*{flash(3, 4)}") == pytest.approx(expected, rel=CLOSE)


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("1,1,2,0,0*", math.pi),
        ("1,1,2,0,0*1,0,1,0,0*", math.pi * 0.75),
        ("20,1,1,0,0,4,0,0*", 4.0),
        ("20,1,1,0,0,4,0,90*", 4.0),
        ("21,1,2,3,0,0,30*", 6.0),
        ("4,1,3,0,0,4,0,0,3,0,0,0*", 6.0),
        ("5,1,4,0,0,2,0*", 2.0),
        ("$2=$1x2-1*21,1,$1,$2,0,0,0*", 6.0),
        ("7,0,0,4,2,0,0*", 3 * math.pi),
    ],
)
def test_areas_of_macros(body: str, expected: float) -> None:
    """The primitives of chapter 4.5, with variables."""
    assert area(f"%AMM1*{body}%\n%ADD10M1,2*%D10*{flash(0, 0)}") == pytest.approx(expected, rel=CLOSE)


def test_clear_polarity_takes_away_what_was_drawn_before_only() -> None:
    body = f"%ADD10R,4X4*%%ADD11R,2X2*%D10*{flash(0, 0)}%LPC*%D11*{flash(0, 0)}%LPD*%%ADD12R,1X1*%D12*{flash(0, 0)}"
    assert area(body) == pytest.approx(16 - 4 + 1)


@pytest.mark.parametrize(
    ("body", "box"),
    [
        ("%LMX*%", (-2.0, 0.0, 0.0, 1.0)),
        ("%LMXY*%", (-2.0, -1.0, 0.0, 0.0)),
        ("%LR90*%", (-1.0, 0.0, 0.0, 2.0)),
        ("%LS2*%", (0.0, 0.0, 4.0, 2.0)),
        ("%LMX*%%LR90*%", (-1.0, -2.0, 0.0, 0.0)),
    ],
)
def test_mirror_rotate_and_scale_of_apertures(body: str, box: tuple[float, ...]) -> None:
    """Chapter 4.9: the order is mirror, rotate, scale."""
    macro = "%AMCORNER*4,1,4,0,0,2,0,2,1,0,1,0,0,0*%\n%ADD10CORNER*%"
    shape = read_gerber(gerber(f"{macro}{body}D10*{flash(0, 0)}"), "a").area
    assert shape.bounds == pytest.approx(box, abs=1e-9)


def test_step_and_repeat_and_blocks() -> None:
    repeated = f"%ADD10R,1X1*%%SRX3Y2I5.0J4.0*%D10*{flash(0, 0)}%SR*%"
    shape = read_gerber(gerber(repeated), "a").area
    assert shape.area == pytest.approx(6.0)
    assert shape.bounds == pytest.approx((-0.5, -0.5, 10.5, 4.5))
    block = f"%ADD10R,2X1*%%ABD20*%D10*{flash(1, 0)}%AB*%%LR90*%D20*{flash(0, 0)}%LR0*%{flash(10, 0)}"
    shape = read_gerber(gerber(block), "a").area
    assert shape.area == pytest.approx(4.0)
    assert shape.bounds == pytest.approx((-0.5, -0.5, 12.0, 2.0))


def test_arcs_in_both_quadrant_modes() -> None:
    half = "%ADD10C,0.2*%D10*G75*G03*X5000000Y0D02*X-5000000Y0I-5000000J0D01*G01*"
    assert area(half) == pytest.approx(math.pi * 5 * 0.2 + math.pi * 0.01, rel=CLOSE)
    quarter = "%ADD10C,0.2*%D10*G74*G03*X5000000Y0D02*X0Y5000000I5000000J0D01*G01*"
    assert area(quarter) == pytest.approx(math.pi / 2 * 5 * 0.2 + math.pi * 0.01, rel=CLOSE)
    disc = "G75*G36*G02*X5000000Y0D02*X5000000Y0I-5000000J0D01*G37*"
    assert area(disc) == pytest.approx(math.pi * 25, rel=2e-4)  # chords leave the arc by 0.5 um


def test_inch_and_left_out_trailing_zeros() -> None:
    shape = read_gerber("%FSTAX24Y24*%%MOIN*%%ADD10C,0.1*%D10*X01Y002D03*M02*", "a").area
    centre = shape.centroid
    assert (centre.x, centre.y) == pytest.approx((25.4, 5.08))
    assert shape.area == pytest.approx(math.pi * 1.27**2, rel=CLOSE)


def test_a_region_with_a_cut_in_has_its_hole() -> None:
    body = region((0, 0), (4, 0), (4, 4), (0, 4), (0, 2), (1, 2), (1, 3), (3, 3), (3, 1), (1, 1), (1, 2), (0, 2))
    shape = read_gerber(gerber(body), "a").area
    assert shape.area == pytest.approx(12.0)
    assert not shape.contains(shapely.Point(2, 2))


def test_nets_of_lines_flashes_and_regions() -> None:
    body = (
        f"%ADD10C,1*%%TO.N,A*%D10*{line((0, 0), (5, 0))}%TO.N,B*%{flash(20, 0)}"
        f"%TO.N,C\\u0025*%{region((30, 0), (31, 0), (31, 1))}%TD*%{flash(40, 0)}"
    )
    read = read_gerber(gerber(body), "a")
    assert sorted(read.nets) == ["A", "B", "C%"]
    assert read.nets["C%"].area == pytest.approx(0.5)
    assert read.nets["A"].area == pytest.approx(5 + math.pi / 4, rel=CLOSE)
    assert read.unnamed.centroid.x == pytest.approx(40)
    assert len(read.pads) == 2


def test_lines_of_a_square_aperture_are_swept() -> None:
    assert area(f"%ADD10R,1X1*%D10*{line((0, 0), (5, 0))}") == pytest.approx(6.0)


def test_attributes_in_comments() -> None:
    text = gerber("G04 #@! TF.FileFunction,Copper,L1,Top*\nG04 #@! TO.N,A*\n%ADD10C,1*%D10*X0Y0D03*")
    assert file_attributes(text)[".FileFunction"] == ("Copper", "L1", "Top")
    assert list(read_gerber(text, "a").nets) == ["A"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (gerber("%ADD10C,1*%D10*X0Y0D03*").replace("M02*", ""), "ends with M02"),
        (gerber("D10*X0Y0D03*"), "not defined"),
        (gerber("X0Y0D03*"), "no aperture is chosen"),
        ("%ADD10C,1*%D10*X0Y0D03*M02*", "unit"),
        ("%FSLAX46Y46*%X0Y0D02*M02*", "unit and number format"),
        (gerber("%ADD10C,1*%D10*X99999999999Y0D03*"), "within 10000 mm"),
        (gerber("%ADD10C,-1*%"), "numbers"),
        (gerber("%ADD10C,1e9*%"), "cannot be followed"),
        (gerber("%ADD10NOPE*%"), "macro of this aperture"),
        (gerber("%AMX*99,1*%%ADD10X*%"), "primitive 99"),
        (gerber("%AMX*1,1,1/0,0,0*%%ADD10X*%"), "divides by zero"),
        (gerber("%AMX*1,1," + "(" * 500 + "1" + ")" * 500 + ",0,0*%%ADD10X*%"), "brackets"),
        (gerber("%AMX*4,1,99999999,0,0*%%ADD10X*%"), "corners"),
        (gerber("%SRX99999Y99999I0J0*%"), "corners"),
        (gerber("%ADD10C,1*%%SRX3000Y3000I1J1*%D10*X0Y0D03*%SR*%"), "corners"),
        (gerber("%ADD10R,1X1*%%SRX1000Y1000I1J1*%D10*X0Y0D03*%SR*%"), "objects"),
        (gerber("%ADD10C,1*%D10*" + "%LPD*%X0Y0D03*%LPC*%X0Y0D03*" * 10_001), "polarity changes 20002 times"),
        (gerber("%ADD10C,1*%D10*" + "".join(f"%TO.N,{n}*%X0Y0D03*" for n in range(5001))), "5001 nets"),
        (gerber("%ABD11*%" * 30), "nested"),
        (gerber("G36*X0Y0D03*G37*"), "flashed within a region"),
        (gerber("G37*"), "no region is open"),
        (gerber("G99*"), "G code"),
        (gerber("%XX1*%"), "unknown or out of date"),
        (gerber("%SFA2.0B2.0*%"), "unknown or out of date"),
        (gerber("%IFother.gbr*%"), "unknown or out of date"),
        (gerber("hello*"), "no such statement"),
        (gerber("%LPX*%"), "polarity"),
        (gerber("%LS0*%"), "scale"),
        (gerber("X" + "9" * 5000 + "Y0D02*"), "cannot be followed"),
    ],
)
def test_what_cannot_be_followed_is_refused_in_words(text: str, says: str) -> None:
    with pytest.raises(FilesError) as told:
        read_gerber(text, "a.gbr")
    assert says in str(told.value)
    assert "Traceback" not in str(told.value)


def test_nested_blocks_cannot_blow_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each block flashes the one before it a hundred times: 10^12 flashes at the end."""
    monkeypatch.setattr("pcbstator.verify.reading.gerber_state.MOST_OBJECTS", 15_000)
    body = "%ADD10R,1X1*%%ABD11*%D10*" + flash(0, 0) + "%AB*%"
    for number in range(12, 18):
        body += f"%ABD{number}*%D{number - 1}*" + "".join(flash(i, 0) for i in range(100)) + "%AB*%"
    with pytest.raises(FilesError, match="objects"):
        read_gerber(gerber(body + f"D17*{flash(0, 0)}"), "a")


@pytest.mark.parametrize("shape", ["line", "region", "lines"])
def test_lines_that_cross_without_end_are_refused(shape: str) -> None:
    """Each crossing is a corner of the area: a file of 100 kB would take hours and all memory."""
    places = [tuple(place) for place in np.random.default_rng(2).uniform(0, 30, (3000, 2)).tolist()]
    bodies = {
        "line": line(*places),
        "region": region(*places),
        "lines": "".join(line(*places[start : start + 2]) for start in range(0, 3000, 2)),
    }
    with pytest.raises(FilesError, match="cross"):
        read_gerber(gerber(f"%ADD10C,0.1*%D10*{bodies[shape]}"), "a")


def test_discs_that_overlap_without_end_are_one_area() -> None:
    places = np.random.default_rng(2).uniform(0, 9, (2000, 2)).tolist()
    body = "%ADD10C,3*%D10*" + "".join(flash(*place) for place in places)
    assert 81 < area(body) < 144


def test_a_long_text_without_statements_ends_soon() -> None:
    with pytest.raises(FilesError):
        read_gerber(" " * 200_000 + "A" * 2_000_000, "a")


def test_another_reader_finds_the_same_areas() -> None:
    """gerbonara reads the same shapes; its discs are cut into as many chords here."""
    body = (
        f"%ADD10C,0.6*%%ADD11R,1X2*%%AMM1*1,1,2,1,0*21,1,1,1,-1,0,0*%%ADD12M1*%"
        f"D10*{line((0, 0), (5, 3), (9, 1))}D11*{flash(15, 2)}D12*{flash(25, 0)}{region((30, 0), (35, 0), (33, 4))}"
    )
    text = gerber(body)
    other = shapely.union_all(read_shapes(text))
    assert read_gerber(text, "a").area.symmetric_difference(other).area < 1e-3 * other.area
