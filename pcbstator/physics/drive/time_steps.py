"""One run in steps of time: the plant of ``plant.py``, the controller of ``control.py`` and the sensor, compiled.

All that is compiled stands in this file, with the constants it uses: the compiler looks at this file alone to tell
whether what it kept still holds. (It knows records by the names of their fields.) ``plant.py`` and ``simulation.py``
call it, and import it only when something runs.

All angles are those of the load; a gear is taken up by counting pole pairs per turn of the load. Complex numbers hold
the d part (real) and q part (imaginary) in the frame of the rotor; amplitudes are peaks of phase quantities.
"""

from __future__ import annotations

from math import copysign, cos, exp, inf, pi, sin, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pcbstator.compiling import compiled, compiled_part
from pcbstator.physics.drive.run_records import Body, Loops, Sample

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

TWO_PI = 2 * pi
FADED = 6.0  # fading speeds from which nothing of the standstill friction is left
RUNAWAY = 1e6  # rad/s


class PlantConstants(NamedTuple):
    """What the steps of a plant need [SI]; ``slopes`` and ``loop_slopes`` go on a little beyond a whole turn."""

    step: float
    substeps: int
    half_phases: float
    pole_pairs: float
    resistance: float
    inductance: float
    slopes: ComplexArray
    loop_slopes: FloatArray  # empty: no loop
    loop_inductance: float
    per_turn: float  # slopes
    turns: float  # electrical ones, that the slopes cover
    inertia: float
    load_inertia: float
    stiffness: float  # infinite: one body
    damping: float  # of the coupling
    play: float
    running: float
    standstill: float
    fading_speed: float
    viscous: float
    spots: FloatArray  # empty: none
    cogging: FloatArray  # over a turn of the motor, empty: none
    motor_turns: float  # in a turn of the load
    unbalance: float
    leg_loss: float
    soft_current: float
    directions: ComplexArray  # of the phases in the stator
    heat_capacity: float
    temperature_coefficient: float
    ripple_square: float


class ControlConstants(NamedTuple):
    """What a sample of the controller needs [SI]."""

    period: float
    current_gain: float
    current_integral: float
    speed_gain: float
    speed_integral: float
    position_gain: float
    observer: float
    current_limit: float
    voltage_limit: float
    sag: float
    torque_constant: float
    inertia: float
    friction: float
    viscous: float
    dead_band: float
    pole_pairs: float
    linkage: float
    inductance: float


class SensorConstants(NamedTuple):
    """What a reading of the sensor needs [SI]."""

    resolution: float  # angle of one count
    errors: FloatArray  # empty: none
    turns: float
    noise: float  # rms; it comes in whole counts
    delay: float
    current_gain: float  # mean over the phases
    current_image: complex
    current_offset: complex


# ----------------------------------------------------------------- arithmetic that is quick
@compiled_part
def _turned(angle: float) -> complex:
    """exp(j angle)."""
    return complex(cos(angle), sin(angle))


@compiled_part
def _turned_little(angle: float) -> complex:
    """exp(j angle), by series to the last bit where the angle is small, as it is within a sample.

    Products, not quotients: divisions that wait for each other would take as long as sine and cosine.
    """
    if not -0.1 < angle < 0.1:
        return _turned(angle)
    x = angle * angle
    real = 1 - x * (0.5 - x * (1 / 24 - x * (1 / 720 - x * (1 / 40320))))
    return complex(real, angle * (1 - x * (1 / 6 - x * (1 / 120 - x * (1 / 5040 - x * (1 / 362880))))))


@compiled_part
def _size(value: complex) -> float:
    """Of a complex number far from the ends of the range."""
    return sqrt(value.real * value.real + value.imag * value.imag)


@compiled_part
def _part_of_turn(angle: float) -> float:
    """0 to 1; rounding can make it 1."""
    turns = angle * (1 / TWO_PI)
    return float(turns - np.floor(turns))


@compiled_part
def _within(index: int, count: int) -> int:
    """An index that is at most one beyond the end, around; a division would cost as much as the rest of a look-up."""
    return index - count if index >= count else index


@compiled_part
def _of_turn(table: FloatArray, angle: float) -> float:
    """The entry of a table over a turn."""
    return float(table[_within(int(_part_of_turn(angle) * len(table)), len(table))])


