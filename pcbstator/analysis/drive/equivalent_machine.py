"""The machine as the driver sees it at its terminals: an equivalent star, in the frame of the rotor."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.electrical.conductors import phase_angle
from pcbstator.analysis.electrical.delta_loop import warm_loop
from pcbstator.analysis.electrical.driver import NO_LOSS, DriverLoss, driver_loss
from pcbstator.analysis.electrical.records import ElectricalResult
from pcbstator.analysis.magnetic.as_built import emf_waves
from pcbstator.analysis.magnetic.records import MagneticResult
from pcbstator.analysis.magnetic.waveforms import linkage_slopes
from pcbstator.currents import peak_current
from pcbstator.physics.conductors.delta_loop import DeltaLoop, loop_torque
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT
from pcbstator.physics.drive.supply import equivalent_star_factor, star_voltage_limit

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

SAMPLES = 360  # of the slopes over an electrical turn; 25 orders need 50
WARM = 80.0  # C of the copper, where [operation] states none
COPPER_HEAT = 385.0  # J/(kg K) near room temperature, handbook, from memory


@dataclass(frozen=True)
class Machine:
    """Star of the same behaviour: resistance at 20 C and hot [ohm], that of stated wires and switches included,
    inductance [H] with the choke of a wire, psi [Wb],
    torque per peak ampere of a terminal [N m/A]; ``slopes``: linkage per mechanical angle over an electrical turn
    [Wb/rad], d real, q imaginary. ``h_bridges``: each phase has a full bridge of its own. ``current_factor``: terminal
    over phase current. Of a delta, in quantities of its phases: ``loop``, hot, and ``loop_slopes``, what the phases
    have in common [Wb/rad].
    """

    phases: int
    pole_pairs: int
    resistance: float
    hot_resistance: float
    inductance: float
    psi: float
    torque_constant: float
    rotor_inertia: float
    drag: float  # braking torque per speed of eddies and circulating currents [N m s/rad]
    hysteresis: float  # braking torque of steel beyond the board [N m]
    slopes: tuple[complex, ...]
    h_bridges: bool
    current_factor: float
    loop: DeltaLoop | None = None
    loop_slopes: tuple[float, ...] = ()
    driver: DriverLoss = NO_LOSS
    copper_c: float = WARM  # of the hot copper [C]

    @property
    def winding_part(self) -> float:
        """Part of the resistance that is the winding's [-]."""
        return 1 - self.driver.series / self.resistance

    def voltage_limit(self, supply: float) -> float:
        """Largest peak phase voltage [V] of undistorted sine waves."""
        return supply if self.h_bridges else star_voltage_limit(supply, self.phases)

    def stall_voltage(self, supply: float) -> float:
        """Largest voltage [V] that a fault can put on a phase: between one leg high and all others low."""
        return supply if self.h_bridges or self.phases == 2 else supply * (1 - 1 / self.phases)

    def copper_loss(self, current: float) -> float:
        """Heat [W] of a peak terminal current [A] in the winding, copper hot."""
        return self.phases / 2 * self.hot_resistance * self.winding_part * current**2

    def outer_loss(self, current: FloatArray | float) -> FloatArray:
        """Heat [W] of peak terminal currents [A] in driver and wires."""
        return self.driver.driver(current, self.copper_c) + self.driver.cable(current, self.copper_c)

    def braking_torque(self, speed: FloatArray | float) -> FloatArray:
        """What eddies, circulating currents, hysteresis and the current around a delta take at speeds of the motor
        [N m]."""
        eddies = self.drag * np.asarray(speed, dtype=float) + self.hysteresis * np.sign(speed)
        return eddies if self.loop is None else eddies + loop_torque(self.loop, speed)

    def peak_current(self, phase_rms: float) -> float:
        """Peak terminal current [A] at an rms phase current [A]."""
        return peak_current(phase_rms) * self.current_factor


def job_temperature(design: SizedDesign) -> float:
    """Temperature [C] of the hot copper: as [operation] says."""
    return design.operation.copper_c if design.operation else WARM


