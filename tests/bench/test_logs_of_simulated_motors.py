"""Logs written by the whole simulation of a motor that has a cause, read against the design without it.

The simulation is the project's own, but another model than the one that judges: sampled loops, windings and friction in
time there; orders, places and least squares here. Every cause comes back at its place and in its size.
"""

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.drive.simulation.run_measures import errors
from pcbstator.analysis.drive.simulation.stand import stand_of
from pcbstator.bench.comparison import compared
from pcbstator.bench.load import bench_from_tables
from pcbstator.bench.machine_state import machine_state
from pcbstator.physics.drive.motion import Piece, sampled_moves
from pcbstator.physics.drive.positioning import ring_eccentricity_error
from pcbstator.project import size_design
from tests.command import DESIGNS

pytestmark = pytest.mark.slow

STAGE = pcbstator.load_design(next(path for path in DESIGNS if path.stem == "photogrammetry-stage"))
SPEED, TURNS, RISE = 12 * np.pi / 30, 1.35, 0.5
SPOT = {"angle_deg": 250.0, "width_deg": 20.0, "extra_n_m": 0.006}
HEAVY = [
    {"shape": "disc", "mass_g": 400.0, "diameter_mm": 240.0},
    {"shape": "disc", "mass_g": 2500.0, "diameter_mm": 120.0},
]


@pytest.fixture(scope="module")
def state():
    return machine_state(STAGE)


def stand(**changes):
    design = size_design(STAGE.with_values({key.replace("__", "."): value for key, value in changes.items()}))
    return stand_of(design, pcbstator.predict(design))[0]


def turn_both_ways(stand, points=8000):
    way = TURNS * 2 * np.pi
    far = SPEED * RISE + way
    pieces = (
        Piece(RISE, 0.0, SPEED / RISE, 0.0, 0.0),
        Piece(way / SPEED, 0.0, 0.0, SPEED, SPEED * RISE / 2),
        Piece(RISE, 0.0, -SPEED / RISE, SPEED, SPEED * RISE / 2 + way),
    )
    moves = [(0.0, (), 1.0, 0.2), (0.0, pieces, 1.0, 0.5), (far, pieces, -1.0, 0.5)]
    return stand.run(sampled_moves(moves, stand.control.period, stand.most), points=points)


def log(folder, kind, trace, reference=False):
    columns = {"time_s": trace.times, "angle_deg": np.degrees(trace.believed), "terminal_peak_a": trace.current}
    if reference:
        columns["reference_deg"] = np.degrees(trace.angles)
    name = f"{kind}.csv"
    np.savetxt(folder / name, np.column_stack(list(columns.values())), delimiter=",", header=",".join(columns),
               comments="", fmt="%.8g")  # fmt: skip
    return bench_from_tables({kind: [{"table_csv": name}]}, folder)


def rows(state, bench):
    return compared(state.design, bench, state=state).logs


def named(logs, key):
    return next(each for each in logs.rows if each.key == key)


def test_a_healthy_motor_shows_nothing(state, tmp_path):
    logs = rows(state, log(tmp_path, "slow_turn", turn_both_ways(stand()), reference=True))
    assert not logs.far
    once, level, spot = (named(logs, key) for key in ("sensor_once_per_turn", "running_friction", "friction_spot"))
    assert once.value == pytest.approx(once.assumed, rel=0.01)
    assert level.value == pytest.approx(0.012, rel=0.005)
    assert spot.value == pytest.approx(0.004, rel=0.05)


def test_a_spot_elsewhere_and_more_friction(state, tmp_path):
    trace = turn_both_ways(stand(bearing__friction_spots=[SPOT], bearing__friction_n_m=0.03,
                                 bearing__standstill_friction_n_m=0.03))  # fmt: skip
    logs = rows(state, log(tmp_path, "slow_turn", trace))
    level, spot = named(logs, "running_friction"), named(logs, "friction_spot")
    assert level.value == pytest.approx(0.03, rel=0.005)
    assert spot.value == pytest.approx(0.006, rel=0.05)
    middle = float(spot.about.split("at ")[1].split(" ")[0])
    width = float(spot.words.split(" ")[0])
    assert middle == pytest.approx(250.0, abs=3 * float(spot.about.split("± ")[1].split(" ")[0]))
    assert width == pytest.approx(20.0, abs=3 * float(spot.words.split("± ")[1].split(" ")[0]))
    assert level.far and spot.far
    assert {each.about for each in logs.advice} == {"ring bearing", "friction"}


