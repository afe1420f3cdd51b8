"""The heat of a design: its balance, what must hold for it, and a balance made up by hand."""

from dataclasses import replace
from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

import pcbstator
from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.electrical.trace_ratings import TraceCurrents, trace_currents
from pcbstator.analysis.magnetic.losses import loss_factors
from pcbstator.analysis.magnetic.rotor_field import rotor_field
from pcbstator.analysis.thermal.board_network import BoardHeat, board_heat
from pcbstator.analysis.thermal.curves import heat_curves
from pcbstator.analysis.thermal.heat_state import heat_state
from pcbstator.analysis.thermal.intermittent import allowed_currents, cycle_factor, cycle_temperatures
from pcbstator.analysis.thermal.ring_sources import SourceCase, ring_sources
from pcbstator.copper import lay_copper
from pcbstator.design import design_from_document
from pcbstator.errors import DesignError
from pcbstator.physics.thermal.balance import steady_temperature
from pcbstator.physics.thermal.transients import stiff_temperatures
from tests.shipped import shipped

DESIGNS = sorted((Path(__file__).parents[2] / "designs").glob("*.toml"))
NONE = TraceCurrents(None, None, None, ())
every_design = pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)
SIGMA, ALPHA = 5.670374419e-8, 0.00393


def heat_of(design, field=None, **more) -> BoardHeat:
    copper = lay_copper(design)
    return board_heat(design, conductors_of(design, copper), field, **more)


def thermal(design, **cooling):
    changes = {f"cooling.{key}": value for key, value in cooling.items()}
    return pcbstator.predict(design.with_values(changes)).thermal


@every_design
def test_heat_in_is_heat_out(path):
    """Copper loss at the hot resistance against what faces and mount take: to 1e-6."""
    design = pcbstator.load_design(path).with_values({"cooling.mount_conductance_w_per_k": 0.05})
    heat = heat_of(design)
    state = heat_state(heat, NONE)
    network, found = heat.network, state.at_limit
    knots = network.knot_step * np.arange(network.face_flux.shape[1])
    for case in range(2):
        rise = found.temperature_c[case] - network.ambient_c
        air = sum(a @ np.interp(rise, knots, q) for a, q in zip(network.face_area.T, network.face_flux, strict=True))
        mount = 0.05 * rise[heat.board[-1]]
        hot = network.resistance @ (1 + ALPHA * (found.temperature_c[case] - 20.0))
        assert found.squared_current[case] * hot == pytest.approx(air + mount, rel=1e-6)
        assert found.heat[case] == pytest.approx(air + mount, rel=1e-6)


@every_design
def test_rings_add_up_to_the_phases(path):
    """Loss of all rings is that of the phases; nearly all of it was found in tracks, vias are the rest."""
    design = pcbstator.load_design(path)
    copper = lay_copper(design)
    conductors = conductors_of(design, copper)
    resistance = conductors.phase_resistance
    edges = np.linspace(design.board.inner_diameter / 2, design.board.outer_diameter / 2, 25)
    (sources,) = ring_sources([SourceCase(design, conductors, edges)])
    assert sources.resistance.sum() == pytest.approx(len(copper.phases) * resistance, rel=1e-12)
    volume = sum(t.length * t.width * copper.layers[t.layer - 1].thickness for t in copper.tracks)
    assert sources.copper.sum() == pytest.approx(volume, rel=1e-9)
    assert np.all((sources.covered > 0) & (sources.covered <= 1))
    assert sources.layer_share.sum() == pytest.approx(1.0, rel=1e-12)


def test_eddies_of_the_rings_are_those_of_the_losses(small):
    """Shorter pieces see the same field: 1 %."""
    copper, field = lay_copper(small), rotor_field(small)
    edges = np.linspace(small.board.inner_diameter / 2, small.board.outer_diameter / 2, 25)
    whole = loss_factors(small, copper, field, 20.0).eddy.sum()
    (sources,) = ring_sources([SourceCase(small, conductors_of(small, copper), edges, field, 100.0)])
    assert sources.eddy.sum() == pytest.approx(whole, rel=1e-2)


