"""Every cause in words: what it is, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp
from typing import NamedTuple


class Told(NamedTuple):
    """is_it: the cause after "it is"; {where} is its place. do: what to look at or to do."""

    is_it: str
    do: str


CONTINUOUS = {  # {more}: by how much, with its uncertainty
    "remanence": Told(
        "magnets {more} than in the design",
        "Look up grade and temperature of the magnets that were bought; hold one against a magnet of known grade. If it"
        " stays, write what was found into rotor.magnet and predict again",
    ),
    "air_gap": Told(
        "an air gap {more} than in the design",
        "Measure the gap with a feeler gauge at four places of the turn, and shim the rotor",
    ),
    "outer_copper": Told(
        "copper of the outer layers {more} than ordered", "Ask the board manufacturer for the finished copper, or have"
        " a coupon cut",
    ),
    "inner_copper": Told(
        "copper of the inner layers {more} than ordered", "Ask the board manufacturer for the finished copper, or have"
        " a coupon cut",
    ),
    "etch": Told(
        "tracks {more} than drawn", "Look at a track at the board's face through a microscope with a scale, or ask the"
        " board manufacturer about etching",
    ),
    "layer_distance": Told(
        "a board {more} than in the design", "Measure its thickness with a calliper",
    ),
    "magnet_thickness": Told("magnets {more} than in the design", "Measure one with a calliper, away from steel"),
    "copper_temperature": Told(
        "copper {more} than was written",
        "Leave the board for an hour without current beside a thermometer and measure its resistance again",
    ),
    "inertia": Told(
        "{more} inertia than rotor and load have in the design",
        "Weigh what turns and look at how far out its mass sits; write it into [load] and take the gains that follow",
    ),
    "friction": Told(
        "{more} friction than the bearing has in the design",
        "Turn the rotor by hand without power: it must go round without rubbing; then measure its friction",
    ),
}  # fmt: skip
SIDES = {  # words for more and for less, and for the cause in short
    "remanence": ("stronger", "weaker", "{side} magnets"),
    "air_gap": ("wider", "narrower", "a {side} air gap"),
    "outer_copper": ("thicker", "thinner", "{side} copper of the outer layers"),
    "inner_copper": ("thicker", "thinner", "{side} copper of the inner layers"),
    "etch": ("wider", "narrower", "{side} tracks"),
    "layer_distance": ("thicker", "thinner", "a {side} board"),
    "magnet_thickness": ("thicker", "thinner", "{side} magnets"),
    "copper_temperature": ("warmer", "colder", "{side} copper"),
    "inertia": ("more", "less", "{side} inertia"),
    "friction": ("more", "less", "{side} friction"),
}
RESOLDER = (
    "Without current, follow the joints of that phase and compare them with the drawing, also those in the board's own"
    " copper"
)
SIMPLE = ("copper_temperature", "magnet_reversed", "steel_missing", "leads", "copper_weight")  # to look at, no meter
SHORT = (
    "Do not run it: a short heats at speed. Feel for one coil that gets warm while the rotor is turned by a drill, and"
    " look at that coil under a lens for copper or solder between tracks"
)
DISCRETE = {
    "coil_reversed": Told(
        "one coil {where} the wrong way round, so that it works against the others",
        RESOLDER
        + ". Then send a small direct current and hold a compass over each of its coils: one turns it the other way"
        " than the drawing says",
    ),
    "coil_shorted": Told("one whole coil {where} bridged, so that current goes past it", SHORT),
    "layer_shorted": Told("one layer of a coil {where} bridged", SHORT),
    "turn_shorted": Told("one turn of a coil {where} bridged", SHORT),
    "path_open": Told(
        "one of the parallel paths {where} open: a joint or a via does not conduct",
        "Without current, measure along that path from joint to joint, and press on the joints meanwhile",
    ),
    "phases_exchanged": Told("two phases exchanged", "Swap two of the three wires"),
    "connection": Told(
        "a {where}", "Look at how the ends of the phases are joined, or"
        " correct winding.connection in the design file, and compare again",
    ),
    "copper_weight": Told(
        "copper of another weight: {where}", "Look at the order and at the board"
        " manufacturer's stack-up; if it stays, write that copper into [board] and predict again",
    ),
    "layer_order": Told(
        "copper of {where} in each other's place", "Look at the board's layer marks against a light, and at the order",
    ),
    "magnet_reversed": Told(
        "one magnet the wrong way round",
        "Go around the ring with a compass: its needle must change over from each magnet to the next",
    ),
    "like_poles": Told(
        "the two rotors put together with like poles facing each other",
        "Turn one of the rotors on by one pole; they must attract. Mind fingers, they do so suddenly",
    ),
    "steel_missing": Told(
        "no steel behind the magnets, or steel that is not magnetic",
        "Hold a magnet to the back of the rotor plate: it must stick hard",
    ),
    "leads": Told(
        "resistance of the meter's own leads, still in the readings",
        "Short the leads, write what the meter shows as leads_ohm, and compare again",
    ),
    "to_star_point": Told(
        "measured from a terminal to the star point, not between two terminals: {where}",
        "Take them again between two terminals, or write N for the star point",
    ),
    "wrong_reading": Told("a wrong reading: {where}", "Take {where} again"),
    "mechanical_frequency": Told(
        "turns of the rotor, written as frequency of the wave ({where})",
        "Read the frequency off the wave itself, and compare again",
    ),
    "electrical_speed": Told(
        "the electrical speed, written as that of the rotor ({where})",
        "Divide by the pole pairs, or write the frequency of the wave, and compare again",
    ),
    "poles_miscounted": Told(
        "poles counted for pole pairs, so that the speed is half of the true one ({where})",
        "Write the frequency of the wave instead of the speed, and compare again",
    ),
    "rms_for_peak": Told("rms volts, written as peak ({where})", "Write these volts as rms_v, and compare again"),
    "rms_for_peak_to_peak": Told(
        "rms volts, written as peak to peak ({where})", "Write these volts as rms_v, and compare again"
    ),
    "peak_to_peak_for_peak": Told(
        "peak-to-peak volts, written as peak ({where})", "Write these volts as peak_to_peak_v, and compare again"
    ),
    "peak_for_peak_to_peak": Told(
        "peak volts, written as peak to peak ({where})", "Write these volts as peak_v, and compare again"
    ),
    "peak_for_rms": Told("peak volts, written as rms ({where})", "Write these volts as peak_v, and compare again"),
    "peak_to_peak_for_rms": Told(
        "peak-to-peak volts, written as rms ({where})", "Write these volts as peak_to_peak_v, and compare again"
    ),
}  # fmt: skip


def places(found: Sequence[str]) -> str:
    """Several places of one cause.

    >>> places(["in phase A", "in phase C"]), places(["emf AB #1"])
    ('in phase A or C', 'emf AB #1')
    """
    first = found[0]
    head = "in phase " if all(each.startswith("in phase ") for each in found) else ""
    rest = sorted(each.removeprefix(head) for each in dict.fromkeys(found))
    return first if len(rest) == 1 else head + ", ".join(rest[:-1]) + " or " + rest[-1]


def is_it(name: str, where: str, value: float = 0.0, sigma: float = 0.0) -> str:
    """The cause after "it is"; value: by how much a quantity is out, as ``Allowance`` has it, and its uncertainty.

    >>> is_it("remanence", "", -0.128, 0.02)
    'magnets 12 % (± 2) weaker than in the design'
    >>> is_it("air_gap", "", 0.0003, 0.00006)
    'an air gap 0.3 mm (± 0.06) wider than in the design'
    """
    if name not in CONTINUOUS:
        return DISCRETE[name].is_it.format(where=where)
    return CONTINUOUS[name].is_it.format(more=f"{size(name, value, sigma)} {SIDES[name][value < 0]}")


def in_short(name: str, where: str, value: float = 0.0) -> str:
    """The same without numbers.

    >>> in_short("air_gap", "", 0.0003), in_short("magnet_reversed", "")
    ('a wider air gap', 'one magnet the wrong way round')
    """
    if name not in CONTINUOUS:
        return DISCRETE[name].is_it.format(where=where)
    more, less, words = SIDES[name]
    return words.format(side=less if value < 0 else more)


def size(name: str, value: float, sigma: float) -> str:
    """A change with its uncertainty, without its sign."""
    if name == "air_gap":
        return f"{1e3 * abs(value):.2g} mm (± {1e3 * sigma:.1g})"
    if name == "copper_temperature":
        return f"{abs(value):.0f} K (± {sigma:.0f})"
    return f"{100 * abs(exp(value) - 1):.2g} % (± {_figure(100 * exp(value) * sigma)})"


def _figure(value: float) -> str:
    return f"{value:.0f}" if value >= 1 else f"{value:.1g}"


def to_do(name: str, where: str) -> str:
    """What to do about a cause."""
    return {**CONTINUOUS, **DISCRETE}[name].do.format(where=where) + "."
