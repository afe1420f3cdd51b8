"""The drive in time: the design's machine, load, sensor and gains in the scenarios that a user asks about."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import degrees, pi, sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.load_cycle import Moves, cycle_of
from pcbstator.analysis.drive.simulation import place_measures as places
from pcbstator.analysis.drive.simulation import push_measures as pushes
from pcbstator.analysis.drive.simulation import run_measures as runs
from pcbstator.analysis.drive.simulation.requirement_remarks import requirement_remarks
from pcbstator.analysis.drive.simulation.scenario_values import ScenarioValues, scenario_values
from pcbstator.analysis.drive.simulation.stand import Stand, stand_of
from pcbstator.analysis.drive.simulation.turn_measures import turn_numbers
from pcbstator.analysis.mechanical.ball_contact import with_ball_friction
from pcbstator.analysis.prediction import Prediction
from pcbstator.physics.drive.motion import Piece, sampled_moves
from pcbstator.physics.drive.simulation import Trace

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

STEPS = 7  # small ones at a place, then one back
REPEATS = 2  # approaches to a place from either side
AWAY = float(np.radians(5.0))  # from where a target is approached
ASIDE = 0.2  # s of rest where an approach only turns round
RISE = 0.5  # s of run-up to a slow turn
RUN_IN = 30.0  # time constants of the position loop from which nothing of the start is left in a slow turn
TURN_POINTS = 16000  # kept of a slow turn
SHORT_TURN = 10.0  # s of a turn so slow that a whole one would take too long


@dataclass(frozen=True, eq=False)
class Played:
    """What a scenario gave: its runs, of which ``shown`` is drawn, numbers by key, and curves beside the trace."""

    traces: tuple[Trace, ...]
    shown: Trace
    numbers: dict[str, Any]
    curves: dict[str, FloatArray]


@dataclass(frozen=True, eq=False)
class ScenarioRun:
    """One scenario: its name, what it shows, the trace that is drawn, its numbers by key, and curves by key."""

    name: str
    title: str
    trace: Trace
    numbers: dict[str, Any]
    curves: dict[str, FloatArray] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Simulation:
    """All runs of a design, with the prediction that they rest on."""

    prediction: Prediction
    runs: tuple[ScenarioRun, ...]
    remarks: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain data, numbers in the unit of their key."""
        head = {"title": self.prediction.title, "design_file": self.prediction.design_file}
        return {
            **head,
            "version": self.prediction.version,
            **(
                {"requirement": [verdict.to_dict() for verdict in asked]}
                if (asked := self.prediction.requirement)
                else {}
            ),
            "scenarios": {run.name: run.numbers for run in self.runs},
            "error_budget": list(self.prediction.motion.error_budget) if self.prediction.motion else [],
            "remarks": list(self.remarks),
            "findings": [finding.to_dict() for finding in self.prediction.findings],
        }


@dataclass(frozen=True, eq=False)
class Bench:
    """What a scenario runs on: the design, its drive ready to run, the values asked for, remarks to add to; built: the
    same with a motor drawn by ``[build]``, and its number, where the drive itself has perfect magnets.
    """

    design: SizedDesign
    stand: Stand
    values: ScenarioValues
    remarks: list[str]
    built: tuple[int, Stand] | None = None


def simulation(
    design: SizedDesign, prediction: Prediction, names: tuple[str, ...] = (), rotor: int | None = None
) -> Simulation:
    """The named scenarios of a design, all where none is named; rotor: number of a motor drawn by ``[build]``.

    DesignError where it lacks what they need.
    """
    design = with_ball_friction(design, prediction.slip_ring_balls)
    stand, remarks = stand_of(design, prediction, rotor)
    bench = Bench(design, stand, scenario_values(design, stand), remarks, _built(design, prediction, rotor))
    done = []
    for name in names or tuple(SCENARIOS):
        title, play = SCENARIOS[name]
        played = play(bench)
        if played is not None:
            numbers = played.numbers | runs.common_numbers(played.traces, stand)
            done.append(ScenarioRun(name, title, played.shown, numbers, played.curves))
    told = requirement_remarks(design.requirement, {run.name: run.numbers for run in done})
    return Simulation(prediction, tuple(done), tuple(dict.fromkeys([*told, *remarks])))