@compiled_part
def _between(table: FloatArray, angle: float) -> float:
    """A table over a turn at an angle between its entries."""
    place = _part_of_turn(angle) * len(table)
    index = int(place)
    part, first = place - index, table[_within(index, len(table))]
    return float(first + part * (table[_within(index + 1, len(table))] - first))


# ----------------------------------------------------------------- plant
@compiled_part
def _wind(body: Body, p: PlantConstants, vector: complex, rotor: complex) -> float:
    """Currents through a step, exact for constant speed; ``rotor`` is its direction at the start.

    Returns the mean torque.
    """
    i, speed, R, L, h = body.current, body.speed, body.resistance, p.inductance, p.step
    turned = p.pole_pairs * (body.angle + speed * h / 2)
    place = _part_of_turn(turned / p.turns) * p.per_turn
    index = int(place)
    near = p.slopes[index]
    slope = near + (place - index) * (p.slopes[index + 1] - near)
    back = (rotor * _turned_little(p.pole_pairs * speed * h / 2)).conjugate()
    voltage = vector * back
    if p.leg_loss:
        voltage -= _lost_in_legs(p, i * back.conjugate()) * back
    falling, turning = R / L, p.pole_pairs * speed
    slowness = 1 / (falling * falling + turning * turning) * complex(falling, -turning)  # 1/(falling + j turning)
    end = (voltage - slope * speed) * slowness * (1 / L)
    shrink = exp(-h * falling)
    fade = shrink * _turned_little(-h * turning)
    away = i - end
    lasting = away * (1 - fade) * slowness * (1 / h)
    body.current = end + away * fade
    mean = end + lasting
    square = (end.conjugate() * (end + 2 * lasting)).real + (away.conjugate() * away).real * (
        1 - shrink * shrink
    ) * L / (2 * R * h)
    body.heat += R * (p.half_phases * square + p.ripple_square) * h
    body.electrical += (p.half_phases * (voltage.conjugate() * mean).real + R * p.ripple_square) * h
    torque = p.half_phases * (slope.conjugate() * mean).real
    if len(p.loop_slopes):
        begin = p.loop_slopes[index]
        torque += _wind_loop(body, p, begin + (place - index) * (p.loop_slopes[index + 1] - begin))
    return float(torque)


@compiled_part
def _lost_in_legs(p: PlantConstants, current: complex) -> complex:
    """Voltage vector that the legs lose: of each phase against its current, less where ripple turns that round."""
    lost, soft = 0j, current * (1 / p.soft_current)
    for direction in p.directions:
        along = (soft * direction.conjugate()).real
        lost += max(-1.0, min(1.0, along)) * direction
    return lost * (p.leg_loss / p.half_phases)


@compiled_part
def _wind_loop(body: Body, p: PlantConstants, slope: float) -> float:
    """Current around a delta through a step; its EMF is all that drives it. Returns the mean torque."""
    R, h = body.resistance, p.step
    fall = h * R / p.loop_inductance
    end = -slope * body.speed / R
    fade = exp(-fall)
    away = body.loop_current - end
    lasting = away * (1 - fade) / fall
    body.loop_current = end + away * fade
    square = end * (end + 2 * lasting) + away * away * (1 - fade * fade) / (2 * fall)
    body.heat += 2 * p.half_phases * R * square * h
    return float(2 * p.half_phases * slope * (end + lasting))


@compiled_part
def _friction(p: PlantConstants, angle: float, speed: float) -> float:
    """Size of the friction of the bearing."""
    friction = p.running
    if p.standstill > friction:
        ratio = speed / p.fading_speed
        if -FADED < ratio < FADED:
            friction += (p.standstill - friction) * exp(-ratio * ratio)
    if len(p.spots):
        friction += _of_turn(p.spots, angle)
    return friction