@every_design
def test_more_rings_change_little(path):
    """24 rings against 96: 0.4 % of the current."""
    design = pcbstator.load_design(path)
    coarse, fine = (heat_state(heat_of(design, rings=rings), NONE) for rings in (24, 96))
    assert coarse.board_current == pytest.approx(fine.board_current, rel=4e-3)
    assert coarse.magnet_current == pytest.approx(fine.magnet_current, rel=4e-3)


def test_balance_by_hand():
    """A stage made up by hand: one temperature for board and rotor, laws and areas written out again.

    The part of the board that gives off heat is taken from the program; the rest is by hand. The program's board has a
    cooler edge: 3 % of the current, 5 % of the rotor's rise.
    """
    document = {
        "title": "By hand",
        "winding": {"coils": 18, "turns": "fill"},
        "board": {
            "layers": 2, "track_width_mm": 0.3, "track_gap_mm": 0.2, "copper_inner_diameter_mm": 64.0,
            "copper_outer_diameter_mm": 106.0,
        },
        "rotor": {
            "poles": 24, "air_gap_mm": 0.8, "back_iron_mm": 2.0,
            "iron_inner_diameter_mm": 63.0, "iron_outer_diameter_mm": 107.0,
            "magnet": {
                "shape": "sector", "inner_diameter_mm": 64.0, "outer_diameter_mm": 106.0, "arc_ratio": 0.9,
                "thickness_mm": 3.0, "remanence_t": 1.3,
            },
        },
    }  # fmt: skip
    design = design_from_document(document)
    found = pcbstator.predict(design)
    area, length = pi * (0.0535**2 - 0.0315**2), (0.0535**2 - 0.0315**2) / (2 * 0.0535)
    ambient, hot = 25.0, 105.0

    def to_air(surface, factor, emissivity):
        mean = (surface + ambient) / 2 + 273.15
        k, nu = 0.0263 * (mean / 300) ** 0.85, 15.9e-6 * (mean / 300) ** 1.76  # through the printed table's points
        ra = 9.81 / mean * (surface - ambient) * length**3 * 0.70 / nu**2
        glow = SIGMA * emissivity * ((surface + 273.15) ** 4 - (ambient + 273.15) ** 4)
        return factor * ra**0.25 * k / length * (surface - ambient) + glow

    heat_part = found.thermal.heat.heat
    rings = pi * np.diff(heat_part.sources.edges**2)
    part = heat_part.network.face_area[:24, 0].sum() / rings.sum()
    assert 0.8 < part < 1.0

    def through_gap(rotor):
        k = 0.0263 * ((hot + rotor) / 2 + 273.15) ** 0.85 / 300**0.85
        grey = 1 / (1 / 0.9 + 1 / 0.2 - 1)
        glow = SIGMA * grey * ((hot + 273.15) ** 4 - (rotor + 273.15) ** 4) / (hot - rotor)
        across = k * (0.9 / 0.8e-3 + 0.1 / 3.8e-3) + glow
        return (hot - rotor) / (0.8e-3 / 0.343 + 1 / across)

    rotor = brentq(lambda t: part * through_gap(t) - to_air(t, 0.54, 0.2), 25.1, 104.9)
    surface = brentq(lambda t: (hot - t) / (0.8e-3 / 0.343) - to_air(t, 0.27, 0.9), 30.0, 104.99)
    heat = part * area * (through_gap(rotor) + to_air(surface, 0.27, 0.9))
    current = sqrt(heat / (3 * found.electrical.phase_resistance * (1 + ALPHA * (hot - 20))))
    assert found.thermal.board_current == pytest.approx(current, rel=0.03)
    limit = found.thermal.heat.at_limit.temperature_c[0]
    assert limit[-1] == pytest.approx(rotor, abs=0.05 * (rotor - ambient))