def _built(design: SizedDesign, prediction: Prediction, rotor: int | None) -> tuple[int, Stand] | None:
    """The drawn motor whose torque ripple 95 % keep, to be run beside the perfect one."""
    if rotor is not None or prediction.build is None:
        return None
    number = prediction.build.rotor
    return number, stand_of(design, prediction, number)[0]


def _moves(bench: Bench) -> Played | None:
    """What [motion] asks for, once, and a rest at the end to settle."""
    design, stand, remarks = bench.design, bench.stand, bench.remarks
    cycle = cycle_of(design)
    if cycle is None or (design.recording is not None and not design.recording.angles):
        remarks.append("the scenario moves needs [motion] with angles and was left out")
        return None
    if cycle.turns_for_ever:
        reference = run_up(cycle.top_speed, 0.0, 6.0, stand)
    else:
        moves = [(start, pieces, sense, rest or bench.values.rest) for start, pieces, sense, rest in cycle.moves]
        begin: Moves = [(moves[0][0], (), 1.0, 0.02)]
        reference = sampled_moves(begin + moves, stand.control.period, stand.most)
        if len(reference[0]) == stand.most:
            remarks.append(f"moves: only the first {stand.most * stand.control.period:.3g} s were run")
    trace = stand.run(reference)
    numbers, found = runs.following_numbers(trace, reference, stand, bench.values)
    remarks.extend(runs.settling_remark("moves", found, bench.values))
    return Played((trace,), trace, numbers, _error_curves(trace, reference, stand))


def _error_curves(trace: Trace, reference: runs.Reference, stand: Stand) -> dict[str, FloatArray]:
    """Error over the time of the trace, of the load and as the sensor believes."""
    seen, believed = runs.errors(trace, reference, stand)
    return {"error_deg": np.degrees(seen), "believed_error_deg": np.degrees(believed)}


def run_up(speed: float, start: float, duration: float, stand: Stand) -> tuple[FloatArray, FloatArray, FloatArray]:
    """A constant speed after half a second of run-up."""
    rise = Piece(RISE, 0.0, speed / RISE, 0.0, 0.0)
    steady = Piece(duration, 0.0, 0.0, speed, speed * RISE / 2)
    return sampled_moves([(start, (rise, steady), 1.0, 0.0)], stand.control.period, stand.most)


def _slow(bench: Bench) -> Played:
    """A slow constant turn, all around; where that would take too long, over the worst friction spot."""
    stand, values = bench.stand, bench.values
    speed = values.slow_speed
    run_in = max(2.0, RISE + min(20.0, RUN_IN / stand.control.position_gain) + min(20.0, _break_away(stand, speed)))
    turn = 2 * pi / speed
    start, duration = -speed * run_in, run_in + turn * 1.001
    if RISE + duration > stand.most * stand.control.period:
        duration = run_in + SHORT_TURN
        start = values.worst - speed * (run_in + SHORT_TURN / 2)
        part = degrees(speed * SHORT_TURN)
        bench.remarks.append(f"slow: a turn takes {turn:.3g} s; {part:.3g} degrees of it were run, without orders")
    reference = run_up(speed, start, duration, stand)
    trace = stand.run(reference, points=TURN_POINTS)
    numbers, curves = turn_numbers(bench.design, trace, reference, stand, speed, run_in)
    if bench.built is not None:
        number, built = bench.built
        again = built.run(reference, points=TURN_POINTS)
        found, _ = turn_numbers(bench.design, again, reference, built, speed, run_in)
        numbers |= {"drawn_motor": number, "drawn_motor_speed_ripple_peak_ratio": found["speed_ripple_peak_ratio"]}
    return Played((trace,), trace, {"speed_from": values.slow_speed_from} | numbers, curves)


