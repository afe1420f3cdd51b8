"""The tests of the bench sheet that need no power: meters, a compass, a feeler gauge, a hand."""

from __future__ import annotations

from pcbstator.analysis.mechanical.rotor_plan import plates
from pcbstator.bench.sheet import RPM, Sheet
from pcbstator.output.bench_report.records import Expected, Test, expected, plain
from pcbstator.output.words import figures, measure, millimetres

LEADS_MATTER = 10.0  # ohm below which leads of a tenth of an ohm are 1 %
READ_BY_FOUR = 1.0  # ohm
LEAST_METER_HZ = 45.0  # below it many multimeters read alternating volts low


def before_power(sheet: Sheet) -> tuple[Test, ...]:
    """In the order that is safe and cheap: the board by itself, the magnets by themselves, then both."""
    tests = [_thickness(sheet), _resistance(sheet), _insulation(sheet)]
    tests += [_inductance(sheet)] if sheet.inductances else []
    tests += [_polarity(sheet)]
    tests += [_field(sheet)] if sheet.field else []
    tests += [_gap(sheet), _one_turn(sheet)]
    if sheet.emf:  # two phases in star have no third terminal to compare with
        star_of_two = sheet.design.winding.phases == 2 and sheet.design.winding.connection != "open"
        tests += [_emf(sheet)] if star_of_two else [_order(sheet), _emf(sheet)]
    return tuple(tests)


def terminals(pair: str) -> str:
    """The two terminals of a pair in words.

    >>> terminals("AB"), terminals("AA2")
    ('A and B', 'A and A2')
    """
    return f"{pair[:1]} and {pair[1:]}"


def _thickness(sheet: Sheet) -> Test:
    return Test(
        title="Look at the board and measure its thickness",
        sketch="thickness",
        instrument="Caliper or micrometer; good light",
        limits="no power",
        steps=("Look for scratches through tracks, burrs and lifted mask.", "Measure at three places on bare edge."),
        rows=(plain("thickness of the board", sheet.thickness.times(1e3), "mm"),),
        alarms=("Another thickness was ordered or delivered: gap and layer depths differ from the design.",),
        fills="thickness",
    )


def _resistance(sheet: Sheet) -> Test:
    least = min(band.value for band in sheet.resistances.values())
    steps = ["Measure every pair; write down the temperature of the board, which has lain there for half an hour."]
    if least < LEADS_MATTER:
        steps.insert(0, "Touch the tips together first and take that reading off: leads have 0.1 to 0.3 Ω.")
    per_kelvin = 0.00393 * least
    rows = [expected(f"{terminals(pair)}, at 20 °C", band, "Ω", 4) for pair, band in sheet.resistances.items()]
    return Test(
        title="Resistance of all pairs of terminals",
        sketch="ohms",
        instrument="Four-wire milliohm meter"
        if least < READ_BY_FOUR
        else "Multimeter, lowest range of ohms that holds it",
        limits="the meter's own current; no other power",
        steps=(*steps, f"Each kelvin above 20 °C adds {measure(per_kelvin, 'Ω', 2)} (0.39 %); below it takes as much."),
        rows=tuple(rows),
        alarms=_resistance_alarms(sheet),
        fills="resistance",
    )


def _resistance_alarms(sheet: Sheet) -> tuple[str, ...]:
    design = sheet.design
    words = []
    if len(sheet.resistances) > 1:
        words.append(
            "Pairs that differ by more than 3 % from each other beyond what is expected: copper of one board is alike."
        )
    words.append("No reading at all: an open joint, via or star point. Near zero: a short or the wrong holes.")
    if design.winding.coils is not None and design.winding.parallel_paths == 1 and design.boards == 1:
        coils = design.winding.coils // design.winding.phases
        part = 1 / coils if design.winding.connection == "open" else 1 / (2 * coils)
        if design.winding.connection != "delta":
            words.append(
                f"One coil bridged takes {figures(100 * part, 2)} % off every pair with its phase; one turn "
                "hardly shows."
            )
    words.append("All pairs off alike, beyond the band: other copper than ordered, or leads that were not taken off.")
    return tuple(words)


