"""The heat of the job: what its repeated cycle warms the motor to, what that makes of the magnets, how far it could
grow, and how short its rests could be.
"""

from __future__ import annotations

from dataclasses import replace
from math import sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.equivalent_machine import Machine, job_temperature
from pcbstator.analysis.drive.load_cycle import Cycle, LoadValues
from pcbstator.analysis.drive.ripple import ripple_squares
from pcbstator.analysis.drive.sizing import Need, driver_factors, needed, voltage_used
from pcbstator.analysis.drive.torque_limits import Limits
from pcbstator.analysis.magnetic.losses import Braking
from pcbstator.analysis.thermal.cooling import magnet_strength
from pcbstator.analysis.thermal.job_heat import JobHeat, TurningLoss, job_heat
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.physics.conductors.delta_loop import loop_loss
from pcbstator.physics.drive.motion import cycle_samples

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

HEAT_STEPS = 24  # of a cycle
ROUNDS = 8  # of the magnets' strength against the current that it asks for
NEAR = 0.01  # change of that strength after which another round would change nothing that counts
WEAKEST = 0.1  # strength of magnets below which nothing is worth computing
LONGEST_REST = 1e6  # s
WITH_REST = 1.0  # s, for a cycle whose rests are looked at


def turning_loss(
    design: SizedDesign, machine: Machine, brakes: Braking, speeds: FloatArray, parts: FloatArray
) -> TurningLoss:
    """Mean heat of turning at speeds [rad/s] of the motor, for these parts of the time."""
    square, mean = float(parts @ speeds**2), float(parts @ np.abs(speeds))
    loop = 0.0 if machine.loop is None else float(parts @ loop_loss(machine.loop, speeds))
    steel = brakes.steel * square + brakes.hysteresis * mean
    return TurningLoss(brakes.copper * square + loop, job_temperature(design), steel)


def heat_of_job(
    design: SizedDesign, machine: Machine, brakes: Braking, thermal: ThermalResult, cycle: Cycle, ratio: float,
    need: Need, strength: float = 1.0,
) -> JobHeat | None:  # fmt: skip
    """The balance of heat at the speeds and currents of the cycle, magnets of this strength; None where there is
    none."""
    if thermal.heat is None:
        return None
    parts = cycle.samples.weights / cycle.samples.duration
    turning = turning_loss(design, machine, brakes, cycle.samples.speeds * ratio, parts)
    return job_heat(thermal.heat, turning, float(parts @ np.abs(need.current)) / strength)


def continuous_current(
    design: SizedDesign, machine: Machine, brakes: Braking, thermal: ThermalResult, speed: float
) -> float | None:
    """Peak terminal current [A] in continuous duty at a speed [rad/s] of the motor, whose eddies take their part of
    the heat."""
    stands = thermal.continuous_current
    if stands is None:
        return None
    if thermal.heat is not None:
        turning = turning_loss(design, machine, brakes, np.array([speed]), np.ones(1))
        at_speed = job_heat(thermal.heat, turning)
        if at_speed is not None:
            stands = min([at_speed.heat_current, *standard_currents(thermal)])
    return machine.peak_current(stands)


def standard_currents(thermal: ThermalResult) -> list[float]:
    """Rms phase currents [A] by the standards, as far as they give any; they limit the continuous current as well."""
    standards = thermal.ipc2221_current, thermal.ipc2152_current, thermal.ipc2221_via_current
    return [each for each in standards if each is not None]


def warm_strength(design: SizedDesign, heat: JobHeat, machine: Machine, cycle: Cycle, need: Need) -> float:
    """Strength of the magnets as warm as the current of the cycle and its turning make them, over that of the design;
    the warmer they are, the more current it takes."""
    if design.rotor.magnet.stated_remanence is not None:
        return 1.0
    weights = cycle.samples.weights / cycle.samples.duration
    current = sqrt(float(weights @ need.current**2)) / machine.peak_current(1.0)
    strength, ambient = 1.0, heat.network.ambient_c
    for _ in range(ROUNDS):
        rotor, before = heat.rotor_at(current / strength), strength
        if rotor is None:
            return before  # it runs away: there is no temperature to speak of
        for _ in range(ROUNDS):  # as if the rise went with the square of the current
            hotter = ambient + (rotor - ambient) * (before / strength) ** 2
            strength = max(magnet_strength(design, hotter), WEAKEST)
        if abs(strength - before) < NEAR:
            break
    return strength


def cycle_heat(
    limits: Limits, thermal: ThermalResult, cycle: Cycle, load: LoadValues, need: Need, heat: JobHeat | None,
    hold: float, whole: bool,
) -> dict[str, Any]:  # fmt: skip
    """Fields of what the repeated cycle reaches, and, where the whole is wanted, how far it could grow."""
    squares = cycle_ripple(limits, cycle, need)
    fields: dict[str, Any] = {}
    if limits.drive is not None:
        mean = float(cycle.samples.weights @ squares) / cycle.samples.duration
        fields["cycle_ripple_heat"] = 2 * limits.machine.copper_loss(1.0) * mean
    steps = heat_steps(limits, cycle, need, squares)
    reached = None if heat is None else heat.temperatures(grown(steps))
    if reached is not None:
        fields |= {"cycle_board_c": reached.board, "cycle_face_c": reached.face, "cycle_rotor_c": reached.rotor}
        fields["cycle_driver_c"] = reached.driver
    if whole:
        fields |= _continuous_ripple(limits, cycle)
        driver = driver_factors(limits, limits.drive, cycle, load, need) if limits.drive else {}
        fields |= _growth(thermal, steps, heat, driver)
        if heat is not None:
            fields["cycle_shortest_rest"] = shortest_rest(limits, cycle, load, hold, heat)
    return fields


