"""The sheets read back: true scale, tidy, and magnets glued by them give the field that was predicted."""

from __future__ import annotations

import json
import re
import zlib
from functools import cache
from math import cos, hypot, pi, sin

import magpylib
import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.magnetic.rotor_field import magnet_layers, rotor_field, rotor_source
from pcbstator.analysis.mechanical.rotor_plan import pieces, plates
from pcbstator.errors import OutputError
from pcbstator.output.files import write_folder
from pcbstator.output.rotor.assembly import PAPERS, assembly_sheet_pdf, assembly_sheet_svg
from pcbstator.output.rotor.magnet_list import magnet_list
from pcbstator.physics.magnetics.steel import SaturatedIron
from tests.command import run
from tests.output.svgread import path_points, read
from tests.output.test_drawing import assert_tidy

NAMES = ("filter-wheel", "photogrammetry-stage", "sky-tracker", "small-fan")
POINTS = 72 / 25.4  # in a millimetre
TWO, THREE = ({"rotor.magnet.array": "halbach", "rotor.magnet.segments_per_pole": segments} for segments in (2, 3))
VARIANTS = {name: (name, {}) for name in NAMES} | {
    "halbach": ("small-fan", TWO),
    "halbach of three": ("photogrammetry-stage", THREE | {"rotor.iron_outer_diameter_mm": 108.0}),
    "no steel, odd title": ("small-fan", {"rotor.back_iron_mm": 0.0, "title": "A <wide> & $long_1$ 風 " + "W" * 90}),
    "many poles": ("sky-tracker", {"rotor.poles": 106, "rotor.magnet.width_mm": 4.0, "winding.coils": 108}),
    "larger than any paper": ("sky-tracker", {
        "envelope": None, "rotor.magnet.circle_diameter_mm": 700.0, "board.copper_outer_diameter_mm": 760.0,
    }),
}  # fmt: skip


@cache
def design_of(name: str):
    stem, changes = VARIANTS[name]
    design = pcbstator.load_design(f"designs/{stem}.toml")
    return design.with_values(changes) if changes else design


@cache
def sheet(name: str, index: int = 0):
    """Design, plate, root and items of its SVG, centre of the rotor on the page."""
    design = design_of(name)
    plate = plates(design)[index]
    root, items = read(assembly_sheet_svg(design, plate))
    across = next(item for item in items if item.tag == "path" and width_of(item) == pytest.approx(6.0, abs=0.01))
    centre = (across.corners.min(axis=0) + across.corners.max(axis=0)) / 2
    return design, plate, root, items, centre


def width_of(item) -> float:
    return float(np.ptp(item.corners[:, 0]))


CASES = [(name, index) for name in VARIANTS for index in range(len(plates(design_of(name))))]


@pytest.mark.parametrize(("name", "index"), CASES)
def test_tidy_and_at_true_scale(name, index) -> None:
    _, _, root, items, _ = sheet(name, index)
    assert_tidy(root, items)
    wide, tall = root.get("viewBox").split()[2:]
    assert root.get("width") == f"{wide}mm" and root.get("height") == f"{tall}mm"
    paper = {("210", "297"): "A4", ("297", "420"): "A3"}.get((wide, tall), "")
    words = " ".join(item.text for item in items if item.tag == "text").replace("\u00a0", " ")
    assert f"{paper}{', ' if paper else 'Sheet '}{wide} × {tall} mm" in words
    assert "50 mm" in words and "scale 1:1" in words
    lines = [path_points(item.attributes["d"]) for item in items if item.tag == "path"]
    assert any(len(line) == 2 and np.ptp(line, axis=0).tolist() == [50.0, 0.0] for line in lines)


def test_smallest_paper() -> None:
    sizes = [sheet(name)[2].get("width") for name in (*NAMES, "larger than any paper")]
    assert sizes == ["210mm", "210mm", "297mm", "210mm", "780mm"]


