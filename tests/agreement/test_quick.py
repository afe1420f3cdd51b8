"""The stages of a search against the whole prediction: the same numbers, whatever was asked for before."""

from __future__ import annotations

from functools import cache
from typing import Any
from unittest.mock import patch

import pytest

from pcbstator.analysis.electrical.inductance import most_inductance
from pcbstator.analysis.pipeline import predict_design
from pcbstator.analysis.prediction import Prediction
from pcbstator.analysis.shared import Recent, Shared
from pcbstator.analysis.stages import ERROR_KEYS, HEAT_KEYS, JOB_KEYS, STAGE_OF, STAGES, WHOLE_KEYS, Work, run_stage
from pcbstator.design import load_design
from pcbstator.errors import DesignError, LawRangeError
from tests.command import DESIGNS
from tests.random_designs import drawn_design

CLOSE = 1e-3
EVERYTHING = frozenset(STAGE_OF)
STAGE = load_design(next(path for path in DESIGNS if path.stem == "photogrammetry-stage"))
MOTION = frozenset(key for key in JOB_KEYS - HEAT_KEYS - WHOLE_KEYS - ERROR_KEYS if key.startswith("motion."))
SPAN = 0.016, 0.125  # m, of all designs that are drawn


def flat(prediction: Prediction) -> dict[str, float]:
    """Every number of a prediction that a stage gives."""
    found: dict[str, float] = {}
    for group, values in prediction.to_dict().items():
        if isinstance(values, dict):
            named = {f"{group}.{key}": value for key, value in values.items() if isinstance(value, int | float)}
            found |= {key: value for key, value in named.items() if key in STAGE_OF}
    return found


def carried(design: Any, shared: Shared, wanted: frozenset[str] = EVERYTHING, stages: tuple[str, ...] = STAGES) -> Work:
    """A design after all stages, or some."""
    work = Work(design)
    for stage in stages:
        run_stage(stage, [work], shared, wanted)
    return work


def predicted(design: Any, with_inductance: bool) -> Prediction:
    """The whole prediction, or all of it but the inductance, a third of its time, which a delta's heat needs."""
    if with_inductance or design.winding.connection == "delta":
        return predict_design(design)
    none = {"phase_inductance": 1e-3, "mutual_inductance": 0.0, "synchronous_inductance": 1e-3, "inductance_matrix": ()}
    with patch("pcbstator.analysis.stages.inductance_figures", return_value=none):
        return predict_design(design)


def closeness(design: Any, expected: dict[str, float], key: str) -> dict[str, float]:
    """How near a quick result must be: 0.1 %. The loss of a steel plate beyond the board goes with the square of the
    field at its face, of which shared tables leave 0.1 % open: 0.3 %. Torque that is left after the drag may be nearly
    nothing, so that what is produced and what the drag takes are held, each by itself.
    """
    lossy = 3 * CLOSE if design.rotor.stator_iron > 0 else CLOSE
    if key == "thermal.continuous_torque_n_m":
        produced = expected["magnetic.torque_constant_n_m_per_a"] * 2**0.5
        produced *= expected.get("thermal.continuous_phase_current_rms_a", 0.0)
        return {"rel": CLOSE, "abs": CLOSE * produced + lossy * abs(produced - expected[key])}
    return {"rel": lossy if key == "thermal.continuous_eddy_w" else CLOSE, "abs": 1e-11}


def compare(seeds: range) -> tuple[int, int]:
    """Holds the quick results of drawn designs against their predictions; how many were laid, and how many refused."""
    shared, laid, refused = Shared(*SPAN), 0, 0
    for seed in seeds:
        try:
            design = drawn_design(seed)
        except DesignError:
            continue  # of the file itself: no stage is reached
        stages = STAGES if seed % 2 == 0 else STAGES[:3]  # the dear inductance of every other
        work = carried(design, shared, stages=stages)
        try:
            whole = predicted(design, "inductance" in stages)
        except DesignError as error:
            assert isinstance(work.refusal, DesignError), seed
            ours, theirs = work.refusal.complaints[0], error.complaints[0]
            assert (ours.key, ours.rule, ours.value) == (theirs.key, theirs.rule, theirs.value)
            assert ours.remedy
            refused += 1
            continue
        if isinstance(work.refusal, LawRangeError):
            assert str(work.refusal) in whole.out_of_range + whole.thermal.out_of_range, seed
            refused += 1
            continue
        assert work.refusal is None, (seed, work.refusal)
        expected = {key: value for key, value in flat(whole).items() if STAGE_OF[key] in stages}
        assert set(expected) == set(work.results), (seed, set(expected) ^ set(work.results))
        for key, value in expected.items():
            assert work.results[key] == pytest.approx(value, **closeness(design, expected, key)), (seed, key)
        laid += 1
    return laid, refused


def test_some_designs() -> None:
    laid, refused = compare(range(12))
    assert laid > 7 and refused > 0


@pytest.mark.slow
@pytest.mark.parametrize("first", (1000, 1032))
def test_many_designs(first: int) -> None:
    """Some 50 designs in all that can be laid, half of them with inductance."""
    laid, _ = compare(range(first, first + 32))
    assert laid >= 20


JOB: dict[str, Any] = {
    "load": {"inertia_kg_m2": 0.004},
    "bearing": {"friction_n_m": 0.004, "standstill_friction_n_m": 0.006,
                "friction_spots": [{"angle_deg": 40.0, "width_deg": 10.0, "extra_n_m": 0.002}]},
    "motion": {"move_deg": 90.0, "speed_rpm": 20.0, "acceleration_deg_s2": 90.0, "dwell_s": 1.0},
    "drive": {"supply_v": 24.0, "current_limit_peak_a": 1.0, "pwm_khz": 50.0, "sensor_counts": 16384,
              "sensor_noise_deg": 0.01},
}  # fmt: skip
FAST = {"motion.speed_rpm": 2000.0, "motion.acceleration_deg_s2": 1e6, "drive.supply_v": 6.0}  # where voltage binds


