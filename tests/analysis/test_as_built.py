"""The motor as built: a perfect one is the perfect one, single errors follow their closed forms, causes add up."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.special import ive

import pcbstator
from pcbstator.analysis.drive.budget.moving_errors import built_torque_ripple
from pcbstator.analysis.drive.equivalent_machine import built_slopes
from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.magnetic.as_built import Draw, one_magnet, ring_of, sine_torques
from pcbstator.analysis.magnetic.rotor_field import magnet_layers
from pcbstator.analysis.mechanical.built_results import built_results
from pcbstator.analysis.pipeline import worked
from pcbstator.check.ways_out.changes import better_built
from pcbstator.check.ways_out.retrial import judge_of
from pcbstator.copper import size_design
from pcbstator.design.sections.build import Build
from pcbstator.errors import DesignError
from pcbstator.project import simulate
from tests.command import DESIGNS

NONE = dict.fromkeys(
    ("remanence_spread_percent", "magnet_angle_deg", "magnet_radius_mm", "magnetisation_tilt_deg", "rotor_eccentric_mm",
     "rotor_run_out_mm", "board_eccentric_mm", "board_bow_mm", "stack_angle_deg"), 0.0,
)  # fmt: skip
PLACES = {path.stem: path for path in DESIGNS}


@cache
def work_of(name):
    return worked(pcbstator.load_design(PLACES[name]))


def built(name, **spreads):
    work = work_of(name)
    design = work.design.with_values({"build": NONE | {"draws": 400} | spreads})
    return built_results(size_design(design), work.laid[1], work.magnetic, work.mechanical, 10.0)


@pytest.mark.parametrize("name", PLACES)
def test_a_perfect_build_is_the_perfect_motor(name):
    found = built(name)
    assert found.torque_ripple["median"] == pytest.approx(work_of(name).magnetic.torque_ripple, rel=0.02)
    assert found.torque_ripple["p95"] == pytest.approx(found.torque_ripple["median"], rel=1e-9)
    assert found.torque_ripple["parts"] == {} and found.modulation["p95"] < 1e-9 and found.pays is None


@pytest.mark.parametrize("name", PLACES)
def test_the_ring_of_single_magnets_is_the_ring(name):
    """What one magnet links, summed over the ring, is the linkage of the ring but for its steel's ends."""
    work = work_of(name)
    design, pole_pairs = work.design, work.design.rotor.poles // 2
    magnet = one_magnet(design, work.laid[1], magnet_layers(design))
    draw = Draw(design, Build.model_validate({}), magnet.orders)
    total = magnet.phases["itself"] * draw.perfect + magnet.phases["tilted_along"] * draw.perfect_along
    wanted = work.magnetic.linkages[:, 0]
    assert np.abs(total[:, pole_pairs - 1] / wanted - 1).max() < 0.006


def test_all_magnets_stronger_by_the_same_part_change_no_ripple():
    """A uniform error of the remanence scales the EMF and nothing else."""
    work = work_of("photogrammetry-stage")
    perfect = work.magnetic.linkages
    orders, p = work.magnetic.orders * work.design.rotor.poles // 2, work.design.rotor.poles // 2
    rows = np.zeros((1, len(perfect), int(orders[-1])), complex)
    rows[0][:, orders - 1] = perfect
    usual, strong = (sine_torques(k * rows, np.arange(1, orders[-1] + 1), p)[0] for k in (1.0, 1.05))
    assert np.abs(strong / usual - 1.05).max() < 1e-9
    draw = Draw(work.design, Build.model_validate({}), np.arange(1, 50))
    found = draw._magnets(draw._polarised(np.full((1, 1, work.design.rotor.poles), 0.05)))
    assert found.sums["itself"][0] == pytest.approx(0.05 * draw.perfect, abs=1e-12)


