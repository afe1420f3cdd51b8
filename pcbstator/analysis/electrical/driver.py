"""What driver and wires add to a motor: resistance and lost voltage of a phase, and their loss.

Nothing, where the file says nothing of them. On-resistance and wires count as warm as the copper of the motor.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT
from pcbstator.physics.conductors.wires import wire_resistance
from pcbstator.physics.drive.bridge_loss import drop_loss, resistive_loss, switching_loss
from pcbstator.physics.drive.driver_errors import leg_loss_harmonics, leg_voltage_loss

if TYPE_CHECKING:
    from pcbstator.design.sections.job import Drive

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class DriverLoss:
    """Of peak terminal currents. switches, wires: loss per square of the current, at 20 C [W/A2]; linear: loss per
    current [W/A]; fixed [W]; series: resistance that a phase gains, at 20 C [ohm]; lost: voltage that a phase loses
    against its current [V]."""

    switches: float = 0.0
    wires: float = 0.0
    linear: float = 0.0
    fixed: float = 0.0
    series: float = 0.0
    lost: float = 0.0

    def driver(self, current: FloatArray | float, copper_c: float) -> FloatArray:
        """Heat [W] of the driver at peak terminal currents [A]."""
        amount = np.abs(np.asarray(current, dtype=float))
        return np.asarray(self.switches * warmth(copper_c) * amount**2 + self.linear * amount + self.fixed)

    def cable(self, current: FloatArray | float, copper_c: float) -> FloatArray:
        """Heat [W] of the wires at peak terminal currents [A]."""
        return np.asarray(self.wires * warmth(copper_c) * np.asarray(current, dtype=float) ** 2)


NO_LOSS = DriverLoss()


def warmth(copper_c: float) -> float:
    """Resistance of copper at a temperature [C] over that at 20 C; that of a field-effect transistor goes along with it
    (common practice, no source)."""
    return 1 + COPPER_TEMPERATURE_COEFFICIENT * (copper_c - 20.0)


def driver_loss(drive: Drive | None, phases: int, connection: Literal["star", "delta", "open"]) -> DriverLoss:
    """Of the driver that the file states. With two phases the common leg and wire carry the currents of both, which
    counts as a leg and a wire more for each."""
    if drive is None or not drive.losses_stated:
        return NO_LOSS
    each = 2 if connection == "open" or phases == 2 else 1  # legs, and wires, in the way of a phase's current
    legs, wire = each * phases, 0.0
    if drive.cable_section is not None:
        wire = wire_resistance(drive.cable_length, drive.cable_section)
    changing = drive.switching_loss / drive.current_limit
    if drive.switching_time > 0:
        changing = legs * switching_loss(1.0, drive.supply, drive.switching_time, drive.pwm)
    leg = leg_voltage_loss(drive.supply, drive.dead_time, drive.pwm, drive.voltage_drop)
    return DriverLoss(
        switches=legs * resistive_loss(1.0, drive.switch_resistance),
        wires=legs * resistive_loss(1.0, wire),
        linear=changing + legs * drop_loss(1.0, drive.voltage_drop, drive.dead_time, drive.pwm),
        fixed=drive.quiescent,
        series=each * (drive.switch_resistance + wire),
        lost=each * leg * leg_loss_harmonics(phases)[0],
    )
