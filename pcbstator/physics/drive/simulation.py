"""The sampled controller of ``control.py`` against the drive of ``plant.py``, sample by sample."""

from __future__ import annotations

import cmath
from collections.abc import Sequence
from dataclasses import dataclass
from math import floor

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.plant import TWO_PI, Plant, PlantValues

FloatArray = NDArray[np.float64]

MOST_SAMPLES = 2_000_000
RUNAWAY = 1e6  # rad/s
SEED = 1  # of the sensor's noise: the same design gives the same run


@dataclass(frozen=True)
class ControlValues:
    """Gains as in ``control.py``, for the shaft of the load; limits of current [A] and of phase voltage [V]."""

    period: float
    current_gains: tuple[float, float]
    speed_gain: float
    speed_integral: float
    position_gain: float
    observer: float
    current_limit: float
    voltage_limit: float
    sag: float = 0.0  # of the voltage limit at the current limit [V]
    torque_constant: float = 1.0
    inertia: float = 0.0  # fed forward
    friction: float = 0.0  # fed forward
    viscous: float = 0.0  # fed forward
    dead_band: float = 0.0  # of the error at rest in which the integral waits [rad]


@dataclass(frozen=True)
class SensorValues:
    """Angle of one count [rad], error table over a turn of the sensor [rad], its turns for one of the load."""

    count: float
    errors: tuple[float, ...] = ()
    turns: float = 1.0
    noise: float = 0.0
    delay: float = 0.0


@dataclass(frozen=True, eq=False)
class Trace:
    """A run, kept every few samples: times [s], angles [rad], speeds [rad/s], current [A], voltage [V], torque [N m].

    ``wanted``: the angle asked for; ``angles`` and ``speeds``: the load's; ``motor``: the motor's angle; ``believed``:
    what the controller takes the motor's angle for. All as turns of the load. Energies [J] over the run: electrical in,
    heat of the winding, friction, work on the load's gravity and against pushes, lost in the coupling, stored at the
    end. ``temperature``: rise of the copper [K].
    """

    times: FloatArray
    wanted: FloatArray
    angles: FloatArray
    speeds: FloatArray
    motor: FloatArray
    believed: FloatArray
    current: FloatArray
    voltage: FloatArray
    push: FloatArray
    energy: dict[str, float]
    temperature: float

    @property
    def balance(self) -> float:
        """What the energies leave unexplained, over the largest of them."""
        parts = [self.energy[name] for name in ("heat", "friction", "work", "coupling", "stored")]
        return abs(self.energy["electrical"] - sum(parts)) / max(map(abs, [self.energy["electrical"], *parts, 1e-300]))


class Controller:
    """The three loops and the observer."""

    __slots__ = ("angle", "excess", "integral", "speed", "values")

    def __init__(self, values: ControlValues, angle: float) -> None:
        self.values = values
        self.angle, self.speed, self.excess = angle, 0.0, 0.0
        self.integral = 0j

    def torque(self, wanted: float, speed: float, acceleration: float) -> float:
        """Torque asked for, limited; the speed loop's integral stops where it is limited or within the dead band."""
        c = self.values
        error = wanted - self.angle
        missing = speed + c.position_gain * error - self.speed
        ahead = c.inertia * acceleration + c.viscous * speed
        if speed:
            ahead += c.friction if speed > 0 else -c.friction
        asked = ahead + c.speed_gain * missing + self.excess
        most = c.torque_constant * c.current_limit
        if asked > most:
            return most
        if asked < -most:
            return -most
        if speed or not -c.dead_band < error < c.dead_band:
            self.excess += c.period * c.speed_integral * missing
        return asked

    def vector(self, torque: float, current: complex, pole_pairs: float, psi: float, inductance: float) -> complex:
        """Voltage vector in the stator for the next period, limited; ``current`` as the controller sees it."""
        c = self.values
        rate = pole_pairs * self.speed
        error = complex(0.0, torque / c.torque_constant) - current
        voltage = c.current_gains[0] * error + self.integral + 1j * rate * (inductance * current + psi)
        most = c.voltage_limit - c.sag * min(1.0, abs(current) / c.current_limit)
        size = abs(voltage)
        if size > most:
            voltage *= most / size
        else:
            self.integral += c.period * c.current_gains[1] * error
        # It acts from half a period to one and a half from now, when the rotor is further on.
        return voltage * cmath.exp(1j * pole_pairs * (self.angle + 1.5 * c.period * self.speed))

    def observe(self, measured: float, acceleration: float) -> None:
        """Angle and speed for the next sample, by a critically damped observer."""
        c = self.values
        error = measured - self.angle
        f = c.observer
        self.angle += c.period * (self.speed + 2 * f * error)
        self.speed += c.period * (acceleration + f * f * error)


