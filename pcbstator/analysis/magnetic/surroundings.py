"""What stands in the rotor's field around the stator: angle sensor, bearing, steel screws, pads of holes."""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, hypot, pi
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.fields import inside, result
from pcbstator.analysis.magnetic.screws import ScrewGroup, coggings, screw_groups
from pcbstator.analysis.magnetic.stray import over_a_pole
from pcbstator.copper import Copper
from pcbstator.design.sections.job import Drive
from pcbstator.errors import LawRangeError
from pcbstator.materials import copper as copper_metal
from pcbstator.physics.conductors.sheet_drag import disc_eddy_loss, sheet_drag
from pcbstator.physics.stray.steel_body import Cogging, all_coggings

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

DEGREE = 180 / pi
ROUNDING = 1e-9  # T


@dataclass(frozen=True, kw_only=True)
class SurroundingsResult:
    """The rotor's field beyond the board, and what it does there. Magnets all alike and in their places."""

    sensor_field: float | None = result(
        "sensor_stray_field_t", "largest stray field of the rotor at the angle sensor's chip over a turn"
    )
    sensor_error: float | None = result(
        "sensor_stray_error_deg",
        "error of the angle by the stray field of the rotor, to either side, at the worst place of the turn",
        DEGREE,
    )
    bearing_field: float | None = result(
        "bearing_stray_field_t", "largest stray field of the rotor at the balls of the bearing over a turn"
    )
    screw_field: float | None = result(
        "screw_stray_field_t", "largest stray field of the rotor along the axis of a steel screw over a turn"
    )
    cogging_torque: float | None = result(
        "cogging_torque_n_m", "cogging torque of all steel screws together, peak to peak, at the motor"
    )
    single_cogging: float | None = result(
        "one_screw_cogging_n_m",
        "cogging torque of the steel screw that has most of it, peak to peak: what is left where screws do not cancel",
    )
    cogging_order: int | None = result(
        "cogging_per_turn", "periods of the cogging torque in a turn of the motor, of its largest part"
    )
    copper_loss: float | None = result(
        "other_copper_loss_w", "eddy loss in pads of holes, which are no winding, at the top speed"
    )
    copper_drag: float | None = result(
        "other_copper_drag_n_m", "drag torque of eddies in pads of holes, which are no winding, at the top speed"
    )
    cogging: Cogging | None = inside()
    sensor_orders: tuple[tuple[int, float], ...] = inside(())  # per turn of the motor, with the error of each [rad]
    screws: tuple[ScrewGroup, ...] = inside(())


def surroundings_of(design: SizedDesign, copper: Copper, top_speed: float) -> SurroundingsResult | None:
    """What the design says stands in the rotor's field; None where it says nothing. top_speed: of the motor [rad/s].

    LawRangeError for places within magnets or steel.
    """
    found: dict[str, object] = {}
    drive, bearing = design.drive, design.bearing
    if drive is not None and drive.sensor_principle == "magnetic":
        found |= _sensor(design, drive)
    if bearing is not None and bearing.circle_diameter is not None:
        B = _field_at(design, bearing.circle_diameter / 2, bearing.height, "bearing.height_mm")
        found["bearing_field"] = _largest(B)
    groups = screw_groups(design)
    if any(group.cogs for group in groups):
        found |= _screws(design, groups)
    found |= {"screws": groups} if groups else {}
    found |= _other_copper(design, copper, top_speed)
    return SurroundingsResult(**found) if found else None  # type: ignore[arg-type]


def _field_at(design: SizedDesign, radius: float, height: float, key: str) -> FloatArray:
    """Field (S, 3) [T] at a place over a pole pitch; key: of its height, for a place within the rotor."""
    try:
        return over_a_pole(design, radius, np.array([height]))[:, 0]
    except LawRangeError as error:
        raise LawRangeError(
            f"{key} = {1e3 * height:g} at a radius of {1e3 * radius:g} mm lies within the magnets or their "
            "steel, where there is no room for it: another height or radius"
        ) from error


def _largest(field: FloatArray) -> float:
    """Largest of a field (…, 3) [T]; rounding of sums that cancel is none."""
    found = float(np.linalg.norm(field, axis=-1).max())
    return found if found > ROUNDING else 0.0


