"""Every mark in the drawings of a made folder can be seen: it has a size, and no outline hides what it goes around."""

from __future__ import annotations

import re
from math import hypot
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from pcbstator.design import load_design
from tests.command import DESIGNS, no_rendering, run, write_design
from tests.output.svgread import SVG, path_points, read

FEATURES = {
    "board.holes": [{"diameter_mm": 2.2, "circle_diameter_mm": 108.0, "count": 3, "first_angle_deg": 50.0}],
    "board.tabs": [{"width_mm": 9.0, "reach_mm": 8.0, "count": 3, "first_angle_deg": 20.0, "hole_mm": 1.5}],
    "board.thermistor": {"circle_diameter_mm": 107.0, "angle_deg": -33.0, "size": "0603"},
    "board.outer_diameter_mm": 114.0, "envelope": None, "cooling": None, "board.vias_per_transition": None,
}  # fmt: skip
HALBACH = {"rotor.magnet.array": "halbach", "rotor.magnet.segments_per_pole": 2, "rotor.magnet.arc_ratio": 1.0}
CASES = {"features": ("photogrammetry-stage", FEATURES), "halbach": ("small-fan", HALBACH)}


@pytest.fixture(scope="module", params=CASES)
def drawings(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Every SVG of a made folder, and the coil's in its report."""
    stem, changes = CASES[request.param]
    folder = tmp_path_factory.mktemp("marks")
    design = load_design(next(path for path in DESIGNS if path.stem == stem)).with_values(changes)
    with no_rendering():
        made = run("make", "--no-verify", write_design(folder / "design.toml", design.document), "-o", folder / "made")
    assert made.code == 0, made.err + made.out
    page = (folder / "made" / "report.html").read_text(encoding="utf-8")
    (coil,) = re.findall(r'<svg aria-label="One coil .*?</svg>', page, re.DOTALL)
    files = sorted(Path(folder / "made").rglob("*.svg"))
    return {path.stem: path.read_text(encoding="utf-8") for path in files} | {"coil": coil}


def own_extent(element: ElementTree.Element) -> tuple[float, float]:
    """Width and height of a drawn thing without its stroke."""
    tag = element.tag.removeprefix(SVG)
    if tag == "circle":
        return (2 * float(element.get("r", "0")),) * 2
    if tag == "rect":
        return float(element.get("width", "0")), float(element.get("height", "0"))
    if tag == "line":
        x1, y1, x2, y2 = (float(element.get(name, "0")) for name in ("x1", "y1", "x2", "y2"))
        return abs(x2 - x1), abs(y2 - y1)
    low, high = (getattr(np.array(path_points(element.get("d", ""))), side)(axis=0) for side in ("min", "max"))
    return high[0] - low[0], high[1] - low[1]


def test_nothing_drawn_has_no_size(drawings: dict[str, str]) -> None:
    assert len(drawings) >= 2
    for name, text in drawings.items():
        for element in ElementTree.fromstring(text).iter():
            tag = element.tag.removeprefix(SVG)
            if tag in ("circle", "rect", "line") or (tag == "path" and "A" not in element.get("d", "")):
                assert hypot(*own_extent(element)) > 0.01, (name, ElementTree.tostring(element)[:200])


def test_outlines_of_dots_are_thinner_than_the_dots(drawings: dict[str, str]) -> None:
    for name, text in drawings.items():
        for item in read(text)[1]:
            if item.tag == "circle" and item.attributes.get("stroke", "none") != "none":
                assert float(item.attributes["stroke-width"]) <= float(item.attributes["r"]), (name, item)


def test_scale_bars_are_long_enough_to_measure_by(drawings: dict[str, str]) -> None:
    """What stands beside "Scale" is at least a twentieth of the page's width, which is in mm too."""
    found = []
    for text in drawings.values():
        root, items = read(text)
        words = [item.text for item in items if item.tag == "text"]
        said = [re.match(r"([\d.]+) mm", words[at + 1]) for at, word in enumerate(words[:-1]) if word == "Scale"]
        found += [float(match[1]) / float(root.get("viewBox", "").split()[2]) for match in said if match]
    assert found and min(found) > 0.05


def test_names_of_holes_stand_in_or_beside_them(drawings: dict[str, str]) -> None:
    """Each H1, H2 ... nearer to an unplated hole than two heights of its letters."""
    if "assembly" not in drawings:  # the other case has none
        return
    items = read(drawings["stator"])[1]
    holes = [item for item in items if item.tag == "circle" and float(item.attributes["r"]) in (0.75, 1.1)]
    circles = np.array([item.corners.mean(axis=0) for item in holes])
    radii = np.array([np.ptp(item.corners[:, 0]) / 2 for item in holes])
    names = [item for item in items if item.tag == "text" and re.fullmatch(r"H\d+", item.text)]
    assert len(names) == len(holes) == 6
    for item in names:
        middle, height = item.corners.mean(axis=0), float(np.ptp(item.corners[:, 1]))
        assert (np.hypot(*(circles - middle).T) - radii).min() < 2 * height


def test_layers_of_the_coil_are_drawn_beside_each_other(drawings: dict[str, str]) -> None:
    """Boxes of the copper of any two layers, in rows and columns, stay apart."""
    boxes = [item.box for item in read(drawings["coil"])[1] if item.attributes.get("stroke-linejoin") == "round"]
    assert len(boxes) >= 4
    for index, (left, top, right, bottom) in enumerate(boxes):
        for other in boxes[index + 1 :]:
            assert right < other[0] or other[2] < left or bottom < other[1] or other[3] < top


def test_files_of_drawings_end_with_a_line(drawings: dict[str, str]) -> None:
    assert all(text.endswith("\n") for name, text in drawings.items() if name != "coil")


def test_unplated_holes_are_drawn_at_their_size(drawings: dict[str, str]) -> None:
    """Three holes of 2.2 mm on a circle of 108 mm, y up in the board's axes and down on the page."""
    if "assembly" not in drawings:  # the other case has none
        return
    circles = [
        [float(element.get(name, "nan")) for name in ("cx", "cy", "r")]
        for element in ElementTree.fromstring(drawings["stator"]).iter(f"{SVG}circle")
    ]
    for angle in np.radians([50.0, 170.0, 290.0]):
        x, y = 54.0 * np.cos(angle), -54.0 * np.sin(angle)
        assert [r for cx, cy, r in circles if hypot(cx - x, cy - y) < 1e-2] == [pytest.approx(1.1, abs=1e-3)]