def _break_away(stand: Stand, speed: float) -> float:
    """Time [s] in which the loops build up, at a constant speed asked for, what starts the load beyond what is fed
    forward: speed·(K·(1 + p·t) + I·(t + p·t²/2)) with the gains of the speed loop and of the position loop.
    """
    control, plant = stand.control, stand.plant
    needed = plant.standstill + plant.unbalance + max(plant.spots, default=0.0) - control.friction
    needed += max(plant.cogging, default=0.0)
    steady = control.speed_gain * speed - needed
    if steady >= 0:
        return 0.0
    rate = speed * (control.speed_gain * control.position_gain + control.speed_integral)
    bend = speed * control.speed_integral * control.position_gain
    return float((sqrt(rate**2 - 2 * bend * steady) - rate) / bend) if bend > 0 else -steady / rate


def _approach(bench: Bench) -> Played:
    """Targets around the turn, each approached twice from either side."""
    stand, values = bench.stand, bench.values
    traces, found, references = [], [], []
    for place in values.places:
        angles = [place - AWAY]
        for _ in range(REPEATS):
            angles += [place, place + AWAY, place, place - AWAY]
        reference = stand.moves(angles[:-1], values.rest, aside=ASIDE)
        trace = stand.run(reference)
        rests = runs.rests(trace, reference, stand, values.band)
        traces.append(trace)
        references.append(reference)
        found.append(places.Stops(place, tuple(rests[0::4]), tuple(rests[2::4])))
    numbers = places.approach_numbers(found, stand, values)
    stops = [rest for one in found for rest in one.all]
    bench.remarks.extend(runs.settling_remark("approach", stops, values))
    worst = found.index(places.worst_stop(found)[0])
    shown = traces[worst]
    return Played(tuple(traces), shown, numbers, _error_curves(shown, references[worst], stand))


def _steps(bench: Bench) -> Played:
    """Equal small steps in one direction and one back, at places around the turn."""
    stand, values = bench.stand, bench.values
    step = values.small_step
    traces, found, references = [], [], []
    for place in values.step_places:
        angles = [place + step * number for number in (*range(STEPS + 1), STEPS - 1)]
        reference = stand.moves([place - AWAY, *angles], values.rest)
        trace = stand.run(reference)
        traces.append(trace)
        references.append(reference)
        found.append(places.Steps(place, tuple(runs.rests(trace, reference, stand, values.band)[1:])))
    numbers = places.step_numbers(found, values)
    stops = [rest for one in found for rest in one.stops]
    bench.remarks.extend(runs.settling_remark("steps", stops, values))
    worst = found.index(places.worst_steps(found, step))
    return Played(tuple(traces), traces[worst], numbers, _error_curves(traces[worst], references[worst], stand))


def _hold(bench: Bench) -> Played:
    """A long push by hand while it holds, then nudges of growing size to either side."""
    stand, values = bench.stand, bench.values
    period = stand.control.period
    arriving = stand.moves([values.worst - AWAY, values.worst], max(values.rest, pushes.QUIET))
    begin = len(arriving[0]) * period
    reference = pushes.hold_reference(arriving, 2 * pushes.RISE + pushes.LASTING + pushes.AFTER, period)
    trace = stand.run(reference, pushes.long_push(begin, stand.push, len(reference[0]), period))
    numbers = pushes.holding_numbers(trace, reference, stand, begin, values.returned)
    sides, least = pushes.all_nudges(stand, arriving, values.band)
    asked = bench.design.requirement.push if bench.design.requirement else None
    numbers |= {"at_deg": degrees(values.worst), **pushes.nudge_numbers(sides, least, stand, asked)}
    if "smallest_told_push_n_m" not in numbers:
        bench.remarks.append("hold: no push within the drive's torque shows safely more on the sensor than its rest")
    nudges = [nudge for side in sides for nudge in side]
    curves = _error_curves(trace, reference, stand) | {
        "nudge_n_m": np.array([nudge.push for nudge in nudges]),
        "nudge_deg": np.degrees([np.copysign(nudge.largest, nudge.push) for nudge in nudges]),
    }
    return Played((trace, *(nudge.trace for nudge in nudges)), trace, numbers, curves)


SCENARIOS: dict[str, tuple[str, Callable[[Bench], Played | None]]] = {
    "moves": ("the design's own motion", _moves),
    "slow": ("a slow constant turn", _slow),
    "approach": ("targets around the turn from both sides", _approach),
    "steps": ("equal small steps around the turn", _steps),
    "hold": ("a push by hand while it holds", _hold),
}
