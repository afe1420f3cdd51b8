"""The model for a page, read by a glTF library: nodes, colours, closed surfaces, volumes by closed forms."""

from __future__ import annotations

from collections import Counter
from math import atan2, degrees, hypot, pi

import numpy as np
import pytest

import pcbstator
from tests.output.test_solids import BALLS, HALBACH, THROUGH, design, fan, ring

pygltflib = pytest.importorskip("pygltflib")
TYPES = {"SCALAR": 1, "VEC3": 3}
NUMBERS = {5125: "<u4", 5126: "<f4"}


def loaded(asked):
    files = pcbstator.project.solids(asked, step=False)
    return pygltflib.GLTF2.load_from_bytes(files["motor.glb"])


def values(model, accessor):
    """An accessor as an array."""
    entry = model.accessors[accessor]
    view = model.bufferViews[entry.bufferView]
    raw = model.binary_blob()[view.byteOffset : view.byteOffset + view.byteLength]
    found = np.frombuffer(raw, NUMBERS[entry.componentType]).reshape(-1, TYPES[entry.type])
    assert len(found) == entry.count
    if entry.type == "VEC3":
        assert found.min(axis=0).tolist() == entry.min and found.max(axis=0).tolist() == entry.max
    return found


def mesh(model, number):
    (part,) = model.meshes[number].primitives
    corners = values(model, part.indices).reshape(-1, 3)
    return values(model, part.attributes.POSITION).astype(float), values(model, part.attributes.NORMAL), corners


def volume(places, corners):
    """By the divergence theorem [mm3]."""
    a, b, c = (1e3 * places[corners[:, i]] for i in range(3))
    return float(np.sum(np.cross(a, b) * c)) / 6


def assert_closed(places, normals, corners):
    """Every edge is used once in each sense; normals are of length 1 and on the side that the corners turn to."""
    _, same = np.unique(np.round(places, 9), axis=0, return_inverse=True)
    edges = Counter()
    for i, j in ((0, 1), (1, 2), (2, 0)):
        edges.update(zip(same[corners[:, i]].tolist(), same[corners[:, j]].tolist(), strict=True))
    assert all(edges[b, a] == count for (a, b), count in edges.items())
    assert np.linalg.norm(normals, axis=1) == pytest.approx(1.0, abs=1e-6)
    a, b, c = (places[corners[:, i]] for i in range(3))
    flat = np.cross(b - a, c - a)
    flat /= np.linalg.norm(flat, axis=1)[:, None]
    for i in range(3):
        assert np.min(np.sum(flat * normals[corners[:, i]], axis=1)) > 0.8


def children(model, number):
    return {model.nodes[child].name: child for child in model.nodes[number].children}


def test_model_of_two_rotors_for_a_page():
    """y along the axis, metres; the rotor as one node that says that it turns; magnets coloured by their poles."""
    model = loaded(fan())
    (top,) = model.scenes[0].nodes
    root = model.nodes[top]
    x, y, z, w = root.rotation
    axis = [2 * (x * z + w * y), 2 * (y * z - w * x), 1 - 2 * (x * x + y * y)]  # where z goes
    assert axis == pytest.approx([0, 1, 0], abs=1e-12)
    groups = children(model, top)
    assert list(groups) == ["rotor", "stator", "spaces"]
    assert model.nodes[groups["rotor"]].extras == {"turns": True}
    assert not model.nodes[groups["stator"]].extras
    rotors = children(model, groups["rotor"])
    assert list(rotors) == ["upper rotor", "lower rotor"]
    upper, lower = (children(model, rotors[name]) for name in rotors)
    assert len(upper) == 11 and list(upper)[:2] == ["magnet 1 N", "magnet 2 S"] and "magnet 1 S" in lower
    second = model.nodes[upper["magnet 2 S"]]
    assert degrees(2 * atan2(second.rotation[2], second.rotation[3])) == pytest.approx(36)
    assert second.translation == pytest.approx([0, 0, 1.2e-3])
    # Equal magnets share a mesh, so that the file stays light.
    assert model.nodes[upper["magnet 1 N"]].mesh == model.nodes[lower["magnet 2 N"]].mesh
    materials = {material.name: material for material in model.materials}
    red, blue = (materials[f"magnet {pole}"].pbrMetallicRoughness.baseColorFactor for pole in "NS")
    assert red[0] > 4 * red[2] and blue[2] > 4 * blue[0]
    assert materials["space"].alphaMode == "BLEND"
    assert len(model.binary_blob()) < 300_000
    assert_volumes(model)


def assert_volumes(model):
    """Within what chords of 0.02 mm leave; every surface closed."""
    plate = ring(0, 62, 5) - 3 * ring(0, 3.2, 5) - ring(0, 5, 5) - 0.8 * ring(28, 52, 1.5)
    wanted = {
        "magnet N": 0.8 / 10 * ring(28, 52, 2), "rotor plate": plate, "rotor plate, lower": plate,
        "board": ring(23, 61, 1.6) - 4 * ring(0, 1, 1.6), "air gap": ring(28, 52, 1.2),
    }  # fmt: skip
    found = {entry.name: mesh(model, number) for number, entry in enumerate(model.meshes)}
    assert set(found) == set(wanted) | {"magnet S", "bore kept free"}
    for name, (places, normals, corners) in found.items():
        assert_closed(places, normals, corners)
        if name in wanted:
            assert volume(places, corners) == pytest.approx(wanted[name], rel=3e-3), name


def test_pockets_that_touch_and_holes_in_them():
    """Pockets of a closed Halbach ring are one; no corner is left between them."""
    magnet = HALBACH | {"arc_ratio": 1.0, "segments_per_pole": 3}
    changes = {"rotor.plate": THROUGH, "rotor.back_iron_mm": 0.0, "rotor.magnet": magnet}
    model = loaded(design("photogrammetry-stage", envelope=None, **changes))
    (number,) = (number for number, entry in enumerate(model.meshes) if entry.name == "rotor plate")
    places, normals, corners = mesh(model, number)
    assert_closed(places, normals, corners)
    plate = ring(50, 120, 6) - ring(68, 102, 2) - 24 * ring(0, 6, 6 - 2)
    assert volume(places, corners) == pytest.approx(plate, rel=3e-3)


def test_balls_and_turning_slip_rings():
    """Both turn with the rotor or not, as they do; a ball is round to 3 %, which an eye does not see."""
    model = loaded(design("photogrammetry-stage", slip_ring=BALLS))
    groups = children(model, model.scenes[0].nodes[0])
    assert list(groups) == ["rotor", "stator", "slip rings, turning", "slip rings, still", "balls", "spaces"]
    turning = [name for name, number in groups.items() if model.nodes[number].extras]
    assert turning == ["rotor", "slip rings, turning"]
    balls = [model.nodes[number] for number in children(model, groups["balls"]).values()]
    places, normals, corners = mesh(model, balls[0].mesh)
    assert_closed(places, normals, corners)
    assert volume(places, corners) == pytest.approx(pi / 6 * 3**3, rel=0.03)
    middle = places.mean(axis=0)
    assert hypot(*(places[0] - middle)[:2], (places[0] - middle)[2]) == pytest.approx(1.5e-3, rel=0.01)