def test_the_least_rules_and_is_named(small):
    found = thermal(small)
    limits = [
        found.ipc2221_current, found.ipc2152_current, found.ipc2221_via_current,
        found.board_current, found.magnet_current,
    ]  # fmt: skip
    assert found.continuous_current == min(limits)
    assert "80 C" in found.limited_by or "105 C" in found.limited_by or "IPC" in found.limited_by
    cold = thermal(small, airflow_w_per_m2k=1000.0, mount_conductance_w_per_k=100.0, far_face="clamped")
    assert cold.continuous_current == min(cold.ipc2221_current, cold.ipc2221_via_current, cold.ipc2152_current)
    assert "IPC" in cold.limited_by and cold.board_current > cold.continuous_current
    assert cold.board_temperature_c < found.board_temperature_c
    state = cold.heat
    assert float(state.continuous.current[0]) == pytest.approx(cold.continuous_current, rel=1e-8)


def test_standards_follow_the_stated_rise(small):
    ten, forty = (thermal(small, trace_rise_c=rise) for rise in (10.0, 40.0))
    assert forty.ipc2221_current / ten.ipc2221_current == pytest.approx(4**0.44, rel=1e-9)
    assert forty.ipc2221_via_current / ten.ipc2221_via_current == pytest.approx(4**0.44, rel=1e-9)
    assert forty.ipc2152_current / ten.ipc2152_current == pytest.approx(2.0, rel=1e-9)  # external: I^2
    assert forty.board_current == pytest.approx(ten.board_current, rel=1e-12)


def test_via_by_hand(small):
    """0.3 mm drill, 20 um plating: a wall of pi x 0.28 mm x 20 um, as an internal track."""
    found = trace_currents(small, conductors_of(small, lay_copper(small)), 20.0)
    section = pi * 0.28 * 0.02 / 0.0254**2  # square mil: mm2 over mil2
    assert found.via == pytest.approx(0.024 * 20**0.44 * section**0.725, rel=1e-6)
    two = {"winding.coils": 12, "rotor.poles": 10, "winding.turns": 3, "winding.parallel_paths": 2}
    halves = small.with_values(two)
    assert trace_currents(halves, conductors_of(halves, lay_copper(halves)), 20.0).via >= found.via


def test_better_cooling_carries_more(small):
    """Each change that takes more heat away raises the board's current, and a worse one lowers it."""
    start = thermal(small).board_current
    better = (
        {"airflow_w_per_m2k": 40.0}, {"mount_conductance_w_per_k": 0.3}, {"beyond_rotor": "open"}, {"ambient_c": 0.0},
        {"orientation": "rotor-down"}, {"far_face": "clamped", "mount_conductance_w_per_k": 2.0},
        {"board_max_c": 120.0}, {"speed_rpm": 0.0, "airflow_w_per_m2k": 60.0},
    )  # fmt: skip
    for change in better:
        assert thermal(small, **change).board_current > start * 1.005, change
    worse = ({"far_face": "covered"}, {"ambient_c": 60.0}, {"board_max_c": 80.0})
    for change in worse:
        assert thermal(small, **change).board_current < start * 0.98, change
    wide = pcbstator.predict(small.with_values({"rotor.air_gap_mm": 3.0})).thermal
    assert wide.board_current < start and wide.magnet_current > thermal(small).magnet_current


@pytest.mark.parametrize("mount", [1e-3, 1.0, 50.0, 1000.0])
@pytest.mark.parametrize("rim", ["outer", "inner"])
def test_any_mount_settles(small, mount, rim):
    """Also one that holds an edge at ambient, so that the board is far from even."""
    found = thermal(small, mount_conductance_w_per_k=mount, mount_rim=rim, ambient_c=-40.0)
    assert found.out_of_range == "" and found.board_temperature_c <= found.board_limit_c + 1e-6
    if mount == 1000.0:
        coolest = min(found.profile, key=lambda entry: entry["temperature_c"])
        assert coolest == found.profile[-1 if rim == "outer" else 0]
        assert coolest["temperature_c"] == pytest.approx(-40.0, abs=0.5)


