"""How far the answers to the requirement may be off, by what readings and logs leave open."""

from dataclasses import replace

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.pipeline import worked
from pcbstator.bench.built.logged import log_settings, log_steps
from pcbstator.bench.built.margins import LeftOpen, half_widths
from pcbstator.bench.logs.known import known_drive
from pcbstator.bench.logs.result import LogRow
from pcbstator.bench.machine_state import machine_state
from pcbstator.bench.result import Comparison
from pcbstator.output.bench_report.built.section import built_section
from pcbstator.output.bench_report.built.words import requirement_rows
from tests.bench.test_built import bench_of, built_of
from tests.bench.test_built_from_logs import ANY
from tests.command import DESIGNS

STAGE = next(path for path in DESIGNS if path.stem == "photogrammetry-stage")
RESERVE = "torque_reserve_percent"


@pytest.fixture(scope="module")
def design():
    return pcbstator.load_design(STAGE).with_values({"build": None})


@pytest.fixture(scope="module")
def built(design):
    """With so small a current that the supply's voltage never counts."""
    slow = design.with_values({"drive.current_limit_peak_a": 0.4, "requirement.repeatability_deg": None})
    return built_of(slow, bench_of(machine_state(slow)))


def reserve_of(motor):
    return next(one for one in motor.found.other.requirement if one.name == RESERVE)


def test_the_reserve_of_torque_is_as_sure_as_the_torque_constant(built):
    """Torque at the driver's largest current is the constant times that current; what the load needs is not read. So
    reserve = constant current / needed - 1, and its spread is (1 + reserve) times that of the constant, which the
    estimate gives on its own way, by its straight lines.
    """
    spread = next(each.spread for each in built.outcomes if each.key == "torque_constant_n_m_per_a")
    by_hand = 1.96 * (100 + reserve_of(built).value) * spread
    assert built.half_widths[RESERVE] == pytest.approx(by_hand, rel=0.02)
    assert built.half_widths["move_time_s"] == pytest.approx(0.0, abs=1e-9)  # speed and acceleration are asked for


def test_a_line_met_by_less_is_said_to_be_so(built):
    """The limit at a half and at twice the half-width below the value; then above it."""
    wide, value = built.half_widths[RESERVE], reserve_of(built).value

    def with_limit(limit):
        verdict = "met" if value >= limit else "not met"
        lines = tuple(
            replace(one, limit=limit, verdict=verdict) if one.name == RESERVE else one
            for one in built.found.other.requirement
        )
        pairs = tuple(
            replace(pair, other=next(one for one in lines if one.name == pair.name)) for pair in built.found.requirement
        )
        both = replace(built.found, other=replace(built.found.other, requirement=lines), requirement=pairs)
        return replace(built, found=both)

    near, clear, missed = (with_limit(value + part * wide) for part in (-0.5, -2.0, 0.5))
    assert near.decision.startswith("Go, but not for sure") and RESERVE in near.decision and not near.go
    assert clear.decision.startswith("Go: ") and clear.go
    assert missed.decision.startswith("No-go") and "Missed by less than the readings leave open" in missed.decision
    words = [next(row.other for row in requirement_rows(motor) if "reserve" in row.name) for motor in (near, clear)]
    assert words[0].startswith("met, but within what the readings leave open: ± ")
    assert words[1].startswith("met: ") and "±" in words[1]
    assert '<td class="open">met, but within' in built_section(Comparison("", "", "", (), built=(near,)), "decision")
    told = [next(one for one in motor.to_dict()["requirement"] if one["name"] == RESERVE) for motor in (near, clear)]
    assert [one["left_open"] for one in told] == [True, False]
    assert told[0]["half_width_95"] == wide


def test_inertia_of_a_log_by_hand(design):
    """The largest torque of the move is the inertia's times the acceleration and friction's; d(reserve)/dJ = -available
    acceleration / needed squared, with all three from the prediction.
    """
    known, motion = known_drive(machine_state(design), (), ANY, 0.02), worked(design).motion
    acceleration = np.radians(design.document["motion"]["acceleration_deg_s2"])
    sigma = 0.01 * 1.5 * known.inertia
    row = LogRow("inertia", "move", "inertia", 1.5 * known.inertia, sigma, "kg·m²", known.inertia, 0.1 * known.inertia)
    steps = list(log_steps([row], known))
    heavier = worked(design.with_values({each.key: each.value for each in log_settings([row], known)}))
    needed, there = heavier.motion.required_peak, heavier.motion.available_peak
    by_hand = 1.96 * 100 * there * acceleration * sigma / needed**2
    assert motion.required_peak < needed
    assert half_widths(heavier, LeftOpen(None, steps))[RESERVE] == pytest.approx(by_hand, rel=0.03)
