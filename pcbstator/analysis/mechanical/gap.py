"""The air gap as it is: pull and weight against bearing and plate, and what run-out and bow leave of it."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING, Any

from pcbstator.analysis.mechanical.gap_stack import bow_at_magnets
from pcbstator.analysis.mechanical.pull import pull_curve
from pcbstator.analysis.mechanical.rotor_plate import Bending, bending
from pcbstator.constants import STANDARD_GRAVITY
from pcbstator.design.sections.bearing import Bearing
from pcbstator.design.sections.work import Cooling
from pcbstator.physics.magnetics.magnet_pattern import Footprint
from pcbstator.physics.magnetics.steel import SaturatedIron
from pcbstator.physics.mechanics.gap import (
    PullCurve,
    axial_stiffness_of_tilt,
    gap_at_rest,
    magnetic_tilt_stiffness,
    safe_free_gap,
)

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

RESERVE = 2.0  # stiffness over the growth of the force that a safe gap has (common practice, no source)
CLEAR = 0.1e-3  # m that a safe gap has left at its narrowest (common practice, no source)
RIGID = 1e15  # N/m, of what gives way to nothing
MASK = 25e-6  # m of solder mask over copper (common practice, no source)


@dataclass(frozen=True)
class Carried:
    """What the rotor weighs and how it is drawn: mass of one ring of magnets with its steel [kg], of all that turns and
    is known [kg], axial force [N] and its stiffness [N/m], radius of gyration of the magnets [m]."""

    ring: float
    turning: float
    force: float
    stiffness: float
    gyration: float


@dataclass(frozen=True)
class _Hold:
    """What holds the gap: what play and weight close of it [m], compliance for the pull [m/N], the plate's bending,
    and whether weight closes the gap (1), opens it (-1) or neither."""

    closed: float
    compliance: float
    plate: Bending
    weight: float

    def spread(self, force: float) -> float:
        """By how much the plate's lowest place under the magnets is below their mean [m]."""
        by_weight = max(self.weight, 0.0) * (self.plate.weight_most - self.plate.weight_mean)
        return force * (self.plate.most - self.plate.mean) + by_weight


def gap_results(design: SizedDesign, footprint: Footprint, iron: SaturatedIron, carried: Carried) -> dict[str, Any]:
    """Gap, sag, load of the bearing; nothing where neither bearing nor plate is stated."""
    if design.bearing is None and design.rotor.plate is None:
        return {}
    hold = _hold(design, footprint, carried)
    free, force = design.rotor.air_gap - hold.closed, carried.force
    curve = pull_curve(design, footprint, iron) if force and hold.compliance else None
    rest: float | None = free
    if curve is not None and free > 0:
        rest = gap_at_rest(free, curve.force, 1 / hold.compliance)
        force = force if rest is None else curve.force(rest)
    found: dict[str, Any] = {}
    if design.bearing is not None:
        found["bearing_load"] = abs(_on_bearing(design, carried, force, hold.weight))
    if rest is None or rest <= 0:
        failure = "pull" if rest is None else "contact"
        return found | {"gap_failure": failure, "safe_gap": _safe(design, hold, curve, force, 1.0)}
    stiffness = curve.stiffness(rest) if curve else carried.stiffness
    if curve is not None:
        found["stiffness_ratio"] = 1 / hold.compliance / stiffness
    if rest != design.rotor.air_gap:  # else nothing is known to give way
        found["gap_at_rest"] = rest
    if design.rotor.plate is not None:
        found["plate_sag"] = force * hold.plate.mean + hold.weight * hold.plate.weight_mean + hold.spread(force)
    tilt = _tilt_growth(design, stiffness, carried.gyration)
    if tilt is None:
        curve = curve or pull_curve(design, footprint, iron)
        wanted = RESERVE * magnetic_tilt_stiffness(stiffness, carried.gyration)
        safe = _safe(design, hold, curve, force, RESERVE / (RESERVE - 1), carried.gyration)
        return found | {"gap_failure": "tilt", "tilt_wanted": wanted, "safe_gap": safe}
    if design.build is not None:
        found["least_gap"] = rest - _margin(design, hold, force, tilt)
        if found["least_gap"] <= 0:
            found["safe_gap"] = _safe(design, hold, curve, force, tilt)
    return found


def _margin(design: SizedDesign, hold: _Hold, force: float, tilt: float) -> float:
    """What the gap loses at its narrowest place [m], from the laminate to the mask; tilt: growth of the run-out [-]."""
    on_board = max(design.board.layer_thicknesses[0], design.board.layer_thicknesses[-1]) + MASK
    build = design.build
    run_out = build.rotor_run_out / 2 * tilt if build else 0.0
    return on_board + run_out + bow_at_magnets(design) + hold.spread(force)


def _safe(
    design: SizedDesign, hold: _Hold, curve: PullCurve | None, force: float, tilt: float, gyration: float | None = None
) -> float | None:
    """Air gap to draw that would do [m]; gyration: of the magnets [m], where the tilt must be held as well."""
    least = _margin(design, hold, force, tilt) + CLEAR
    if curve is None:
        return hold.closed + least
    bearing, most = design.bearing, inf
    if gyration is not None and bearing is not None and bearing.tilt_stiffness is not None:
        most = axial_stiffness_of_tilt(bearing.tilt_stiffness, gyration)
    free = safe_free_gap(curve, 1 / hold.compliance if hold.compliance else RIGID, least, RESERVE, most)
    return None if free is None else hold.closed + free


def _hold(design: SizedDesign, footprint: Footprint, carried: Carried) -> _Hold:
    plate, bearing = bending(design, footprint, carried.ring), design.bearing or Bearing()
    weight = weight_sign(design)
    soft = 0.0 if bearing.axial_stiffness is None else 1 / bearing.axial_stiffness
    on_bearing = _on_bearing(design, carried, carried.force, weight)
    closed = bearing.axial_play / 2 * (-1 if on_bearing < 0 else 1)
    closed += weight * (soft * carried.turning * STANDARD_GRAVITY + plate.weight_mean)
    # Two rotors draw each other: their bearing feels nothing of it.
    return _Hold(closed, plate.mean + (0.0 if design.rotor.arrangement == "double" else soft), plate, weight)


def _tilt_growth(design: SizedDesign, stiffness: float, gyration: float) -> float | None:
    """By how much unequal attraction makes the run-out grow on a bearing that gives way [-]; None where it wins."""
    bearing = design.bearing
    if bearing is None or bearing.tilt_stiffness is None or design.rotor.arrangement == "double":
        return 1.0
    left = 1 - magnetic_tilt_stiffness(stiffness, gyration) / bearing.tilt_stiffness
    return 1 / left if left > 0 else None


def _on_bearing(design: SizedDesign, carried: Carried, force: float, weight: float) -> float:
    """Axial force on the bearing [N], positive where it closes the gap; force: magnetic, at the gap [N]."""
    pull = 0.0 if design.rotor.arrangement == "double" else force
    return pull + weight * carried.turning * STANDARD_GRAVITY


def weight_sign(design: SizedDesign) -> float:
    """Whether weight closes the gap (1), opens it (-1) or neither (0); of two rotors it closes that of one wherever the
    axis is upright.
    """
    orientation = (design.cooling or Cooling()).orientation
    if orientation == "upright":
        return 0.0
    return 1.0 if orientation == "rotor-up" or design.rotor.arrangement == "double" else -1.0