@pytest.mark.parametrize(("name", "index"), CASES)
def test_magnets_are_drawn_at_their_size(name, index) -> None:
    """Areas of closed outlines against closed forms; 0.005 mm of sagitta and 1 µm of rounding allow 0.1 %."""
    design, _, _, items, _ = sheet(name, index)
    magnet, count = design.rotor.magnet, len(pieces(design, plates(design)[index]))
    if magnet.shape == "disc":
        drawn = [item for item in items if item.tag == "circle"][-count:]
        areas = [pi * float(item.attributes["r"]) ** 2 for item in drawn]
        expected = pi * magnet.diameter**2 / 4
    else:
        closed = [path_points(i.attributes["d"]) for i in items if i.tag == "path" and i.attributes["d"].endswith("Z")]
        areas = [shoelace(points) for points in closed]
        expected = magnet.length * magnet.width if magnet.shape == "block" else (
            pi * (magnet.outer_diameter**2 - magnet.inner_diameter**2) / 4 * magnet.arc_ratio / count
        )  # fmt: skip
        areas = [area for area in areas if area > 10.0]  # without arrow heads and the mark
    assert areas == pytest.approx([1e6 * expected] * count, rel=1e-3)


def shoelace(points) -> float:
    x, y = np.array(points).T
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2


def polar(item, centre) -> tuple[float, float]:
    """Radius [mm] and angle [rad] of an item's middle on the page, counter-clockwise from the right."""
    x, y = (item.corners.min(axis=0) + item.corners.max(axis=0)) / 2 - centre
    return hypot(x, y), float(np.arctan2(-y, x))