def _sensor(design: SizedDesign, drive: Drive) -> dict[str, object]:
    """Stray field at the chip against the field of its own magnet.

    A chip on the axis sees what turns with the rotor as its own magnet does: only what is not even there is an error.
    A head at a ring reads the phase of its poles, which the stray field turns by its ratio at most.
    """
    own, pairs, p = drive.sensor_field, drive.sensor_pole_pairs, design.rotor.poles // 2
    place = drive.sensor_offset if drive.sensor_radius is None else drive.sensor_radius
    B = _field_at(design, place, drive.sensor_height, "drive.sensor_height_mm")
    stray = _largest(B) if drive.sensor_radius is not None else _uneven(B, design.rotor.poles)
    ratio = stray / own
    error = asin(ratio) / pairs if ratio < 1 else pi / pairs
    orders = [(abs(pairs - p), error / 2), (pairs + p, error / 2)]
    return {
        "sensor_field": _largest(B),
        "sensor_error": error,
        "sensor_orders": tuple((order, size) for order, size in orders if order > 0),
    }


def _uneven(field: FloatArray, poles: int) -> float:
    """What of a field (S, 3) across the axis, over a pole pitch, changes as the rotor sees it over a turn [T]."""
    steps = len(field)
    turn = 2 * pi * np.arange(steps * poles) / (steps * poles)
    over_a_turn = np.concatenate([(-1) ** pole * (field[:, 0] + 1j * field[:, 1]) for pole in range(poles)])
    seen = over_a_turn * np.exp(-1j * turn)
    found = float(np.abs(seen - seen.mean()).max())
    return found if found > ROUNDING else 0.0


def _screws(design: SizedDesign, groups: tuple[ScrewGroup, ...]) -> dict[str, object]:
    """Cogging of all groups, and the field in which they stand."""
    found = coggings(design, groups)
    together = all_coggings(tuple(group.together for group in found))
    return {
        "screw_field": max(group.field for group in found),
        "cogging_torque": together.peak_to_peak,
        "single_cogging": max(group.single.peak_to_peak for group in found),
        "cogging_order": together.main_order or None,
        "cogging": together,
    }


def _other_copper(design: SizedDesign, copper: Copper, speed: float) -> dict[str, object]:
    """Eddies in the pads of plated holes on both faces of every board."""
    pads = sorted(
        {(round(hypot(h.x, h.y), 7), h.diameter, h.pad) for h in copper.shape.drilled if _counts(h.origin, h.pad)}
    )
    if not pads or speed <= 0:
        return {}
    metal, board = copper_metal(), design.board
    tops = [z - number * design.board_pitch for number in range(design.boards) for z in (0.0, -board.thickness)]
    loss = 0.0
    for radius, drill, pad in pads:
        count = sum(
            1 for h in copper.shape.drilled if (round(hypot(h.x, h.y), 7), h.diameter, h.pad) == (radius, drill, pad)
        )
        B = over_a_pole(design, radius, np.array(tops))[..., 2]
        orders, peaks = _harmonics(B)
        frequency = orders[:, None] * design.rotor.poles / 2 * speed / (2 * pi)
        alone = disc_eddy_loss(frequency, peaks, drill / 2, pad / 2, board.outer_copper, metal.resistivity)
        wide = sheet_drag(np.array(speed * radius), peaks, board.outer_copper, metal.resistivity) * speed * radius
        area = pi / 4 * (pad**2 - drill**2)
        loss += count * float(np.minimum(alone, wide * area).sum())
    return {"copper_loss": loss, "copper_drag": loss / speed}


def _counts(origin: str, pad: float) -> bool:
    return pad > 0 and origin.startswith("board.holes")


def _harmonics(field: FloatArray) -> tuple[NDArray[np.integer], FloatArray]:
    """Odd orders and peaks (n, K) of a field (S, K) over half a wave, the other half being its opposite."""
    whole = np.concatenate([field, -field])
    orders = np.arange(1, len(field), 2)
    return orders, np.asarray(2 / len(whole) * np.abs(np.fft.fft(whole, axis=0)[orders]))