@compiled_part
def _rubbed(body: Body, p: PlantConstants, inertia: float, angle: float, speed: float, torque: float) -> float:
    """Speed after a step: friction brakes as far as to a stop and holds there up to its standstill value."""
    h = p.step
    pull = p.unbalance * sin(angle) if p.unbalance else 0.0
    torque -= pull
    massive = inertia + h * p.viscous  # viscous friction of the speed after the step: stable, however large
    free = (inertia * speed + h * torque) / massive
    held = h * _friction(p, angle, speed) / massive
    after = 0.0 if abs(free) <= held else free - copysign(held, free)
    mean = (speed + after) / 2
    body.rub += (massive * (free - after) + h * p.viscous * after) * mean
    body.work += h * pull * mean
    return after


@compiled_part
def _turn(body: Body, p: PlantConstants, torque: float, push: float) -> None:
    """Motor and load as one body; forces in the middle of the step, so that energy is kept."""
    h, speed = p.step, body.speed
    middle = body.angle + speed * h / 2
    after = _rubbed(body, p, p.inertia, middle, speed, torque + push)
    body.work -= push * (speed + after) / 2 * h
    body.angle = body.load_angle = middle + after * h / 2
    body.speed = body.load_speed = after


@compiled_part
def _turn_two(body: Body, p: PlantConstants, torque: float, push: float) -> None:
    """Motor and load with a spring and play between them; the load rubs and is pushed."""
    h = p.step
    middle, other = body.angle + body.speed * h / 2, body.load_angle + body.load_speed * h / 2
    twist, half = middle - other, p.play / 2
    coupling = 0.0
    if abs(twist) > half:
        coupling = p.stiffness * (twist - copysign(half, twist)) + p.damping * (body.speed - body.load_speed)
        if half and coupling * twist < 0:  # teeth push only
            coupling = 0.0
    after = body.speed + h * (torque - coupling) / p.inertia
    behind = _rubbed(body, p, p.load_inertia, other, body.load_speed, coupling + push)
    mean, load_mean = (body.speed + after) / 2, (body.load_speed + behind) / 2
    body.work -= push * load_mean * h
    stored = _spring(p, body.angle - body.load_angle)
    body.angle, body.load_angle = middle + after * h / 2, other + behind * h / 2
    body.wasted += coupling * (mean - load_mean) * h - (_spring(p, body.angle - body.load_angle) - stored)
    body.speed, body.load_speed = after, behind


@compiled_part
def _spring(p: PlantConstants, twist: float) -> float:
    """Energy in the spring between motor and load."""
    pressed = abs(twist) - p.play / 2
    return p.stiffness * pressed**2 / 2 if pressed > 0 else 0.0


@compiled_part
def _advance(body: Body, p: PlantConstants, vector: complex, rotor: complex, push: float) -> bool:
    """One period of control: a voltage that stands still in the stator, and torque from outside. False: it ran away.

    rotor: its direction at the start. From there on it is turned by little angles, at a third of the cost of a sine.
    """
    before = body.heat
    for _ in range(p.substeps):
        if not (-RUNAWAY < body.speed < RUNAWAY and -RUNAWAY < body.load_speed < RUNAWAY):
            return False
        start, before_speed = body.angle, body.speed
        torque, cogs = _wind(body, p, vector, rotor), 0.0
        if len(p.cogging):
            cogs = _between(p.cogging, (body.angle + body.speed * p.step / 2) * p.motor_turns)
            torque += cogs
        if p.stiffness == inf:
            _turn(body, p, torque, push)
        else:
            _turn_two(body, p, torque, push)
        if cogs:
            body.work -= cogs * (before_speed + body.speed) / 2 * p.step
        if p.substeps > 1:
            rotor *= _turned_little(p.pole_pairs * (body.angle - start))
    if p.heat_capacity != inf:
        body.temperature += (body.heat - before) / p.heat_capacity
        body.resistance = p.resistance * (1 + p.temperature_coefficient * body.temperature)
    return True


@compiled
def advance_all(body: Body, p: PlantConstants, vectors: ComplexArray, pushes: FloatArray) -> bool:
    """Several periods of control."""
    going = True
    for k in range(len(vectors)):
        going = going and _advance(body, p, vectors[k], _turned(p.pole_pairs * body.angle), pushes[k])
    return going


