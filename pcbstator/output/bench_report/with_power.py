"""The tests of the bench sheet that need a supply: at rest first, then running with the driver."""

from __future__ import annotations

from math import pi

from pcbstator.analysis.drive.records import MotionResult
from pcbstator.bench.sheet import RPM, Sheet
from pcbstator.constants import STANDARD_GRAVITY
from pcbstator.output.bench_report.before_power import TURNING, terminals
from pcbstator.output.bench_report.records import Expected, Test, expected, plain
from pcbstator.output.words import figures, measure

DEGREES = 180 / pi
HOT = "Keep fingers off copper and solder while it is on, and watch it: a board that smells is switched off at once."
LOOSE = "The rotor jumps when the current comes on: nothing loose on it, fingers away."


def at_rest(sheet: Sheet) -> tuple[Test, ...]:
    """With direct current from a supply that limits it."""
    if sheet.held is None:
        return ()
    torque = [_static_torque(sheet)] if sheet.torque else []
    return (_zero(sheet), *torque, _warm_up(sheet))


def running(sheet: Sheet) -> tuple[Test, ...]:
    """With the driver: what the control sees."""
    friction = [_no_load(sheet), _coast_down(sheet)] if sheet.friction else []
    motion = sheet.prediction.motion
    if motion is None or sheet.design.drive is None:
        return tuple(friction)
    return (*friction, _sensor(), _slow_turn(motion), _approach(motion), _small_steps(motion), _move(motion))


def _setting(sheet: Sheet) -> str:
    held = sheet.held
    assert held is not None
    volts = 1.3 * held.warm_voltage
    return (
        f"Bench supply: limit {figures(volts, 2)} V first, then current limit {measure(held.current, 'A')}, output off "
        "while you connect"
    )


def _zero(sheet: Sheet) -> Test:
    held = sheet.held
    assert held is not None
    phases = sheet.design.winding.phases
    step = (90 if phases == 2 else 360 / phases) / sheet.pole_pairs
    star = sheet.design.winding.connection != "open" and sheet.design.winding.phases > 2
    joined = "in at one terminal, out at all others joined" if star else "in at one phase, out at its end"
    return Test(
        title="Electrical zero and sense of rotation",
        sketch="zero",
        instrument=_setting(sheet),
        limits=f"{measure(held.current, 'A')}, seconds at a time",
        steps=((f"Current {joined}: A first. The rotor locks: write down the sensor's angle, coming from "
            "both sides, take the mean."),
               "Then B, C … in turn: write down angle and which way the rotor went, seen from the rotor's side.",
               "The mean at A is the electrical zero that the driver asks for."),
        rows=(Expected("A to B, then on", f"{figures(step, 4)}° each, counter-clockwise", "within friction"),
              Expected("the sensor", "grows at each step", "")),
        alarms=(("The rotor goes clockwise: two wires exchanged. It goes right and the sensor falls: turn "
            "the sensor's sense, not the wires."),
                (f"Steps of another size than {figures(step, 4)}°: pole pairs miscounted, or a coil or phase "
                    "joined wrongly.")),
        cautions=(LOOSE, HOT),
    )  # fmt: skip


def _static_torque(sheet: Sheet) -> Test:
    test, held = sheet.torque, sheet.held
    assert test is not None and held is not None
    lever = figures(1e3 * test.lever, 3)
    grams = test.force.times(1e3 / STANDARD_GRAVITY)
    return Test(
        title="Torque at rest",
        sketch="torque",
        instrument=(f"{_setting(sheet)}; a lever of {lever} mm on the rotor, a kitchen scale that reads to "
            f"{_step(grams.value)} g"),
        limits=(f"{measure(test.current, 'A')} from {terminals(sheet.first_pair).replace(' and ', ' to ')}, "
            "safe for as long as it takes; off between readings"),
        steps=(f"The lever level, its tip on the scale {lever} mm from the axis. Turn the stator, not the "
            "lever, through one cycle "
               f"({figures(DEGREES * test.turn_per_cycle, 3)}°); keep the largest reading.",
               ("Repeat with the current reversed, or from the other side; take the mean: friction adds to "
                   "one and takes from the other.")),
        rows=(plain(f"largest, at {measure(test.current, 'A')} and {lever} mm", grams, "g"),
              expected("the same as torque", test.torque, "N·m"),
              Expected("cycles in a turn", str(sheet.pole_pairs), "exact")),
        alarms=(("Another number than the EMF gave for the same pair: volts per rad/s and N·m per ampere "
            "are one constant. Doubt current, lever or scale first."),),
        cautions=(LOOSE, HOT),
        fills="static_torque",
    )  # fmt: skip