def test_offset_of_the_current_sensors(state, tmp_path):
    """Beside a prediction for the motor that has it, within what the simulation's own noise allows."""
    causes = {"drive.current_offset_percent": 4.0, "bearing.friction_spots": None}
    trace = turn_both_ways(stand(drive__current_offset_percent=4.0, bearing__friction_spots=None))
    bench = log(tmp_path, "slow_turn", trace)
    logs = rows(state, bench)
    assert [each.key for each in logs.far] == ["current_offset"]
    assert "at each start" in logs.advice[0].words
    with_it = named(rows(machine_state(STAGE.with_values(causes)), bench), "current_offset")
    assert with_it.value == pytest.approx(with_it.assumed, rel=0.02)


def test_ring_farther_off_centre(state, tmp_path):
    bench = log(tmp_path, "slow_turn", turn_both_ways(stand(drive__sensor_offset_mm=0.3)), reference=True)
    once = named(rows(state, bench), "sensor_once_per_turn")
    assert once.far
    assert once.value == pytest.approx(np.degrees(np.arcsin(0.3 / 30)), rel=0.01)


@pytest.mark.parametrize("noise", [0.0, 3e-4])
def test_heavier_object(state, tmp_path, noise):
    heavy = stand(load__bodies=HEAVY)
    trace = heavy.run(heavy.moves([0.0, 0.6, 1.2, 0.6, 0.0], 0.3), points=6000)
    trace.believed[:] += noise * np.random.default_rng(1).standard_normal(len(trace.times))
    logs = rows(state, log(tmp_path, "move", trace))
    inertia = named(logs, "inertia")
    assert inertia.far
    assert inertia.value == pytest.approx(heavy.plant.inertia, rel=0.02)
    assert named(logs, "running_friction").value == pytest.approx(0.012, rel=0.02)
    assert logs.advice[0].about == "gains"


def test_stops_as_a_camera_sees_them(state):
    """Sideways play of the bearing at the mark, a ring off its centre, and friction that hardly shows.

    Within a count of the sensor: the trace has the observer's angle, which the torque against friction shifts so far.
    """
    count = np.degrees(2 * np.pi / STAGE.drive.counts)
    plain = stand()
    reference = plain.moves([1.4, 1.5, 1.6, 1.5, 1.4, 1.5, 1.6, 1.5], 1.5)
    trace = plain.run(reference, points=20_000)
    seen, believed = errors(trace, reference, plain)
    ends = np.flatnonzero(np.diff(trace.wanted, append=np.nan) != 0) - 1
    ends = ends[np.append(True, np.diff(ends) > 50)]
    at = [end for end in ends if abs(trace.wanted[end] - 1.5) < 1e-6]
    table = {"target_deg": np.degrees(1.5)}
    for side, stops in (("below", at[0::2]), ("above", at[1::2])):  # it comes from 1.4 and from 1.6 in turn
        assert len(stops) == 2
        table[f"from_{side}_deg"] = np.degrees(1.5 + seen[stops]).tolist()
        table[f"sensor_{side}_deg"] = np.degrees(1.5 + believed[stops]).tolist()
    logs = rows(state, bench_from_tables({"approach": [table]}))
    assert not logs.far
    play = np.degrees(np.arctan(STAGE.bearing.radial_play / STAGE.drive.mark_radius))
    assert named(logs, "play").value == pytest.approx(play, abs=count)
    ring = np.degrees(ring_eccentricity_error(1.5, STAGE.drive.sensor_offset, STAGE.drive.sensor_radius))
    assert named(logs, "sensor_at_target").value == pytest.approx(ring, rel=0.02)
    assert abs(named(logs, "friction_dead_band").value) <= count
