"""The way from a brush to the terminal of its slip ring against the current in the copper of the written files."""

import tomllib
from dataclasses import replace
from math import pi
from pathlib import Path

import numpy as np
import pytest
import shapely

import pcbstator
from pcbstator.design import design_from_document
from pcbstator.output.fabrication.package import SLIP_RING_FOLDER, ordered_files
from tests.agreement.sheet import read_board, terminal_resistances
from tests.check.test_findings import SLIP_RING, SOUND

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "materials.toml").read_text())
RING = {"inner_diameter_mm": 40.0, "width_mm": 2.0, "spacing_mm": 1.0}
CASES = {
    "four rings": {},
    "leads inwards": {"lead_edge": "inner", "inner_diameter_mm": 60.0},
    "one via": {"rings": 1, "vias": 1},
    "two vias": {"vias": 2},
    "many vias": {"vias": 5, "width_mm": 3.0},
    "wide leads": {"rings": 3, "current_rms_a": 7.0, "copper_um": 70.0, "width_mm": 5.0, "spacing_mm": 2.0},
    "thin leads": {"rings": 6, "inner_diameter_mm": 30.0, "current_rms_a": 0.5, "width_mm": 1.5},
}
QUICK = {"leads inwards", "one via"}  # the others take longer


def brush(section, index):
    """A line across ring ``index``, opposite its vias, as a strip of 10 um [mm]."""
    angle = 2 * pi * index / section.rings + pi
    middle = section.inner_diameter / 2 + section.width / 2 + index * (section.width + section.spacing)
    across = 1e3 * (middle + np.array([-0.6, 0.6]) * section.width)
    return shapely.LineString(across[:, None] * [np.cos(angle), np.sin(angle)]).buffer(0.005, cap_style="flat")


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[] if name in QUICK else pytest.mark.slow) for name in CASES]
)
def test_paths(name):
    """Within 2 %, and not too low by more than the solution's own bound."""
    design = design_from_document(SOUND | {"slip_ring": SLIP_RING | RING | CASES[name]}, "rings.toml")
    section, copper = design.slip_ring, pcbstator.lay_copper(design)
    prediction = pcbstator.predict(design, copper)
    own = ordered_files(design, copper)[1][SLIP_RING_FOLDER]
    rho, layers = PUBLISHED["copper"]["resistivity_ohm_m"], [section.copper] * 2
    board = read_board(own, layers, [0.0, -section.thickness], section.via_plating, rho)
    brushes = {f"brush {index}": brush(section, index) for index in range(section.rings)}
    found = terminal_resistances(replace(board, brushes=brushes), halvings=1)
    drawn = np.array([found[f"R{index + 1}", f"brush {index}"] for index in range(section.rings)])
    predicted = np.array(prediction.to_dict()["slip_ring"]["path_resistances_ohm"])
    assert predicted == pytest.approx(drawn, rel=0.02)
    assert np.all(predicted > 0.998 * drawn)
