"""The named parts of the error of position, at the load."""

from __future__ import annotations

from math import degrees, hypot, pi
from typing import Any

from pcbstator.analysis.drive.driver_fit import sensor_error
from pcbstator.analysis.drive.gains import Gains
from pcbstator.analysis.drive.load_cycle import LoadValues
from pcbstator.design.job import Drive
from pcbstator.physics.drive.friction import friction_error
from pcbstator.physics.drive.positioning import play_angle


def bearing_angle(drive: Drive) -> float:
    """Angle [rad] by which the bearing's sideways play shows at the mark, from one end to the other."""
    return 0.0 if drive.mark_radius is None else play_angle(drive.bearing_play, drive.mark_radius)


def error_budget(
    drive: Drive, gains: Gains, load: LoadValues, play: float, ripple: float, ratio: float
) -> tuple[dict[str, Any], ...]:
    """Part, size [deg] to either side, and why; then all of them together and the offset between directions.

    play: of the coupling [rad]; ripple: of the torque, peak to peak over mean [-].
    """
    stiffness = gains.speed[0] * ratio**2  # the speed loop at the load
    bearing = bearing_angle(drive)
    parts = [
        ("sensor resolution", pi / drive.counts / ratio, "half a count"),
        ("sensor noise", drive.noise / ratio, "one standard deviation"),
        ("sensor eccentricity", sensor_error(drive) / ratio, "repeats every turn: a table can take it out"),
        ("bearing play at the mark", bearing / 2, "half the sideways play at mark_radius_mm"),
        ("play of the coupling", play / 2, "half of play_deg; no gain takes it out"),
        ("friction dead band", friction_error(load.standstill + load.worst_spot, stiffness, gains.position),
         "standstill friction against the loops, before the integral has acted"),
        ("torque ripple", friction_error(ripple / 2 * load.running, stiffness, gains.position),
         "ripple of the running torque against the loops"),
    ]  # fmt: skip
    sizes = [size for _, size, _ in parts]
    between = play + bearing
    parts += [
        ("all together, worst", sum(sizes), "sum"),
        ("all together, likely", hypot(*sizes), "root of the sum of squares"),
        ("between directions of approach", between, "from one side to the other: play and bearing, in all"),
    ]
    return tuple({"part": part, "error_deg": degrees(size), "why": why} for part, size, why in parts)
