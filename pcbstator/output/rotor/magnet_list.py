"""What to order for the rotor, in the words of a workshop; the report and the assembly sheet share it."""

from __future__ import annotations

from math import degrees
from typing import TYPE_CHECKING

from pcbstator.analysis.mechanical.order import magnet_count, spare_magnets
from pcbstator.analysis.mechanical.rotor_plan import kinds, magnet_angle, plates, segments_per_pole, steel_circles
from pcbstator.output.words import Row, figures, millimetres

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign


def magnet_list(design: SizedDesign) -> list[Row]:
    """Magnets and steel of all rotor plates."""
    rotor, magnet = design.rotor, design.rotor.magnet
    count_of_plates, count = len(plates(design)), magnet_count(design)
    remanence = f"remanence {figures(magnet.remanence, 3)} T"
    at_work = f"{remanence} at {figures(magnet.temperature_c)} °C"
    material = (f"neodymium {magnet.grade}", at_work) if magnet.grade else (remanence, "any grade that has it at work")
    place = None if magnet.shape == "sector" else magnet.circle_diameter
    return [
        Row("Count", str(count), f"{count // 2} on each of two plates" if count_of_plates == 2 else ""),
        Row("Shape and size", _size(design)),
        Row("Material", *material),
        *_magnetised(design, count),
        *([Row("On a circle of", millimetres(place), "through the magnets' centres")] if place else []),
        Row("Spares", _spares(design), "one in ten, at least two: common practice, since magnets chip"),
        *_plates(design, count_of_plates),
        Row("Air gap", millimetres(rotor.air_gap), "from the laminate to the face of the magnets"
            + (", on both sides" if count_of_plates == 2 else "")),
    ]  # fmt: skip


def _size(design: SizedDesign) -> str:
    magnet = design.rotor.magnet
    thick = f"{millimetres(magnet.thickness)} thick"
    if magnet.shape == "disc":
        return f"disc, diameter {millimetres(magnet.diameter)}, {thick}"
    if magnet.shape == "block":
        return f"block, {millimetres(magnet.length)} (along the radius) × {millimetres(magnet.width)}, {thick}"
    arc = figures(degrees(magnet_angle(design, segments_per_pole(design))))
    return (
        f"piece of a ring, {millimetres(magnet.outer_diameter)} outside and {millimetres(magnet.inner_diameter)} "
        f"inside diameter, {arc}° wide, {thick}"
    )


def _magnetised(design: SizedDesign, count: int) -> list[Row]:
    """Alternating magnets are alike; a Halbach ring has a kind for each direction, half of each turned over."""
    each = segments_per_pole(design)
    if each == 1:
        return [
            Row("Magnetised", "through the thickness"),
            Row("Polarity", f"{count // 2} with north towards the board, {count // 2} with south",
                "all pieces are alike; half of them are glued the other way up"),
        ]  # fmt: skip
    return [
        Row("Magnetised", f"in {each} directions", "a Halbach ring, its stronger side towards the board"),
        *(
            Row(f"Kind {kind}", f"{count // each} pieces magnetised {_direction(180 * index / each)}",
                "half of them are glued the other way up")
            for index, kind in enumerate(kinds(design))
        ),
    ]  # fmt: skip


def _direction(degrees: float) -> str:
    """In words, seen on the face that is up, the ring's middle below."""
    if degrees == 0:
        return "through the thickness"
    if degrees == 90:
        return "across the width, along the middle of the arc"
    lean = degrees if degrees < 90 else 180 - degrees
    side = "left" if degrees < 90 else "right"
    return (
        f"at {figures(lean)}° to the thickness, leaning across the width: with north up and the inner arc towards you, "
        f"its north leans to the {side}"
    )


def _spares(design: SizedDesign) -> str:
    words = f"{spare_magnets(design)} more"
    return words if segments_per_pole(design) == 1 else f"{words} of each kind"


def _plates(design: SizedDesign, count: int) -> list[Row]:
    """The plate and the steel on it; where no plate is stated, the steel is all that is known of it."""
    plate = design.rotor.plate
    if plate is None:
        return [Row("Rotor plate", f"{count} × {_steel(design)}")]
    bore = f", bore {millimetres(plate.inner_diameter)}" if plate.inner_diameter else ""
    words = f"{count} × {plate.material} disc, {millimetres(plate.outer_diameter)} outside{bore}"
    rows = [Row("Rotor plate", f"{words}, {millimetres(plate.thickness)} thick", "; ".join(_cut(design)))]
    return rows if steel_circles(design) is None else [*rows, Row("Steel", f"{count} × {_steel(design)}")]


def _cut(design: SizedDesign) -> list[str]:
    """Holes and pockets of a plate, in words."""
    plate = design.rotor.plate
    if plate is None:
        return []
    words = [
        f"{holes.count} hole{'s' if holes.count > 1 else ''} of {millimetres(holes.diameter)}"
        + (f" on a circle of {millimetres(holes.circle_diameter)}" if holes.circle_diameter else " in the middle")
        for holes in plate.holes
    ]
    let_in = "magnets" if steel_circles(design) is None else "steel ring"
    return [*words, *([f"pockets for the {let_in} {millimetres(plate.pocket)} deep"] if plate.pocket else [])]


def plate_words(design: SizedDesign) -> list[str]:
    """The plate in sentences, for a drawing; nothing where none is stated."""
    plate = design.rotor.plate
    if plate is None:
        return []
    cut = _cut(design)
    words = f"Plate of {plate.material}, {millimetres(plate.thickness)} thick."
    return [words, *(["Cut: " + "; ".join(cut) + "."] if cut else [])]


def _steel(design: SizedDesign) -> str:
    circles = steel_circles(design)
    if circles is None:
        return "plate without steel behind the magnets"
    thick = millimetres(design.rotor.back_iron)
    return f"steel ring, {millimetres(circles[1])} outside, {millimetres(circles[0])} inside, {thick} thick"
