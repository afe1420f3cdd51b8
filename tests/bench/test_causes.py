"""Causes one by one: closed forms of faulty motors, the estimate's coverage, words, the command."""

import json
import re
from math import log
from pathlib import Path

import numpy as np
import pytest

import pcbstator
from pcbstator.bench.causes.changed_copper import (
    bridged_coil,
    bridged_part,
    coil_of,
    laid,
    open_path,
    outermost_turn,
    reversed_coil,
    thicker,
    with_copper,
)
from pcbstator.bench.causes.changed_rotor import like_poles, one_magnet_reversed
from pcbstator.bench.causes.evidence import model_of
from pcbstator.bench.causes.faults import faults
from pcbstator.bench.causes.search import SOUND, with_causes
from pcbstator.bench.causes.words import CONTINUOUS, DISCRETE, SIDES, in_short, is_it, to_do
from pcbstator.bench.comparison import compared
from pcbstator.bench.load import bench_from_tables
from pcbstator.bench.machine_state import machine_state
from pcbstator.bench.predicted import quantities, terminal_impedance, terminal_wave
from tests.command import run, toml_text
from tests.wave_and_spiral import design_of

DESIGNS = {path.stem: path for path in (Path(__file__).parents[2] / "designs").glob("*.toml")}
PAIRS = (["A", "B"], ["B", "C"], ["C", "A"])


@pytest.fixture(scope="module")
def wheel():
    """Three coils of each phase, alike before the magnets; two layers."""
    return machine_state(pcbstator.load_design(DESIGNS["filter-wheel"]))


@pytest.fixture(scope="module")
def known(wheel):
    return tuple(faults(wheel))


def written(state, **factors):
    """Tables of readings of a motor, exact but for factors by kind."""
    found = {
        "resistance": [{"between": pair, "ohm": 1.0, "copper_c": 20.0} for pair in PAIRS],
        "emf": [{"between": pair, "peak_v": 1.0, "frequency_hz": 24.0} for pair in PAIRS],
        "inductance": [{"between": pair, "henry": 1.0, "frequency_khz": 1.0} for pair in PAIRS],
        "static_torque": [{"between": PAIRS[0], "current_a": 0.3, "lever_mm": 1000.0, "newton": 1.0}],
    }
    keys = {"resistance": "ohm", "emf": "peak_v", "inductance": "henry", "static_torque": "newton"}
    bench = bench_from_tables(found)
    for kind, tables in found.items():
        for table, value in zip(tables, quantities(state, getattr(bench, kind)), strict=True):
            table[keys[kind]] = float(value * factors.get(kind, 1.0))
    return found


@pytest.fixture(scope="module")
def judged(wheel, known):
    """Judges tables of readings against the wheel, or against another motor."""

    def of(tables, state=None):
        state = state or wheel
        bench = bench_from_tables(tables)
        faults_ = known if state is wheel else None
        return with_causes(compared(state.design, bench, "bench.toml", state), bench, state, faults_)

    return of


def fundamental(state):
    return np.abs(state.linkages[:, list(state.orders).index(state.pole_pairs)])


def test_one_coil_of_three_reversed(wheel):
    """It takes from the flux what it gave: one third is left; its resistance stays."""
    found = with_copper(wheel, reversed_coil(laid(wheel), coil_of(laid(wheel), "B")))
    assert fundamental(found) / fundamental(wheel) == pytest.approx([1, 1 / 3, 1], rel=0.01)
    assert found.resistance == pytest.approx(wheel.resistance, rel=1e-9, abs=1e-9)


def test_one_coil_of_three_bridged(wheel):
    """Two thirds of the flux; its copper is missing in the phase and closes the loop; at high frequency the loop
    takes M squared over L from the inductance, at low frequency nothing (circuit of a transformer)."""
    copper = laid(wheel)
    coil = coil_of(copper, "B")
    found = with_copper(wheel, bridged_coil(copper, coil))
    assert fundamental(found) / fundamental(wheel) == pytest.approx([1, 2 / 3, 1], rel=0.01)
    own = wheel.work.laid[1].coil(coil)
    assert wheel.resistance[1, 1] - found.resistance[1, 1] == pytest.approx(own, rel=1e-6)
    assert found.loops.resistance[0, 0] == pytest.approx(own, rel=1e-6)
    along = np.array([1.0, -1.0, 0.0])
    low, high = (terminal_impedance(found, ("A", "B"), w).imag / w for w in (1e-3, 1e12))
    taken = (along @ found.loops.mutual[:, 0]) ** 2 / found.loops.inductance[0, 0]
    assert low == pytest.approx(along @ found.inductance @ along, rel=1e-9)
    assert low - high == pytest.approx(taken, rel=1e-6)


