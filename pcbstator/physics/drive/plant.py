"""A drive in time: winding, rotor, load. Scalars in tight methods, since each step depends on the one before.

All angles are those of the load; a gear is taken up by counting pole pairs per turn of the load. Complex numbers hold
the d part (real) and q part (imaginary) in the frame of the rotor; amplitudes are peaks of phase quantities.
"""

from __future__ import annotations

import cmath
from dataclasses import dataclass
from math import copysign, exp, inf, pi, sin, sqrt

from pcbstator.errors import LawRangeError

TWO_PI = 2 * pi
FADED = 6.0  # fading speeds from which nothing of the standstill friction is left
CONTACT_DAMPING = 0.05  # of a coupling or of teeth that touch, part of critical (common practice, no source)


@dataclass(frozen=True)
class PlantValues:
    """What does not change while it runs, SI. ``slopes``: phase linkage per angle of the load in the rotor's frame over
    one electrical turn [Wb/rad], without its end point; ``spots``: extra friction over one turn of the load [N m].
    ``loop_slopes``: what the phases of a delta have in common, per phase of the star [Wb/rad], empty without one.
    ``load_inertia`` and ``stiffness`` count where motor and load are apart; else ``inertia`` is that of all.
    """

    phases: int
    pole_pairs: float
    resistance: float
    inductance: float
    slopes: tuple[complex, ...]
    inertia: float
    load_inertia: float = 0.0
    stiffness: float = inf
    play: float = 0.0
    running: float = 0.0
    standstill: float = 0.0
    fading_speed: float = 0.05
    viscous: float = 0.0
    spots: tuple[float, ...] = ()
    unbalance: float = 0.0
    dead_voltage: float = 0.0  # lost in dead time, as a peak phase voltage
    soft_current: float = 0.0  # below which ripple makes the dead time lose less
    heat_capacity: float = inf  # of the copper [J/K]
    temperature_coefficient: float = 0.0  # of the resistance [1/K]
    ripple_rms: float = 0.0  # ripple of the phase currents [A]
    loop_slopes: tuple[float, ...] = ()
    loop_inductance: float = 0.0  # of a phase when all carry the same current

    def __post_init__(self) -> None:
        if min(self.resistance, self.inductance, self.inertia) <= 0 or len(self.slopes) < 8:
            raise LawRangeError("resistance, inductance and inertia must be above zero, with 8 slopes or more")
        if self.loop_slopes and (len(self.loop_slopes) != len(self.slopes) or self.loop_inductance <= 0):
            raise LawRangeError("a loop must have as many slopes as the star, and an inductance above zero")
        if self.stiffness != inf and self.load_inertia <= 0:
            raise LawRangeError("a load on a spring must have an inertia")


