"""What may be changed to meet a requirement, from cheap to dear: settings of the loops and the motion, care in
assembly, parts to buy, another board.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from pcbstator.analysis.drive.records import DEGREE, RPM
from pcbstator.analysis.prediction import Prediction
from pcbstator.check.ways_out.move_profile import IN_TIME, gentlest, longest_move
from pcbstator.check.ways_out.way_out import Settings, Step

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

Change = Callable[["SizedDesign", Prediction], list[Step]]

GROWING = (1.1, 1.25, 1.6, 2.0, 2.5, 3.2, 4.0, 6.3, 10.0)
SHRINKING = (0.9, 0.8, 0.63, 0.5, 0.4, 0.32, 0.25, 0.16, 0.1)
MOST_COUNTS = 1 << 22
SUPPLIES = (5.0, 12.0, 24.0, 36.0, 48.0)  # V that are easy to buy (common practice, no source)
COPPERS = (70.0, 105.0)  # um: 2 and 3 oz
THICKER = (1.0, 2.0, 3.0)  # mm more of magnet
THINNEST = 1.0  # mm of magnet
STEEL = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0)  # mm of plate
ORDERS = (10, 20, 50, 100)
SPREADS = {  # of [build]: attribute, and units of its key for one SI unit
    "remanence_spread_percent": ("remanence_spread", 100.0), "magnet_angle_deg": ("magnet_angle", DEGREE),
    "magnet_radius_mm": ("magnet_radius", 1e3), "magnetisation_tilt_deg": ("magnetisation_tilt", DEGREE),
    "rotor_eccentric_mm": ("rotor_eccentric", 1e3), "rotor_run_out_mm": ("rotor_run_out", 1e3),
    "board_eccentric_mm": ("board_eccentric", 1e3), "board_bow_mm": ("board_bow", 1e3),
    "stack_angle_deg": ("stack_angle", DEGREE),
}  # fmt: skip


def stiffer_loops(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """Speed and position loop faster by the same factor."""
    fit = prediction.drive
    if fit is None:
        return []
    pairs = [(_round(f * fit.speed_bandwidth), _round(f * fit.position_bandwidth)) for f in GROWING[:7]]
    return [
        Step(
            {"drive.speed_bandwidth_hz": speed, "drive.position_bandwidth_hz": position},
            f"a speed loop of {speed:g} Hz with a position loop of {position:g} Hz",
        )
        for speed, position in pairs
    ]


def centred_sensor(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """The sensor nearer to the axis of its magnet."""
    offset = 1e3 * design.drive.sensor_offset if design.drive else 0.0
    return _scaled("drive.sensor_offset_mm", offset, SHRINKING, "the sensor centred to {} mm")


def quieter_sensor(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """A sensor of less noise."""
    noise = design.drive.noise * DEGREE if design.drive else 0.0
    return _scaled("drive.sensor_noise_deg", noise, SHRINKING, "a sensor with {} deg of noise")


def finer_sensor(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """A sensor of more counts, in powers of two."""
    if design.drive is None:
        return []
    counts = 1 << design.drive.counts.bit_length()
    found: list[Step] = []
    while counts <= MOST_COUNTS and len(found) < 8:
        found.append(Step({"drive.sensor_counts": counts}, f"a sensor of {counts} counts"))
        counts *= 2
    return found


def less_play(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """A coupling with less play, or none."""
    play = design.load.play * DEGREE if design.load else 0.0
    steps = _scaled("load.play_deg", play, SHRINKING, "a coupling with {} deg of play")
    return [*steps, Step({"load.play_deg": 0.0}, "a coupling without play")] if steps else []


def tighter_bearing(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """A bearing with less sideways play."""
    play = 1e3 * design.bearing.radial_play if design.bearing else 0.0
    return _scaled("bearing.radial_play_mm", play, SHRINKING, "a bearing with {} mm of play")


def better_current_sense(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """Current sensors with less offset."""
    offset = 100 * design.drive.current_offset if design.drive else 0.0
    return _scaled("drive.current_offset_percent", offset, SHRINKING, "current sensors with {} % of offset")


def quicker_motion(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """More acceleration, and with it as much more jerk."""
    return _accelerations(design, GROWING)


def gentler_motion(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """Less acceleration, and with it as much less jerk."""
    return _accelerations(design, SHRINKING)


def _accelerations(design: SizedDesign, factors: tuple[float, ...]) -> list[Step]:
    motion = design.motion
    if motion is None or motion.acceleration is None:
        return []
    found: list[Step] = []
    for factor in factors:
        value = _round(factor * motion.acceleration * DEGREE)
        settings: dict[str, object] = {"motion.acceleration_deg_s2": value}
        if motion.jerk is not None:
            settings["motion.jerk_deg_s3"] = _round(factor * motion.jerk * DEGREE)
        found.append(Step(settings, _acceleration_words(settings)))
    return found


def timed_motion(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """The gentlest move in the required time: speed and acceleration together."""
    motion, asked, move = design.motion, design.requirement, longest_move(design)
    if motion is None or motion.acceleration is None or asked is None or asked.move_time is None or not move:
        return []
    bend = 0.0 if motion.jerk is None else motion.acceleration / motion.jerk
    speed, rate, jerk = gentlest(move, IN_TIME * asked.move_time, bend)
    settings: dict[str, object] = {"motion.speed_rpm": speed, "motion.acceleration_deg_s2": rate}
    if jerk:
        settings["motion.jerk_deg_s3"] = jerk
    return [Step(settings, f"{_acceleration_words(settings)} with a speed of {speed:g} rpm")]


def _acceleration_words(settings: Settings) -> str:
    words = f"an acceleration of {settings['motion.acceleration_deg_s2']:g} deg/s²"
    jerk = settings.get("motion.jerk_deg_s3")
    return f"{words} (jerk {jerk:g} deg/s³)" if jerk else words


def higher_speed(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """A higher speed of the move."""
    return _scaled("motion.speed_rpm", _speed(design), GROWING, "a speed of {} rpm")


def lower_speed(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """A lower speed of the move."""
    return _scaled("motion.speed_rpm", _speed(design), SHRINKING, "a speed of {} rpm")


def _speed(design: SizedDesign) -> float:
    return design.motion.speed * RPM if design.motion and design.motion.speed else 0.0


def better_built(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """Less of the spread that makes most of the torque ripple, where that makes most of the uneven turn."""
    build, motion = prediction.build, prediction.motion
    if build is None or motion is None or build.pays not in SPREADS or design.build is None:
        return []
    moving = [row for row in motion.error_budget if "speed_ripple_percent" in row]
    worst = max(moving, key=lambda row: float(row["speed_ripple_percent"]), default=None)
    if worst is None or worst["key"] != "build":
        return []
    attribute, unit = SPREADS[build.pays]
    value = float(getattr(design.build, attribute)) * unit
    return _scaled(f"build.{build.pays}", value, SHRINKING, f"a motor put together with {build.pays} = {{}}")


def quicker_slow_turn(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """Another slow speed: less is asked."""
    slow = design.requirement.slow_speed if design.requirement else None
    return _scaled(
        "requirement.slow_speed_rpm", slow * RPM if slow else 0.0, GROWING, "{} rpm asked for as the slow speed"
    )


def longer_rest(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """A longer rest after each move."""
    motion = prediction.motion
    if design.motion is None or motion is None or motion.move_time is None:
        return []
    rests = [_round(design.motion.dwell + factor * motion.move_time) for factor in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0)]
    return [Step({"motion.dwell_s": rest}, f"a rest of {rest:g} s after each move") for rest in rests]


def more_current(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """A driver of more current."""
    limit = design.drive.current_limit if design.drive else 0.0
    return _scaled("drive.current_limit_peak_a", limit, GROWING, "a driver of {} A peak")


def higher_supply(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """A supply of more voltage."""
    has = design.drive.supply if design.drive else 0.0
    return [Step({"drive.supply_v": v}, f"a supply of {v:g} V") for v in SUPPLIES if v > has > 0]


def stronger_driver(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """A supply of more voltage with a driver of as much more current."""
    drive = design.drive
    if drive is None:
        return []
    pairs = [(v, _round(drive.current_limit * v / drive.supply)) for v in SUPPLIES if v > drive.supply]
    return [
        Step(
            {"drive.supply_v": volts, "drive.current_limit_peak_a": amperes},
            f"a supply of {volts:g} V with a driver of {amperes:g} A peak",
        )
        for volts, amperes in pairs
    ]


def larger_order(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """More boards in one order."""
    has = design.prices.boards_ordered if design.prices else MOST_COUNTS
    return [Step({"prices.boards_ordered": n}, f"an order of {n} boards") for n in ORDERS if n > has]


def heavier_copper(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """Heavier copper on all layers."""
    has = 1e6 * design.board.outer_copper
    if design.board.layer_copper is not None:
        return []
    return [
        Step({"board.outer_copper_um": um, "board.inner_copper_um": um}, f"copper of {um:g} µm on all layers")
        for um in COPPERS
        if um > has
    ]


def thicker_magnets(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """Thicker magnets."""
    has = 1e3 * design.rotor.magnet.thickness
    return [
        Step({"rotor.magnet.thickness_mm": _round(has + more)}, f"magnets of {_round(has + more):g} mm thickness")
        for more in THICKER
    ]


def less_steel(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """A thinner plate behind the magnets, or none."""
    has = 1e3 * design.rotor.back_iron
    steps = [
        Step({"rotor.back_iron_mm": mm}, f"{mm:g} mm of steel behind the magnets") for mm in reversed(STEEL) if mm < has
    ]
    return [*steps, Step({"rotor.back_iron_mm": 0.0}, "no steel behind the magnets")] if has else []


def thinner_magnets(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """Thinner magnets."""
    has = 1e3 * design.rotor.magnet.thickness
    return [
        Step({"rotor.magnet.thickness_mm": _round(has - less)}, f"magnets of {_round(has - less):g} mm thickness")
        for less in THICKER
        if has - less >= THINNEST
    ]


def fewer_layers(design: SizedDesign, prediction: Prediction) -> list[Step]:
    """Fewer copper layers, where the file does not say more of each."""
    board = design.board
    if board.layer_copper is not None or board.coil_layers is not None or board.layer_depths is not None:
        return []
    return [Step({"board.layers": n}, f"{n} layers of copper") for n in range(board.layers - 2, 1, -2)]


def _scaled(key: str, value: float, factors: tuple[float, ...], words: str) -> list[Step]:
    """A value times each factor; nothing where it is zero."""
    if value <= 0:
        return []
    found: list[Step] = []
    for factor in factors:
        changed = _round(factor * value)
        settings: Settings = {key: changed}
        found.append(Step(settings, words.format(f"{changed:g}")))
    return found


def _round(value: float) -> float:
    """Two digits: what a person would type in or ask a dealer for."""
    return float(f"{value:.2g}")


PLACE: tuple[Change, ...] = (
    stiffer_loops, centred_sensor, finer_sensor, quieter_sensor, less_play, tighter_bearing,
)  # fmt: skip
TORQUE: tuple[Change, ...] = (
    gentler_motion, timed_motion, more_current, higher_supply, stronger_driver, heavier_copper, thicker_magnets,
)  # fmt: skip
HEAT: tuple[Change, ...] = (longer_rest, gentler_motion, timed_motion, lower_speed, heavier_copper, thicker_magnets)
CHANGES: dict[str, tuple[Change, ...]] = {
    "position_error_deg": PLACE,
    "repeatability_deg": PLACE,
    "direction_offset_deg": PLACE,
    "settling_time_s": (*PLACE, gentler_motion),
    "slow_speed_rpm": (finer_sensor, stiffer_loops),
    "speed_ripple_percent": (
        stiffer_loops, centred_sensor, better_built, better_current_sense, finer_sensor, quieter_sensor,
        quicker_slow_turn,
    ),
    "smallest_step_deg": PLACE,
    "step_error_percent": PLACE,
    "move_time_s": (
        quicker_motion, higher_speed, timed_motion, more_current, higher_supply, stronger_driver, heavier_copper,
        thicker_magnets,
    ),
    "torque_reserve_percent": TORQUE,
    "board_temperature_c": HEAT,
    "touch_temperature_c": HEAT,
    "supply_current_a": (gentler_motion, timed_motion, lower_speed, higher_supply, heavier_copper),
    "price": (larger_order, less_steel, thinner_magnets, fewer_layers),
    "push_deg": PLACE,
}  # fmt: skip