def _step(grams: float) -> str:
    """What a scale must tell apart [g]: a hundredth of the reading, rounded down to a power of ten."""
    return next((words for least, words in ((100.0, "1"), (10.0, "0.1")) if grams >= least), "0.01")


def _warm_up(sheet: Sheet) -> Test:
    held = sheet.held
    assert held is not None
    minutes = held.time / 60
    return Test(
        title="Warm-up at a held current",
        sketch="warm",
        instrument=f"{_setting(sheet)}; a voltmeter at the terminals themselves, not at the supply",
        limits=(f"{measure(held.current, 'A')} from {terminals(sheet.first_pair).replace(' and ', ' to ')}, "
            f"{figures(minutes, 2)} minutes"),
        steps=(("Read volts and amperes at once, then each half minute, later every few minutes; write down "
            "the air's temperature."),
               "Volts over amperes is the resistance: the copper is its own thermometer."),
        rows=(Expected(f"volts at the start, {figures(held.ambient_c)} °C", measure(held.cold_voltage, "V"),
                       "as the resistance"),
              plain("volts at the end over those at the start", held.resistance_ratio, "", 4),
              plain("copper warmer by", held.rise, "K", 2),
              plain("63 % of the rise after", held.reached.times(1 / 60), "min", 2)),
        alarms=((f"A rise above {figures(1.5 * held.rise.value, 2)} K: less air, no contact to the base, or "
            "a bridged turn. Stop."),
                "A heat balance is 10 to 20 % off at best; this reading replaces it."),
        cautions=(HOT,),
        fills="warm_up",
    )  # fmt: skip


def _no_load(sheet: Sheet) -> Test:
    friction = sheet.friction
    assert friction is not None
    rows = [Expected("friction as the design states it", measure(friction.torque, "N·m"), "stated, not predicted")]
    if friction.no_load_current is not None:
        rows.append(
            Expected(
                "peak current of a phase that it needs",
                measure(friction.no_load_current, "A"),
                "half to twice is usual",
            )
        )
    return Test(
        title="Current without load",
        sketch="driver",
        instrument="The driver's own readings of speed and current (say whether peak or rms); current limit low",
        limits="low speed first; a minute",
        steps=("Hold a speed; write down speed and current, then at twice the speed.",),
        rows=tuple(rows),
        alarms=("A current that grows with speed much: drag, from a bridged turn or metal that the magnets pass.",),
        cautions=(TURNING,),
        fills="no_load",
    )  # fmt: skip


def _coast_down(sheet: Sheet) -> Test:
    friction = sheet.friction
    assert friction is not None
    return Test(
        title="Coast-down",
        sketch="hand",
        instrument="The sensor's log (time, angle), or a phone's slow motion; driver off, terminals open",
        limits=f"no power; from {figures(friction.coast_from / RPM)} rpm",
        steps=("Push, let go, record to standstill; both ways.",
               "Once more with a body of known inertia on the plate: this tells inertia from friction."),
        rows=(Expected(f"from {figures(friction.coast_from / RPM)} rpm to rest",
                       f"{figures(friction.coast_time, 2)} s", "half to twice is usual"),
              Expected("inertia that turns", f"{figures(1e6 * friction.inertia, 3)} kg·mm²", "")),
        alarms=("A stop at the same angle every time: a rough spot of the bearing.",),
        cautions=("An unbalanced plate walks: screw it down, and keep to this speed.",),
        fills="coast_down",
    )  # fmt: skip