def test_a_bridged_coil_brakes_with_its_power(wheel):
    """Torque over speed is EMF squared over resistance, mean over the turn."""
    copper = laid(wheel)
    found = with_copper(wheel, bridged_coil(copper, coil_of(copper, "A")))
    share = fundamental(wheel)[0] / 3 * wheel.pole_pairs
    expected = share**2 / 2 / found.loops.resistance[0, 0]
    assert found.drag - wheel.drag == pytest.approx(expected, rel=0.01)


def test_the_current_in_a_bridged_coil_follows_from_its_circuit(wheel):
    """At a speed where resistance counts for nothing the loop's current holds its flux: M / L of its linkage goes."""
    copper = laid(wheel)
    found = with_copper(wheel, bridged_coil(copper, coil_of(copper, "A")))
    loops = found.loops
    expected = found.linkages - loops.mutual / loops.inductance[0, 0] * loops.linkages
    slow, fast = (terminal_wave(found, ("A", "B"), speed) for speed in (0.0, 1e12))
    quotient = np.abs(expected[0, 0] - expected[1, 0]) / np.abs(found.linkages[0, 0] - found.linkages[1, 0])
    assert np.ptp(fast) / np.ptp(slow) == pytest.approx(quotient, rel=0.01)


def test_one_turn_bridged_takes_its_own_copper(wheel):
    """What the phase lacks is what the loop has, but for the ends on holes; one turn of twelve on one layer of two."""
    copper = laid(wheel)
    found = with_copper(wheel, bridged_part(copper, coil_of(copper, "A"), outermost_turn(copper.coil)))
    loop = found.loops.resistance[0, 0]
    assert wheel.resistance[0, 0] - found.resistance[0, 0] == pytest.approx(loop, rel=0.03)
    turn = fundamental(wheel)[0] - fundamental(found)[0]
    assert turn == pytest.approx(np.abs(found.loops.linkages[0, 0]), rel=0.02)
    assert 1 / 72 < turn / fundamental(wheel)[0] < 2 / 72  # the outermost turn encloses most


def test_one_of_two_paths_open():
    """Twice the resistance of the phase; the same flux; the other phases as they were."""
    state = machine_state(pcbstator.load_design(DESIGNS["small-fan"]).with_values({"winding.parallel_paths": 2}))
    found = with_copper(state, open_path(laid(state), 0))
    assert np.diag(found.resistance) / np.diag(state.resistance) == pytest.approx([2, 1, 1], rel=0.02)
    assert fundamental(found) == pytest.approx(fundamental(state), rel=0.01)
    assert open_path(laid(machine_state(pcbstator.load_design(DESIGNS["filter-wheel"]))), 0) is None


def test_copper_of_twice_the_weight_is_the_design_with_it(wheel):
    other = wheel.design.with_values({"board.outer_copper_um": 70.0})
    found = with_copper(wheel, thicker(laid(wheel), 2.0, 1.0))
    assert np.diag(found.resistance) == pytest.approx(np.diag(machine_state(other).resistance), rel=1e-3)


def test_one_magnet_of_twelve_reversed(wheel):
    """The fundamental loses two of twelve; orders between come up."""
    found = one_magnet_reversed(wheel)
    assert fundamental(found) / fundamental(wheel) == pytest.approx(10 / 12, rel=0.01)
    assert np.abs(found.linkages[:, 0]).max() > 1e-4 * fundamental(wheel)[0]


