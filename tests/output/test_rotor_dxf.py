"""Rotor plates read back by the library's reader: pockets where the magnets are, nothing that an audit objects to."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from functools import cache
from math import pi

import ezdxf
import ezdxf.path
import numpy as np
import pytest
from shapely import Polygon, STRtree

import pcbstator
from pcbstator.analysis.mechanical.rotor_plan import plates
from pcbstator.output.rotor.dxf import rotor_dxf

NAMES = ("filter-wheel", "photogrammetry-stage", "sky-tracker", "small-fan")
HALBACH = {"rotor.magnet.array": "halbach", "rotor.magnet.segments_per_pole": 3}
VARIANTS = {name: (name, {}) for name in NAMES} | {
    "halbach": ("small-fan", HALBACH),
    "touching, two poles": ("small-fan", {
        "rotor.poles": 2, "rotor.magnet.arc_ratio": 1.0, "winding.coils": 3, "rotor.arrangement": "single",
    }),
}  # fmt: skip


@cache
def design_of(name: str):
    stem, changes = VARIANTS[name]
    design = pcbstator.load_design(f"designs/{stem}.toml")
    return design.with_values(changes) if changes else design


def entities(text: str, layer: str):
    return list(ezdxf.read(io.StringIO(text)).modelspace().query(f'*[layer=="{layer}"]'))


def area_of(entity) -> float:
    """Exact area: a circle, or a polygon with circular segments at its bulges (tangent of a quarter of the angle)."""
    if entity.dxftype() == "CIRCLE":
        return pi * entity.dxf.radius**2
    x, y, bulge = np.array(entity.get_points("xyb")).T
    chord, angle = np.hypot(np.roll(x, -1) - x, np.roll(y, -1) - y), 4 * np.arctan(bulge)
    radius = np.divide(chord / 2, np.sin(angle / 2), where=bulge != 0, out=np.zeros_like(chord))
    return float((x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2 + (radius**2 * (angle - np.sin(angle))).sum() / 2)


def polygon(entity) -> Polygon:
    return Polygon([(p.x, p.y) for p in ezdxf.path.make_path(entity).flattening(1e-4, segments=64)])


CASES = [(name, index) for name in VARIANTS for index in range(len(plates(design_of(name))))]


@pytest.mark.parametrize(("name", "index"), CASES)
def test_pockets_are_the_magnets(name, index) -> None:
    """Count, area (closed forms), places, and room between them."""
    design = design_of(name)
    plate, magnet, poles = plates(design)[index], design.rotor.magnet, design.rotor.poles
    found = entities(rotor_dxf(design, plate), "MAGNET_POCKETS")
    count = poles * (magnet.segments_per_pole if getattr(magnet, "array", "") == "halbach" else 1)
    assert len(found) == count
    shapes = [polygon(entity) for entity in found]
    if magnet.shape == "disc":
        area = pi * magnet.diameter**2 / 4
        assert {entity.dxftype() for entity in found} == {"CIRCLE"}
    elif magnet.shape == "block":
        area = magnet.length * magnet.width
    else:
        area = pi * (magnet.outer_diameter**2 - magnet.inner_diameter**2) / 4 * magnet.arc_ratio / count
    if magnet.shape != "disc":
        assert {entity.dxftype() for entity in found} == {"LWPOLYLINE"} and all(e.closed for e in found)
    assert [area_of(entity) for entity in found] == pytest.approx([1e6 * area] * count, rel=1e-9)
    # Clockwise from the left on the plate above the board, counter-clockwise from the right on the one below.
    start, sense = (pi, -1) if index == 0 else (0, 1)
    expected = np.exp(1j * (start + sense * 2 * pi * np.arange(count) / count))
    centres = np.array([complex(shape.centroid.x, shape.centroid.y) for shape in shapes])
    assert centres / abs(centres) == pytest.approx(expected, abs=1e-6)
    pairs = STRtree(shapes).query(shapes, predicate="intersects").T
    assert all(shapes[a].intersection(shapes[b]).area < 1e-3 for a, b in pairs if a < b)  # mm2; they may touch


@pytest.mark.parametrize(("name", "index"), CASES)
def test_sound_file(name, index) -> None:
    design = design_of(name)
    document = ezdxf.read(io.StringIO(rotor_dxf(design, plates(design)[index])))
    auditor = document.audit()
    assert not auditor.errors and not auditor.fixes
    assert document.header["$INSUNITS"] == 4 and document.header["$MEASUREMENT"] == 1  # mm, metric
    assert document.dxfversion == "AC1024"  # R2010
    used = {entity.dxf.layer for entity in document.modelspace()}
    assert used <= {layer.dxf.name for layer in document.layers} - {"0", "Defpoints"}
    assert {"MAGNET_POCKETS", "MAGNET_NUMBERS", "INDEX", "NOTES", "BOARD_OUTLINE"} <= used


def diameters(text: str, layer: str) -> list[float]:
    return [2 * circle.dxf.radius for circle in entities(text, layer)]


def test_circles_are_those_of_the_file() -> None:
    design = design_of("photogrammetry-stage")
    text = rotor_dxf(design)
    assert diameters(text, "BACK_IRON") == pytest.approx([68.0, 102.0])  # the magnets'
    assert diameters(text, "ENVELOPE") == pytest.approx([60.0, 110.0])
    outline = [1e3 * design.board.inner_diameter, 1e3 * design.board.outer_diameter]
    assert diameters(text, "BOARD_OUTLINE") == pytest.approx(outline)
    wide = design.with_values({"rotor.iron_inner_diameter_mm": 61.5, "rotor.iron_outer_diameter_mm": 108.0})
    assert diameters(rotor_dxf(wide), "BACK_IRON") == pytest.approx([61.5, 108.0])
    bare = rotor_dxf(design.with_values({"rotor.back_iron_mm": 0.0, "envelope": None}))
    assert not diameters(bare, "BACK_IRON") and not diameters(bare, "ENVELOPE")
    # A block's corners reach beyond its length: hypot(115.5, 5) from the axis.
    assert diameters(rotor_dxf(design_of("sky-tracker")), "BACK_IRON") == pytest.approx([191.0, 2 * np.hypot(115.5, 5)])


@pytest.mark.parametrize(("index", "side"), [(0, -1), (1, 1)])
def test_mark_lies_at_magnet_one(index, side) -> None:
    """Rotor angle 0 is left on the plate above the board, whose magnets are seen from below, and right on the other."""
    design = design_of("small-fan")
    text = rotor_dxf(design, plates(design)[index])
    mark = max(entities(text, "INDEX"), key=lambda line: abs(line.dxf.end.x))
    one = next(entity for entity in entities(text, "MAGNET_NUMBERS") if entity.dxf.text == "1")
    assert np.sign([mark.dxf.start.x, mark.dxf.end.x, one.get_placement()[1].x]).tolist() == [side] * 3
    assert abs(one.get_placement()[1].x) > 26.0 and abs(mark.dxf.end.y) < 1e-9
    notes = " ".join(entity.dxf.text for entity in entities(text, "NOTES"))
    assert ("mirrored against the drawing" in notes) == (index == 0) and "nominal size" in notes


def test_titles_stay_words() -> None:
    title = 'Fan "50 %%d" ^J 風 <b>'
    text = rotor_dxf(design_of("small-fan").with_values({"title": title}))
    (note,) = (entity for entity in entities(text, "NOTES") if "Fan" in entity.dxf.text)
    assert note.plain_text().replace("% %", "%%").replace("^ J", "^J").startswith(title)


def test_options_of_the_library_are_left_alone() -> None:
    before = ezdxf.options.write_fixed_meta_data_for_testing
    rotor_dxf(design_of("small-fan"))
    assert ezdxf.options.write_fixed_meta_data_for_testing == before


MAKE = """
import hashlib, pcbstator
from pcbstator.output.rotor.dxf import rotor_dxf
print(hashlib.sha256(rotor_dxf(pcbstator.load_design("designs/small-fan.toml")).encode()).hexdigest())
"""


def test_same_bytes_in_any_process() -> None:
    """Nothing depends on the time or on the order of sets, which seeds 1 and 7 make differ."""
    command, seeds = [sys.executable, "-c", MAKE], [{**os.environ, "PYTHONHASHSEED": seed} for seed in ("1", "7")]
    running = [subprocess.Popen(command, env=seed, stdout=subprocess.PIPE) for seed in seeds]
    first, second = (process.communicate()[0] for process in running)
    assert first == second and len(first.strip()) == 64