@pytest.mark.parametrize(("name", "index"), CASES)
def test_every_magnet_tells_its_pole_in_words(name, index) -> None:
    """Letter and sign, at the angle of its number; the angle is mirrored for the plate above the board."""
    design, plate, _, items, centre = sheet(name, index)
    reach = 500 * (getattr(design.rotor.magnet, "outer_diameter", 0) or design.rotor.magnet.circle_diameter)
    placed = pieces(design, plate)
    texts = [(item.text, *polar(item, centre)) for item in items if item.tag == "text"]
    for piece in placed:
        machine = 2 * pi * (piece.number - 1) / len(placed)
        here = pi - machine if index == 0 else machine
        (number,) = (place for place in texts if place[0] == f"{piece.number}{piece.kind}" and place[1] < reach + 14)
        near = [text for text in texts if abs(np.exp(1j * text[2]) - np.exp(1j * here)) < 0.03 and text[1] < number[1]]
        assert abs(np.exp(1j * number[2]) - np.exp(1j * here)) < 0.02
        assert sorted("".join(text[0] for text in near).replace(" ", "")) == sorted(piece.pole.replace(" ", ""))
    # Alternating poles, magnet 1 with north to the board on the plate above it, with south on the one below.
    if not placed[0].kind:
        pair = ["N +", "S −"] if index == 0 else ["S −", "N +"]
        assert [piece.pole for piece in placed] == pair * (len(placed) // 2)


def library_magnet(piece, magnet, remanence, place):
    """One piece of the sheet as a body of a magnetostatics library, on the bench, its upper face at z = 0."""
    height = magnet.thickness
    turn = (-sin(piece.angle), cos(piece.angle), 0.0)
    J = [remanence * (piece.turning * part) for part in turn[:2]] + [remanence * piece.facing]
    if magnet.shape == "disc":
        body = magpylib.magnet.Cylinder(polarization=J, dimension=(magnet.diameter, height))
    elif magnet.shape == "block":
        body = magpylib.magnet.Cuboid(polarization=J, dimension=(magnet.length, magnet.width, height))
        body.rotate_from_angax(np.degrees(piece.angle), "z")
    else:
        inner, outer = magnet.inner_diameter / 2, magnet.outer_diameter / 2
        half, middle = 180 * magnet.arc_ratio / place, np.degrees(piece.angle)
        body = magpylib.magnet.CylinderSegment(
            polarization=J, dimension=(inner, outer, height, middle - half, middle + half)
        )
        body.position = (0, 0, -height / 2)
        return body
    radius = magnet.circle_diameter / 2
    body.position = (radius * cos(piece.angle), radius * sin(piece.angle), -height / 2)
    return body


@pytest.mark.parametrize("name", [*NAMES, "halbach", "halbach of three"])
def test_magnets_glued_by_the_sheet_give_the_predicted_field(name) -> None:
    """The bench turned over onto the machine, by a general magnetostatics library (magpylib), without iron.

    A plate above the board is flipped about the y axis: x and z change sign, which is what the sheet's mirrored view
    means. 1 % of the peak: the prediction has orders up to 25 only, and the tops of the tracks' field lie nearer.
    """
    design = design_of(name).with_values({"rotor.back_iron_mm": 0.0, "rotor.magnet.recoil_permeability": 1.0})
    rotor, board, magnet = design.rotor, design.board, design.rotor.magnet
    bodies = magpylib.Collection()
    for plate in plates(design):
        placed = pieces(design, plate)
        bench = magpylib.Collection(*(library_magnet(p, magnet, magnet.remanence, len(placed)) for p in placed))
        if plate.above:
            bench.rotate_from_angax(180, "y", anchor=0)
            bench.move((0, 0, rotor.air_gap))
        else:
            bench.move((0, 0, -board.thickness - rotor.air_gap))
        bodies.add(bench)
    radius = (board.copper_inner_diameter + board.copper_outer_diameter) / 4
    angles = 2 * pi / rotor.poles * np.array([0.0, 0.21, 0.47, 0.8, 1.0, 1.3])
    last = len(board.layer_z) - 1
    field = rotor_field(design, SaturatedIron(magnet_layers(design), rotor_source(design), None, None))
    for layer in (0, last):
        z = board.layer_z[layer]
        points = [(radius * cos(a), radius * sin(a), z) for a in angles]
        expected = bodies.getB(points)[:, 2]
        B = field.at(np.array([radius]), layer)[:, 0]
        predicted = np.cos(np.outer(angles, field.orders * rotor.poles / 2)) @ B
        assert predicted == pytest.approx(expected, abs=0.01 * np.abs(expected).max())
        assert expected[0] < 0  # down at rotor angle 0: the definition of it


def test_arrows_point_as_the_pieces_are_magnetised() -> None:
    """On the strong side the pieces that lie in the plate point to the north poles, on either plate."""
    for index in (0, 1):
        _, _, _, items, centre = sheet("halbach", index)
        norths = [polar(item, centre)[1] for item in items if item.tag == "text" and item.text in ("N", "N +")]
        heads = [
            np.array(path_points(item.attributes["d"])[:3]) for item in items
            if item.tag == "path" and item.attributes["d"].count("L") == 2 and item.attributes["stroke-width"] == "0.1"
        ]  # fmt: skip
        assert len(norths) == 5 and len(heads) == 10
        for tip, *barbs in heads:
            ends = [np.arctan2(-(y - centre[1]), x - centre[0]) for x, y in (tip, np.mean(barbs, axis=0))]
            near = min(norths, key=lambda north: abs(np.exp(1j * north) - np.exp(1j * ends[0])))
            assert abs(np.exp(1j * near) - np.exp(1j * ends[0])) < abs(np.exp(1j * near) - np.exp(1j * ends[1]))


def test_pdf_is_the_same_sheet_at_true_scale() -> None:
    pdf = assembly_sheet_pdf(design_of("small-fan"))
    assert len(re.findall(rb"/Type /Page\b", pdf)) == 2
    boxes = [list(map(float, box.split())) for box in re.findall(rb"/MediaBox \[([^\]]*)\]", pdf)]
    assert len(boxes) == 2
    assert all(box == pytest.approx([0, 0, 210 * POINTS, 297 * POINTS], rel=1e-4) for box in boxes)
    assert not re.search(rb"CreationDate|ModDate|D:20\d\d", pdf)
    bars, type_sizes = 0, set()
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        try:
            content = zlib.decompress(stream)
        except zlib.error:
            continue
        for found in re.findall(rb"([-\d.]+) ([-\d.]+) m\s+([-\d.]+) ([-\d.]+) l", content):
            x0, y0, x1, y1 = map(float, found)
            bars += y0 == y1 and x1 - x0 == pytest.approx(50 * POINTS, rel=1e-5)
        type_sizes |= {float(size) / POINTS for size in re.findall(rb"/F\S+ ([\d.]+) Tf", content)}
    assert bars == 2
    sizes = {float(item.attributes["font-size"]) for item in sheet("small-fan")[3] if item.tag == "text"}
    assert sorted(type_sizes) == pytest.approx(sorted(sizes), rel=2e-4)  # the SVG rounds to 1 µm
    assert min(sizes) >= 2.2 and max(sizes) == 5.0


def test_pdf_takes_any_title() -> None:
    """No mathematics in dollars, no warning about letters that the font lacks: warnings are errors here."""
    assert assembly_sheet_pdf(design_of("no steel, odd title")).startswith(b"%PDF")


def words_of(name: str, index: int = 0) -> str:
    return " ".join(item.text for item in sheet(name, index)[3] if item.tag == "text").replace("\u00a0", " ")


def test_says_how_it_is_seen_and_glued() -> None:
    single, lower, halbach = words_of("filter-wheel"), words_of("small-fan", 1), words_of("halbach")
    assert "mirrored against the drawing of the board" in single and "clockwise here" in single
    assert "the same way round" in lower and "counter-clockwise" in lower and "mirrored" not in lower
    assert "equal numbers face each other" in lower and "equal numbers" not in single
    for word in ("Glue all N + first", "spacers", "compass", "wrong pole", "pinch", "splinter", "pacemakers"):
        assert word in single
    assert "Glue kind a first" in halbach and "Glue all N + first" not in halbach


@pytest.mark.parametrize("name", [*NAMES, "halbach", "halbach of three"])
def test_orders_what_is_drawn(name) -> None:
    design = design_of(name)
    rows = {row.name: row for row in magnet_list(design)}
    placed = [piece for plate in plates(design) for piece in pieces(design, plate)]
    assert rows["Count"].value == str(len(placed))
    for kind in sorted({piece.kind for piece in placed} - {""}):
        wanted = sum(piece.kind == kind for piece in placed)
        assert rows[f"Kind {kind}"].value.startswith(f"{wanted} pieces")
    words = words_of(name)
    for row in rows.values():
        assert row.name in words and row.value in words


def test_kinds_lean_as_the_list_says() -> None:
    """Three segments per pole: a through the thickness, b leaning left with north up, c right, on both plates."""
    double = design_of("small-fan").with_values(THREE)
    for plate in plates(double):
        for piece in pieces(double, plate):
            north_up = piece.turning * np.sign(piece.facing)
            assert {"a": 0.0, "b": sin(pi / 3), "c": -sin(pi / 3)}[piece.kind] == pytest.approx(north_up, abs=1e-9)
    rows = {row.name: row.value for row in magnet_list(double)}
    assert "to the left" in rows["Kind b"] and "to the right" in rows["Kind c"]


def test_make_writes_them(tmp_path) -> None:
    outcome = run("make", "--no-verify", "designs/small-fan.toml", "-o", tmp_path / "fan")
    assert outcome.code == 0, outcome.err
    roles = {e["name"]: e["role"] for e in json.loads((tmp_path / "fan/manifest.json").read_text())["files"]}
    assert {name for name, role in roles.items() if role == "drawing"} == {
        "stator.svg", "section.svg", "rotor-upper.dxf", "rotor-lower.dxf",
        "assembly.pdf", "assembly-upper.svg", "assembly-lower.svg",
    }  # fmt: skip
    assert (tmp_path / "fan/assembly.pdf").read_bytes() == assembly_sheet_pdf(design_of("small-fan"))
    assert (tmp_path / "fan/assembly-lower.svg").read_text("utf-8") == assembly_sheet_svg(
        design_of("small-fan"), plates(design_of("small-fan"))[1]
    )


def test_folder_takes_text_and_bytes_or_nothing(tmp_path) -> None:
    files = {"a.txt": "µ\n", "b.pdf": b"\xff\r\n", "manifest.json": '{"files": [{"name": "a.txt"}, {"name": "b.pdf"}]}'}
    write_folder(tmp_path / "out", files)
    assert (tmp_path / "out/a.txt").read_bytes() == b"\xc2\xb5\n"
    assert (tmp_path / "out/b.pdf").read_bytes() == b"\xff\r\n"
    with pytest.raises(OutputError):
        write_folder(tmp_path / "out", {"c": "x", "c/d": "a file cannot be a folder as well"})
    assert (tmp_path / "out/a.txt").exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out"]


def test_papers_are_those_of_the_standard() -> None:
    """ISO 216 (from memory): A0 is 841 × 1189 mm, each size half of the one before, rounded down."""
    sizes, (wide, tall) = {}, (841, 1189)
    for number in range(1, 5):
        wide, tall = tall // 2, wide
        sizes[f"A{number}"] = wide, tall
    assert {name: (width, height) for name, width, height in PAPERS} == sizes
