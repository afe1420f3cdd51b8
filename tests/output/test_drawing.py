"""Drawings read back: true scale, everything there, nothing off the page, no words over words."""

from __future__ import annotations

import re
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import LineString

import pcbstator
from pcbstator.output.canvas.text import text_width
from pcbstator.output.drawing.coil import coil_svg
from pcbstator.output.drawing.stator import stator_svg
from tests.output.svgread import SVG, _extent, path_points, read

STEMS = sorted(path.stem for path in Path("designs").glob("*.toml"))
LONG = 'A <wide> & "long" title ' + "W" * 60
VARIANTS = {stem: (stem, {}) for stem in STEMS} | {
    "open": ("photogrammetry-stage", {"winding.connection": "open"}),
    "delta": ("small-fan", {"winding.connection": "delta", "title": LONG}),
    "inner ring": ("photogrammetry-stage", {"winding.connection_ring": "inner"}),
    "two phases": ("photogrammetry-stage", {
        "winding.phases": 2, "winding.coils": 16, "rotor.poles": 20, "winding.turns": 8,
    }),
    "five phases": ("photogrammetry-stage", {
        "winding.phases": 5, "winding.coils": 20, "rotor.poles": 22, "winding.turns": 8,
    }),
    "tiny": ("small-fan", {
        "winding.coils": 3, "rotor.poles": 4, "winding.turns": 3, "board.layers": 2, "envelope": None,
        "board.copper_inner_diameter_mm": 6.0, "board.copper_outer_diameter_mm": 24.0,
        "rotor.magnet.inner_diameter_mm": 7.0, "rotor.magnet.outer_diameter_mm": 20.0,
    }),
    "sixty coils, sixteen layers": ("sky-tracker", {
        "winding.coils": 60, "rotor.poles": 56, "board.layers": 16, "winding.turns": 3, "board.thickness_mm": 3.2,
        "rotor.magnet.width_mm": 7.0,
    }),
}  # fmt: skip


@cache
def drawn(name: str):
    """Design, copper, drawing, its root and what is on it."""
    stem, changes = VARIANTS[name]
    design = pcbstator.load_design(f"designs/{stem}.toml")
    design = design.with_values(changes) if changes else design
    copper = pcbstator.lay_copper(design)
    svg = stator_svg(design, copper)
    return design, copper, svg, *read(svg)


def words(items):
    return [item for item in items if item.tag == "text"]


def assert_tidy(root, items) -> None:
    """On the page, no text upon text."""
    left, top, width, height = map(float, root.get("viewBox").split())
    for item in items:
        x0, y0, x1, y1 = item.box
        assert x0 >= left - 1e-6 and y0 >= top - 1e-6 and x1 <= width + 1e-6 and y1 <= height + 1e-6, item
    texts = words(items)
    x0, y0, x1, y1 = np.array([item.box for item in texts]).T
    apart = (x0[:, None] >= x1) | (x1[:, None] <= x0) | (y0[:, None] >= y1) | (y1[:, None] <= y0)
    assert not [(texts[i].text, texts[j].text) for i, j in np.argwhere(~apart) if i < j]


@pytest.mark.parametrize("name", VARIANTS)
def test_tidy(name: str) -> None:
    design, copper, svg, root, items = drawn(name)
    assert_tidy(root, items)
    assert_tidy(*read(coil_svg(design, copper)))
    assert len(svg) < 300_000
    # A phone shows the page 360 points wide: 1.4 % of the width is 5 points, the least that can be read.
    least = min(float(item.attributes["font-size"]) for item in words(items))
    assert least > 0.014 * float(root.get("viewBox").split()[2])


@pytest.mark.parametrize("name", VARIANTS)
def test_true_scale(name: str) -> None:
    """A unit is a millimetre, the board's circles and the scale bar have their true size."""
    design, copper, _, root, items = drawn(name)
    _, _, width, height = root.get("viewBox").split()
    assert root.get("width") == f"{width}mm" and root.get("height") == f"{height}mm"
    circles = [float(item.attributes["r"]) for item in items if "board" in item.groups]
    expected = [1e3 * copper.board_outer_radius, 1e3 * copper.board_inner_radius]
    assert circles == pytest.approx(expected, abs=5e-4)
    assert expected == pytest.approx([500 * design.board.outer_diameter, 500 * design.board.inner_diameter], abs=5e-4)
    left, _, right, _ = next(item.box for item in items if "scale" in item.groups)
    length = float(next(re.match(r"([\d.]+) mm;", t.text).group(1) for t in words(items) if "1:1" in t.text))
    assert right - left == pytest.approx(length, abs=1.1e-3)
    assert f"{length:g}".strip("0.") in ("1", "2", "5")


@pytest.mark.parametrize("name", VARIANTS)
def test_everything_is_there(name: str) -> None:
    design, copper, _, _, items = drawn(name)
    for layer in copper.layers:
        assert sum(f"layer-{layer.number}" in item.groups for item in items) == design.winding.coils
        interconnects = [interconnect for interconnect in copper.interconnects if interconnect.layer == layer.number]
        assert sum(f"interconnects-{layer.number}" in item.groups for item in items) == len(interconnects)
    assert sum("vias" in item.groups for item in items) == 2 * len(copper.vias)
    assert sum("terminals" in item.groups for item in items) == 2 * len(copper.terminals)
    texts = [item.text for item in words(items)]
    names = [item.text for item in words(items) if "names" in item.groups]
    assert [name.rstrip("*") for name in names[: len(copper.terminals)]] == [t.name for t in copper.terminals]
    assert sum(text[-1] in "+−" for text in names) == design.winding.coils
    for layer in copper.layers:
        assert any(text.startswith(f"layer {layer.number}") for text in texts)