def job_design(seed: int) -> Any:
    """A drawn design with the job of a slow stage, or of a fast fan that its supply hardly feeds."""
    design = drawn_design(seed).with_values(JOB)
    return design.with_values(FAST) if seed % 3 == 0 else design


@cache
def whole_of_job(seed: int) -> Prediction:
    """Its whole prediction."""
    return predict_design(job_design(seed))


def near(key: str, value: float, expected: dict[str, float]) -> Any:
    """What a quick result of the job must be: 0.1 % of it, or of what it is the difference of. Braking by eddies goes
    with the square of the field.
    """
    whole = {
        "motion.peak_torque_reserve_ratio": 1 + value,
        "motion.continuous_torque_reserve_ratio": 1 + value,
        "motion.largest_friction_n_m": expected.get("motion.available_peak_torque_n_m", 0.0),
        "motion.drag_torque_n_m": 3 * value,
        "motion.supply_current_mean_a": expected.get("motion.supply_current_peak_a", 0.0),
        "motion.cycle_shortest_rest_s": expected.get("motion.cycle_time_s", 0.0),
        "motion.braking_energy_j": expected.get("motion.cycle_energy_j", 0.0),
    }
    return pytest.approx(value, rel=CLOSE, abs=CLOSE * abs(whole.get(key, 0.0)) + 1e-11)


@pytest.mark.parametrize(
    ("asked", "seeds"),
    [pytest.param(MOTION, range(2000, 2012), marks=pytest.mark.slow), (JOB_KEYS, range(2000, 2006)),
     pytest.param(JOB_KEYS, range(2006, 2012), marks=pytest.mark.slow)],
    ids=["motion", "motion and driver", "more of both"],
)  # fmt: skip
def test_the_job(asked: frozenset[str], seeds: range) -> None:
    """All of the job, and that part of it which does not need to know the inductance where that makes no difference."""
    found, shared, without = 0, Shared(*SPAN), 0
    for seed in seeds:
        try:
            design = job_design(seed)
            whole = whole_of_job(seed)
            work = carried(design, shared, asked, tuple(stage for stage in STAGES if stage != "inductance"))
            if work.refusal is not None:
                continue
        except DesignError:
            continue
        expected = {key: value for key, value in flat(whole).items() if key in asked}
        got = {key: value for key, value in work.results.items() if key in asked}
        assert set(expected) == set(got), (seed, set(expected) ^ set(got))
        for key, value in expected.items():
            assert got[key] == near(key, value, expected), (seed, key)
        found, without = found + 1, without + (work.inductances is None)
    assert found > len(seeds) / 2
    assert without > 2 or asked is JOB_KEYS


def test_no_phase_has_more_inductance_than_that() -> None:
    laid = 0
    for seed in range(2100, 2120):
        try:
            work = carried(drawn_design(seed), Shared(*SPAN), stages=("copper", "inductance"))
        except DesignError:
            continue
        if work.inductances is not None:
            assert work.inductances.synchronous_inductance < most_inductance(work.design, work.laid[1]), seed
            laid += 1
    assert laid > 12


def test_neither_order_nor_company_matters() -> None:
    designs = [STAGE.with_values({"winding.turns": turns, "board.layers": layers})
               for turns in (3, 5, 40) for layers in (2, 4)]  # fmt: skip
    works = [[Work(design) for design in row] for row in (designs, designs[::-1])]
    for row in works:
        shared = Shared(*SPAN)
        for stage in STAGES[:3]:
            run_stage(stage, row, shared, EVERYTHING)
    for one, other in zip(works[0], works[1][::-1], strict=True):
        alone = Work(one.design)
        for stage in STAGES[:3]:
            run_stage(stage, [alone], Shared(*SPAN), EVERYTHING)
        assert one.results == other.results == alone.results
        assert str(one.refusal) == str(other.refusal) == str(alone.refusal)
    assert works[0][-1].refusal is not None and works[0][0].refusal is None


def test_the_fundamental_alone_is_that_of_all_orders() -> None:
    psi = "magnetic.flux_linkage_peak_wb"
    few, all_orders = carried(STAGE, Shared(*SPAN), frozenset([psi])), carried(STAGE, Shared(*SPAN))
    assert few.results[psi] == pytest.approx(all_orders.results[psi], rel=1e-9)
    assert "magnetic.torque_ripple_ratio" not in few.results and "magnetic.torque_ripple_ratio" in all_orders.results
    assert "mechanical.rotor_inertia_kg_m2" not in few.results


def test_a_refused_design_is_left_as_it_is() -> None:
    work = Work(STAGE.with_values({"winding.turns": 60}))
    run_stage("copper", [work], Shared())
    assert isinstance(work.refusal, DesignError) and work.refusal.complaints[0].key == "winding.turns"
    known = dict(work.results)
    for stage in STAGES[1:]:
        run_stage(stage, [work], Shared(), EVERYTHING)
    assert work.results == known


def test_what_is_kept_is_bounded() -> None:
    kept: Recent[int, int] = Recent(100.0, float)
    assert [kept.get(number, lambda number=number: 10 * number) for number in (1, 2, 3, 4)] == [10, 20, 30, 40]  # type: ignore[misc]
    assert kept.get(1, lambda: 0) == 10 and kept.get(2, lambda: 20) == 20  # 100 in all: the first is still there
    assert kept.get(9, lambda: 90) == 90
    assert kept.get(1, lambda: 7) == 7  # gone, as they would have been more than 100 together
