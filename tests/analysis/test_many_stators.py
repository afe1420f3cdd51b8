"""What is computed for many stators at once is what each has alone, and one out of range leaves the others alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.electrical.trace_ratings import TraceCase, many_trace_currents, trace_currents
from pcbstator.analysis.magnetic.rotor_field import all_path_linkages, path_linkages, rotor_field
from pcbstator.analysis.thermal.board_network import source_case
from pcbstator.analysis.thermal.ring_sources import SourceCase, ring_sources
from pcbstator.copper import lay_copper, size_design
from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.magnet_ring import joined_fields
from tests.command import DESIGNS

SPAN = 0.012, 0.13  # m, of the copper of all designs


@pytest.fixture(scope="module")
def designs():
    """All designs as they are, and with other magnets, layers and kinds of winding; two of each share a field."""
    made = [size_design(pcbstator.load_design(path)) for path in DESIGNS]
    stage = next(design for design in made if "stage" in design.source)
    thick = {"rotor.magnet.thickness_mm": 5.0}
    return [*made, stage.with_values(thick), made[0], stage.with_values({"board.track_width_mm": 0.2} | thick), made[1]]


@pytest.fixture(scope="module")
def stators(designs):
    """The copper of each with its rotor's field over the same radii; equal rotors have one field."""
    fields, found = {}, []
    for design in designs:
        key = design.rotor.magnet, design.rotor.poles, design.rotor.air_gap, tuple(design.layer_z)
        if key not in fields:
            fields[key] = rotor_field(design, orders=np.array([1, 3]), span=SPAN)
        found.append((lay_copper(design), fields[key]))
    return found


def test_linkages_of_many_are_those_of_each(stators):
    alone = [path_linkages(*stator) for stator in stators]
    for order in (range(len(stators)), np.random.default_rng(3).permutation(len(stators))):
        together = all_path_linkages([stators[index] for index in order])
        assert all(np.array_equal(found, alone[index]) for found, index in zip(together, order, strict=True))


def test_copper_beyond_its_field_leaves_the_others_alone(stators):
    """Integrated at once with it: all have the same table, which ends before the largest of them does."""
    served = max((field for _, field in stators), key=lambda field: len(field.distances))
    by_size = sorted((copper for copper, _ in stators), key=lambda copper: copper.board_outer_radius)
    small, large = by_size[0], by_size[-1]
    field = replace(served, outer=large.board_outer_radius - 2e-3)
    assert small.board_outer_radius < field.outer
    found = all_path_linkages([(small, field), (large, field), (small, field)])
    assert isinstance(found[1], LawRangeError)
    assert np.array_equal(found[0], found[2]) and np.array_equal(found[0], path_linkages(small, field))
    with pytest.raises(LawRangeError):
        path_linkages(large, field)
    with pytest.raises(LawRangeError):
        joined_fields([field, served])


def cases_of(designs, stators, speed=100.0) -> list[SourceCase]:
    return [
        source_case(design, conductors_of(design, copper))._replace(field=field, speed=speed)
        for design, (copper, field) in zip(designs, stators, strict=True)
    ]


def equal(one, other) -> bool:
    return all(np.array_equal(getattr(one, name), getattr(other, name)) for name in vars(one))


def test_sources_of_many_are_those_of_each(designs, stators):
    cases = cases_of(designs, stators)
    alone = [ring_sources([case])[0] for case in cases]
    for order in (range(len(cases)), np.random.default_rng(4).permutation(len(cases))):
        together = ring_sources([cases[index] for index in order])
        assert all(equal(found, alone[index]) for found, index in zip(together, order, strict=True))
    assert ring_sources([]) == []


def test_eddies_out_of_range_leave_the_others_alone(designs, stators):
    cases = cases_of(designs, stators)
    fast = cases[0]._replace(speed=1e7)
    short = cases[1]._replace(field=replace(cases[1].field, outer=0.5 * cases[1].edges[-1]))
    found = ring_sources([cases[0], fast, short, cases[1]])
    assert isinstance(found[1], LawRangeError) and isinstance(found[2], LawRangeError)
    assert equal(found[0], ring_sources([cases[0]])[0]) and equal(found[3], ring_sources([cases[1]])[0])


def test_copper_of_one_shape_counts_by_its_width(stators):
    """A coil of two equal tracks, one of them three times as wide: the linkages of both, and not twice that of one."""
    copper, field = stators[0]
    first = copper.coil.tracks[0]
    wide = replace(first, width=3 * first.width)

    def linkage(*tracks):
        return path_linkages(replace(copper, coil=replace(copper.coil, tracks=tracks)), field)

    narrow, other, both = linkage(first), linkage(wide), linkage(first, wide)
    assert np.abs(narrow - other).max() > 1e-4 * np.abs(narrow).max()
    assert both - narrow == pytest.approx(linkage(wide, wide) - other, rel=1e-9)


def test_standard_currents_of_many_are_those_of_each(designs, stators):
    cases = [
        TraceCase(design, conductors_of(design, copper), 20.0)
        for design, (copper, _) in zip(designs, stators, strict=True)
    ]
    wild = [case._replace(rise=rise) for case, rise in zip(cases, (5.0, 60.0, 500.0), strict=False)]
    together = many_trace_currents([*cases, *wild])
    assert together == [trace_currents(*case) for case in [*cases, *wild]]
    for case, found in zip(wild, together[len(cases) :], strict=True):
        assert (found.ipc2221 is None) == (case.rise != 60.0)  # of the charts: 10 to 100 K
        assert (found.via is None) == (case.rise != 60.0)
        assert (found.by_layer == ()) == (found.ipc2221 is None)
