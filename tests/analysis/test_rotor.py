"""The rotor's field once for iron, copper and forces, and one table for many boards."""

from pathlib import Path

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.magnetic.rotor_field import copper_span, magnet_footprint, rotor_field, rotor_iron, rotor_source
from pcbstator.analysis.mechanical.rotor import mechanical_results
from pcbstator.analysis.shared import Shared
from pcbstator.errors import LawRangeError

DESIGNS = sorted((Path(__file__).parents[2] / "designs").glob("*.toml"))
every_design = pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)


@every_design
def test_one_source_serves_iron_field_and_forces(path):
    """As from other modes, further out and further in: field to 3e-4 of its peak, iron and axial force to 0.1 %."""
    design = pcbstator.load_design(path)
    footprint, (inner, outer) = magnet_footprint(design), copper_span(design)
    iron, own = rotor_iron(design), rotor_iron(design, rotor_source(design, span=(0.7 * inner, 1.3 * outer)))
    assert iron.source.modes.boundaries.tolist() != own.source.modes.boundaries.tolist()
    assert iron.back_iron.mean == pytest.approx(own.back_iron.mean, rel=1e-3)
    field, alone = rotor_field(design, iron), rotor_field(design, own)
    assert np.abs(field.values - alone.values).max() < 3e-4 * np.abs(alone.values).max()
    one, other = mechanical_results(design, footprint, iron), mechanical_results(design, footprint, own)
    # The axial force is summed over more orders than the field.
    assert (one.axial_force is None) == (rotor_source(design).orders[-1] == 25)
    assert one.axial_force is None or one.axial_force == pytest.approx(other.axial_force, rel=1e-3)
    assert one.magnet_flux == pytest.approx(other.magnet_flux, abs=2e-3 * design.rotor.magnet.remanence)


@every_design
def test_one_table_serves_many_boards(path):
    """A wider table and one of the fundamental alone hold the same field: 0.1 % of the peak."""
    design = pcbstator.load_design(path)
    board = design.board
    inner, outer = board.copper_inner_diameter / 2, board.copper_outer_diameter / 2
    plain = rotor_field(design)
    span = 0.9 * inner, 1.1 * outer
    wide = rotor_field(design, span=span, orders=np.array([1]))
    assert (wide.inner, wide.outer) == span and wide.orders.tolist() == [1]
    radii, peak = np.linspace(inner, outer, 200), np.abs(plain.values[0]).max()
    for index in range(len(plain.distances)):
        assert np.abs(wide.at(radii, index)[0] - plain.at(radii, index)[0]).max() < 1e-3 * peak
    with pytest.raises(LawRangeError, match="serves radii"):
        plain.at(np.array([span[1]]), 0)
    shared = rotor_field(design, rotor_iron(design, rotor_source(design, span=span)), span=span)
    assert np.abs(shared.at(radii, 0)[0] - plain.at(radii, 0)[0]).max() < 1e-3 * peak


@every_design
def test_steel_that_ends_elsewhere_is_another_rotor(path):
    """A study's shared tables must not mix rotors whose steel differs in its ends alone."""
    design = pcbstator.load_design(path)
    wider = design.with_values({"rotor.iron_outer_diameter_mm": 1e3 * (2 * design.board.copper_outer_diameter)})
    shared = Shared()
    near, far = (shared.field(each, every_order=False) for each in (design, wider))
    assert near.values.tolist() != far.values.tolist()
