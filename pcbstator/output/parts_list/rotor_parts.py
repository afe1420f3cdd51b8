"""Magnets, steel and plates in the parts list."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, steel_ring
from pcbstator.analysis.mechanical.order import spare_magnets
from pcbstator.analysis.mechanical.rotor_plan import (
    Piece,
    Plate,
    kinds,
    pieces,
    plates,
    segments_per_pole,
    steel_circles,
)
from pcbstator.output.parts_list.parts import Part, counted
from pcbstator.output.rotor.magnet_list import magnet_list, plate_words
from pcbstator.output.words import millimetres

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

EVEN = 1e-6  # part of the magnetisation


def rotor_parts(design: SizedDesign) -> list[Part]:
    """Magnets by plate, kind and pole, with the numbers of the assembly sheet; spares; steel and plates."""
    said = {row.name: row for row in magnet_list(design)}
    size, material = said["Shape and size"].value, f"{said['Material'].value}, {said['Material'].meaning}"
    found = [part for plate in plates(design) for part in _magnets(design, plate, size, material)]
    for kind in kinds(design):
        words = said["Spares"].meaning
        found.append(
            Part(f"magnet{f' {kind}' if kind else ''}, spare", spare_magnets(design), size, material, note=words)
        )
    return [*found, *_plates(design), *_steel(design)]


def _magnets(design: SizedDesign, plate: Plate, size: str, material: str) -> list[Part]:
    groups: dict[tuple[str, str], list[int]] = defaultdict(list)
    for piece in pieces(design, plate):
        groups[piece.kind, _polarity(piece)].append(piece.number)
    where = f"{plate.name} rotor plate".strip()
    sheet = f"assembly{f'-{plate.name}' if plate.name else ''}.svg"
    each = segments_per_pole(design)
    note = "all pieces are alike; the pole says which way up each is glued" if each == 1 else "kinds: see report.html"
    return [
        Part(f"magnet{f' {kind}' if kind else ''}, {pole}", len(numbers), size, material,
             f"{where}, places {counted(numbers)}", note, sheet)
        for (kind, pole), numbers in groups.items()
    ]  # fmt: skip


def _polarity(piece: Piece) -> str:
    """The pole that faces the board, or the way that the north of a piece lies along the ring."""
    if abs(piece.facing) > EVEN:
        return f"{'north' if piece.facing > 0 else 'south'} towards the board"
    return f"north {'counter-clockwise' if piece.turning > 0 else 'clockwise'} along the ring, magnets up"


def _plates(design: SizedDesign) -> list[Part]:
    """Rotor plates, where the design has them."""
    plate = design.rotor.plate
    if plate is None:
        return []
    bore = f", bore {millimetres(plate.inner_diameter)}" if plate.inner_diameter else ""
    size = f"{millimetres(plate.outer_diameter)} across{bore}, {millimetres(plate.thickness)} thick"
    cut = " ".join(plate_words(design)[1:])
    return [
        Part(f"{each.name} rotor plate".strip(), 1, size, plate.material, note=cut,
             file=f"rotor{f'-{each.name}' if each.name else ''}.dxf")
        for each in plates(design)
    ]  # fmt: skip


def _steel(design: SizedDesign) -> list[Part]:
    """Rings of steel behind the magnets, and under the stator."""
    found, circles, rotor = [], steel_circles(design), design.rotor
    if circles is not None:
        size = f"{millimetres(circles[1])} across, bore {millimetres(circles[0])}, {millimetres(rotor.back_iron)} thick"
        found.append(Part("steel ring", len(plates(design)), size, "mild steel", "behind the magnets"))
    if rotor.stator_iron > 0 and rotor.arrangement == "single":
        inner, outer = steel_ring(design, magnet_footprint(design))
        size = f"{millimetres(2 * outer)} across, bore {millimetres(2 * inner)}, {millimetres(rotor.stator_iron)} thick"
        place = f"{millimetres(rotor.stator_iron_gap)} from the far side of the stator"
        found.append(Part("steel ring", 1, size, "mild steel", place))
    return found