def test_rotor_that_turns_cools_itself_and_heats_the_copper(small):
    """Eddies count at cooling.speed_rpm; without it at the highest speed of [operation], with air as at standstill."""
    still, turning = thermal(small), thermal(small, speed_rpm=3000.0)
    assert turning.eddy_loss > 0 and still.eddy_loss == 0
    work = {"operation": {"speeds_rpm": [3000.0], "phase_currents_peak_a": [0.0]}}
    careful = pcbstator.predict(small.with_values(work)).thermal
    assert careful.board_current < turning.board_current
    graded = {"rotor.magnet.remanence_t": None, "rotor.magnet.grade": "N42"}
    for magnets in ({}, graded):  # a stated remanence is that at work, a grade weakens as it warms
        design = small.with_values(work | magnets)
        found, magnetic = pcbstator.predict(design).thermal, pcbstator.predict(design).magnetic
        hot = 1 - 0.001075 * max(found.rotor_temperature_c - 20.0, 0.0) if magnets else 1.0
        torque = sqrt(2) * magnetic.torque_constant * hot * found.continuous_current
        assert found.continuous_torque == pytest.approx(torque - found.eddy_loss / (100 * pi), rel=1e-9)


def test_curves_of_the_report_agree_with_each_other():
    """What heats the copper from cold to its limit in a time is what may flow for that time; lines between points."""
    found = heat_curves(shipped("filter-wheel")[2].thermal)
    assert [curve.current / found.continuous for curve in found.heating] == pytest.approx([1.0, 1.5, 2.0, 4.0])
    crossing = [curve for curve in found.heating if curve.temperature_c[-1] > found.limit_c]
    assert len(crossing) >= 2
    for curve in crossing:
        end = np.interp(found.limit_c, curve.temperature_c, curve.time)
        allowed = np.exp(np.interp(np.log(end), np.log(found.time), np.log(found.cold)))
        assert allowed == pytest.approx(curve.current, rel=0.02)


def test_eddies_alone_may_be_too_much(small):
    wide = small.with_values({"board.track_width_mm": 1.0, "winding.turns": 2, "rotor.back_iron_mm": 3.0})
    fast = thermal(wide, speed_rpm=60000.0)
    assert fast.continuous_current == 0 and fast.limited_by.startswith("eddy currents alone")
    assert "NaN" not in str(fast) and fast.board_current == 0
    assert heat_curves(fast) is None


def test_double_rotor_and_plate_beyond_the_board(small):
    """Both faces near a rotor; a steel plate beyond the board gives its heat to the air or to the mount."""
    double = pcbstator.predict(small.with_values({"rotor.arrangement": "double"})).thermal
    assert double.surface_temperature_c is None and len(double.heat.heat.magnets) == 2
    plate = small.with_values({"rotor.stator_iron_mm": 2.0, "rotor.back_iron_mm": 2.0})
    free, mounted = thermal(plate), thermal(plate, far_face="clamped", mount_conductance_w_per_k=5.0)
    shut = thermal(plate, far_face="covered")
    assert shut.board_current < free.board_current < mounted.board_current
    with pytest.raises(DesignError, match="far_face"):
        small.with_values({"rotor.arrangement": "double", "cooling.far_face": "covered"})


@every_design
def test_peaks_reach_the_limit_and_no_more(path):
    """The allowed pulses, followed with every law by the stiff solver: within 4 % of the permitted rise, and above it
    by at most 0.5 %."""
    found = shipped(path.stem)[2].thermal
    state = found.heat
    network, ambient = state.heat.network, state.heat.network.ambient_c
    peaks = {1.0: found.peak_1_cold, 10.0: found.peak_10_cold, 60.0: found.peak_60_cold}
    for duration, current in peaks.items():
        _, heated = stiff_temperatures(network, [[duration, current]], np.full(len(state.limits_c), ambient))
        share = ((heated[-1] - ambient) / (state.limits_c - ambient)).max()
        assert 0.96 < share < 1.005, (duration, share)
    warm = {1.0: found.peak_1_warm, 10.0: found.peak_10_warm, 60.0: found.peak_60_warm}
    for duration, current in warm.items():
        _, heated = stiff_temperatures(network, [[duration, current]], state.warm_c)
        share = ((heated[-1] - ambient) / (state.limits_c - ambient)).max()
        assert 0.96 < share < 1.005, (duration, share)
    assert found.peak_1_cold > found.peak_10_cold > found.peak_60_cold > found.continuous_current
    assert found.peak_1_warm < found.peak_1_cold and found.blister_current > found.peak_1_cold
    long = allowed_currents(state, [1e6])
    assert float(long[0]) == pytest.approx(state.heat_current, rel=1e-6)


