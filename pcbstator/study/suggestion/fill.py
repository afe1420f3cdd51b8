"""What a design file leaves open is filled in before it is checked, so that an envelope and a wish are enough to begin
with. Everything that was taken for granted is told in words.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from pcbstator.analysis.drive.driver_fit import sensor_error
from pcbstator.analysis.drive.records import DEGREE
from pcbstator.check.ways_out.move_profile import IN_TIME, MOVE, profile
from pcbstator.design import Design, design_from_document
from pcbstator.design.file_text import changed_text
from pcbstator.design.load import read_tables
from pcbstator.design.quantities import is_number
from pcbstator.design.sections.job import Drive
from pcbstator.errors import Complaint, DesignError
from pcbstator.study.suggestion.kinds import Kind, kinds_of
from pcbstator.study.suggestion.parts import Parts
from pcbstator.study.suggestion.room import Ring, rings_of, value_of

Tables = dict[str, Any]

RESERVE = 25.0  # % of torque over what the motion needs (common practice, no source)
GAP = 1.0  # mm of air that a plate on an ordinary bearing keeps (common practice, no source)
ANGLES = ("position_error_deg", "repeatability_deg", "direction_offset_deg", "smallest_step_deg", "push_deg")
COUNTS_IN_ERROR = 8  # of the sensor, in the smallest angle that is asked for
DRIVE = {"supply_v": 12.0, "current_limit_peak_a": 1.5, "pwm_khz": 100.0, "sensor_noise_deg": 0.005}
OFFSET, RING_OFFSET = 0.2, 0.1  # mm that a chip, or a ring of marks, is off the axis (common practice, no source)
CENTRED = (0.1, 0.08, 0.06, 0.05, 0.04, 0.03, 0.02)  # mm by a dial gauge, with care (common practice, no source)
SENSOR_PART = 0.6  # of the error at rest, that may be the sensor's
FREE_BORE = 40.0  # mm from which on a bore holds no shaft with a chip at its end (common practice, no source)
OPEN = ("winding", "board", "rotor")  # what a suggestion is about


@dataclass(frozen=True)
class Asked:
    """A design file made whole: a design to begin from, the file's text with what was filled in, the same with a first
    kind of machine, the kinds to look at, what was filled in, in words; eased: keys that were chosen for the user.
    """

    design: Design
    text: str
    text_whole: str
    kinds: tuple[Kind, ...]
    filled: tuple[str, ...]
    eased: frozenset[str] = frozenset()


def load_asked(place: Path, parts: Parts) -> Asked:
    """What a design file asks for; a DesignError names what is wrong with it, or what must be known."""
    tables, text, content = read_tables(place)
    return asked_of(tables, text, place.name, place.absolute().parent, parts, content)


def asked_of(
    tables: Tables, text: str, name: str, folder: Path | None, parts: Parts, content: bytes | None = None
) -> Asked:
    """What the tables of a design file ask for; text: the file's, whose comments are kept."""
    settings, words = filled(tables)
    rings = rings_of(tables)
    if isinstance(rings, Complaint):
        raise DesignError(name, [rings])
    kinds = kinds_of(tables, rings, parts)
    if not kinds:
        raise DesignError(name, [_nothing_fits(tables, rings)])
    whole = changed_text(text, settings | kinds[0].settings | {"rotor.back_iron_mm": 0.0})
    design = design_from_document(tomllib.loads(whole), name, folder)
    if content is not None:
        design._file_digest = hashlib.sha256(content).hexdigest()
    return Asked(design, changed_text(text, settings), whole, tuple(kinds), tuple(words), frozenset(settings))


def _nothing_fits(tables: Tables, rings: list[Ring]) -> Complaint:
    """No magnet of the list fits the rings and the height."""
    height = value_of(tables, "envelope.height_mm")
    sizes = " or ".join(f"{ring.inner:g} to {ring.outer:g} mm" for ring in rings)
    rule = f"must hold board, gap and a magnet of the list on a ring of {sizes}"
    value = "no height" if height is None else f"{height:g} mm high"
    return Complaint("envelope", rule, value, "give it more room, or a list of smaller magnets with --parts")


def filled(tables: Tables) -> tuple[dict[str, Any], list[str]]:
    """Keys of the design that the file leaves out, with the values taken for them, and in words what that means."""
    settings: dict[str, Any] = {}
    words: list[str] = []
    for part in (_load, _motion, _drive, _requirement, _machine):
        added, said = part(tables)
        settings |= added
        words += said
    return settings, words


def _load(tables: Tables) -> tuple[dict[str, Any], list[str]]:
    if "load" in tables or "bearing" in tables:
        return {}, []
    wide = value_of(tables, "envelope.outer_diameter_mm") or 100.0
    body = {"shape": "disc", "mass_g": 500.0, "diameter_mm": wide}
    settings = {"load.bodies": [body], "bearing.friction_n_m": 0.01, "bearing.standstill_friction_n_m": 0.015}
    return settings, [f"load: a disc of 500 g, {wide:g} mm across, on a bearing with 10 mN·m of friction"]