def _insulation(sheet: Sheet) -> Test:
    parts = ["the base plate or screws"]
    parts += ["each land of the thermistor"] if sheet.design.board.thermistor else []
    pairs = sheet.resistances if sheet.design.winding.connection == "open" else {}
    others = [f"{terminals(f'{one[:1]}{two[:1]}')}" for one, two in zip(list(pairs), list(pairs)[1:], strict=False)]
    rows = [Expected(f"A to {part}", "above 20 MΩ", "over range") for part in parts]
    rows += [Expected(f"{words}", "above 20 MΩ", "over range") for words in others]
    return Test(
        title="Insulation",
        sketch="insulation",
        instrument="Multimeter, 20 MΩ range or higher; nobody's fingers on the tips",
        limits="the meter's own volt or so; no insulation tester of 250 V and more on a bare board",
        steps=("Mount the board as it will be; measure from terminal A to every part that it must not touch.",),
        rows=tuple(rows),
        alarms=("Below 1 MΩ: solder splash, a screw on copper, a scratch, wet flux. Do not power it.",
                "Limits of this test: common practice, no source."),
    )  # fmt: skip


def _inductance(sheet: Sheet) -> Test:
    rows = tuple(expected(terminals(pair), band, "H") for pair, band in sheet.inductances.items())
    return Test(
        title="Inductance of all pairs of terminals",
        sketch="lcr",
        instrument=f"LCR meter, series L, {measure(sheet.meter_frequency, 'Hz')}",
        limits="the meter's own current; no other power",
        steps=("Open and short the meter's leads first, as its manual says.",
               "Measure with the rotor in place; turn it by a quarter of a pole and measure once more."),
        rows=rows,
        alarms=(("More than 10 % off, or pairs that differ by more than 3 %: a bridged or reversed coil, "
            "layers out of place."),
                "A change over the rotor's angle: iron where there should be none, or a bad joint."),
        fills="inductance",
    )  # fmt: skip


def _polarity(sheet: Sheet) -> Test:
    halbach = getattr(sheet.design.rotor.magnet, "array", "") == "halbach"
    count = sheet.design.rotor.poles
    rows = [Expected("poles, once round", f"{count}, N and S in turn", "no two alike side by side")]
    if len(plates(sheet.design)) == 2:
        rows.append(Expected("face to face at the marks", "N opposite S", "they attract"))
    first = "The magnet at the mark of angle 0 turns its north pole to the board: it draws the needle's south end."
    return Test(
        title="Polarity of the magnets",
        sketch="compass",
        instrument="Compass, or a marked magnet on a stick; a viewing film shows borders, not which pole",
        limits="no power",
        steps=(("Bring the compass slowly from 20 cm; stop as soon as the needle turns, a near magnet turns "
            "its own poles over."),
               *(() if halbach else (first,)), "Go round by number against the assembly sheet."),
        rows=tuple(rows),
        alarms=("Two alike side by side: a magnet is glued in the wrong way round.",),
        cautions=(MAGNETS,),
    )  # fmt: skip


def _field(sheet: Sheet) -> Test:
    rows = tuple(expected(f"{millimetres(place)} from the face", band, "T") for place, band in sheet.field)
    return Test(
        title="Field of the rotor at two distances",
        sketch="probe",
        instrument="Gaussmeter with an axial probe, range 2 T; non-magnetic spacers",
        limits="no power; one plate by itself, no steel nearby",
        steps=(("Over the middle of a magnet, midway along the radius. The sensitive spot lies inside the "
            "probe: its sheet says how deep."),
               "Take the largest reading of several magnets, N and S."),
        rows=rows,
        alarms=("Both lower by one part: weaker magnets than ordered. Wrong at one distance only: the distance.",
                "One magnet unlike the rest by more than 5 %: swap it."),
        cautions=(MAGNETS,),
        fills="field",
    )  # fmt: skip


def _gap(sheet: Sheet) -> Test:
    both = " on both sides" if sheet.design.rotor.arrangement == "double" else ""
    force = sheet.prediction.mechanical.axial_force if sheet.prediction.mechanical else None
    cautions = [MAGNETS]
    if force is not None and force > 5.0:
        cautions.insert(
            0,
            (
                f"The parts attract each other with {measure(force, 'N', 2)}: lower them on screws or spacers, "
                "never by hand."
            ),
        )
    return Test(
        title="Air gap",
        sketch="gap",
        instrument="Feeler gauge of brass or plastic; steel blades stick to the magnets",
        limits="no power",
        steps=(f"From the laminate to the magnets' face{both}, at four places round.", ("Turn the rotor by "
            "half and repeat.")),
        rows=(plain("gap, mean of four places", sheet.gap.times(1e3), "mm", 2),
              Expected("difference between places", "below 0.2 mm", "")),
        alarms=(("A difference that stays with the board: the board is bowed or tilted; one that turns "
            "along: the rotor runs out."),),
        cautions=tuple(cautions),
        fills="gap",
    )  # fmt: skip