# ----------------------------------------------------------------- controller
@compiled_part
def _torque(loops: Loops, c: ControlConstants, wanted: float, speed: float, acceleration: float) -> float:
    """Torque asked for, limited; the speed loop's integral stops where it is limited or within the dead band."""
    error = wanted - loops.angle
    missing = speed + c.position_gain * error - loops.speed
    ahead = c.inertia * acceleration + c.viscous * speed
    if speed:
        ahead += c.friction if speed > 0 else -c.friction
    asked = ahead + c.speed_gain * missing + loops.excess
    most = c.torque_constant * c.current_limit
    if abs(asked) > most:
        return copysign(most, asked)
    if speed or not -c.dead_band < error < c.dead_band:
        loops.excess += c.period * c.speed_integral * missing
    return float(asked)


@compiled_part
def _vector(loops: Loops, c: ControlConstants, torque: float, current: complex, direction: complex) -> complex:
    """Voltage vector in the stator for the next period, limited; ``current`` as the controller sees it, ``direction``
    of the rotor as it believes.
    """
    rate = c.pole_pairs * loops.speed
    error = complex(0.0, torque / c.torque_constant) - current
    voltage = c.current_gain * error + loops.integral + 1j * rate * (c.inductance * current + c.linkage)
    most = c.voltage_limit - c.sag * min(1.0, _size(current) / c.current_limit)
    size = _size(voltage)
    if size > most:
        voltage *= most / size
    else:
        loops.integral += c.period * c.current_integral * error
    # It acts from half a period to one and a half from now, when the rotor is further on.
    return voltage * direction * _turned_little(1.5 * c.period * rate)


@compiled_part
def _observe(loops: Loops, c: ControlConstants, measured: float, acceleration: float) -> None:
    """Angle and speed for the next sample, by a critically damped observer."""
    error = measured - loops.angle
    loops.angle += c.period * (loops.speed + 2 * c.observer * error)
    loops.speed += c.period * (acceleration + c.observer * c.observer * error)


@compiled_part
def _measured(s: SensorConstants, angle: float) -> float:
    """What the sensor gives out: its error over its own turn, then whole counts, their middles."""
    if len(s.errors):
        angle += _between(s.errors, angle * s.turns) / s.turns
    return float((np.floor(angle / s.resolution) + 0.5) * s.resolution)


@compiled_part
def _read_current(s: SensorConstants, current: complex) -> complex:
    """What the current sensors give out, in the stator."""
    return s.current_gain * current + s.current_image * current.conjugate() + s.current_offset


# ----------------------------------------------------------------- both
@compiled_part
def _keep(sample: Sample, body: Body, loops: Loops, wanted: float, voltage: float, push: float) -> None:
    """What a trace keeps of a sample."""
    sample.wanted, sample.voltage, sample.push = wanted, voltage, push
    sample.angle, sample.speed, sample.motor = body.load_angle, body.load_speed, body.angle
    sample.believed, sample.current = loops.angle, body.current.imag


@compiled
def run_all(
    body: Body,
    loops: Loops,
    p: PlantConstants,
    c: ControlConstants,
    s: SensorConstants,
    reference: FloatArray,
    pushes: FloatArray,
    noise: FloatArray,
    kept: NDArray[np.void],
    keep: int,
) -> bool:
    """All samples; reference: angle, speed and acceleration (3, samples). Fills ``kept``.

    False: it ran away.
    """
    vector, row = 0j, 0
    loops.angle = _measured(s, body.angle)
    for k in range(reference.shape[1]):
        wanted, speed, acceleration = reference[0, k], reference[1, k], reference[2, k]
        measured = _measured(s, body.angle - body.speed * s.delay)
        if s.noise:
            measured += np.rint(s.noise * noise[k] / s.resolution) * s.resolution
        direction = _turned(c.pole_pairs * loops.angle)
        rotor = direction * _turned_little(c.pole_pairs * (body.angle - loops.angle))
        seen = _read_current(s, body.current * rotor) * direction.conjugate()
        coming = _vector(loops, c, _torque(loops, c, wanted, speed, acceleration), seen, direction)
        if k == row * keep:
            _keep(kept[row], body, loops, wanted, _size(vector), pushes[k])
            row += 1
        _observe(loops, c, measured, acceleration)
        if not _advance(body, p, vector, rotor, pushes[k]):
            return False
        vector = coming
    return True
