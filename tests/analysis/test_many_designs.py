"""The heat of many designs at once: each comes out as if it were alone, whatever is beside it, to the last bit."""

from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.electrical.trace_ratings import TraceCurrents, trace_currents
from pcbstator.analysis.thermal.board_network import board_heat
from pcbstator.analysis.thermal.current_limits import SteadyWork, steady_results, with_pulses
from pcbstator.analysis.thermal.heat_state import heat_state, heat_states
from pcbstator.copper import lay_copper, size_design
from pcbstator.errors import LawRangeError

DESIGNS = sorted((Path(__file__).parents[2] / "designs").glob("*.toml"))
NONE = TraceCurrents(None, None, None, ())
STEADY = (
    "board_current", "magnet_current", "runaway_current", "continuous_current", "limited_by", "continuous_torque",
    "board_temperature_c", "board_mean_c", "surface_temperature_c", "rotor_temperature_c", "hot_resistance",
    "copper_loss", "eddy_loss", "thermal_resistance", "touch_current", "tg_current", "solder_current",
)  # fmt: skip


@pytest.fixture(scope="module")
def works() -> list[SteadyWork]:
    """All designs in several surroundings: limited by the board, by the magnets, by a thin via."""
    made = []
    for path in DESIGNS:
        design = size_design(pcbstator.load_design(path))
        copper = lay_copper(design)
        conductors = conductors_of(design, copper)
        for ambient, board, via in ((20.0, 90.0, None), (40.0, 250.0, None), (25.0, 130.0, 0.05)):
            changed = design.with_values({"cooling.ambient_c": ambient, "cooling.board_max_c": board})
            heat, traces = board_heat(changed, conductors), trace_currents(changed, conductors, 20.0)
            made.append(SteadyWork(changed, heat, replace(traces, via=via), len(copper.phases), 0.05))
    return made


def same(one, other) -> bool:
    """Equal in every steady figure, bit for bit."""
    return all(getattr(one, name) == getattr(other, name) for name in STEADY)


def impossible(work: SteadyWork) -> SteadyWork:
    """The same with magnets that may not even be as warm as the air."""
    return replace(work, heat=replace(work.heat, magnet_limit_c=work.heat.network.ambient_c - 1.0))


def cut_off(work: SteadyWork) -> SteadyWork:
    """The same with nothing that takes the heat."""
    network = work.heat.network
    none = replace(network, conduction=0 * network.conduction, face_area=0 * network.face_area, gaps=())
    return replace(work, heat=replace(work.heat, network=none))


def test_the_designs_differ_in_shape_and_limit(works):
    assert {len(work.heat.network.resistance) for work in works} == {25, 26}
    words = {result.limited_by.split(" (")[0] for result in steady_results(works)}
    assert {"heat balance of the board", "magnets", "a single via by IPC-2221"} <= words


def test_many_are_as_each_alone(works):
    together = steady_results(works, onsets=True)
    for work, found in zip(works, together, strict=True):
        assert same(found, steady_results([work], onsets=True)[0])


def test_order_and_size_do_not_matter(works):
    together, order = steady_results(works, onsets=True), np.random.default_rng(4).permutation(len(works))
    turned = steady_results([works[i] for i in order], onsets=True)
    assert all(same(turned[place], together[i]) for place, i in enumerate(order))
    for size in (2, 3, 5):
        parts = [works[i : i + size] for i in range(0, len(works), size)]
        assert all(map(same, [found for part in parts for found in steady_results(part, onsets=True)], together))
    assert all(map(same, steady_results(works * 3, onsets=True), together * 3))


@pytest.mark.parametrize("spoil", [impossible, cut_off])
def test_an_impossible_design_leaves_the_others_alone(works, spoil):
    together = steady_results(works, onsets=True)
    mixed = [*works[:2], spoil(works[2]), *works[2:]]
    found = steady_results(mixed, onsets=True)
    assert all(map(same, [*found[:2], *found[3:]], together))
    refused = found[2]
    assert refused.continuous_current is None and refused.out_of_range.startswith("no heat balance")
    assert refused.ipc2221_current == works[2].traces.ipc2221
    states = heat_states([work.heat for work in mixed], [NONE] * len(mixed), [20.0] * len(mixed))
    assert [isinstance(state, LawRangeError) for state in states] == [i == 2 for i in range(len(mixed))]
    with pytest.raises(LawRangeError):
        heat_state(mixed[2].heat, NONE)


def test_nothing_is_computed_that_is_not_asked_for(works):
    found = steady_results(works)[0]
    assert found.continuous_current is not None
    left_out = {f.name for f in fields(found) if getattr(found, f.name) in (None, ())}
    assert {"touch_current", "time_constant", "profile", "peak_1_cold"} <= left_out


def test_the_whole_section_has_the_same_steady_figures():
    design = size_design(pcbstator.load_design(DESIGNS[0]))
    copper = lay_copper(design)
    conductors = conductors_of(design, copper)
    heat = board_heat(design, conductors)
    work = SteadyWork(design, heat, trace_currents(design, conductors, 20.0), len(copper.phases), 0.05)
    steady = steady_results([work], onsets=True)[0]
    whole = with_pulses(design, steady)
    assert same(whole, steady)
    assert whole.time_constant is not None and whole.profile and whole.peak_1_cold is not None


def test_below_every_limit_the_current_is_the_one_asked_for(works):
    """Where a standard limits, the temperatures are those of its current; less current, less warm."""
    heat = works[0].heat
    full = heat_state(heat, NONE)
    last = full.continuous.temperature_c[0]
    for part in (0.9, 0.5, 0.1, 0.0):
        current = part * full.continuous_current
        state = heat_state(heat, replace(NONE, via=current))
        assert state.continuous_current == current
        assert float(state.continuous.current[0]) == pytest.approx(current, rel=1e-12, abs=1e-12)
        assert np.all(state.continuous.temperature_c[0] < last)
        last = state.continuous.temperature_c[0]
    assert last == pytest.approx(heat.network.ambient_c, abs=1e-6)
