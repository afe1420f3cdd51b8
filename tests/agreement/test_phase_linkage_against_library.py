"""Slope of a whole phase's flux linkage against a general magnetostatics library (magpylib).

The library's B_z is summed along the exported centre-lines, dpsi/dalpha = ∮ r·B_z(r, theta − alpha) dr. Magnets of
recoil permeability 1; ideal iron behind them by mirror images, which double the thickness of a single rotor's magnets.
"""

import magpylib
import numpy as np
import pytest

from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.magnetic.rotor_field import (
    magnet_layers,
    path_linkages,
    phase_linkages,
    rotor_field,
    rotor_source,
)
from pcbstator.analysis.magnetic.waveforms import linkage_slopes
from pcbstator.copper import lay_copper
from pcbstator.design import DiscMagnet, design_from_document
from pcbstator.output.drawing.centrelines import centrelines
from pcbstator.physics.magnetics.steel import SaturatedIron

ANGLES = np.array([0.3, 1.5])  # electrical [rad]
GAUSS = np.array([-1, 1]) / np.sqrt(3)
MAGNETS = {
    "sector": {"shape": "sector", "inner_diameter_mm": 36.0, "outer_diameter_mm": 64.0, "arc_ratio": 0.8},
    "disc": {"shape": "disc", "diameter_mm": 13.0, "circle_diameter_mm": 50.0},
    "block": {"shape": "block", "length_mm": 13.0, "width_mm": 9.0, "circle_diameter_mm": 50.0},
}


def machine(shape, **rotor):
    document = {
        "title": "Agreement",
        "winding": {"coils": 6, "turns": 4},
        "board": {
            "layers": 2, "track_width_mm": 0.8, "track_gap_mm": 0.3,
            "copper_inner_diameter_mm": 30.0, "copper_outer_diameter_mm": 76.0,
        },
        "rotor": {
            "poles": 8, "air_gap_mm": 1.0, **rotor,
            "magnet": MAGNETS[shape] | {"thickness_mm": 3.0, "remanence_t": 1.3, "recoil_permeability": 1.0},
        },
    }  # fmt: skip
    return design_from_document(document)


def rings(design):
    """Every magnet of both rotors as the library's bodies, images of ideal iron included."""
    rotor, magnet = design.rotor, design.rotor.magnet
    thickness = magnet.thickness * (2 if rotor.back_iron > 0 else 1)
    bottoms = [rotor.air_gap]
    if rotor.arrangement == "double":
        bottoms.append(-design.board.thickness - rotor.air_gap - thickness)
    for pole in range(rotor.poles):
        axis = 2 * np.pi * pole / rotor.poles
        polarization = (0, 0, magnet.remanence * (-1 if pole % 2 == 0 else 1))
        for bottom in bottoms:
            height = bottom + thickness / 2
            if magnet.shape == "sector":
                half = np.degrees(magnet.arc_ratio * np.pi / rotor.poles)
                size = (magnet.inner_diameter / 2, magnet.outer_diameter / 2, thickness)
                middle = np.degrees(axis)
                yield magpylib.magnet.CylinderSegment(
                    polarization=polarization, dimension=(*size, middle - half, middle + half), position=(0, 0, height)
                )
                continue
            centre = magnet.circle_diameter / 2
            place = (centre * np.cos(axis), centre * np.sin(axis), height)
            if isinstance(magnet, DiscMagnet):
                yield magpylib.magnet.Cylinder(
                    polarization=polarization, dimension=(magnet.diameter, thickness), position=place
                )
            else:
                block = magpylib.magnet.Cuboid(
                    polarization=polarization, dimension=(magnet.length, magnet.width, thickness), position=place
                )
                yield block.rotate_from_angax(np.degrees(axis), "z")


def library_slopes(design, copper):
    """dpsi/dalpha of phase A at the electrical ANGLES, three filaments across the width."""
    points, weights = [], []
    for path in centrelines(copper, conductors_of(design, copper).path_shares)["phases"][0]["paths"]:
        for track in path["tracks"]:
            line = 1e-3 * np.array(track["points_mm"])
            a, b = line[:-1], line[1:]
            step = b - a
            across = (
                np.stack([-step[:, 1], step[:, 0]], axis=1) / np.hypot(*step.T)[:, None] * 1e-3 * track["width_mm"] / 2
            )
            for node, share in zip(*np.polynomial.legendre.leggauss(2), strict=True):
                for place in GAUSS:
                    at = (a + b) / 2 + place * step / 2 + node * across
                    points.append(np.column_stack([at, np.full(len(at), 1e-3 * track["z_mm"])]))
                    weights.append(path["share"] * share / 2 * (at * step).sum(axis=1) / 2)
    points, weights = np.concatenate(points), np.concatenate(weights)
    bodies = magpylib.Collection(*rings(design))
    slopes = []
    for angle in ANGLES / (design.rotor.poles / 2):
        cos, sin = np.cos(-angle), np.sin(-angle)
        turned = np.column_stack(
            [points[:, 0] * cos - points[:, 1] * sin, points[:, 0] * sin + points[:, 1] * cos, points[:, 2]]
        )
        slopes.append(float(weights @ bodies.getB(turned)[:, 2]))
    return np.array(slopes)


ROTORS = {"no iron": {}, "ideal iron": {"back_iron_mm": 2.0}, "two rotors": {"arrangement": "double"}}
# The library is slow on ring segments: two of their cases take half a minute each.
CASES = [
    pytest.param(shape, rotor, id=f"{shape}, {name}", marks=[pytest.mark.slow] if shape == "sector" else [])
    for shape in MAGNETS
    for name, rotor in ROTORS.items()
]


@pytest.mark.parametrize(("shape", "rotor"), CASES)
def test_whole_phase(shape, rotor):
    """Within 0.5 % of the peak slope."""
    design = machine(shape, **rotor)
    copper = lay_copper(design)
    ideal = SaturatedIron(magnet_layers(design), rotor_source(design), None, None)
    field = rotor_field(design, ideal)
    linkages = phase_linkages(conductors_of(design, copper), path_linkages(copper, field))
    ours = linkage_slopes(linkages, field.orders, field.pole_pairs, ANGLES)[0]
    peak = field.pole_pairs * abs(linkages[0, 0])
    assert ours == pytest.approx(library_slopes(design, copper), abs=5e-3 * peak)