def _continuous_ripple(limits: Limits, cycle: Cycle) -> dict[str, Any]:
    """Fields of the ripple at the continuous current and the top speed, and of the current that its heat leaves.

    The voltage is that of the current without ripple, which is a little more.
    """
    drive, peak, machine = limits.drive, limits.heat_current, limits.machine
    if drive is None or peak is None or peak <= 0:
        return {}
    current = np.array([min(peak, drive.current_limit)])
    used = voltage_used(limits, drive, np.array([cycle.top_speed]), current)
    square = float(ripple_squares(machine, drive, used)[0])
    left = max(peak**2 - 2 * square, 0.0)  # mean squares: half of the peak's, and the ripple's own
    return {
        "continuous_ripple_heat": 2 * machine.copper_loss(1.0) * square,
        "continuous_less_ripple": sqrt(left) / machine.peak_current(1.0),
    }


def cycle_ripple(limits: Limits, cycle: Cycle, need: Need) -> FloatArray:
    """Mean square [A2] of a terminal's ripple at the samples of a cycle."""
    if limits.drive is None:
        return np.zeros_like(need.current)
    used = voltage_used(limits, limits.drive, cycle.samples.speeds, need.current / limits.job_strength)
    return ripple_squares(limits.machine, limits.drive, used)


def heat_steps(limits: Limits, cycle: Cycle, need: Need, squares: FloatArray) -> FloatArray:
    """Duration [s], rms phase current and rms phase ripple [A] of at most HEAT_STEPS steps that follow each other.

    squares: mean square of a terminal's ripple at the samples [A2].
    """
    weights, peaks = cycle.samples.weights, need.current / limits.job_strength
    each = np.stack([weights, weights * peaks**2, weights * 2 * squares])
    sums = np.add.reduceat(each, even_starts(len(weights)), axis=1)
    times, currents, ripples = sums[:, sums[0] > 0]  # the ends of a quadrature weigh nothing
    scale = limits.machine.peak_current(1.0)
    return np.stack([times, np.sqrt(currents / times) / scale, np.sqrt(ripples / times) / scale], axis=1)


def even_starts(samples: int) -> NDArray[np.int64]:
    """Where at most HEAT_STEPS even groups of samples begin."""
    count = min(HEAT_STEPS, samples)
    return np.arange(count) * samples // count


def grown(steps: FloatArray, factor: float = 1.0) -> FloatArray:
    """Duration [s] and rms phase current [A] of steps whose current, but not its ripple, has grown."""
    return np.stack([steps[:, 0], np.hypot(steps[:, 1] * factor, steps[:, 2])], axis=1)


def _growth(
    thermal: ThermalResult, steps: FloatArray, heat: JobHeat | None, driver: dict[str, float]
) -> dict[str, Any]:
    """Fields of how far the cycle could grow, and what would stop it; driver: factors by current and voltage."""
    factors, known = dict(driver), standard_currents(thermal)
    mean = float(steps[:, 0] @ steps[:, 1] ** 2 / steps[:, 0].sum())
    fields: dict[str, Any] = {}
    if heat is not None and mean > 0:
        first = max(heat.heat_current, 1e-9) / sqrt(mean)
        factor, which = heat.growth(lambda part: grown(steps, part), first)
        factors[which] = fields["cycle_heat_growth"] = factor
    if mean > 0 and known:
        factors["track"] = min(known) / sqrt(mean)
    if not factors:
        return fields
    least = min(factors, key=lambda name: factors[name])
    limit = least if least in driver else "heat"
    return fields | {"cycle_growth": factors[least], "cycle_growth_limit": least, "limited_by": limit}


def shortest_rest(limits: Limits, cycle: Cycle, load: LoadValues, hold: float, heat: JobHeat) -> float | None:
    """Shortest rest [s] after each move that keeps the limits of heat; None where no rest does, or without moves."""
    if cycle.move_time is None or cycle.recorded.any():
        return None
    moves = [(start, pieces, sense, WITH_REST) for start, pieces, sense, _ in cycle.moves]
    samples = cycle_samples(moves)
    rested = replace(cycle, samples=samples, recorded=np.zeros_like(samples.times), moves=moves)
    need, weights = needed(limits, rested, load, hold), samples.weights
    squares = (need.current / limits.job_strength) ** 2 + 2 * cycle_ripple(limits, rested, need)
    resting = samples.moving == 0  # steps end where rests do, so that a rest can be stretched by itself
    changes = np.flatnonzero(resting[1:] != resting[:-1]) + 1
    starts = np.union1d(even_starts(len(weights)), changes)
    times, sums = np.add.reduceat(np.stack([weights, weights * squares]), starts, axis=1)
    long = times > 0
    times, rests = times[long], resting[starts][long]
    currents = np.sqrt(sums[long] / times) / limits.machine.peak_current(1.0)

    def steps(rest: float) -> FloatArray:
        durations = np.where(rests, times * rest / WITH_REST, times)
        kept = durations > 0
        return np.stack([durations[kept], currents[kept]], axis=1)

    return heat.shortest_rest(steps, LONGEST_REST)
