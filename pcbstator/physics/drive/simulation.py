"""The sampled controller of ``control.py`` against the drive of ``plant.py``, sample by sample."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.plant import RUNS_AWAY, Plant, PlantValues
from pcbstator.physics.drive.run_records import Loops, Sample

if TYPE_CHECKING:
    from pcbstator.physics.drive.time_steps import ControlConstants, SensorConstants

FloatArray = NDArray[np.float64]

MOST_SAMPLES = 2_000_000
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
    """Angle of one count [rad], error table over a turn of the sensor [rad], its turns for one of the load, its noise
    [rad rms] and age [s]. Of the current sensors, as ``driver_errors.py`` gives them: the mean of their gain errors,
    what they add of the current's image, and the vector of their offsets [A].
    """

    count: float
    errors: tuple[float, ...] = ()
    turns: float = 1.0
    noise: float = 0.0
    delay: float = 0.0
    current_gain_error: float = 0.0
    current_image: complex = 0j
    current_offset: complex = 0j


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
    from pcbstator.physics.drive.time_steps import run_all

    courses = np.array([np.asarray(values, dtype=float) for values in reference])
    count = courses.shape[1]
    if not 0 < count * substeps <= MOST_SAMPLES:
        raise LawRangeError(f"a run may have 1 to {MOST_SAMPLES} steps; got {count * substeps}")
    pushes = np.zeros(count) if push is None else np.array(push, dtype=float)
    body = Plant(plant, control.period, substeps, float(courses[0, 0]))
    noise = _drawn(2 ** (count - 1).bit_length()) if sensor.noise else np.zeros(0)
    kept = Sample.blanks(-(-count // keep))
    settings = _control_constants(control, plant), _sensor_constants(sensor)
    if not run_all(body.state, Loops.blank(), body.constants, *settings, courses, pushes, noise, kept, keep):
        raise LawRangeError(RUNS_AWAY)
    return _trace(kept, np.arange(0.0, count, keep) * control.period, body)


def _control_constants(control: ControlValues, plant: PlantValues) -> ControlConstants:
    from pcbstator.physics.drive.time_steps import ControlConstants

    same = (
        "period", "speed_gain", "speed_integral", "position_gain", "observer", "current_limit", "voltage_limit", "sag",
        "torque_constant", "inertia", "friction", "viscous", "dead_band",
    )  # fmt: skip
    return ControlConstants(
        current_gain=float(control.current_gains[0]),
        current_integral=float(control.current_gains[1]),
        pole_pairs=float(plant.pole_pairs),
        linkage=_fundamental(plant),
        inductance=float(plant.inductance),
        **{name: float(getattr(control, name)) for name in same},
    )


def _sensor_constants(sensor: SensorValues) -> SensorConstants:
    from pcbstator.physics.drive.time_steps import SensorConstants

    errors = np.array(sensor.errors, dtype=float)
    return SensorConstants(
        resolution=float(sensor.count),
        errors=errors,
        turns=float(sensor.turns),
        noise=float(sensor.noise),
        delay=float(sensor.delay),
        current_gain=1.0 + sensor.current_gain_error,
        current_image=complex(sensor.current_image),
        current_offset=complex(sensor.current_offset),
    )


@lru_cache(maxsize=1)
def _drawn(count: int) -> FloatArray:
    """Values of a normal distribution, the same in every run."""
    return np.random.default_rng(SEED).standard_normal(count)


def _fundamental(plant: PlantValues) -> float:
    """Linkage of the fundamental [Wb], which the controller feeds forward."""
    return float(sum(slope.imag for slope in plant.slopes) / len(plant.slopes) / plant.pole_pairs)


def _trace(kept: NDArray[np.void], times: FloatArray, body: Plant) -> Trace:
    state = body.state
    energy = {
        "electrical": state.electrical, "heat": state.heat, "friction": state.rub, "work": state.work,
        "coupling": state.wasted, "stored": body.stored(),
    }  # fmt: skip
    return Trace(
        times=times,
        wanted=kept["wanted"].copy(),
        angles=kept["angle"].copy(),
        speeds=kept["speed"].copy(),
        motor=kept["motor"].copy(),
        believed=kept["believed"].copy(),
        current=kept["current"].copy(),
        voltage=kept["voltage"].copy(),
        push=kept["push"].copy(),
        energy={name: float(value) for name, value in energy.items()},
        temperature=float(state.temperature),
    )