def _sensor() -> Test:
    return Test(
        title="The sensor against a reference",
        sketch="driver",
        instrument="A dividing plate, a printed scale of degrees, or a camera that looks at marks on the rotor",
        limits="no power",
        steps=("At least twelve places evenly round, turned by hand: write down the reference and the sensor.",
               "Once more the other way round."),
        rows=(Expected("sensor less reference", "once round like a wave, at most", "the error budget of the report"),
              Expected("turns of both", "the same way", "")),
        alarms=("A wave once a turn: sensor, magnet or marks off centre. Twice a turn: tilt, or a magnet off its chip.",
                "Another number of whole turns: the sensor's pole pairs are set wrongly."),
        fills="sensor",
    )  # fmt: skip


def _slow_turn(motion: MotionResult) -> Test:
    rows = []
    if motion.slow_speed is not None and motion.slow_speed_ripple is not None:
        rows.append(
            Expected(
                f"ripple of the speed at {figures(motion.slow_speed / RPM, 3)} rpm",
                f"{figures(100 * motion.slow_speed_ripple, 2)} %",
                "half of peak to peak over the mean",
            )
        )
    return Test(
        title="A slow even turn, recorded",
        sketch="driver",
        instrument="The driver's log: time, angle, current, at 100 readings a second or more",
        limits="current limit of the design",
        steps=("A turn and a quarter at an even slow speed, each way; three turns tell what repeats.",),
        rows=tuple(rows) or (Expected("angle over time", "even", ""),),
        alarms=(("A ripple that repeats with the turn: sensor or rotor off centre; with the poles: current "
            "sensors or phases."),),
        cautions=(TURNING,),
        fills="slow_turn",
    )  # fmt: skip


def _approach(motion: MotionResult) -> Test:
    rows = []
    if motion.direction_offset is not None:
        rows.append(_angle("offset between the two sides", motion.direction_offset))
    if motion.repeatability is not None:
        rows.append(_angle("spread of one side", motion.repeatability))
    return Test(
        title="One target from both sides",
        sketch="driver",
        instrument="A mark and a scale at the edge, a dial gauge, or a camera: not the sensor itself",
        limits="current limit of the design",
        steps=("Ten times from below, ten times from above; read where it really stands, and what the sensor says.",),
        rows=tuple(rows) or (Expected("offset and spread", "as small as the job needs", ""),),
        alarms=("A large offset with a small spread: play or friction. A large spread: noise, a loose part.",),
        fills="approach",
    )  # fmt: skip


def _small_steps(motion: MotionResult) -> Test:
    rows = []
    if motion.small_step is not None and motion.step_error is not None:
        rows.append(
            Expected(
                f"error of a step of {figures(DEGREES * motion.small_step, 3)}°",
                f"{figures(100 * motion.step_error, 2)} %",
                "",
            )
        )
    return Test(
        title="Small steps up and down",
        sketch="driver",
        instrument="As before, outside the sensor",
        limits="current limit of the design",
        steps=("Five steps up, five down, waiting until it rests; write down each.",),
        rows=tuple(rows) or (Expected("size of each step", "as commanded", ""),),
        alarms=(("The first step after turning round is missing: play, or friction that the controller does "
            "not overcome."),),
        fills="small_steps",
    )  # fmt: skip


def _move(motion: MotionResult) -> Test:
    rows = (
        [Expected("inertia that turns", f"{figures(1e6 * motion.total_inertia, 3)} kg·mm²", "")]
        if motion.total_inertia
        else []
    )
    if motion.peak_current is not None:
        rows.append(Expected("peak current of a terminal", measure(motion.peak_current, "A"), "with the stated load"))
    return Test(
        title="A move, with its current recorded",
        sketch="driver",
        instrument="The driver's log: time, angle, current (say whether peak or rms)",
        limits="the design's own move; hand on the switch",
        steps=("Ten moves; then ten without the load.",),
        rows=tuple(rows) or (Expected("angle and current over time", "", ""),),
        alarms=(("Twice the current: more friction or inertia than stated. Nothing moves: electrical zero, "
            "order of the phases."),),
        cautions=(TURNING,),
        fills="move",
    )  # fmt: skip


def _angle(name: str, angle: float) -> Expected:
    return Expected(name, f"{figures(DEGREES * angle, 2)}°", "")