def test_one_magnet_the_wrong_way_round_costs_two_of_the_poles():
    """EMF of the fundamental: 1 − 2/P of it, the ring having lost one magnet and gained one against it."""
    work = work_of("small-fan")
    poles = work.design.rotor.poles
    single = work.design.rotor.arrangement == "single"
    found = built("small-fan", reversed_magnets=1, draws=100)
    emf = found.drawn(3)[:, poles // 2 - 1]
    wanted = (1 - 2 / poles) * work.magnetic.linkages[:, 0]
    assert np.abs(emf / wanted - 1).max() < 0.012, "each of two rotors has one" if not single else ""
    assert found.torque_ripple["parts"] == {"reversed_magnets": 1.0}


def test_a_board_aside_makes_no_change_over_the_turn():
    """The rotor stays round: every pole gives the same EMF, only the phases may differ."""
    found = built("photogrammetry-stage", board_eccentric_mm=0.3)
    assert found.modulation["p95"] < 1e-9 < found.emf_unbalance["p95"]


def test_ripple_of_24_sectors_grows_several_times_and_most_by_the_angle():
    """24 sectors without steel on 18 coils, 2 % and 0.3 degrees."""
    design = pcbstator.load_design(PLACES["photogrammetry-stage"]).with_values(
        {"rotor.back_iron_mm": 0.0, "build": NONE | {"remanence_spread_percent": 2.0, "magnet_angle_deg": 0.3}}
    )
    assert (design.rotor.poles, design.winding.coils, design.rotor.magnet.shape) == (24, 18, "sector")
    prediction = pcbstator.predict(design)
    ripple = prediction.build.torque_ripple
    assert ripple["median"] > 4 * prediction.magnetic.torque_ripple
    assert ripple["parts"]["magnet_angle_deg"] > 0.6 > ripple["parts"]["remanence_spread_percent"] > 0.1
    assert sum(ripple["parts"].values()) == pytest.approx(1.0) and prediction.build.pays == "magnet_angle_deg"


def test_parts_of_causes_are_those_of_one_cause_at_a_time():
    """Waves of causes that know nothing of each other add up, so their mean squares do."""
    spreads = {"remanence_spread_percent": 2.0, "magnet_angle_deg": 0.3, "magnetisation_tilt_deg": 2.0}
    work = work_of("photogrammetry-stage")
    p = work.design.rotor.poles // 2
    usual = built("photogrammetry-stage", draws=100).drawn(0)

    def square(**some):
        found = built("photogrammetry-stage", draws=300, seed=5, **some)
        rows = np.stack([found.drawn(k) for k in range(300)])
        torque = sine_torques(rows, np.arange(1, rows.shape[2] + 1), p)
        plain = sine_torques(usual[None], np.arange(1, usual.shape[1] + 1), p)
        return ((torque / torque.mean(axis=1, keepdims=True) - plain / plain.mean()) ** 2).mean()

    alone = {name: square(**{name: value}) for name, value in spreads.items()}
    parts = built("photogrammetry-stage", draws=300, seed=5, **spreads).torque_ripple["parts"]
    assert square(**spreads) == pytest.approx(sum(alone.values()), rel=0.1)
    for name, one in alone.items():
        assert parts[name] == pytest.approx(one / sum(alone.values()), abs=0.05)


def test_95_percent_within_the_error_of_the_sample():
    """The quantile of few draws scatters about that of many as its order statistics do (binomial)."""
    wide = {"remanence_spread_percent": 2.0, "magnet_angle_deg": 0.3}
    large = built("photogrammetry-stage", draws=4000, seed=11, **wide)
    small = [built("photogrammetry-stage", draws=200, seed=s, **wide).torque_ripple["p95"] for s in range(1, 13)]
    assert abs(np.median(small) / large.torque_ripple["p95"] - 1) < 0.05
    assert np.std(small) < 0.15 * large.torque_ripple["p95"]


def test_the_same_seed_gives_the_same_motors_and_another_others():
    one, same, other = (built("small-fan", magnet_angle_deg=0.3, seed=s) for s in (1, 1, 2))
    assert np.array_equal(one.drawn(7), same.drawn(7)) and not np.array_equal(one.drawn(7), other.drawn(7))


def test_tilting_moment_of_run_out_by_hand():
    """A rotor that runs out by w at its edge tilts by w/2 over that radius: stiffness times lift times arm, summed."""
    work = work_of("small-fan")
    found = built("small-fan", rotor_run_out_mm=0.2)
    ring, stiffness = ring_of(work.design), work.mechanical.axial_stiffness
    # two rotors, each tilted by up to 0.1 mm at the edge: with one alone, k·(lift at r)·r/2 at the most
    most = stiffness * 0.1e-3 * ring.radius / ring.edge * ring.radius / 2
    rotors = 2 if work.design.rotor.arrangement == "double" else 1
    assert 0.7 * most < found.tilting_moment["p95"] < rotors * most


def test_sorting_helps_and_halving_the_worst_cause_helps():
    found = built("filter-wheel", remanence_spread_percent=2.0, magnet_angle_deg=0.1)
    spreads = [lot["remanence_spread_percent"] for lot in found.sorting]
    assert spreads == sorted(spreads, reverse=True) and spreads[0] == pytest.approx(2.0, rel=0.1)
    assert found.pays == "remanence_spread_percent"
    assert found.pays_ripple < found.torque_ripple["p95"]


def test_parallel_paths_of_unlike_magnets_carry_a_current_between_them():
    design = pcbstator.load_design(PLACES["photogrammetry-stage"]).with_values(
        {"winding.parallel_paths": 2, "winding.turns": 9, "build": NONE | {"remanence_spread_percent": 3.0}}
    )
    found = pcbstator.predict(design)
    assert found.build.path_unbalance["median"] > 1e-4
    # by hand: the EMF between two paths drives its current through both in series
    emf = found.build.path_unbalance["median"] * found.motion.top_speed * found.magnetic.emf_constant / np.sqrt(2)
    by_hand = emf / (2 * found.electrical.phase_resistance)
    assert found.build.circulating_current["median"] == pytest.approx(by_hand, rel=0.05)


def test_defaults_are_used_for_keys_left_out_and_zeros_where_stated():
    design = pcbstator.load_design(PLACES["small-fan"]).with_values({"build": {"magnet_angle_deg": 0.0}})
    parts = pcbstator.predict(design).build.torque_ripple["parts"]
    assert "magnet_angle_deg" not in parts and parts["remanence_spread_percent"] > 0


def test_records_are_plain_data():
    design = pcbstator.load_design(PLACES["small-fan"]).with_values({"build": {"draws": 100}})
    found = pcbstator.predict(design).to_dict()["build"]
    assert {"median", "p95", "parts"} == found["torque_ripple_ratio"].keys()
    assert found["draws"] == 100


def test_a_drawn_rotor_runs_in_the_simulation_as_its_linkages_say():
    """Mean torque constant and spread of the slopes in the rotor's frame against the waves of the same motor; the
    perfect magnets over a whole turn run as those over an electrical one.
    """
    work = work_of("photogrammetry-stage")
    p = work.design.rotor.poles // 2
    found = built("photogrammetry-stage", remanence_spread_percent=2.0, magnet_angle_deg=0.3)
    rows = found.drawn(5)
    slopes = built_slopes(rows, p, "star")
    torque = sine_torques(rows[None], np.arange(1, rows.shape[1] + 1), p)[0]
    per_ampere = len(rows) / 2 * slopes.imag
    assert per_ampere.mean() == pytest.approx(torque.mean(), rel=1e-4)
    assert np.ptp(per_ampere) == pytest.approx(np.ptp(torque), rel=0.02)
    perfect = built_slopes(built("photogrammetry-stage", draws=100).drawn(0), p, "star")
    once = np.array(work.drive.machine.slopes)
    assert np.abs(np.tile(once, p) - perfect).max() < 1e-3 * np.abs(once).max()


def test_simulation_of_a_drawn_rotor_needs_build_and_ripples_more():
    design = pcbstator.load_design(PLACES["photogrammetry-stage"]).with_values(
        {"build": {"draws": 100, "remanence_spread_percent": 10.0, "magnet_angle_deg": 1.0},
         "bearing.friction_n_m": 0.05, "bearing.standstill_friction_n_m": 0.05, "bearing.friction_spots": None,
         "drive.sensor_offset_mm": 0.0, "drive.sensor_noise_deg": 0.0, "drive.current_offset_percent": 0.0,
         "motion": {"speed_rpm": 20.0},
         "requirement": None}
    )  # fmt: skip
    prediction = pcbstator.predict(design)
    plain = simulate(design, ("slow",), prediction).runs[0].numbers
    rotor = plain["drawn_motor"]
    drawn = simulate(design, ("slow",), prediction, rotor).runs[0].numbers
    assert drawn["speed_ripple_rms_ratio"] > 1.5 * plain["speed_ripple_rms_ratio"]
    assert (
        plain["drawn_motor_speed_ripple_peak_ratio"] == drawn["speed_ripple_peak_ratio"] and "drawn_motor" not in drawn
    )
    ripple = np.ptp(prediction.build.waves, axis=1)
    assert np.mean(ripple <= ripple[rotor]) == pytest.approx(0.95, abs=0.011)
    with pytest.raises(DesignError, match="build: this section is required to run a drawn rotor"):
        simulate(design.with_values({"build": None}), ("slow",), rotor=1)


QUIET = {
    "bearing": {"friction_n_m": 0.05}, "load.bodies": [{"shape": "disc", "mass_g": 100.0, "diameter_mm": 60.0}],
    "drive.sensor_offset_mm": 0.0, "drive.sensor_noise_deg": 0.0, "drive.current_offset_percent": 0.0,
    "drive.current_gain_error_percent": 0.0, "drive.dead_time_ns": 0.0, "drive.sensor_counts": 1 << 26,
    "motion": {"speed_rpm": 20.0}, "requirement": {"slow_speed_rpm": 4.0, "speed_ripple_percent": 0.01},
}  # fmt: skip


def test_the_slow_turn_is_that_of_drawn_motors():
    """In the budget, against the simulation of the same motor step by step; the way out is a spread of [build]."""
    design = pcbstator.load_design(PLACES["photogrammetry-stage"]).with_values(
        QUIET | {"build": {"draws": 100, "remanence_spread_percent": 4.0, "magnet_angle_deg": 0.4}}
    )
    prediction = pcbstator.predict(design)
    job, waves = prediction.motion.positioning, prediction.build.waves
    for rotor in (5,):
        found = built_torque_ripple(job, waves[rotor : rotor + 1])
        run = simulate(design, ("slow",), prediction, rotor).runs[0].numbers
        half = run["speed_ripple_peak_to_peak_ratio"] / 2
        assert found.speed / job.slow_speed == pytest.approx(half, rel=0.04)
        assert np.degrees(found.angle) == pytest.approx(run["largest_error_deg"], rel=0.04)
        largest = max(run["orders"], key=lambda order: order["angle_error_deg"])
        assert largest["cause"] == "magnets unlike each other" and largest["order"] != 12
    rows = {row["part"]: row for row in prediction.motion.error_budget if row["when"] == "moving"}
    assert "torque ripple" not in rows
    each = [100 * built_torque_ripple(job, wave[None]).speed / job.slow_speed for wave in waves]
    kept = rows["torque ripple as built"]["speed_ripple_percent"]
    assert sum(one <= kept for one in each) == 95
    (verdict,) = [found for found in prediction.requirement if found.name == "speed_ripple_percent"]
    assert verdict.verdict == "not met" and verdict.decided_by.startswith("torque ripple as built")


def test_less_of_a_spread_is_a_way_out_of_an_uneven_turn():
    """Loops that may not be faster leave the spread that pays."""
    work = work_of("photogrammetry-stage")
    design = size_design(work.design.with_values(QUIET | {"build": NONE | {"draws": 100, "magnet_angle_deg": 1.0}}))
    prediction = pcbstator.predict(design)
    steps = better_built(prediction.design, prediction)
    assert steps[0].settings == {"build.magnet_angle_deg": 0.9}
    judge = judge_of(replace(worked(design), waves=prediction.build.waves))
    (value,) = [found.value for found in judge(steps[3].settings) if found.name == "speed_ripple_percent"]
    again = pcbstator.predict(design.with_values(steps[3].settings)).motion.slow_speed_ripple
    assert value == pytest.approx(100 * again, rel=1e-9) and again < 0.7 * prediction.motion.slow_speed_ripple
    assert better_built(prediction.design, replace(prediction, build=None)) == []


@pytest.mark.parametrize(
    "layers",
    [pytest.param({"board.layers": 3, "board.coil_layers": [1, 3]}, marks=pytest.mark.slow), {"board.layers": 4}],
    ids=str,
)
def test_a_bow_between_two_rotors_takes_from_one_what_it_gives_to_the_other(layers):
    """In the middle between two attracting rotors the field stands still over the height (by symmetry)."""
    double = pcbstator.load_design(PLACES["small-fan"]).with_values(layers | {"winding.turns": 6})

    def unequal(arrangement, bow):
        build = {"rotor.arrangement": arrangement, "build": NONE | {"draws": 200, "board_bow_mm": bow}}
        return pcbstator.predict(double.with_values(build)).build.emf_unbalance["p95"]

    more, alone = (unequal(arrangement, 0.3) - unequal(arrangement, 0.0) for arrangement in ("double", "single"))
    assert more < 0.02 * alone


def stacked(connection, **stack):
    """Two boards, the rotor far enough for both."""
    return pcbstator.load_design(PLACES["photogrammetry-stage"]).with_values(
        {"stack": {"boards": 2, "connection": connection} | stack, "requirement": None, "envelope": None, "drive": None,
         "build": NONE | {"stack_angle_deg": 0.5, "draws": 100}}
    )  # fmt: skip


@pytest.mark.parametrize("connection", ["parallel", pytest.param("series", marks=pytest.mark.slow)])
def test_boards_of_a_stack_out_of_line_by_hand(connection):
    """Each board's EMF turned by p times its angle: equal boards in series would give the mean of both turns; the upper
    board, nearer to the magnets, counts for more. In parallel the EMF of one path less the other is what drives a
    current around.
    """
    prediction = pcbstator.predict(stacked(connection))
    design, p = prediction.design, prediction.design.rotor.poles // 2
    angles = np.random.default_rng(design.build.seed).normal(0, np.radians(0.5), (100, 2))
    magnet = one_magnet(design, conductors_of(design, prediction.laid), magnet_layers(design))
    upper, lower = (np.abs(magnet.phases[f"itself {number}"][0, p - 1]) for number in (0, 1))
    assert upper > 1.2 * lower  # a whole board nearer
    share = upper / (upper + lower)
    wanted = share * np.exp(1j * p * angles[7, 0]) + (1 - share) * np.exp(1j * p * angles[7, 1])
    found = prediction.build.drawn(7)[:, p - 1] / prediction.magnetic.linkages[:, 0]
    assert np.abs(found - wanted).max() < 0.01 * np.abs(wanted - 1)
    assert prediction.build.torque_ripple["parts"] == {"stack_angle_deg": 1.0}
    if connection == "series":
        assert prediction.build.path_unbalance is None
        return
    paths = np.array([upper, lower]) * np.exp(1j * p * angles)
    wanted = np.median(np.abs(paths[:, 0] - paths[:, 1]) / 2) / np.mean([upper, lower])  # of each from their mean
    assert prediction.build.path_unbalance["median"] == pytest.approx(wanted, rel=0.01)


def spots(middle, places, signs, wide):
    """Field at a point of the x axis of round spots exp(−distance²/(2 wide²)) at complex places, with signs."""
    return (signs * np.exp(-(np.abs(middle - places) ** 2) / (2 * wide**2))).sum(axis=-1)


@pytest.mark.parametrize("key", ["rotor_eccentric_mm", "board_eccentric_mm"])
def test_eccentricity_of_a_smooth_field_in_closed_form(key):
    """Around a circle of radius R a spot has the harmonics 2·exp(−(r² + R²)/2w²)·I_m(r·R/w²) (generating function
    of the Bessel functions). A ring of them is a sinusoid; off centre it is the same spots at moved places, no series.
    """
    design = size_design(
        work_of("photogrammetry-stage").design.with_values({"build": NONE | {key: 0.01, "draws": 100}})
    )
    orders = np.arange(1, 85)
    draw = Draw(design, design.build, orders)
    (found,) = draw.causes().values()
    R, r, wide = draw.ring.radius, draw.ring.radius + 1e-3, 6e-3

    def harmonics(radius):
        return 2 * np.exp(-((r - radius) ** 2) / (2 * wide**2)) * ive(orders, r * radius / wide**2)

    slope = (harmonics(R + 1e-7) - harmonics(R - 1e-7)) / 2e-7
    rows = {"outwards": slope[None].astype(complex), "along": -1j * orders * harmonics(R)[None] / R}
    length, angle = np.random.default_rng(design.build.seed).uniform(size=(2, 100, 1))
    aside = 1e-5 * (length * np.exp(2j * np.pi * angle))[3, 0]
    turn = np.exp(1j * np.linspace(0, 2 * np.pi, 400, endpoint=False))[:, None]
    centred = R * np.exp(1j * draw.ring.places)
    moved = spots(r, turn * (centred + aside), draw.ring.axial, wide)
    if key == "board_eccentric_mm":
        moved = spots(r + aside, turn * centred, draw.ring.axial, wide)
    wanted = moved - spots(r, turn * centred, draw.ring.axial, wide)
    got = np.real(turn**-orders @ found.linkages(rows)[3, 0])
    assert np.abs(got - wanted).max() < 5e-3 * np.abs(wanted).max()
    spectrum = np.abs(np.fft.rfft(wanted))[:30]
    lines = set(np.flatnonzero(spectrum > 0.01 * spectrum.max()).tolist())
    assert lines == ({11, 13} if key == "rotor_eccentric_mm" else {12})