def _motion(tables: Tables) -> tuple[dict[str, Any], list[str]]:
    motion = tables.get("motion", {})
    if not isinstance(motion, Mapping):
        return {}, []
    stated, wanted = dict(motion), value_of(tables, "requirement.move_time_s")
    settings: dict[str, Any] = {}
    words: list[str] = []
    if not stated:
        stated, settings = {"move_deg": MOVE}, {"motion.move_deg": MOVE, "motion.dwell_s": 1.0}
        words.append(f"motion: moves of {MOVE:g} degrees with a rest of 1 s")
    moves = _longest(stated)
    speed, rate = (stated.get(key) for key in ("speed_rpm", "acceleration_deg_s2"))
    if not moves or (speed is not None and rate is not None):
        return settings, words
    if any(value is not None and not (is_number(value) and value > 0) for value in (speed, rate)):
        return settings, words  # the checks have words for it
    jerk = value_of({"motion": stated}, "motion.jerk_deg_s3")
    time = IN_TIME * wanted if wanted and wanted > 0 else None
    speed, rate, why = profile(moves, time, speed, rate, jerk)
    chosen = {"motion.speed_rpm": speed, "motion.acceleration_deg_s2": rate}
    settings |= {key: value for key, value in chosen.items() if key.partition(".")[2] not in stated}
    words.append(f"motion: {speed:g} rpm at most and {rate:g} deg/s², {why}")
    return settings, words


def _longest(motion: Mapping[str, Any]) -> float:
    """The longest single move [deg]; 0 where there is none."""
    stops = motion.get("stops_deg")
    if isinstance(stops, list) and len(stops) > 1 and all(map(is_number, stops)):
        return max(abs(float(b) - float(a)) for a, b in zip(stops, [*stops[1:], stops[0]], strict=True))
    move = motion.get("move_deg")
    return abs(float(move)) if isinstance(move, int | float) else 0.0


def _drive(tables: Tables) -> tuple[dict[str, Any], list[str]]:
    drive = tables.get("drive", {})
    if not isinstance(drive, Mapping):
        return {}, []
    settings = {f"drive.{name}": value for name, value in DRIVE.items() if name not in drive}
    if drive:
        settings.pop("drive.sensor_noise_deg", None)
    if "sensor_counts" not in drive:
        asked = [value_of(tables, f"requirement.{name}") for name in ANGLES]
        least = min((angle for angle in asked if angle and angle > 0), default=1.0)
        counts = 65536 if value_of(tables, "requirement.slow_speed_rpm") else 16384
        while counts < COUNTS_IN_ERROR * 360.0 / least and counts < 1 << 20:
            counts *= 2
        settings["drive.sensor_counts"] = counts
        settings |= _place_of_sensor(tables, {**DRIVE, "sensor_counts": counts, **drive})
    if not settings:
        return {}, []
    words = ["drive: " + ", ".join(f"{path.partition('.')[2]} = {value:g}" for path, value in settings.items())]
    ring = "sensor_radius_mm" in drive or "drive.sensor_radius_mm" in settings
    offset = settings.get("drive.sensor_offset_mm", OFFSET)
    usual = RING_OFFSET if ring else OFFSET
    if offset < usual:
        why = f"since position_error_deg asks for it; {usual:g} mm is usual"
        words.append(f"sensor: centred to {offset:g} mm by a dial gauge, {why}")
    return settings, words


def _place_of_sensor(tables: Tables, drive: Mapping[str, Any]) -> dict[str, Any]:
    """How far the sensor is off the axis, as usual or as little as the error at rest asks for, and the radius of its
    ring where no chip can sit on the axis. drive: [drive] with what is filled in.
    """
    bore, asked = (value_of(tables, path) for path in ("envelope.bore_diameter_mm", "requirement.position_error_deg"))
    stated = {} if "sensor_radius_mm" in drive or (bore or 0.0) < FREE_BORE else {"sensor_radius_mm": (bore or 0.0) / 2}
    if "sensor_offset_mm" not in drive:
        usual = RING_OFFSET if "sensor_radius_mm" in {**drive, **stated} else OFFSET
        offsets = [usual, *(offset for offset in CENTRED if offset < usual)]
        good = (each for each in offsets if _fine(asked, {**drive, **stated, "sensor_offset_mm": each}))
        stated |= {"sensor_offset_mm": next(good, usual)}
    return {f"drive.{name}": value for name, value in stated.items()}


def _fine(asked: float | None, drive: Mapping[str, Any]) -> bool:
    """Whether a sensor errs by little enough for the error at rest [deg] that is asked for."""
    if not asked:
        return True
    try:
        return sensor_error(Drive.model_validate(drive)) * DEGREE <= SENSOR_PART * asked
    except ValidationError:
        return True  # the checks have words for it


def _requirement(tables: Tables) -> tuple[dict[str, Any], list[str]]:
    asked = tables.get("requirement", {})
    if not isinstance(asked, Mapping):
        return {}, []
    settings: dict[str, Any] = {}
    words = []
    if "torque_reserve_percent" not in asked:
        settings["requirement.torque_reserve_percent"] = RESERVE
        words.append(f"requirement: {RESERVE:g} % of torque in reserve")
    if "price" in asked and "prices" not in tables:
        settings["prices.currency"] = "units"
        words.append("prices: invented ones, to compare designs by; put your own under [prices]")
    return settings, words


def _machine(tables: Tables) -> tuple[dict[str, Any], list[str]]:
    """What winding, board and rotor need beside what a search sets."""
    rotor = tables.get("rotor")
    if isinstance(rotor, Mapping) and "air_gap_mm" in rotor:
        return {}, []
    return {"rotor.air_gap_mm": GAP}, [f"rotor: an air gap of {GAP:g} mm"]