@every_design
def test_time_constant_against_the_stiff_solver(path):
    """63 % of the final rise: 4 % of it."""
    found = shipped(path.stem)[2].thermal
    network, state = found.heat.heat.network, found.heat
    _, heated = stiff_temperatures(
        network, [[found.time_constant, found.continuous_current]], np.full(len(state.limits_c), network.ambient_c)
    )
    final = found.board_temperature_c - network.ambient_c
    assert (heated[-1, state.heat.board].max() - network.ambient_c) / final == pytest.approx(0.632, rel=0.04)


def test_cycles(small):
    """The entry for duty and motion: constant current is the continuous one (up to 2 % less, as copper is taken to
    lead its board all the time), a duty lies between rms and peak."""
    state = thermal(small).heat
    steady = cycle_factor(state, [(100.0, state.heat_current)])
    assert 0.98 < steady <= 1.001
    fast = cycle_factor(state, [(0.05, 1.0), (0.15, 0.0)])
    # The rms of a quarter duty is a half; copper that leads its board costs up to 6 %, more than it would in 0.05 s.
    assert 0.94 < fast / (2 * state.heat_current) <= 1.0
    slow = cycle_factor(state, [(40.0, 1.0), (120.0, 0.0)])
    assert state.heat_current < slow < fast
    board, magnets = cycle_temperatures(state, [(40.0, slow), (120.0, 0.0)])
    reached = max(board - state.heat.board_limit_c, magnets - state.heat.magnet_limit_c)
    assert reached == pytest.approx(0.0, abs=0.05)
    assert cycle_temperatures(state, [(1e4, 10 * slow)]) is None
    assert cycle_factor(state, [(10.0, 0.0)]) == float("inf")
    duty = thermal(small, duty="on-off", on_s=40.0, off_s=120.0)
    assert duty.duty_current == pytest.approx(slow, rel=1e-6)


def test_runaway_current_is_the_largest_with_a_steady_state(small):

    found = thermal(small)
    network, board = found.heat.heat.network, found.heat.heat.board
    assert steady_temperature(network, board, found.runaway_current * 1.001) is None
    state = steady_temperature(network, board, found.runaway_current * 0.999)
    assert 290 < float(state.temperature_c.max()) < 300
    order = [found.touch_current, found.board_current, found.tg_current, found.solder_current, found.runaway_current]
    assert order == sorted(order)


def test_the_profile_is_the_rings(small):
    found = thermal(small)
    temperatures = [entry["temperature_c"] for entry in found.profile]
    assert max(temperatures) == pytest.approx(found.board_temperature_c, rel=1e-12)
    radii = [entry["radius_mm"] for entry in found.profile]
    assert radii == sorted(radii) and radii[0] > 500 * small.board.inner_diameter
    assert found.surface_temperature_c < found.board_temperature_c
    assert found.thermal_resistance * found.copper_loss == pytest.approx(found.board_temperature_c - 25.0, rel=1e-9)
    phases = 3 * found.continuous_current**2 * found.hot_resistance
    assert phases == pytest.approx(found.copper_loss, rel=1e-9)


def test_wider_tracks_of_one_layer_shift_the_loss(small):
    """Loss follows section, not coils: twice the width of all coil tracks halves what they lose."""
    copper = lay_copper(small)
    edges = np.linspace(small.board.inner_diameter / 2, small.board.outer_diameter / 2, 25)
    wide = replace(copper.coil, tracks=tuple(replace(t, width=2 * t.width) for t in copper.coil.tracks))
    one, other = ring_sources(
        [SourceCase(small, conductors_of(small, c), edges) for c in (copper, replace(copper, coil=wide))]
    )
    middle = slice(8, 16)  # no inter-coil connections there
    ratio = (one.resistance / one.resistance.sum())[middle] / (other.resistance / other.resistance.sum())[middle]
    assert np.ptp(ratio) < 1e-9 * ratio.max()
    assert other.along[middle] == pytest.approx(2 * one.along[middle], rel=1e-9)


