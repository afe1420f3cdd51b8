"""Resistance of a layer of a coil against a field solution on its drawn outline, by finite elements (scikit-fem).

The law takes centre-line length over width. Here the copper is a sheet as it is drawn: the centre-line with its width
and round ends, pads around both plated holes; the holes' walls are the contacts. div(sigma·t·grad V) = 0 holds in the
sheet and no current leaves it elsewhere. In Galerkin's method the power at a given voltage is never too small, so the
resistance of a mesh is a lower bound that rises with refinement.

The two differ at bends, where the current takes the inner side, and at the pads, where the law counts on to the middle
of the hole; both are a fraction of a square each.
"""

import tomllib
from pathlib import Path

import numpy as np
import pytest
import shapely
from skfem import Basis, BilinearForm, ElementTriP2, MeshTri, condense, solve
from skfem.helpers import dot, grad

import pcbstator
from pcbstator.analysis.electrical.conductors import Conductors
from pcbstator.copper.geometry.areas import strip_areas

ROOT = Path(__file__).parents[2]
PUBLISHED = tomllib.loads((ROOT / "tests" / "published" / "materials.toml").read_text())
STAGE, WHEEL = "photogrammetry-stage.toml", "filter-wheel.toml"
CHANGES = {
    "sector": (STAGE, {"winding.turns": 3, "board.track_width_mm": 0.5}),
    "round": (WHEEL, {"winding.turns": 3, "board.track_width_mm": 0.5}),
    "parallel": ("sky-tracker.toml", {"winding.turns": 3, "board.track_width_mm": 0.5}),
    "wide": (STAGE, {"winding.turns": 2, "board.track_width_mm": 0.9}),
}


def drawn_layer(design, copper, layer):
    """The sheet of one layer of the coil with its holes, and the centres of the two holes (2, 2)."""
    (track,) = (track for track in copper.coil.tracks if track.layer == layer)
    ends = track.points[[0, -1]]
    copper_area = [shapely.LineString(track.points).buffer(track.width / 2, quad_segs=6)]
    copper_area += [shapely.Point(end).buffer(design.board.via_pad / 2, quad_segs=8) for end in ends]
    holes = [shapely.Point(end).buffer(design.board.via_drill / 2, quad_segs=6) for end in ends]
    return shapely.union_all(copper_area).difference(shapely.union_all(holes)), ends


def triangles(sheet, size):
    """A mesh of the sheet: its outline cut to pieces of ``size``, constrained Delaunay triangles between them."""
    outline = shapely.segmentize(shapely.simplify(sheet, 1e-7), size)
    corners = np.array(
        [np.asarray(piece.exterior.coords)[:3] for piece in shapely.constrained_delaunay_triangles(outline).geoms]
    )
    points, index = np.unique(corners.reshape(-1, 2).round(12), axis=0, return_inverse=True)
    return MeshTri(points.T.copy(), index.reshape(-1, 3).T.copy())


def squares(mesh, contacts):
    """Resistance between two sets of boundary facets over the resistance of one square of the sheet."""
    basis = Basis(mesh, ElementTriP2())

    @BilinearForm
    def power(u, v, _):
        return dot(grad(u), grad(v))

    facets = [mesh.facets_satisfying(contact, boundaries_only=True) for contact in contacts]
    first, second = (basis.get_dofs(found).all() for found in facets)
    voltage = basis.zeros()
    voltage[first] = 1.0
    matrix = power.assemble(basis)
    voltage = solve(*condense(matrix, x=voltage, D=np.union1d(first, second)))
    return 1.0 / float(voltage @ (matrix @ voltage))


def wall(centre, radius):
    """The facets of a hole's wall."""
    return lambda x: np.hypot(x[0] - centre[0], x[1] - centre[1]) < 1.001 * radius


def solved(name, layer, refinements):
    """Squares on the coarse mesh and its halvings, and squares by the law."""
    file, changes = CHANGES[name]
    design = pcbstator.load_design(ROOT / "designs" / file).with_values(changes)
    copper = pcbstator.lay_copper(design)
    sheet, ends = drawn_layer(design, copper, layer)
    mesh = triangles(sheet, design.board.track_width / 2)
    found = []
    for number in range(refinements + 1):
        mesh = mesh.refined() if number else mesh
        found.append(squares(mesh, [wall(end, design.board.via_drill / 2) for end in ends]))
    return np.array(found), design, copper


def law_squares(design, copper, layer):
    """The package's resistance of the track, over the resistance of a square of the published copper."""
    (track,) = (track for track in copper.coil.tracks if track.layer == layer)
    conductors = Conductors(copper, design.board.via_drill, design.board.via_plating)
    return conductors.track(track) * copper.layers[layer - 1].thickness / PUBLISHED["copper"]["resistivity_ohm_m"]


