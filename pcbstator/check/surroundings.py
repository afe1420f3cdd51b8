"""What stands in the rotor's field: steel screws that cog, a magnetic sensor that reads wrong, screws in the way."""

from __future__ import annotations

from math import ceil, degrees, floor
from typing import TYPE_CHECKING

from pcbstator.analysis.magnetic.screws import ScrewGroup, clear_circle, quiet_count
from pcbstator.analysis.magnetic.surroundings import SurroundingsResult
from pcbstator.analysis.prediction import Prediction
from pcbstator.check.limits import at_most
from pcbstator.findings import Finding

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

MOST_COGGING = 0.05  # of the torque that the job or the board allows, peak to peak (common practice, no source)
MOST_STRAY = 0.25  # of the position error that is required (common practice, no source)


def surroundings_findings(design: SizedDesign, prediction: Prediction) -> list[Finding]:
    """Findings about screws and sensor in the rotor's field."""
    result = prediction.surroundings
    if result is None:
        return []
    return _in_the_way(result) + _cogging(design, prediction, result) + _sensor(design, result)


def _in_the_way(result: SurroundingsResult) -> list[Finding]:
    return [
        Finding(
            "surroundings.screw_in_the_way", "error",
            f"{group.where}: the screws on a circle of {2e3 * group.radius:g} mm reach into {group.reaches} as these "
            'turn: move the holes, or state head_side = "away", a smaller head_height_mm or head_diameter_mm, or a '
            "shorter screw_length_mm",
            where=group.where,
        )
        for group in result.screws if group.reaches
    ]  # fmt: skip


def _torque(design: SizedDesign, prediction: Prediction) -> tuple[float, str]:
    """A torque at the motor to set cogging against [N m], and in words what it is."""
    motion, ratio = prediction.motion, design.drive.gear_ratio if design.drive else 1.0
    if motion is not None and motion.required_peak:
        return motion.required_peak / ratio, "the largest torque of the motion"
    current = prediction.thermal.board_current
    if prediction.magnetic is None or current is None:
        return 0.0, ""
    return prediction.magnetic.torque_constant * 2**0.5 * current, "the torque that the board stands continuously"


def _cogging(design: SizedDesign, prediction: Prediction, result: SurroundingsResult) -> list[Finding]:
    """Steel screws whose cogging counts, and where it would not."""
    whole, words = _torque(design, prediction)
    if result.cogging_torque is None or whole <= 0:
        return []
    most = MOST_COGGING * whole
    if result.cogging_torque <= most:
        return []
    ways = ["screws of brass or austenitic stainless steel do not cog"]
    steel = [group for group in result.screws if group.cogs]
    circles = [(group, clear_circle(design, group, most / len(steel))) for group in steel]
    if circles and all(circle is not None for _, circle in circles):
        ways.append("; ".join(_moved(group, circle) for group, circle in circles if circle is not None))
    count = quiet_count(design, steel[0], most) if len(steel) == 1 else None
    if count is not None:
        ways.append(f"{steel[0].where}.count = {count} would do, as far as magnets and holes are even")
    often = f", {result.cogging_order} times per turn" if result.cogging_order else ""
    return at_most(
        "surroundings.cogging", result.cogging_torque / whole, MOST_COGGING,
        f"steel screws make {1e3 * result.cogging_torque:.3g} mN·m of cogging torque, peak to peak{often}: {{value}} "
        f"of {words}, above {{limit}}; {', or '.join(ways)}", "warning", steel[0].where,
    )  # fmt: skip


def _moved(group: ScrewGroup, circle: float) -> str:
    """The key that moves the screws to a circle [m], rounded away from the magnets."""
    if group.reach is not None:
        return f"{group.where}.reach_mm = {ceil(2e3 * (group.reach + circle / 2 - group.radius)) / 2:g} would do"
    away = ceil if circle > 2 * group.radius else floor
    return f"{group.where}.circle_diameter_mm = {away(2e3 * circle) / 2:g} would do"


def _sensor(design: SizedDesign, result: SurroundingsResult) -> list[Finding]:
    drive, asked = design.drive, design.requirement
    if result.sensor_error is None or result.sensor_field is None or drive is None:
        return []
    stray, own = 1e3 * result.sensor_field, 1e3 * drive.sensor_field
    ways = "a place further from the magnets, a steel screen between, or a stronger magnet of its own"
    if result.sensor_field >= drive.sensor_field:
        words = (
            f"the rotor's stray field of {stray:.3g} mT at the angle sensor outweighs that of its own magnet, "
            f"{own:.3g} mT (drive.sensor_field_mt): it loses its angle; {ways}"
        )
        return [Finding("surroundings.sensor", "warning", words, stray, own, "drive")]
    if asked is None or asked.position_error is None:
        return []
    return at_most(
        "surroundings.sensor", degrees(result.sensor_error) / drive.gear_ratio,
        MOST_STRAY * degrees(asked.position_error),
        f"the rotor's stray field of {stray:.3g} mT at the angle sensor, beside {own:.3g} mT of its own magnet, turns "
        "its angle by up to {value} degrees, above {limit}, a quarter of requirement.position_error_deg; a correction "
        f"table over the turn takes it out, or {ways}", "warning", "drive",
    )  # fmt: skip