def _one_turn(sheet: Sheet) -> Test:
    return Test(
        title="One turn by hand",
        sketch="hand",
        instrument="Two fingers, an ear",
        limits="no power; terminals open, then joined",
        steps=("Turn slowly round, both ways, terminals open.", ("Join all terminals and turn briskly: it "
            "must brake evenly.")),
        rows=(Expected("open", "even, no clicks, no rubbing", "no rest positions"),
              Expected("joined", "brakes evenly", "")),
        alarms=("Rubbing once a turn: run-out or a magnet that stands out. A rough spot at one angle: the bearing.",
                "Braking with the terminals open: two of them touch, or a turn is bridged."),
    )  # fmt: skip


def _order(sheet: Sheet) -> Test:
    phases, first = sheet.design.winding.phases, sheet.emf[0]
    last = chr(ord("A") + phases - 1)
    if sheet.design.winding.connection == "open":
        lead, probes = (
            (90.0 if phases == 2 else 360 / phases),
            "Channel 1 at A, channel 2 at B; join A2 and B2, both clips there.",
        )
    else:
        lead, probes = 180 / phases, f"Channel 1 at A, channel 2 at B, both clips at {last}."
    period, size = measure(1 / first.frequency, "s", 2), measure(first.peak_to_peak.value, "V", 2)
    return Test(
        title="Order of the phases",
        sketch="order",
        instrument=f"Oscilloscope with two channels, set for {size} peak to peak and periods of {period}",
        limits=f"no power; turn at about {figures(first.speed / RPM)} rpm",
        steps=(probes, ("Turn counter-clockwise, seen from the rotor's side onto the board: this is the "
            "positive sense.")),
        rows=(Expected("A comes before B by", f"{figures(lead, 3)}° of a period", ""),),
        alarms=("B comes first: two wires are exchanged; swap any two and mark them.",
                "Both in step or opposite: a phase is joined the wrong way round."),
        cautions=(TURNING,),
    )  # fmt: skip


def _emf(sheet: Sheet) -> Test:
    rows: list[Expected] = []
    for row in sheet.emf:
        speed = f"{figures(row.speed / RPM)} rpm"
        rows.append(expected(f"{speed}, peak to peak", row.peak_to_peak, "V"))
        rows.append(Expected(f"{speed}, frequency", measure(row.frequency, "Hz"), "exact: gives the speed"))
    fit = [row for row in sheet.emf if row.frequency >= LEAST_METER_HZ]
    if fit:
        rows.append(expected(f"{figures(fit[-1].speed / RPM)} rpm, rms by a meter", fit[-1].rms, "V"))
    return Test(
        title=f"EMF between {terminals(sheet.first_pair)}, then every other pair",
        sketch="emf",
        instrument="Oscilloscope, peak to peak and frequency; a multimeter on AC volts from 45 Hz on",
        limits="no power; nothing else at the terminals. Battery drill, slow gear, or a hand",
        steps=("The rotor by itself, its load taken off.",
               "Hold a speed, write down both: volts belong to the frequency, not to what the drill says.",
               (f"Speed in rpm is {figures(60 / sheet.pole_pairs, 4)} times the frequency "
                   f"({sheet.pole_pairs} pole pairs).")),
        rows=tuple(rows),
        alarms=_emf_alarms(sheet),
        cautions=(TURNING,),
        fills="emf",
    )  # fmt: skip


def _emf_alarms(sheet: Sheet) -> tuple[str, ...]:
    winding = sheet.design.winding
    words = ["Pairs that differ by more than 2 %: a fault in one phase, since all pass the same magnets."]
    if winding.coils is not None and winding.coils // winding.phases > 1 and winding.parallel_paths == 1:
        part = 2 / (winding.coils // winding.phases)
        words.append(f"One coil joined the wrong way round takes about {figures(100 * part, 2)} % off its phase.")
    words.append(
        "All pairs low alike: a larger gap or weaker magnets. Half, twice or 2.8 times: peak, peak to "
        "peak, rms mixed up."
    )
    words.append("A frequency that is another multiple of the speed: magnets miscounted, or two alike side by side.")
    return tuple(words)


MAGNETS = (
    "Magnets jump together, pinch and splinter: eye protection, one at a time, steel tools away; not near pacemakers, "
    "other implants, children, cards."
)
TURNING = (
    "Screw the stator down. Eye protection, no gloves, sleeves or hair near it; keep out of the "
    "rotor's plane. Begin slowly: glue may fail."
)