@pytest.mark.parametrize("name", VARIANTS)
def test_layer_one_is_on_top(name: str) -> None:
    """Among the coils; on every page a deeper layer has a lighter tone."""
    _, copper, svg, _, items = drawn(name)
    order = [svg.index(f'id="layer-{layer.number}"') for layer in copper.layers]
    assert order == sorted(order, reverse=True)
    shades = []
    for layer in copper.layers:
        colour = next(i.attributes["stroke"] for i in items if f"layer-{layer.number}" in i.groups)
        shades.append(sum(int(colour[i : i + 2], 16) for i in (1, 3, 5)))
    assert all(a < b for a, b in pairwise(shades))


@pytest.mark.parametrize("name", STEMS)
def test_copper_lies_where_it_is(name: str) -> None:
    """Every coil track within 0.01 mm of its centre-line (and the rounding to 1 um), after turning and moving."""
    _, copper, svg, root, items = drawn(name)
    for track in copper.coil.tracks:
        path = next(e for e in root.iter(f"{SVG}path") if e.get("id") == f"coil-{track.layer}")
        got = LineString(np.array(path_points(path.get("d"))) * (1, -1))
        assert got.hausdorff_distance(LineString(track.points * 1e3)) < 0.0105
        assert float(path.get("stroke-width")) == pytest.approx(track.width * 1e3, abs=5e-4)
    x, y = map(float, re.search(r"translate\(([\d.]+) ([\d.]+)\)", svg).groups())
    placed = [item for item in items if "layer-1" in item.groups]
    for index, item in enumerate(placed):
        points = np.concatenate([track.points for track in copper.placed_coil(index, True) if track.layer == 1]) * 1e3
        middle = (item.corners - (x, y)) * (1, -1)
        assert LineString(middle).hausdorff_distance(LineString(points)) < 0.0125


@pytest.mark.parametrize("name", STEMS)
def test_magnets_face_the_board_as_defined(name: str) -> None:
    """Rotor angle 0: the field on +x points down into the board, so a north pole faces it there; then alternating."""
    from pcbstator.analysis.magnetic.rotor_field import rotor_field

    design, _, svg, _, items = drawn(name)
    radius = (design.board.copper_inner_diameter + design.board.copper_outer_diameter) / 4
    assert rotor_field(design).at(np.array([radius]), 0)[0, 0] < 0
    x0, y0 = map(float, re.search(r"translate\(([\d.]+) ([\d.]+)\)", svg).groups())
    letters = [item for item in words(items) if "magnets" in item.groups]
    assert len(letters) == design.rotor.poles
    for index, letter in enumerate(letters):
        x, y = letter.corners.mean(axis=0) - (x0, y0)
        away = np.angle(np.exp(1j * (np.arctan2(-y, x) - 2 * np.pi * index / design.rotor.poles)))
        assert abs(away) < 0.05
        assert letter.text == "NS"[index % 2]


@pytest.mark.parametrize("name", [name for name in VARIANTS if name != "tiny"])
def test_names_and_poles_cover_neither_copper_nor_outline(name: str) -> None:
    """Each within the bore or beyond the outline; the tiny machine has no room for poles but on its magnets."""
    _, copper, svg, _, items = drawn(name)
    x0, y0 = map(float, re.search(r"translate\(([\d.]+) ([\d.]+)\)", svg).groups())
    for letters in (item for item in words(items) if {"magnets", "names"} & set(item.groups)):
        box = shapely.box(*letters.box)
        far = max(np.hypot(x - x0, y - y0) for x, y in box.exterior.coords)
        within = far < 1e3 * copper.board_inner_radius
        assert within or box.distance(shapely.Point(x0, y0)) > 1e3 * copper.board_outer_radius, letters.text


def test_the_arrow_points_counter_clockwise() -> None:
    """From the shaft's start to its end and from the head's base to its tip, in the upper left."""
    *_, items = drawn("photogrammetry-stage")
    shaft, head = [item for item in items if "rotation" in item.groups and item.tag == "path"]
    assert "0 0 0" in shaft.attributes["d"]  # y down: sweep 0 is counter-clockwise
    tip, *base = head.corners
    way = tip - np.mean(base, axis=0)
    assert way[0] < 0 < way[1]  # leftwards and down the page


def test_same_bytes() -> None:
    design, copper, svg, *_ = drawn("small-fan")
    assert stator_svg(design, copper) == svg
    assert coil_svg(design, copper) == coil_svg(design, copper)


def test_a_title_is_text() -> None:
    """Markup in a title stays words."""
    *_, items = drawn("delta")
    title = "".join(item.text for item in words(items)[:8])
    assert '<wide> & "long"' in title.replace("  ", " ")


@pytest.mark.parametrize("weight", ["normal", "bold"])
@pytest.mark.parametrize(
    "text", ["positive rotation", "MAXIMUM WIDTH @ 100 %", "0.35 mm; 1:1", "rotor side (far)", "A+ C− B2", "mmmm"]
)
def test_width_of_words_is_that_of_their_letters(text: str, weight: str) -> None:
    """Against the outlines that matplotlib draws of them: wider by no more than the white beside the outer letters."""
    left, _, right, _ = _extent(text, weight)
    assert right - left <= text_width(text, 1.0, bold=weight == "bold") <= right - left + 0.25
