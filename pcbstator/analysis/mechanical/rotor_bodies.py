"""Magnets, steel and plate of a rotor as bodies at rotor angle 0, and the steel beyond the board."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, steel_ring
from pcbstator.analysis.mechanical.bodies import Body, Placed, Prism, ring
from pcbstator.analysis.mechanical.rotor_plan import (
    Circle,
    Outline,
    Piece,
    Plate,
    piece_outline,
    pieces,
    plate_holes,
)
from pcbstator.analysis.mechanical.rotor_plate import has_own_steel
from pcbstator.copper.geometry.contour import Arc, Contour, Line, Segment, circle
from pcbstator.materials import neodymium, steel_density

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign
    from pcbstator.design.sections.rotor_plate import RotorPlate

IN_PLACE = Plate("", above=False)  # seen as the board is: angles are those of the machine


def rotor_bodies(design: SizedDesign, plate: Plate) -> tuple[Placed, ...]:
    """A rotor from the gap outwards: every magnet, the steel behind them, the plate."""
    rotor, found = design.rotor, []
    height = rotor.air_gap
    thick = rotor.magnet.thickness
    for piece in pieces(design, plate):
        body = _magnet(design, piece)
        name = " ".join(word for word in (f"magnet {piece.number}", piece.kind, body.pole) if word)
        found.append(Placed(name, body, plate.angle(piece.angle), _lift(design, plate, height, thick)))
    height += thick
    if has_own_steel(design):
        shape = ring(*steel_ring(design, magnet_footprint(design)), 0.0, rotor.back_iron)
        body = Body("back iron", "steel", shape, (), "steel", steel_density())
        found.append(Placed(body.name, body, 0.0, _lift(design, plate, height, rotor.back_iron)))
        height += rotor.back_iron
    if rotor.plate is not None:
        body = _plate(design, plate, rotor.plate)
        lift = _lift(design, plate, height - rotor.plate.pocket, rotor.plate.thickness)
        found.append(Placed(body.name, body, 0.0, lift))
    return tuple(found)


def stator_iron(design: SizedDesign) -> Placed | None:
    """The steel beyond the board, which stands still; None where there is none."""
    rotor = design.rotor
    if rotor.stator_iron <= 0 or rotor.arrangement == "double":
        return None
    shape = ring(*steel_ring(design, magnet_footprint(design)), 0.0, rotor.stator_iron)
    low = -design.stator_thickness - rotor.stator_iron_gap - rotor.stator_iron
    return Placed("stator iron", Body("stator iron", "steel", shape, (), "steel", steel_density()), 0.0, low)


def outline_contour(outline: Outline) -> Contour:
    """An outline of the rotor plan as lines and arcs; its arcs are about the machine's axis.

    >>> outline_contour(Circle(1.0, 0.0, 0.5)).radii
    (0.5, 1.5)
    """
    if isinstance(outline, Circle):
        return circle(outline.radius, (outline.x, outline.y))
    segments: list[Segment] = []
    for vertex, following in zip(outline, (*outline[1:], outline[0]), strict=True):
        end = following.x, following.y
        segments.append(Arc(end, (0.0, 0.0), vertex.bulge > 0) if vertex.bulge else Line(end))
    return Contour((outline[0].x, outline[0].y), tuple(segments))


def _lift(design: SizedDesign, plate: Plate, height: float, thickness: float) -> float:
    """Where the lower face of a part is [m] whose nearer face is ``height`` from the board's surface."""
    return height if plate.above else -design.stator_thickness - height - thickness


def _magnet(design: SizedDesign, piece: Piece) -> Body:
    """Magnets of one kind that turn the same pole to the board are one body."""
    pole = piece.pole[:1]
    name = " ".join(word for word in ("magnet", piece.kind, pole) if word)
    shape = Prism(outline_contour(piece_outline(design)), 0.0, design.rotor.magnet.thickness)
    return Body(name, "magnet", shape, (), "neodymium magnet", neodymium().density, pole)


def _plate(design: SizedDesign, plate: Plate, section: RotorPlate) -> Body:
    """The plate with its fixing holes, and the pockets on the side of the board."""
    thick, pocket = section.thickness, section.pocket
    shape = ring(section.inner_diameter / 2, section.outer_diameter / 2, 0.0, thick)
    cuts = [Prism(circle(h.radius, (h.x, h.y)), 0.0, thick) for h in plate_holes(design, IN_PLACE)]
    low, high = (0.0, pocket) if plate.above else (thick - pocket, thick)
    if pocket and has_own_steel(design):
        cuts.append(ring(*steel_ring(design, magnet_footprint(design)), low, high))
    elif pocket:
        at_zero = outline_contour(piece_outline(design))
        cuts += [Prism(at_zero.turned(plate.angle(piece.angle)), low, high) for piece in pieces(design, plate)]
    name = "rotor plate" if plate.above else "rotor plate, lower"
    return Body(name, "plate", shape, tuple(cuts), section.material, section.values.density)
