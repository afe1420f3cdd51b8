"""Slip rings: currents and spacings as printed, resistances against closed forms, sizes that suffice."""

import tomllib
from math import pi
from pathlib import Path

import pytest

import pcbstator
from pcbstator.analysis.electrical.slip_ring import slip_ring_results, via_current
from pcbstator.design import design_from_document
from pcbstator.errors import DesignError
from tests.check.test_findings import SLIP_RING, SOUND

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "trace_current.toml").read_text())
OUNCE_UM = 1.378 * 25.4
RHO = 1.7241e-8  # ohm m at 20 C, IEC 60028


def design_of(**values):
    return design_from_document(SOUND | {"slip_ring": SLIP_RING | values}, "rings.toml")


@pytest.mark.parametrize("row", PUBLISHED["ipc_2221"]["widths_1oz"])
@pytest.mark.parametrize("rise", [10, 20])
def test_leads_are_as_wide_as_printed(row, rise):
    """Where IPC-2221 wants more than the rule set and the vias do."""
    wanted = row[f"ext_{rise}_mm"]
    found = slip_ring_results(
        design_of(current_rms_a=row["current_a"], copper_um=OUNCE_UM, temperature_rise_k=rise, inner_diameter_mm=80.0)
    )
    assert 1e3 * found.lead_width == pytest.approx(max(wanted, 0.3), rel=0.00006 / wanted)  # half of the last digit
    assert found.lead_allowed_current >= row["current_a"] * (1 - 1e-9)


@pytest.mark.parametrize("case", PUBLISHED["ipc_2221"]["currents_1oz_external_10k"])
def test_rings_stand_what_is_printed(case):
    width = case["width_mm"]
    small = {"via_pad_mm": 0.15, "via_drill_mm": 0.1, "width_mm": max(width, 0.3)}
    found = slip_ring_results(
        design_of(copper_um=OUNCE_UM, temperature_rise_k=10, current_rms_a=0.2, lead_width_mm=width, **small)
    )
    assert found.lead_allowed_current == pytest.approx(case["current_a"], rel=0.0006 / case["current_a"])
    if width >= 0.3:
        assert found.ring_allowed_current == pytest.approx(case["current_a"], rel=0.0006 / case["current_a"])


def test_a_via_is_an_inner_track_of_its_barrel_s_section():
    """A barrel as large as the printed 1 A track inside (1 oz, 20 K) stands 1 A."""
    width = next(row["int_20_mm"] for row in PUBLISHED["ipc_2221"]["widths_1oz"] if row["current_a"] == 1.0)
    plating = 0.02
    drill = width * 1e-3 * OUNCE_UM / (pi * plating) + plating  # mm
    section = design_of(via_drill_mm=drill, via_pad_mm=drill + 0.3, via_plating_um=1e3 * plating).slip_ring
    assert via_current(section) == pytest.approx(1.0, rel=1e-4)  # four digits printed, to the power 0.725


@pytest.mark.parametrize("row", PUBLISHED["spacing"]["rows"])
def test_spacings_are_the_printed_ones(row):
    found = slip_ring_results(design_of(voltage_v=row["to_v"]))
    _, b2, b4, a6 = row["mm"]
    needed = found.creepage_needed, found.terminal_spacing_needed, found.lead_spacing_needed
    assert [1e3 * value for value in needed] == pytest.approx([b2, max(b2, a6), b4], rel=1e-12)


@pytest.mark.parametrize("row", PUBLISHED["spacing"]["rows"])
def test_spacing_is_judged_by_the_printed_value(row):
    """As drawn: exactly the printed spacing passes, a hundredth of a millimetre less does not."""
    wanted = max(row["mm"][1], row["mm"][3], 0.15)
    for spacing, bad in ((wanted, False), (wanted - 0.01, True)):
        design = design_of(voltage_v=row["to_v"], spacing_mm=spacing)
        found = {finding.code for finding in pcbstator.predict(design).findings if finding.severity == "error"}
        assert bool(found) == bad, (spacing, found)
        assert found <= {"slip_ring.creepage", "slip_ring.rules"}


def test_half_a_ring_and_the_way_to_it():
    """Two halves in parallel: R = rho pi r / (2 w t). One via: R = rho l / (pi (d - t) t). The lead: rho l / (w t),
    less what its end on the terminal takes off.
    """
    found = slip_ring_results(
        design_of(rings=1, inner_diameter_mm=38.0, width_mm=2.0, vias=1, lead_width_mm=0.8, copper_um=35.0)
    )
    assert found.ring_resistance == pytest.approx(RHO * pi * 20e-3 / (2 * 2e-3 * 35e-6), rel=1e-12)
    via = RHO * 1.6e-3 / (pi * 0.28e-3 * 0.02e-3)
    start, end = 21e-3 - 0.3e-3, 21e-3 + 1e-3 + 1e-3  # row flush with the ring; spacing and half a pad beyond it
    lead = RHO * ((end - start) / 0.8e-3 - 0.701) / 35e-6  # in squares: 0.8 mm to 2.0 mm around 1.0 mm
    # The polygon's corners lie 2 um outside the circle, and the terminal keeps its distance from them.
    assert found.lead_resistance == pytest.approx(via + lead, rel=3e-3)
    assert found.path_resistance == pytest.approx(found.ring_resistance + found.lead_resistance, rel=1e-12)
    assert found.loss == pytest.approx(2.0**2 * found.path_resistance, rel=1e-12)
    assert found.ring_gap is None and found.lead_gap is None and found.terminal_gap is None


@pytest.mark.parametrize("edge", ["outer", "inner"])
@pytest.mark.parametrize("current", [0.1, 1.0, 3.0, 6.0, 9.0])
def test_sizes_suffice(edge, current):
    found = slip_ring_results(
        design_of(current_rms_a=current, copper_um=70.0, lead_edge=edge, inner_diameter_mm=60.0, width_mm=4.0)
    )
    assert found.allowed_current >= current * (1 - 1e-9)
    assert found.vias_per_ring >= 2
    assert found.via_worst_current <= found.via_allowed_current


def test_what_no_lead_or_via_can_carry_is_refused():
    with pytest.raises(DesignError, match=r"slip_ring.copper_um: must let leads of 10 mm carry .* = 30"):
        slip_ring_results(design_of(current_rms_a=30.0, copper_um=18.0))
    with pytest.raises(DesignError, match=r"slip_ring.via_drill_mm: must let 64 vias or fewer"):
        slip_ring_results(design_of(current_rms_a=30.0, copper_um=400.0, via_drill_mm=0.05, temperature_rise_k=10.0))


def test_a_design_without_slip_rings_has_no_such_results():
    design = design_from_document(SOUND)
    assert "slip_ring" not in pcbstator.predict(design).to_dict()
    assert pcbstator.lay_slip_ring(design) is None