@pytest.mark.slow
def test_facing_like_poles_leave_the_difference_of_two_rotors():
    """Without steel fields add: whole predictions of one rotor above, and of one as far below, layers uneven. With
    layers even about the board's middle nothing is left.
    """
    depths = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5])
    bare = {"rotor.back_iron_mm": 0.0, "board.layer_depths_mm": depths.tolist()}
    design = pcbstator.load_design(DESIGNS["small-fan"])
    above = design.with_values(bare | {"rotor.arrangement": "single"})
    lower = 2 * design.rotor.air_gap * 1e3 + design.board.thickness * 1e3 - 1e3 * design.rotor.air_gap
    below = above.with_values({"rotor.air_gap_mm": lower - 0.5, "board.layer_depths_mm": (0.5 - depths[::-1]).tolist()})
    left = fundamental(like_poles(machine_state(design.with_values(bare))))
    near, far = (fundamental(machine_state(one)) for one in (above, below))
    assert left == pytest.approx(near - far, rel=0.01)
    even = machine_state(design)
    assert fundamental(like_poles(even)).max() < 0.01 * fundamental(even).max()
    assert like_poles(machine_state(pcbstator.load_design(DESIGNS["filter-wheel"]))) is None


def test_a_wave_winding_has_its_causes():
    state = machine_state(design_of("wave", "even"))
    names = {fault.name for fault in faults(state)}
    assert {"coil_reversed", "coil_shorted", "connection", "magnet_reversed"} <= names


def test_intervals_of_the_estimate_hold_what_they_say(wheel):
    """95 % intervals hold 93 to 97 % of 1000 motors, each quantity; JCGM 100, 6.3: coverage of an expanded uncertainty.

    Motors and readings are drawn as the estimate takes them to be.
    """
    readings = bench_from_tables(written(wheel) | {"gap": [{"mm": 1.0}], "thickness": [{"of": "magnet", "mm": 3.0}]})
    readings = readings.readings
    model = model_of(wheel, readings, quantities(wheel, readings), (), len(readings))
    allowed, draw, all_ = model.allowed, np.random.default_rng(12), np.ones(len(readings), bool)
    true = draw.standard_normal((1000, len(allowed.each))) * np.sqrt(allowed.variance)
    meters = np.diag(allowed.meters) + allowed.common
    lines = true @ allowed.columns.T + draw.multivariate_normal(np.zeros(len(readings)), meters, 1000)
    inside = []
    for own, line in zip(true, lines, strict=True):
        found = model.estimated(model.hypotheses[0], line, all_)
        inside.append(np.abs(found.values - own) < 1.96 * np.sqrt(np.diag(found.covariance)))
    held = np.mean(inside, axis=0)
    assert (held > 0.93).all()
    assert (held < 0.97).all()


def test_a_healthy_motor_gets_no_list_of_suspects(wheel, judged):
    found = judged(written(wheel))
    assert (found.verdict, found.causes, found.next) == (SOUND, (), "")
    assert found.as_predicted
    assert {each["name"] for each in found.to_dict()["estimated"]} >= {"remanence", "air_gap", "outer_copper", "etch"}


def test_weak_magnets_are_not_told_from_a_wide_gap_until_it_is_measured(wheel, judged):
    """The next reading parts them: the gauge shows the gap of the design, and the gap is no longer a cause."""
    tables = written(wheel, emf=0.8, static_torque=0.8)
    found = judged(tables)
    by_name = {cause.name: cause for cause in found.causes}
    assert "air_gap" in by_name["remanence"].not_told_apart_from
    tables["gap"] = [{"mm": 1e3 * wheel.air_gap}]
    again = judged(tables)
    assert again.causes[0].name == "remanence"
    assert "air_gap" not in again.causes[0].not_told_apart_from
    assert "weaker" in again.verdict
    share = next(each for each in again.extra["estimated"] if each["name"] == "remanence")
    assert share["change"] == pytest.approx(-20, abs=3 * share["uncertainty"])


def test_the_next_reading_has_the_two_values_to_expect(wheel, judged):
    """By a whole prediction of a motor with a wide gap: the gauge would show that gap, or that of the design."""
    found = judged(written(machine_state(wheel.design.with_values({"rotor.air_gap_mm": 2.0}))))
    assert "air_gap" in {found.causes[0].name, *found.causes[0].not_told_apart_from}
    values = [float(value) for value in re.findall(r"about ([\d.]+) mm if", found.next)]
    assert found.next.startswith("Measure the air gap with a feeler gauge")
    assert "magnet_reversed" not in found.causes[0].not_told_apart_from or "compass" in found.next
    assert min(values) == pytest.approx(1.0, abs=0.1)
    assert max(values) == pytest.approx(2.0, abs=0.25)  # what the prior of tolerances draws towards the design