def machine_of(
    design: SizedDesign,
    electrical: ElectricalResult,
    magnetic: MagneticResult,
    rotor_inertia: float,
    drag: float,
    loop: DeltaLoop | None = None,
    hysteresis: float = 0.0,
) -> Machine | None:
    """The machine at its terminals; None where the coils link no flux. loop: of a delta, at 20 C."""
    phases, pole_pairs = design.winding.phases, design.rotor.poles // 2
    connection = design.winding.connection
    factor = equivalent_star_factor(phases) if connection == "delta" else 1.0
    slopes, psi, start = _rotor_frame(star_slopes(magnetic, pole_pairs, connection), pole_pairs)
    if psi < 1e-12:
        return None
    outside = driver_loss(design.drive, phases, connection)
    resistance = electrical.phase_resistance / factor**2 + outside.series
    choke = design.drive.choke if design.drive else 0.0
    return Machine(
        phases=phases,
        pole_pairs=pole_pairs,
        resistance=resistance,
        hot_resistance=resistance * (1 + COPPER_TEMPERATURE_COEFFICIENT * (job_temperature(design) - 20.0)),
        inductance=electrical.synchronous_inductance / factor**2 + choke,
        psi=psi,
        torque_constant=phases / 2 * pole_pairs * psi,
        rotor_inertia=rotor_inertia,
        drag=drag,
        hysteresis=hysteresis,
        slopes=tuple(slopes.tolist()),
        h_bridges=connection == "open",
        current_factor=factor,
        loop=None if loop is None else warm_loop(loop, job_temperature(design)),
        loop_slopes=() if loop is None else _loop_slopes(magnetic, pole_pairs, start),
        driver=outside,
        copper_c=job_temperature(design),
    )


def star_slopes(magnetic: MagneticResult, pole_pairs: int, connection: str) -> FloatArray:
    """Slopes of the star's phases (phases, samples) [Wb/rad] over an electrical turn, both ends left apart.

    What all phases have in common drives no current in a star; in a delta it drives one around the loop, which
    ``_loop_slopes`` is about. Two phases have a terminal at their common point, so nothing is lost.
    """
    angles = np.arange(SAMPLES) * 2 * pi / SAMPLES
    return _in_star(linkage_slopes(magnetic.linkages, magnetic.orders, pole_pairs, angles), connection)


def _in_star(slopes: FloatArray, connection: str) -> FloatArray:
    """Slopes of the phases (phases, samples) as those of the equivalent star."""
    count = len(slopes)
    if connection == "open" or count == 2:
        return np.asarray(slopes)
    slopes = slopes - slopes.mean(axis=0)
    if connection == "delta":
        between = np.eye(count) - np.roll(np.eye(count), 1, axis=1)
        slopes = np.linalg.pinv(between) @ slopes
    return np.asarray(slopes)


def built_slopes(linkages: ComplexArray, pole_pairs: int, connection: str) -> NDArray[np.complex128]:
    """Slopes in the rotor's frame over a whole turn of the rotor (samples,) [Wb/rad], from the linkages of its phases
    (phases, orders 1, 2, 3 … of the turn) [Wb]; they begin where the fundamental of phase A links most.
    """
    samples, count = SAMPLES * pole_pairs, len(linkages)
    slopes = _in_star(emf_waves(linkages, np.arange(1, linkages.shape[1] + 1), samples), connection)
    angles = np.arange(samples) * 2 * pi / SAMPLES
    fundamental = slopes[0] @ np.exp(-1j * angles)
    start = float(pi / 2 - np.angle(fundamental))
    turned = angles - start - np.array([phase_angle(index, count) for index in range(count)])[:, None]
    frame = 2 / count * ((slopes * np.cos(turned)).sum(axis=0) - 1j * (slopes * np.sin(turned)).sum(axis=0))
    return np.asarray(np.interp(angles + start, angles, frame, period=2 * pi * pole_pairs), dtype=complex)


def _loop_slopes(magnetic: MagneticResult, pole_pairs: int, start: float) -> tuple[float, ...]:
    """What the slopes of a delta's phases have in common (samples,) [Wb/rad], from the electrical angle ``start``."""
    angles = start + np.arange(SAMPLES) * 2 * pi / SAMPLES
    common = linkage_slopes(magnetic.linkages, magnetic.orders, pole_pairs, angles).mean(axis=0)
    return tuple(common.tolist())


def _rotor_frame(slopes: FloatArray, pole_pairs: int) -> tuple[NDArray[np.complex128], float, float]:
    """Slopes in the rotor's frame (samples,) [Wb/rad], beginning where phase A links most; psi [Wb]; that angle."""
    count = len(slopes)
    angles = np.arange(SAMPLES) * 2 * pi / SAMPLES
    fundamental = 2 / SAMPLES * slopes[0] @ np.exp(-1j * angles)
    start = float(pi / 2 - np.angle(fundamental))  # slope A = −p psi sin(angle − start)
    turned = angles - start - np.array([phase_angle(index, count) for index in range(count)])[:, None]
    frame = 2 / count * ((slopes * np.cos(turned)).sum(axis=0) - 1j * (slopes * np.sin(turned)).sum(axis=0))
    psi = float(frame.imag.mean()) / pole_pairs
    from_start = np.interp(angles + start, angles, frame, period=2 * pi)
    return np.asarray(from_start, dtype=complex), psi, start