class Plant:
    """State of the drive, moved on in time by ``advance``; energies add up from the start [J]."""

    __slots__ = (
        "angle", "current", "electrical", "heat", "load_angle", "load_speed", "loop_current", "loop_slopes",
        "per_angle", "period", "resistance", "ripple_square", "rub", "slopes", "speed", "substeps", "temperature",
        "values", "wasted", "work",
    )  # fmt: skip

    def __init__(self, values: PlantValues, period: float, substeps: int = 1, angle: float = 0.0) -> None:
        self.values, self.period, self.substeps = values, period, substeps
        self.slopes = (*values.slopes, *values.slopes[:2])  # a full turn less rounding is a full turn
        self.loop_slopes = (*values.loop_slopes, *values.loop_slopes[:2])
        self.per_angle = len(values.slopes) / TWO_PI
        self.ripple_square = values.phases * values.ripple_rms**2
        self.current, self.resistance, self.temperature = 0j, values.resistance, 0.0
        self.loop_current = 0.0
        self.angle = self.load_angle = angle
        self.speed = self.load_speed = 0.0
        self.electrical = self.heat = self.work = self.rub = self.wasted = 0.0

    def advance(self, vector: complex, push: float) -> None:
        """One period of control: a voltage that stands still in the stator [V], and torque from outside [N m]."""
        values = self.values
        step = self.period / self.substeps
        before = self.heat
        rigid = values.stiffness == inf
        for _ in range(self.substeps):
            torque = self._wind(vector, step)
            if rigid:
                self._turn(torque, push, step)
            else:
                self._turn_two(torque, push, step)
        if values.heat_capacity != inf:
            self.temperature += (self.heat - before) / values.heat_capacity
            self.resistance = values.resistance * (1 + values.temperature_coefficient * self.temperature)

    def _wind(self, vector: complex, h: float) -> float:
        """Currents through a step, exact for constant speed; returns the mean torque."""
        values, i, speed, R = self.values, self.current, self.speed, self.resistance
        half_phases, L, pairs, slopes = values.phases / 2, values.inductance, values.pole_pairs, self.slopes
        turned = pairs * (self.angle + speed * h / 2)
        place = turned % TWO_PI * self.per_angle
        index = int(place)
        near = slopes[index]
        slope = near + (place - index) * (slopes[index + 1] - near)
        voltage = vector * cmath.exp(-1j * turned)
        if values.dead_voltage:
            voltage -= values.dead_voltage * i / max(abs(i), values.soft_current, 1e-12)
        rate = complex(R / L, pairs * speed)
        end = (voltage - slope * speed) / (L * rate)
        fade = cmath.exp(-h * rate)
        away = i - end
        lasting = away * (1 - fade) / (h * rate)
        self.current = end + away * fade
        mean = end + lasting
        shrink = abs(fade)
        square = (end.conjugate() * (end + 2 * lasting)).real + (away.conjugate() * away).real * (
            1 - shrink * shrink
        ) * L / (2 * R * h)
        lost = R * (half_phases * square + self.ripple_square)
        self.heat += lost * h
        self.electrical += (half_phases * (voltage.conjugate() * mean).real + R * self.ripple_square) * h
        torque = half_phases * (slope.conjugate() * mean).real
        if self.loop_slopes:
            loop_slope = self.loop_slopes[index]
            loop_slope += (place - index) * (self.loop_slopes[index + 1] - loop_slope)
            torque += self._wind_loop(loop_slope, h)
        return torque

    def _wind_loop(self, slope: float, h: float) -> float:
        """Current around a delta through a step; its EMF is all that drives it. Returns the mean torque."""
        values, R = self.values, self.resistance
        fall = h * R / values.loop_inductance
        end = -slope * self.speed / R
        fade = exp(-fall)
        away = self.loop_current - end
        lasting = away * (1 - fade) / fall
        self.loop_current = end + away * fade
        square = end * (end + 2 * lasting) + away * away * (1 - fade * fade) / (2 * fall)
        self.heat += values.phases * R * square * h
        return values.phases * slope * (end + lasting)

    def _friction(self, angle: float, speed: float) -> float:
        """Size of the friction of the bearing."""
        values = self.values
        friction = values.running
        if values.standstill > friction:
            ratio = speed / values.fading_speed
            if -FADED < ratio < FADED:
                friction += (values.standstill - friction) * exp(-ratio * ratio)
        if values.spots:
            friction += values.spots[int(angle % TWO_PI * len(values.spots) / TWO_PI) % len(values.spots)]
        return friction

    def _rubbed(self, inertia: float, angle: float, speed: float, torque: float, h: float) -> float:
        """Speed after a step: friction brakes as far as to a stop and holds there up to its standstill value."""
        values = self.values
        torque -= values.unbalance * sin(angle)
        body = inertia + h * values.viscous  # viscous friction of the speed after the step: stable, however large
        free = (inertia * speed + h * torque) / body
        held = h * self._friction(angle, speed) / body
        after = 0.0 if abs(free) <= held else free - copysign(held, free)
        mean = (speed + after) / 2
        self.rub += (body * (free - after) + h * values.viscous * after) * mean
        self.work += h * values.unbalance * sin(angle) * mean
        return after

    def _turn(self, torque: float, push: float, h: float) -> None:
        """Motor and load as one body; forces in the middle of the step, so that energy is kept."""
        speed, middle = self.speed, self.angle + self.speed * h / 2
        after = self._rubbed(self.values.inertia, middle, speed, torque + push, h)
        self.work -= push * (speed + after) / 2 * h
        self.angle = self.load_angle = middle + after * h / 2
        self.speed = self.load_speed = after

    def _turn_two(self, torque: float, push: float, h: float) -> None:
        """Motor and load with a spring and play between them; the load rubs and is pushed."""
        values = self.values
        middle, other = self.angle + self.speed * h / 2, self.load_angle + self.load_speed * h / 2
        twist, half = middle - other, values.play / 2
        coupling = 0.0
        if abs(twist) > half:
            slip = self.speed - self.load_speed
            reduced = values.inertia * values.load_inertia / (values.inertia + values.load_inertia)
            damping = 2 * CONTACT_DAMPING * sqrt(values.stiffness * reduced)
            elastic = values.stiffness * (twist - copysign(half, twist))
            coupling = elastic + damping * slip
            if half and coupling * twist < 0:  # teeth push only
                coupling = 0.0
        after = self.speed + h * (torque - coupling) / values.inertia
        behind = self._rubbed(values.load_inertia, other, self.load_speed, coupling + push, h)
        means = (self.speed + after) / 2, (self.load_speed + behind) / 2
        self.work -= push * means[1] * h
        stored = self._spring(self.angle - self.load_angle)
        self.angle, self.load_angle = middle + after * h / 2, other + behind * h / 2
        self.wasted += coupling * (means[0] - means[1]) * h - (self._spring(self.angle - self.load_angle) - stored)
        self.speed, self.load_speed = after, behind

    def _spring(self, twist: float) -> float:
        """Energy in the spring between motor and load."""
        pressed = abs(twist) - self.values.play / 2
        return self.values.stiffness * pressed**2 / 2 if pressed > 0 else 0.0

    def stored(self) -> float:
        """Energy [J] in the speed of the bodies, in the winding and in the spring."""
        values = self.values
        energy = values.phases / 2 * values.inductance / 2 * abs(self.current) ** 2 + values.inertia * self.speed**2 / 2
        energy += values.phases * values.loop_inductance / 2 * self.loop_current**2
        if values.stiffness != inf:
            energy += values.load_inertia * self.load_speed**2 / 2 + self._spring(self.angle - self.load_angle)
        return energy