def test_slips_are_named(wheel, judged):
    for name, key, factor in (("rms_for_peak", "peak_v", 0.5**0.5), ("peak_to_peak_for_peak", "peak_v", 2.0)):
        tables = written(wheel)
        for table in tables["emf"]:
            table[key] *= factor
        found = judged(tables)
        assert found.causes[0].name == name
        assert "compare again" in found.next


@pytest.mark.slow
def test_leads_are_among_the_causes_where_resistance_is_small(wheel, judged):
    """Half an ohm of leads in 8.8 ohm is within what copper may be; in 1.1 ohm it is not, and copper may be it too."""
    few = {"winding.turns": 4, "board.track_width_mm": 0.8}
    state = machine_state(wheel.design.with_values(few))
    for ohms, blamed in ((0.01, False), (0.5, True)):
        tables = written(state)
        for table in tables["resistance"]:
            table["ohm"] += ohms
        found = judged(tables, state)
        names = {cause.name for cause in found.causes}
        assert ("leads" in names) == blamed


def test_several_motors_are_judged_each_by_itself(wheel, judged):
    tables = written(wheel)
    faulty = written(with_copper(wheel, bridged_coil(laid(wheel), coil_of(laid(wheel), "C"))))
    for kind, more in faulty.items():
        tables[kind] += [table | {"board": "2"} for table in more]
    found = judged(tables)
    assert [(cause.name, cause.motor) for cause in found.causes[:1]] == [("coil_shorted", "board 2, rotor 1")]
    assert found.verdict.startswith("Board 2, rotor 1: Most likely it is one whole coil in phase C bridged")


def test_a_slip_of_units_is_told_before_any_cause(wheel, judged):
    """It is left out of the search, and the cause that the others show is listed all the same."""
    tables = written(wheel, emf=0.7, static_torque=0.7)
    tables["resistance"][0]["ohm"] *= 1e-3
    found = judged(tables)
    assert "units off by 1000" in found.verdict
    assert "remanence" in {cause.name for cause in found.causes}


def test_readings_of_one_name_are_told_apart(wheel, judged):
    tables = written(wheel)
    for kind in tables:
        for table in tables[kind]:
            table["name"] = "board 7"
    assert judged(tables).verdict == SOUND


def test_every_cause_has_its_words(known, wheel):
    readings = bench_from_tables(written(wheel)).readings
    model = model_of(wheel, readings, quantities(wheel, readings), known, len(readings))
    names = {one.name for one in model.hypotheses[1:]}
    assert names <= {*CONTINUOUS, *DISCRETE}
    assert set(SIDES) == set(CONTINUOUS)
    for name in (*CONTINUOUS, *DISCRETE):
        for words in (is_it(name, "in phase A", -log(1.2), 0.02), in_short(name, "in phase A"), to_do(name, "x")):
            assert "{" not in words
            assert words


def test_the_command_names_the_cause(tmp_path, wheel):
    faulty = with_copper(wheel, reversed_coil(laid(wheel), coil_of(laid(wheel), "A")))
    (tmp_path / "bench.toml").write_text(toml_text(written(faulty)), encoding="utf-8")
    told = run("compare", DESIGNS["filter-wheel"], tmp_path / "bench.toml", "--json", "-o", tmp_path / "found")
    plain = json.loads(told.out)
    assert told.code == 1
    assert plain["causes"][0]["name"] == "coil_reversed"
    assert {"name", "evidence", "not_told_apart_from", "words"} <= set(plain["causes"][0])
    assert plain["next"]
    assert "one coil in phase A the wrong way round" in plain["verdict"]
    page = (tmp_path / "found" / "comparison.html").read_text(encoding="utf-8")
    assert "What to do next" in page
    assert "one coil in phase A the wrong way round" in page


@pytest.mark.slow
def test_what_a_fault_explains_is_no_contradiction():
    """A bridged coil of six leaves one pair of the resistances high; by itself that looks like a wrong reading."""
    state = machine_state(pcbstator.load_design(DESIGNS["photogrammetry-stage"]))
    tables = written(with_copper(state, bridged_coil(laid(state), coil_of(laid(state), "C"))))
    for table in tables["emf"]:
        table["uncertainty_percent"] = 3.0
    bench = bench_from_tables(tables)
    plain = compared(state.design, bench, "bench.toml", state)
    assert [each.about for each in plain.contradictions] == ["phases and their mean"]
    found = with_causes(plain, bench, state)
    assert found.contradictions == ()
    assert found.verdict.startswith("Most likely it is one whole coil in phase C bridged")