@pytest.mark.parametrize("layer", [1, 2])
@pytest.mark.parametrize("name", CHANGES)
def test_layer_of_a_coil(name, layer):
    """Within 2 % for a few turns, and within 4 squares whatever the length: two holes and a few bends."""
    found, design, copper = solved(name, layer, refinements=2)
    law = law_squares(design, copper, layer)
    steps = np.diff(found)
    assert np.all(steps > 0) and steps[1] < steps[0] / 2, "the lower bounds rise, ever more slowly"
    assert steps[1] < 1e-3 * found[-1]
    assert law == pytest.approx(found[-1], rel=0.02)
    assert 0 < law - found[-1] < 4


def test_solver_on_a_strip_and_a_ring():
    """The solver by itself: a strip has length over width squares; between two circles ln(b/a)/(2·pi) of a square."""
    strip = triangles(shapely.box(0, 0, 0.01, 0.001), 3e-4)
    ends = [lambda x: x[0] < 1e-9, lambda x: x[0] > 0.01 - 1e-9]
    assert squares(strip, ends) == pytest.approx(10.0, rel=1e-9)
    inner, outer = (shapely.Point(0, 0).buffer(radius, quad_segs=64) for radius in (0.1, 0.2))
    ring = triangles(outer.difference(inner), 0.02).refined()
    circles = [wall((0, 0), 0.1), lambda x: np.hypot(*x) > 0.199]
    assert squares(ring, circles) == pytest.approx(np.log(2) / (2 * np.pi), rel=3e-4)


@pytest.mark.slow
@pytest.mark.parametrize("layer", [1, 2, 3, 4])
@pytest.mark.parametrize("file", [STAGE, "sky-tracker.toml"])
def test_layer_of_a_whole_design(file, layer, monkeypatch):
    """All turns of a design as it stands: bends and holes are lost in the length."""
    monkeypatch.setitem(CHANGES, "whole", (file, {}))
    found, design, copper = solved("whole", layer, refinements=2)
    assert law_squares(design, copper, layer) == pytest.approx(found[-1], rel=5e-3)


WAVE = {
    "winding.kind": "wave", "winding.coils": None, "winding.turns": 2, "rotor.poles": 16, "board.layers": 2,
    "board.track_width_mm": 0.3, "board.copper_inner_diameter_mm": 64.0, "board.copper_outer_diameter_mm": 120.0,
    "envelope": None,
}  # fmt: skip
TAPERED = {
    "wave": (STAGE, WAVE),
    "tapered wave": (STAGE, WAVE | {"board.track_profile": "tapered"}),
    "tapered spiral": (STAGE, {"winding.turns": 3, "board.track_width_mm": 0.5, "board.track_profile": "tapered"}),
}


def solved_track(name, layer, refinements=2):
    """Squares by the sheet and by the law of the first whole track of a template on a layer, alone with its two holes.

    The sheet is every piece's trapezium, mitres and round ends as they are drawn, pads and holes as above.
    """
    file, changes = TAPERED[name]
    design = pcbstator.load_design(ROOT / "designs" / file).with_values(changes)
    copper = pcbstator.lay_copper(design)
    track = [track for track in copper.coil.tracks if track.layer == layer][-1 if layer == 1 else 0]
    ends = track.points[[0, -1]]
    drawn = (
        strip_areas(track)
        if track.widths is not None
        else [shapely.LineString(track.points).buffer(track.width / 2, quad_segs=6)]
    )
    pads = [shapely.Point(end).buffer(design.board.via_pad / 2, quad_segs=8) for end in ends]
    holes = [shapely.Point(end).buffer(design.board.via_drill / 2, quad_segs=6) for end in ends]
    sheet = shapely.union_all([*drawn, *pads]).difference(shapely.union_all(holes))
    mesh, found = triangles(sheet, track.narrowest / 2), []
    for number in range(refinements + 1):
        mesh = mesh.refined() if number else mesh
        found.append(squares(mesh, [wall(end, design.board.via_drill / 2) for end in ends]))
    conductors = Conductors(copper, design.board.via_drill, design.board.via_plating)
    thickness = copper.layers[layer - 1].thickness
    return np.array(found), conductors.track(track) * thickness / PUBLISHED["copper"]["resistivity_ohm_m"], track


@pytest.mark.parametrize("layer", [1, 2])
@pytest.mark.parametrize("name", TAPERED)
def test_conductor_of_varying_width(name, layer):
    """Within 2 %: an involute at either end of a run, even and tapered, and a spiral that widens outwards."""
    found, law, _ = solved_track(name, layer)
    steps = np.diff(found)
    assert np.all(steps > 0) and steps[1] < 2e-3 * found[-1]
    assert law == pytest.approx(found[-1], rel=0.02)