def simulated(
    plant: PlantValues,
    control: ControlValues,
    sensor: SensorValues,
    reference: tuple[FloatArray, FloatArray, FloatArray],
    push: FloatArray | None = None,
    substeps: int = 1,
    keep: int = 1,
) -> Trace:
    """A run from rest at the first angle asked for.

    plant, control, sensor: values [SI]; reference: angle [rad], speed [rad/s] and acceleration [rad/s2] at every
    sample; push: torque from outside at every sample [N m]; substeps: steps of the plant for one of the controller
    [-]; keep: every how many samples are kept [-]. Returns a trace [SI]. LawRangeError beyond two million samples.
    Source: derived here; steps are exact for the winding at constant speed, of first order in all.

    >>> p = PlantValues(3, 4.0, 1.0, 1e-3, (4j * 0.01,) * 16, 1e-4)
    >>> c = ControlValues(1e-4, (0.6, 600.0), 0.02, 0.0, 20.0, 800.0, 5.0, 12.0, torque_constant=0.06)
    >>> time = 1e-4 * np.arange(9000)
    >>> run = simulated(p, c, SensorValues(1e-6), (time**2, 2 * time, time * 0 + 2), keep=100)
    >>> round(float(run.speeds[-1]), 2), run.balance < 1e-3
    (1.78, True)
    """
    wanted, speeds, accelerations = (np.asarray(values, dtype=float).tolist() for values in reference)
    count = len(wanted)
    if not 0 < count * substeps <= MOST_SAMPLES:
        raise LawRangeError(f"a run may have 1 to {MOST_SAMPLES} steps; got {count * substeps}")
    pushes = [0.0] * count if push is None else np.asarray(push, dtype=float).tolist()
    body = Plant(plant, control.period, substeps, wanted[0])
    brain = Controller(control, _measured(sensor, wanted[0]))
    noise = _noise(sensor, count)
    pairs, psi, inductance = plant.pole_pairs, _fundamental(plant), plant.inductance
    vector, kept = 0j, []
    stride, until = sensor.delay, 0
    for k in range(count):
        measured = _measured(sensor, body.angle - body.speed * stride) + noise[k % len(noise)]
        seen = body.current * cmath.exp(1j * pairs * (body.angle - brain.angle))
        torque = brain.torque(wanted[k], speeds[k], accelerations[k])
        coming = brain.vector(torque, seen, pairs, psi, inductance)
        believed = brain.angle
        brain.observe(measured, accelerations[k])
        if k == until:
            until += keep
            if not -RUNAWAY < body.speed < RUNAWAY:
                raise LawRangeError(
                    "the steps of time cannot follow this load: it swings too fast; a smaller unbalance, a softer "
                    "coupling, more inertia, or a faster control rate"
                )
            kept.append(
                (k, body.load_angle, body.load_speed, body.angle, believed, body.current.imag, abs(vector), pushes[k])
            )
        body.advance(vector, pushes[k])
        vector = coming
    return _trace(kept, control.period, wanted, body)


def _measured(sensor: SensorValues, angle: float) -> float:
    """What the sensor gives out: its error over its own turn, then whole counts, their middles."""
    if sensor.errors:
        place = angle * sensor.turns % TWO_PI * len(sensor.errors) / TWO_PI
        angle += sensor.errors[int(place) % len(sensor.errors)] / sensor.turns
    return (floor(angle / sensor.count) + 0.5) * sensor.count


def _noise(sensor: SensorValues, count: int) -> list[float]:
    """Noise of the sensor in whole counts, one value a sample."""
    if not sensor.noise:
        return [0.0]
    drawn = np.random.default_rng(SEED).normal(0.0, sensor.noise, count)
    return [float(value) for value in np.round(drawn / sensor.count) * sensor.count]


def _fundamental(plant: PlantValues) -> float:
    """Linkage of the fundamental [Wb], which the controller feeds forward."""
    return sum(slope.imag for slope in plant.slopes) / len(plant.slopes) / plant.pole_pairs


def _trace(kept: Sequence[tuple[float, ...]], period: float, wanted: Sequence[float], body: Plant) -> Trace:
    table = np.array(kept, dtype=float)
    index = table[:, 0].astype(int)
    energy = {
        "electrical": body.electrical, "heat": body.heat, "friction": body.rub, "work": body.work,
        "coupling": body.wasted, "stored": body.stored(),
    }  # fmt: skip
    return Trace(
        times=index * period,
        wanted=np.asarray(wanted)[index],
        angles=table[:, 1],
        speeds=table[:, 2],
        motor=table[:, 3],
        believed=table[:, 4],
        current=table[:, 5],
        voltage=table[:, 6],
        push=table[:, 7],
        energy=energy,
        temperature=body.temperature,
    )
