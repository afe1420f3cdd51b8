"""Stops at a target from both sides, and small steps: play, friction and sensor told apart."""

from __future__ import annotations

from math import degrees, hypot

from pcbstator.analysis.drive.budget.rest_errors import held
from pcbstator.analysis.drive.driver_fit import sensor_error
from pcbstator.bench.logs.known import Known
from pcbstator.bench.logs.result import Found, LogRow
from pcbstator.bench.readings import Approach, SmallSteps
from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.identification.lost_motion import Sides, lost_at_reversal, sides_of

SPREAD = 0.3  # of assumed play and friction, one standard deviation over them: common practice, no source
WIDE = 0.3  # scatter over offset, above which friction is the likelier reason


def approach_found(reading: Approach, known: Known) -> Found:
    """Offset of the sides, split where the sensor's own reading is known, and the middle against the target."""
    try:
        seen = sides_of(reading.target, reading.from_below, reading.from_above)
        own = None
        if reading.sensor_below is not None and reading.sensor_above is not None:
            own = sides_of(reading.target, reading.sensor_below, reading.sensor_above)
    except LawRangeError as error:
        return Found(remarks=(f"{reading.name}: {error}",))
    if own is not None:
        return Found(_split(reading, known, seen, own))
    remark = (
        f"{reading.name}: without the sensor's own reading at the stops play and friction are told together; it sees "
        "what friction holds, and not the play (keys sensor_below_deg, sensor_above_deg)"
    )
    return Found((_together(reading, known, seen), _middle(reading, known, seen.centre, seen.centre_sigma)),
                 remarks=(remark,))  # fmt: skip


def _at(reading: Approach) -> str:
    return f"at {degrees(reading.target):.5g} degrees"


def _split(reading: Approach, known: Known, seen: Sides, own: Sides) -> tuple[LogRow, ...]:
    """Friction holds what the sensor sees too; play lies behind it; what both sides share is the sensor's error."""
    play, sigma = seen.offset - own.offset, hypot(seen.offset_sigma, own.offset_sigma)
    return (
        _row(reading, "play", f"play between sensor and load, {_at(reading)}", play, sigma, known.play, False,
             "offset of the sides that the sensor does not see"),
        _row(reading, "friction_dead_band", f"held by friction between the sides, {_at(reading)}", own.offset,
             own.offset_sigma, _band(known), True, "offset of the sides that the sensor sees too"),
        _middle(reading, known, seen.centre - own.centre, hypot(seen.centre_sigma, own.centre_sigma)),
    )  # fmt: skip


def _together(reading: Approach, known: Known, seen: Sides) -> LogRow:
    band = _band(known)
    assumed = None if band is None else known.play + band
    likely = "a small scatter: play, or friction that always stops it alike"
    if seen.scatter > WIDE * abs(seen.offset):
        likely = "a scatter as wide as this is rather friction than play"
    words = f"scatter of a side {degrees(seen.scatter):.2g} degrees: {likely}"
    return _row(reading, "play_and_friction", f"from above less from below, {_at(reading)}", seen.offset,
                seen.offset_sigma, assumed, False, words)  # fmt: skip


def _middle(reading: Approach, known: Known, centre: float, sigma: float) -> LogRow:
    """What both sides share: the sensor's error at this place, zero included."""
    assumed, spread = None, 0.0
    if known.job is not None:
        assumed = sensor_error(known.job.drive) / known.ratio
        spread = SPREAD * assumed + known.job.count
    about = f"middle of the sides {'above' if centre > 0 else 'below'} the target, {_at(reading)}"
    words = "alike from both sides: error of the sensor here, its zero included"
    return LogRow(
        "sensor_at_target", reading.name, about, degrees(abs(centre)), degrees(sigma), "deg",
        None if assumed is None else degrees(assumed), degrees(spread), True, words, reading.board, reading.rotor,
    )  # fmt: skip


def _band(known: Known) -> float | None:
    """Offset of the sides by friction that the design predicts [rad]."""
    if known.job is None:
        return None
    return 2 * (held(known.job) if known.values.standstill > 0 else known.job.count / 2)


def _row(
    reading: Approach | SmallSteps, key: str, about: str, value: float, sigma: float, assumed: float | None,
    at_most: bool, words: str,
) -> LogRow:  # fmt: skip
    spread = SPREAD * (assumed or 0.0)
    return LogRow(key, reading.name, about, degrees(value), degrees(sigma), "deg",
                  None if assumed is None else degrees(assumed), degrees(spread), at_most, words,
                  reading.board, reading.rotor)  # fmt: skip


def small_steps_found(reading: SmallSteps, known: Known) -> Found:
    """Motion lost at a reversal, and the usual step against the one asked for."""
    try:
        up, down = lost_at_reversal(reading.up), lost_at_reversal([-each for each in reading.down])
    except LawRangeError as error:
        return Found(remarks=(f"{reading.name}: {error}",))
    band = _band(known)
    assumed = None if band is None else known.play + band
    lost, sigma = (up[0] + down[0]) / 2, hypot(up[1], down[1]) / 2
    usual, usual_sigma = (up[2] + down[2]) / 2, hypot(up[3], down[3]) / 2
    words = f"{degrees(up[0]):.2g} upwards, {degrees(down[0]):.2g} downwards; play, and what friction holds"
    return Found((
        _row(reading, "lost_motion", "lost where the steps turn round", lost, sigma, assumed, True, words),
        LogRow("usual_step", reading.name, "usual step, after the first", degrees(usual), degrees(usual_sigma), "deg",
               degrees(reading.step), 0.02 * degrees(reading.step), False, "the later half of the steps, both ways",
               reading.board, reading.rotor),
    ))  # fmt: skip