@pytest.mark.parametrize(("changes", "words"), [
    ({"cooling.board_max_c": 20.0}, "cooling.ambient_c"),
    ({"cooling.magnet_max_c": 20.0}, "cooling.ambient_c"),
    ({"cooling.ambient_c": 82.0, "board.laminate_tg_c": 100.0}, "laminate_tg_c"),
    ({"cooling.ambient_c": 81.0}, "magnets stand"),
    ({"cooling.far_face": "clamped"}, "mount_conductance"),
    ({"cooling.duty": "on-off"}, "on_s"),
    ({"cooling.ambiant_c": 20.0}, "ambient_c"),
    ({"cooling.airflow_w_per_m2k": 0.0}, "airflow"),
])  # fmt: skip
def test_nonsense_is_refused_in_words(small, changes, words):
    with pytest.raises(DesignError, match=words):
        small.with_values(changes)


def test_the_repeated_motion_heats_whatever_the_duty(small):
    """A cycle far shorter than the board takes to warm heats like its rms current and its ripple; the factor scales the
    current alone to a limit, by hand (f² I² + ripple²) = what board and magnets stand.
    """
    job = {
        "load": {"inertia_kg_m2": 1e-6},
        "bearing": {"friction_n_m": 0.0005},
        "motion": {"move_deg": 90.0, "speed_rpm": 60.0, "acceleration_deg_s2": 7200.0, "dwell_s": 0.2},
        "drive": {"supply_v": 24.0, "current_limit_peak_a": 10.0, "pwm_khz": 40.0, "sensor_counts": 16384},
    }
    prediction = pcbstator.predict(small.with_values(job))
    found, motion, fit = prediction.thermal, prediction.motion, prediction.drive
    square = motion.rms_current**2 / 2
    ripple = motion.cycle_ripple_heat / (3 * fit.machine.hot_resistance)
    steady = steady_temperature(found.heat.heat.network, found.heat.heat.board, sqrt(square + ripple))
    board = float(steady.temperature_c[0][found.heat.heat.board].max())
    # On top are the swing, and copper that leads its board at every short peak as a long one would make it.
    assert board <= motion.cycle_board_c <= 25.0 + 1.15 * (board - 25.0)
    assert motion.cycle_rotor_c == pytest.approx(
        float(steady.temperature_c[0][found.heat.heat.magnets].max()), abs=0.01
    )
    assert 25.0 < motion.cycle_face_c < motion.cycle_board_c
    by_hand = sqrt((found.heat.heat_current**2 - ripple) / square)
    assert 0.88 <= motion.cycle_heat_growth / by_hand <= 1.0
    for duty in ("continuous", "motion"):
        again = pcbstator.predict(small.with_values(job | {"cooling": {"duty": duty}})).motion
        assert again.cycle_board_c == pytest.approx(motion.cycle_board_c, abs=1e-6)


@pytest.mark.parametrize(
    "steel", [{"rotor.back_iron_mm": 2.0}, {"rotor.back_iron_mm": 0.0, "rotor.stator_iron_mm": 1.0}]
)
def test_steel_without_area_takes_no_heat(steel):
    """A ring whose outline lies within its opening is none: the same heat as without it."""
    wheel = pcbstator.load_design(next(path for path in DESIGNS if path.stem == "filter-wheel"))
    found = pcbstator.predict(wheel.with_values(steel | {"rotor.iron_outer_diameter_mm": 3.0})).thermal
    bare = pcbstator.predict(wheel.with_values({"rotor.back_iron_mm": 0.0})).thermal
    assert found.board_current == pytest.approx(bare.board_current, rel=1e-9)
