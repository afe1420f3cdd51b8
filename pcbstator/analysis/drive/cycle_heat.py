"""The heat of the job: what its repeated cycle warms the motor to, what that makes of the magnets, how far it could
grow, and how short its rests could be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.equivalent_machine import Machine, job_temperature
from pcbstator.analysis.drive.load_cycle import Cycle, LoadValues
from pcbstator.analysis.drive.ripple import RippleHeat
from pcbstator.analysis.drive.sizing import Need, needed
from pcbstator.analysis.drive.torque_limits import Limits
from pcbstator.analysis.thermal.cooling import magnet_strength
from pcbstator.analysis.thermal.job_heat import JobHeat, JobTemperatures, TurningLoss, job_heat
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.physics.conductors.delta_loop import loop_loss
from pcbstator.physics.drive.motion import cycle_samples
from pcbstator.physics.drive.supply import voltage_needed

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

ROUNDS = 4  # between the magnets' temperature and the current that it asks for
SAME = 1e-4  # of the magnets' strength
LONGEST_REST = 1e6  # s
WITH_REST = 1.0  # s, for a cycle that has none


@dataclass(frozen=True, eq=False)
class Heated:
    """The job's heat: its network, what it reaches, and strength of its magnets then; None where there is no balance
    of heat, or where the cycle runs away."""

    job: JobHeat | None = None
    temperatures: JobTemperatures | None = None
    strength: float = 1.0


def turning_loss(design: SizedDesign, machine: Machine, squares: float, loop: float, steel: float) -> TurningLoss:
    """Heat of turning alone. squares: mean square of the motor's speed [rad2/s2]; loop: mean heat of the current around
    a delta [W]; steel: part of ``Machine.drag`` that steel beyond the board takes [N m s/rad]."""
    copper = max(machine.drag - steel, 0.0) * squares + loop
    return TurningLoss(copper, job_temperature(design), steel * squares)


def heated(
    design: SizedDesign, machine: Machine, thermal: ThermalResult, cycle: Cycle, need: Need, ratio: float, steel: float
) -> Heated:
    """What the repeated cycle reaches; the warmer the magnets, the more current it takes."""
    if thermal.heat is None:
        return Heated()
    speeds, weights = cycle.samples.speeds * ratio, cycle.samples.weights / cycle.samples.duration
    loop = 0.0 if machine.loop is None else float(weights @ loop_loss(machine.loop, speeds))
    job = job_heat(thermal.heat, turning_loss(design, machine, float(weights @ speeds**2), loop, steel))
    if job is None:
        return Heated()
    strength = 1.0
    for _ in range(ROUNDS):
        found = job.temperatures(with_strength(need.steps, strength))
        if found is None:
            return Heated(job)
        before, strength = strength, magnet_strength(design, found.rotor)
        if abs(strength - before) < SAME:
            break
    return Heated(job, found, strength)


def with_strength(steps: FloatArray, strength: float, factor: float = 1.0) -> FloatArray:
    """Duration [s] and rms phase current [A] of steps whose magnets have this strength and whose torque has grown."""
    current = np.hypot(steps[:, 1] * factor / max(strength, 1e-3), steps[:, 2])
    return np.stack([steps[:, 0], current], axis=1)


def continuous_current(
    design: SizedDesign, limits: Limits, thermal: ThermalResult, top_speed: float, steel: float,
    ripple: RippleHeat | None,
) -> float | None:  # fmt: skip
    """Peak terminal current [A] in continuous duty at the job's top speed [rad/s] of the load: the eddies of that
    speed and the ripple of the switching take their part of the heat."""
    machine, stands = limits.machine, thermal.continuous_current
    if stands is None:
        return None
    motor = top_speed * limits.ratio
    if thermal.heat is not None and stands > 0:
        loop = 0.0 if machine.loop is None else float(loop_loss(machine.loop, motor))
        at_speed = job_heat(thermal.heat, turning_loss(design, machine, motor**2, loop, steel))
        stands = stands if at_speed is None else min([at_speed.heat_current, *standard_currents(thermal)])
    peak = machine.peak_current(stands)
    if ripple is None or limits.drive is None:
        return peak
    voltage = voltage_needed(
        motor, peak, machine.hot_resistance, machine.inductance, machine.pole_pairs, machine.psi
    ) / machine.voltage_limit(limits.drive.supply - limits.drive.sag)  # fmt: skip
    return sqrt(max(peak**2 - 2 * float(ripple.mean_square(float(voltage))), 0.0))


def cycle_temperatures(found: Heated) -> dict[str, Any]:
    """Fields of the temperatures that the job reaches."""
    reached = found.temperatures
    if reached is None:
        return {}
    return {"cycle_board_c": reached.board, "cycle_face_c": reached.face, "cycle_rotor_c": reached.rotor}


def cycle_growth(thermal: ThermalResult, need: Need, found: Heated, driver: dict[str, float]) -> dict[str, Any]:
    """Fields of how far the cycle could grow, and what would stop it; driver: factors by current and voltage."""
    factors, strength = dict(driver), found.strength
    mean = float(need.steps[:, 0] @ (need.steps[:, 1] / strength) ** 2 / need.steps[:, 0].sum())
    fields: dict[str, Any] = {}
    if found.job is not None and mean > 0:
        first = max(found.job.heat_current, 1e-9) / sqrt(mean)
        factor, which = found.job.growth(lambda grown: with_strength(need.steps, strength, grown), first)
        factors[which] = fields["cycle_heat_growth"] = factor
    known = standard_currents(thermal)
    if mean > 0 and known:
        factors["track"] = min(known) / sqrt(mean)
    if not factors:
        return fields
    least = min(factors, key=lambda name: factors[name])
    limit = least if least in driver else "heat"
    return fields | {"cycle_growth": factors[least], "cycle_growth_limit": least, "limited_by": limit}


def standard_currents(thermal: ThermalResult) -> list[float]:
    """Rms phase currents [A] by the standards, as far as they give any; they limit the continuous current as well."""
    standards = thermal.ipc2221_current, thermal.ipc2152_current, thermal.ipc2221_via_current
    return [each for each in standards if each is not None]


def shortest_rest(
    limits: Limits, cycle: Cycle, load: LoadValues, hold: float, ripple: RippleHeat | None, found: Heated
) -> float | None:
    """Shortest rest [s] after each move that keeps the limits of heat; None where no rest does, or without moves."""
    if found.job is None or cycle.move_time is None or cycle.recorded.any():
        return None
    rested = with_rest(cycle, WITH_REST)
    need = needed(limits, rested, load, hold, ripple)
    # One step for each stretch of moving or resting, so that a rest can be stretched by itself.
    moving = rested.samples.moving > 0
    starts = np.flatnonzero(np.concatenate([[True], moving[1:] != moving[:-1]]))
    times = np.add.reduceat(rested.samples.weights, starts)
    scale, peaks = limits.machine.peak_current(1.0), need.current / found.strength
    squares = np.add.reduceat(rested.samples.weights * (peaks**2 + 2 * need.ripple_square), starts) / times / scale**2
    resting = ~moving[starts]

    def steps(rest: float) -> FloatArray:
        durations = np.where(resting, times * rest / WITH_REST, times)
        kept = durations > 0
        return np.stack([durations[kept], np.sqrt(squares[kept])], axis=1)

    return found.job.shortest_rest(steps, LONGEST_REST)


def with_rest(cycle: Cycle, rest: float) -> Cycle:
    """The cycle with another rest [s] after each move."""
    moves = [(start, pieces, sense, rest) for start, pieces, sense, _ in cycle.moves]
    samples = cycle_samples(moves)
    return replace(cycle, samples=samples, recorded=np.zeros_like(samples.times), moves=moves)
