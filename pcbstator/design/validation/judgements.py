"""Judgements on the values of several keys, each a complaint or None; ``consistency.py`` says on which keys.

They look at the values as they stand in the file, so that their messages speak of the file's keys and units.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import pi

from pcbstator import materials
from pcbstator.design.quantities import shown
from pcbstator.design.sections.job import LEAST_MOVE
from pcbstator.design.sections.rotor_plate import OTHER
from pcbstator.errors import Complaint, LawRangeError

LEAST_BALL = 0.3  # mm
MOST_TURNS_IN_ALL = 50_000  # coils x layers x turns; a large machine has a few thousand


@dataclass(frozen=True)
class Rule:
    """A judgement on the values of some keys: a complaint, or None where all is well."""

    keys: tuple[str, ...]
    judge: Callable[..., Complaint | None]

    @cached_property
    def needed(self) -> frozenset[str]:
        """Its keys, whatever their order."""
        return frozenset(self.keys)


def exceeds(larger: str, smaller: str) -> Rule:
    """The one key must be larger than the other, both in the same unit; keys left out do not count."""

    def judge(large: float | None, small: float | None) -> Complaint | None:
        if large is None or small is None or large > small:
            return None
        rule = f"must be larger than {smaller} = {shown(small)}"
        return Complaint(larger, rule, shown(large), "make this larger or the other smaller")

    return Rule((larger, smaller), judge)


def coils_per_phase(coils: int | None, phases: int, kind: str) -> Complaint | None:
    if kind == "wave" or (coils is not None and coils % phases == 0):
        return None
    if coils is None:
        remedy = f"add coils = {4 * phases}"
        way: dict[str, object] = {"winding.coils": 4 * phases}
        return Complaint("winding.coils", "a spiral winding needs its number of coils", "nothing", remedy, (way,))
    below, above = coils - coils % phases, coils + phases - coils % phases
    remedy = f"use {above} coils" if below == 0 else f"use {below} or {above} coils"
    ways = tuple({"winding.coils": count} for count in (below, above) if count)
    return Complaint("winding.coils", f"must be a multiple of winding.phases = {phases}", str(coils), remedy, ways)


def paths(paths: int, coils: int | None, phases: int, kind: str) -> Complaint | None:
    if kind == "wave" or coils is None:
        return None  # the winding itself knows
    each = coils // phases
    if coils % phases or each % paths == 0:
        return None
    possible = [number for number in range(1, each + 1) if each % number == 0]
    rule = f"must divide the {each} coils of a phase into equal paths"
    remedy = f"use one of {', '.join(map(str, possible))}"
    ways = tuple({"winding.parallel_paths": number} for number in possible)
    return Complaint("winding.parallel_paths", rule, str(paths), remedy, ways)


def turns_in_all(
    coils: int | None, kind: str, phases: int, poles: int, layers: int, turns: int | str, outer: float,
    width: float | str, gap: float,
) -> Complaint | None:  # fmt: skip
    """Bounds the work that a design can ask for."""
    if kind == "wave":
        coils = phases * poles // 2
    if coils is None:
        return None
    # Two sides of a coil share its part of the outer circumference.
    part = int(pi * outer / coils / 2 / (gap + (0.05 if width == "fill" else float(width))))
    each = min(500, part) if turns == "fill" else int(turns)
    if coils * layers * each <= MOST_TURNS_IN_ALL:
        return None
    rule = f"coils x layers x turns must be at most {MOST_TURNS_IN_ALL}"
    return Complaint("winding.turns", rule, f"{coils} x {layers} x {each}", "use fewer turns or wider tracks")


def one_fill(turns: int | str, width: float | str) -> Complaint | None:
    if turns != "fill" or width != "fill":
        return None
    return Complaint("board.track_width_mm", "only one of turns and track_width_mm can fill", '"fill"', "state one")


def used_layers(used: list[int] | None, layers: int) -> Complaint | None:
    if used is None:
        if layers % 2 == 0:
            return None
        remedy = f"name an even number of layers, such as {list(range(1, layers))}"
        return Complaint("board.coil_layers", f"must say which of {layers} layers the winding leaves", "none", remedy)
    rising = all(upper < lower for upper, lower in pairwise(used))
    if len(used) % 2 == 0 and rising and used[-1] <= layers:
        return None
    rule = f"must name an even number of the {layers} layers, rising"
    return Complaint("board.coil_layers", rule, shown(used), "list them from the rotor side on, such as [1, 2]")


def layer_copper(copper: list[float] | None, layers: int) -> Complaint | None:
    if copper is None or len(copper) == layers:
        return None
    rule = f"must be {layers} thicknesses, one per layer"
    return Complaint("board.layer_copper_um", rule, shown(copper), "list them from layer 1 on, or leave the key out")


def tapered(profile: str, kind: str, outline: str) -> Complaint | None:
    if profile == "even" or kind == "wave" or outline == "sector":
        return None
    rule = f'"tapered" needs sides that run along the radius; an outline "{outline}" has none'
    return Complaint("board.track_profile", rule, '"tapered"', 'use outline = "sector" or kind = "wave"')


def plating(section: str) -> Rule:
    """The plating of a via leaves its hole open."""
    key = f"{section}.via_plating_um"

    def judge(drill: float, plating: float) -> Complaint | None:
        if 2 * plating / 1000 < drill:
            return None
        return Complaint(key, f"must leave the {drill:g} mm hole open", f"{plating:g}", "use a larger drill")

    return Rule((f"{section}.via_drill_mm", key), judge)


def copper_in_board(
    thickness: float, layers: int, outer: float, inner: float, each: list[float] | None
) -> Complaint | None:
    """The copper of all layers together is thinner than the board [mm]; layers [um] all alike inside, or ``each``."""
    copper = (sum(each) if each else 2 * outer + (layers - 2) * inner) / 1000
    if copper < thickness:
        return None
    rule = f"must be thicker than its {layers} layers of copper, {copper:g} mm together"
    return Complaint("board.thickness_mm", rule, f"{thickness:g}", "use a thicker board or less copper")


def room_for_balls(gap: float | None, copper: float) -> Complaint | None:
    least = LEAST_BALL + 2e-3 * copper
    if gap is None or gap >= least:
        return None
    rule = f"must be {least:g} or more: balls of {LEAST_BALL:g} mm and slip_ring.copper_um on both boards"
    return Complaint("slip_ring.board_gap_mm", rule, f"{gap:g}", "use a wider gap")


def two_faces(thickness: float, copper: float) -> Complaint | None:
    if 2 * copper / 1000 < thickness:
        return None
    rule = f"must be thicker than its two layers of copper, {2 * copper / 1000:g} mm together"
    return Complaint("slip_ring.thickness_mm", rule, f"{thickness:g}", "use a thicker board or less copper")


def depths(depths: list[float] | None, layers: int, thickness: float) -> Complaint | None:
    if depths is None:
        return None
    rising = all(upper < lower for upper, lower in pairwise(depths))
    if len(depths) == layers and depths[0] == 0 and rising and depths[-1] <= thickness:
        return None
    rule = f"must be {layers} depths, one per layer, rising from 0 to at most board.thickness_mm = {thickness:g}"
    return Complaint("board.layer_depths_mm", rule, shown(depths), "list the depths from layer 1 down")


def one_remanence(remanence: float | None, grade: str | None) -> Complaint | None:
    if (remanence is None) != (grade is None):
        return None
    value = "neither" if grade is None else "both"
    remedy = 'add remanence_t = 1.30 or grade = "N42"' if grade is None else "take one of them away"
    return Complaint("rotor.magnet.remanence_t", "exactly one of remanence_t and grade must be given", value, remedy)


def grade_holds(grade: str | None, temperature_c: float) -> Complaint | None:
    if grade is None:
        return None
    try:
        magnet = materials.magnet_grade(grade.strip())
    except LawRangeError as error:
        known = str(error).partition("; ")[2]
        return Complaint("rotor.magnet.grade", "must be a known grade", shown(grade), known)
    try:
        materials.remanence(magnet.name, temperature_c)
    except LawRangeError as error:
        remedy = "choose a grade for hotter work, such as N42SH" if temperature_c > magnet.highest_temperature_c else ""
        return Complaint("rotor.magnet.temperature_c", str(error), f"{temperature_c:g}", remedy)
    return None


def one_side(iron: float, arrangement: str) -> Complaint | None:
    if iron == 0 or arrangement == "single":
        return None
    rule = 'goes with arrangement = "single" only: between two rotors there is no room for a plate'
    return Complaint("rotor.stator_iron_mm", rule, f"{iron:g}", "take it away")


def closed_loop(connection: str, phases: int) -> Complaint | None:
    if connection != "delta" or phases > 2:
        return None
    rule = "closes a loop in which the voltages of two phases do not cancel: a short circuit"
    return Complaint("winding.connection", rule, '"delta" with 2 phases', 'use "star" or "open"')


def span(key: str) -> Rule:
    """A list of the least and the most."""

    def judge(span: list[float] | None) -> Complaint | None:
        if span is None or (len(span) == 2 and span[0] <= span[1]):
            return None
        return Complaint(key, "must be the least and the most value", shown(span), "write it as [25.0, 35.0]")

    return Rule((key,), judge)


def board_above_ambient(limit: float | None, tg_c: float, ambient: float) -> Complaint | None:
    if limit is not None or tg_c - materials.BELOW_TG > ambient:
        return None
    rule = f"must be below board.laminate_tg_c = {tg_c:g} less {materials.BELOW_TG:g}, the most that the board may have"
    return Complaint("cooling.ambient_c", rule, f"{ambient:g}", "use a laminate for more heat, or state board_max_c")


def magnets_above_ambient(limit: float | None, grade: str | None, ambient: float) -> Complaint | None:
    try:
        most = materials.magnet_limit(grade.strip() if grade else None)
    except LawRangeError:
        return None  # the grade has its own rule
    if limit is not None or most > ambient:
        return None
    rule = f"must be below the {most:g} C that the magnets stand"
    return Complaint("cooling.ambient_c", rule, f"{ambient:g}", "use a grade for more heat, or state magnet_max_c")


def clamped(face: str, conductance: float, arrangement: str) -> Complaint | None:
    if face != "open" and arrangement == "double":
        rule = 'goes with arrangement = "single" only: between two rotors both faces are near a rotor'
        return Complaint("cooling.far_face", rule, shown(face), "take it away")
    if face != "clamped" or conductance > 0:
        return None
    rule = 'must be above 0 with far_face = "clamped"'
    return Complaint("cooling.mount_conductance_w_per_k", rule, f"{conductance:g}", "state it, such as 0.5")


def on_and_off(duty: str, on: float | None, off: float | None) -> Complaint | None:
    if duty != "on-off" or (on is not None and off is not None):
        return None
    return Complaint("cooling.duty", "needs on_s and off_s", '"on-off"', "add on_s = 10.0 and off_s = 50.0")


def one_motion(*stated: object) -> Complaint | None:
    move, stops, _, speed, acceleration = stated
    names = ("move_deg", "stops_deg", "table_csv")
    given = [name for name, value in zip(names, stated[:3], strict=True) if value is not None]
    if len(given) > 1:
        rule = "only one of move_deg, stops_deg and table_csv may be given"
        return Complaint("motion." + given[1], rule, " and ".join(given), "take one of them away")
    if (move is not None or stops is not None) and (speed is None or acceleration is None):
        lacking = "speed_rpm" if speed is None else "acceleration_deg_s2"
        return Complaint(f"motion.{lacking}", f"is required with {given[0]}", "nothing", f"add {lacking}")
    return None


def other_material(
    material: str, conductivity: float | None, max_c: float | None, density: float | None, modulus: float | None
) -> Complaint | None:
    stated = {"conductivity_w_per_mk": conductivity, "max_c": max_c, "density_kg_m3": density, "modulus_gpa": modulus}
    missing = [name for name, value in stated.items() if value is None]
    if material != OTHER or not missing:
        return None
    rule = 'is required with material = "other"'
    return Complaint(f"rotor.plate.{missing[0]}", rule, "nothing", f"add {', '.join(missing)}")


def steel_plate(material: str, thickness: float, pocket: float, back_iron: float) -> Complaint | None:
    behind = thickness - pocket
    if material != "steel" or behind <= 0 or abs(back_iron - behind) <= 1e-6:
        return None
    rule = f"must be {behind:g}: a plate of steel is itself the steel behind the magnets"
    return Complaint("rotor.back_iron_mm", rule, f"{back_iron:g}", f"write {behind:g}, or change rotor.plate")


def stops(stops: list[float] | None) -> Complaint | None:
    apart = [abs(one - other) for one, other in pairwise([*stops, stops[0]])] if stops else []
    if stops is None or (len(stops) > 1 and min(apart) > 0.999 * LEAST_MOVE):
        return None
    rule = f"must be two or more angles, neighbours at least {LEAST_MOVE:g} deg apart, the last and the first too"
    return Complaint("motion.stops_deg", rule, shown(stops), "list each stop once")


def standstill(standstill: float | None, friction: float) -> Complaint | None:
    if standstill is None or standstill >= friction:
        return None
    rule = f"must be at least bearing.friction_n_m = {friction:g}"
    return Complaint("bearing.standstill_friction_n_m", rule, f"{standstill:g}", "make it larger or leave it out")


def sag(sag: float, supply: float) -> Complaint | None:
    if sag < supply:
        return None
    rule = f"must be below drive.supply_v = {supply:g}"
    return Complaint("drive.supply_sag_v", rule, f"{sag:g}", "use a stronger supply")


def voltage_drop(drop: float | None, supply: float) -> Complaint | None:
    if drop is None or drop < supply / 4:
        return None
    rule = f"must be below a quarter of drive.supply_v = {supply:g}"
    return Complaint("drive.voltage_drop_v", rule, f"{drop:g}", "state the drop of one switch, or a higher supply")


def chip_place(offset: float, distance: float, radius: float | None) -> Complaint | None:
    if radius is not None or offset <= 0.6 * distance:
        return None
    rule = f"must be at most 0.6 of drive.sensor_distance_mm = {distance:g}: further off, the angle means nothing"
    return Complaint("drive.sensor_offset_mm", rule, f"{offset:g}", "mount the chip nearer to the axis")


def loop_rates(control: float | None, pwm: float, bandwidth: float | None, dead_time: float) -> Complaint | None:
    """The slower loops are bounded by the faster ones; the rest are findings."""
    if control is not None and control > pwm:
        rule = f"must be at most drive.pwm_khz = {pwm:g}"
        return Complaint("drive.control_khz", rule, f"{control:g}", "lower it")
    rate = control or pwm / max(1, -(-pwm // 20))
    if bandwidth is not None and bandwidth > 1000 * rate / 6:
        rule = f"must be at most a sixth of the control rate of {rate:g} kHz"
        return Complaint("drive.current_bandwidth_hz", rule, f"{bandwidth:g}", "lower it")
    if dead_time * 1e-6 * pwm * 2 > 0.5:
        rule = f"must leave half of a period of {pwm:g} kHz"
        return Complaint("drive.dead_time_ns", rule, f"{dead_time:g}", "lower it or drive.pwm_khz")
    return None


def tiles(tiles: int, coils: int | None, kind: str, skew: float) -> Complaint | None:
    """Coils are never cut."""
    if tiles == 1:
        return None
    if kind == "wave":
        rule = 'must be 1: the conductors of kind = "wave" cross every place where a ring could be cut'
        return Complaint("board.tiles", rule, str(tiles), 'use kind = "spiral", or take tiles away')
    if skew != 0:
        rule = f"must be 1: coils with skew_deg = {skew:g} leave no straight line between them for a cut"
        return Complaint("board.tiles", rule, str(tiles), "take skew_deg or tiles away")
    if coils is None or coils % tiles == 0:
        return None
    possible = ", ".join(str(number) for number in range(2, min(coils, 60) + 1) if coils % number == 0)
    rule = f"must cut the {coils} coils into equal tiles"
    return Complaint("board.tiles", rule, str(tiles), f"use one of {possible}")


def tiled_stack(tiles: int, boards: int) -> Complaint | None:
    if tiles == 1 or boards == 1:
        return None
    rule = f"must be 1 with stack.boards = {boards}: pins join whole boards"
    return Complaint("board.tiles", rule, str(tiles), "use one board cut into tiles, or a stack of whole ones")


def jumper_pad(pad: float | None, drill: float | None, pad_else: float, drill_else: float) -> Complaint | None:
    if pad is None and drill is None:
        return None
    wide, hole = pad_else if pad is None else pad, drill_else if drill is None else drill
    if wide > hole:
        return None
    rule = f"must be larger than the hole of {shown(hole)}"
    return Complaint("board.jumper_pad_mm", rule, shown(wide), "make it larger or jumper_drill_mm smaller")
