"""Causes by motion logs and by the test of sensor and driver."""

from dataclasses import replace
from math import log10

import numpy as np
import pytest
from scipy.stats import norm

import pcbstator
from pcbstator.bench.built.commissioning import commissioned, resting_angle
from pcbstator.bench.built.result import BuiltMotor
from pcbstator.bench.causes.beside import with_exchanged_phases, with_inertia
from pcbstator.bench.causes.faults import Fault
from pcbstator.bench.causes.search import SOUND, judgements, with_judgements
from pcbstator.bench.comparison import compared
from pcbstator.bench.load import bench_from_tables
from pcbstator.bench.logs.result import LogRow, MotionLogs
from pcbstator.bench.machine_state import machine_state
from pcbstator.bench.result import Cause, Comparison
from pcbstator.output.bench_report.words import cause_groups
from tests.bench.test_logs_of_simulated_motors import log, stand
from tests.command import DESIGNS

STAGE = next(path for path in DESIGNS if path.stem == "photogrammetry-stage")
PAIR = {"between": ["A", "B"], "ohm": 36.9, "copper_c": 22.0}


@pytest.fixture(scope="module")
def design():
    return pcbstator.load_design(STAGE).with_values({"build": None})


@pytest.fixture(scope="module")
def state(design):
    return machine_state(design)


@pytest.mark.parametrize("times", [1.0, 2.0])
def test_a_load_of_twice_the_inertia_is_named(design, state, tmp_path, times):
    """By the log of a simulated move; the plant of that simulation says how much all that turns has."""
    bodies = [body | {"mass_g": times * body["mass_g"]} for body in design.document["load"]["bodies"]]
    heavy = stand(build=None, load__bodies=bodies)
    bench = log(tmp_path, "move", heavy.run(heavy.moves([0.0, 0.6, 0.0], 0.3), points=4000))
    found = with_inertia(compared(design, bench, state=state))
    assert [cause.name for cause in found.causes] == (["inertia"] if times > 1 else [])
    if times > 1:
        more = 100 * (heavy.plant.inertia / state.work.motion.total_inertia - 1)
        assert more > 80
        told = float(found.verdict.split("Most likely it is ")[1].split(" %")[0])
        assert told == pytest.approx(more, rel=0.03)
        assert found.next.startswith("Weigh what turns")


def row(key, value, assumed, sigma=0.02, spread=0.1, **more):
    return LogRow(key, "move", key, value, sigma * value, "", assumed, spread * assumed, **more)


def logged(*rows, **more):
    return replace(Comparison("", "", "", (), logs=MotionLogs(rows)), **more)


def test_its_evidence_is_the_quotient_of_two_normal_densities():
    found = with_inertia(logged(row("inertia", 1.5, 1.0)))
    near, wide = np.hypot(0.03, 0.1), np.sqrt(0.03**2 + 0.1**2 + 1.0)
    expected = log10(norm.pdf(0.5, scale=wide) / norm.pdf(0.5, scale=near))
    assert found.causes[0].evidence == pytest.approx(expected, rel=1e-9)


def test_it_is_named_only_where_it_is_the_odd_one_out():
    heavy, rubbing = row("inertia", 2.0, 1.0), row("running_friction", 3.0, 1.0)
    assert not with_inertia(logged(row("inertia", 1.2, 1.0))).causes  # within what is assumed
    assert not with_inertia(logged(heavy, rubbing)).causes
    assert not with_inertia(logged(heavy, judged="No single cause explains these readings.")).causes
    assert with_inertia(logged(heavy, judged=SOUND)).causes
    of_two = with_inertia(logged(heavy, replace(rubbing, board="2")))
    assert [cause.motor for cause in of_two.causes] == ["board 1, rotor 1"]
    blamed = logged(heavy, causes=(Cause("air_gap", 3.0),), judged="a gap")
    assert with_inertia(blamed) is blamed


@pytest.mark.parametrize("exchanged", [False, True])
def test_exchanged_phases_by_the_places_where_the_rotor_rests(design, state, exchanged):
    """Wires B and C exchanged: current in at the terminal that is called B goes into phase C."""
    order = (0, 2, 1) if exchanged else (0, 1, 2)
    places = [float(np.degrees(resting_angle(state, phase))) for phase in order]
    tables = {"resistance": [PAIR], "commissioning": [{"sensor_deg": places, "sense": "rises"}]}
    bench = bench_from_tables(tables)
    found = compared(design, bench, state=state)
    judged = judgements(found, bench, state, (Fault("phases_exchanged", "", state),))
    found = with_judgements(found, judged)
    assert [each["name"] for each in found.extra["not_shown"]] == ["phases_exchanged"]
    motor = BuiltMotor("1", "1", commissioned=commissioned(bench.commissioning[0], state))
    found = with_exchanged_phases(found, [motor])
    assert [cause.name for cause in found.causes] == (["phases_exchanged"] if exchanged else [])
    assert found.extra["not_shown"] == []  # the test shows them
    if exchanged:
        assert "follow each other as ACB" in found.verdict and found.next.startswith(
            "The terminals follow each other as ACB: exchange the wires B and C"
        )
    assert found.as_predicted is not exchanged


def test_a_cause_by_other_measurements_stands_beside_not_below():
    causes = (Cause("air_gap", 3.0), Cause("etch", 1.0), Cause("phases_exchanged", 3.0, beside=True))
    heads = [head for head, _ in cause_groups(Comparison("", "", "", (), causes=causes))]
    assert heads == ["what it most likely is", "less likely", "besides, by other measurements"]
