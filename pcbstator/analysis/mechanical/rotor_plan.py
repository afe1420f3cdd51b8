"""The rotor as it lies on the bench, magnets up: where each magnet goes and which pole it turns to the board.

The board is seen from the rotor side, from above. The magnets of the rotor above it are seen from below, so x is
mirrored: +x points left and positive rotation is clockwise. A rotor below the board has its magnets up already: it is
seen as the board is, +x to the right, positive rotation counter-clockwise. Its magnets attract those they face, so
its magnet 1 turns a south pole to the board where the upper one turns a north pole.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, ceil, cos, hypot, pi, sin, tan
from typing import TYPE_CHECKING

from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, steel_ring
from pcbstator.analysis.mechanical.rotor_plate import has_own_steel

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

Point = tuple[float, float]

NUMBER_ROOM = 15e-3  # m for a number and the mark of rotor angle 0


@dataclass(frozen=True)
class Plate:
    """One rotor plate: ``name`` is empty where there is only one; ``above`` the board, or below."""

    name: str
    above: bool = True

    def angle(self, machine_angle: float) -> float:
        """An angle of the machine [rad] as it is seen on the bench, counter-clockwise from the right."""
        return pi - machine_angle if self.above else machine_angle


@dataclass(frozen=True)
class Vertex:
    """A corner [m]; ``bulge`` is the tangent of a quarter of the arc's angle to the next corner, 0 for a line."""

    x: float
    y: float
    bulge: float = 0.0


@dataclass(frozen=True)
class Circle:
    """A round outline [m]."""

    x: float
    y: float
    radius: float


Outline = Circle | tuple[Vertex, ...]


@dataclass(frozen=True)
class Piece:
    """One magnet on the bench, with its number and the angle of its centre [rad], as seen there.

    Its magnetisation as parts of 1: ``facing`` up, towards the board, and ``turning`` counter-clockwise. ``kind``: a
    letter for pieces that differ in more than the face that is up, empty where all are alike.
    """

    number: int
    kind: str
    angle: float
    facing: float
    turning: float
    outline: Outline

    @property
    def pole(self) -> str:
        """The pole towards the board as letter and sign; nothing where the magnetisation lies in the plate."""
        return "N +" if self.facing > 1e-6 else "S −" if self.facing < -1e-6 else ""


def plates(design: SizedDesign) -> tuple[Plate, ...]:
    """The rotor plates, the one above the board first."""
    return (Plate("upper"), Plate("lower", above=False)) if design.rotor.arrangement == "double" else (Plate(""),)


def segments_per_pole(design: SizedDesign) -> int:
    """How many magnets make up one pole: one, or more in a Halbach ring."""
    magnet = design.rotor.magnet
    return magnet.segments_per_pole if magnet.shape == "sector" and magnet.array == "halbach" else 1


def pieces(design: SizedDesign, plate: Plate) -> tuple[Piece, ...]:
    """All magnets of a plate at rotor angle 0, numbered in the sense of positive rotation from the one on +x.

    From one to the next the magnetisation of a Halbach ring turns by pi over its segments per pole, stronger side
    towards the board; of alternating magnets by pi.
    """
    each = segments_per_pole(design)
    count = each * design.rotor.poles
    placed = []
    for index in range(count):
        angle, turn = plate.angle(2 * pi * index / count), pi * index / each
        facing = cos(turn) if plate.above else -cos(turn)
        kind = kinds(design)[(index if plate.above else -index) % each]
        placed.append(Piece(index + 1, kind, angle, facing, sin(turn), _turned(piece_outline(design), angle)))
    return tuple(placed)


def kinds(design: SizedDesign) -> tuple[str, ...]:
    """Letters of the kinds of magnets: kind i of a Halbach ring is magnetised at i·pi over the segments per pole.

    The angle is from straight up towards counter-clockwise, on either face. Alternating magnets have no letter.
    """
    each = segments_per_pole(design)
    return ("",) if each == 1 else tuple("abcdefghijkl"[:each])


def steel_circles(design: SizedDesign) -> tuple[float, float] | None:
    """Inner and outer diameter [m] of the steel behind the magnets, if there is any beside that of a steel plate."""
    if not has_own_steel(design):
        return None
    inner, outer = steel_ring(design, magnet_footprint(design))
    return 2 * inner, 2 * outer


def plate_circles(design: SizedDesign) -> tuple[float, ...]:
    """Diameters [m] of the plate's bore, if it has one, and outline; nothing where no plate is stated."""
    plate = design.rotor.plate
    if plate is None:
        return ()
    return (*([plate.inner_diameter] if plate.inner_diameter else []), plate.outer_diameter)


def plate_holes(design: SizedDesign, plate: Plate) -> tuple[Circle, ...]:
    """The fixing holes of a plate, as they are seen on the bench."""
    placed = []
    for holes in design.rotor.plate.holes if design.rotor.plate else ():
        for index in range(holes.count):
            angle = plate.angle(holes.first_angle + 2 * pi * index / holes.count)
            middle = holes.circle_diameter / 2
            placed.append(Circle(middle * cos(angle), middle * sin(angle), holes.diameter / 2))
    return tuple(placed)


def reach(design: SizedDesign) -> float:
    """Largest radius [m] of magnets, steel and plate."""
    return max(_magnet_reach(design), *(diameter / 2 for diameter in plate_circles(design)), 0.0)


def number_radius(design: SizedDesign) -> float:
    """Radius [m] beyond which the magnets' numbers stand: on the plate where it has room, else beyond it."""
    magnets, whole = _magnet_reach(design), reach(design)
    return magnets if whole - magnets >= NUMBER_ROOM else whole


def _magnet_reach(design: SizedDesign) -> float:
    """Largest radius [m] of magnets and steel."""
    return max(float(magnet_footprint(design).breakpoints[-1]), (steel_circles(design) or (0.0, 0.0))[1] / 2)


def magnet_angle(design: SizedDesign, pieces_per_pole: int) -> float:
    """Angle that a sector magnet covers [rad], or one of the pieces that make up a pole; 0 for other shapes."""
    magnet = design.rotor.magnet
    return 2 * pi * magnet.arc_ratio / (design.rotor.poles * pieces_per_pole) if magnet.shape == "sector" else 0.0


def pole_outline(design: SizedDesign) -> Outline:
    """Outline of the magnet, or of the pieces of a Halbach ring, that make the pole on +x."""
    return _outline_at_zero(design, 1)


def piece_outline(design: SizedDesign) -> Outline:
    """Outline of one piece as it is cut, on +x: a magnet, or one of those that make a pole of a Halbach ring."""
    return _outline_at_zero(design, segments_per_pole(design))


def outline_points(outline: Outline) -> list[Point]:
    """Corners [m] of a closed polygon; arcs are about the machine's axis, in steps that leave less than 5 um."""
    if isinstance(outline, Circle):
        steps = max(24, ceil(2 * pi * (outline.radius / 4e-5) ** 0.5))
        turns = [2 * pi * step / steps for step in range(steps)]
        return [(outline.x + outline.radius * cos(a), outline.y + outline.radius * sin(a)) for a in turns]
    points: list[Point] = []
    for vertex in outline:
        radius, turn = hypot(vertex.x, vertex.y), 4 * atan(vertex.bulge)
        steps = max(1, ceil(abs(turn) * (radius / 4e-5) ** 0.5)) if vertex.bulge else 1
        for step in range(steps):
            c, s = cos(turn * step / steps), sin(turn * step / steps)
            points.append((c * vertex.x - s * vertex.y, s * vertex.x + c * vertex.y))
    return points


def _outline_at_zero(design: SizedDesign, pieces_per_pole: int) -> Outline:
    magnet = design.rotor.magnet
    if magnet.shape == "disc":
        return Circle(magnet.circle_diameter / 2, 0.0, magnet.diameter / 2)
    if magnet.shape == "block":
        x, along, across = magnet.circle_diameter / 2, magnet.length / 2, magnet.width / 2
        return tuple(Vertex(x + i * along, j * across) for i, j in ((1, -1), (1, 1), (-1, 1), (-1, -1)))
    half = magnet_angle(design, pieces_per_pole) / 2
    inner, outer, bulge = magnet.inner_diameter / 2, magnet.outer_diameter / 2, tan(half / 2)
    return (
        Vertex(outer * cos(half), -outer * sin(half), bulge),
        Vertex(outer * cos(half), outer * sin(half)),
        Vertex(inner * cos(half), inner * sin(half), -bulge),
        Vertex(inner * cos(half), -inner * sin(half)),
    )


def _turned(outline: Outline, angle: float) -> Outline:
    """Turned counter-clockwise about the machine's axis; every outline is its own mirror image about its radius."""
    c, s = cos(angle), sin(angle)
    if isinstance(outline, Circle):
        return Circle(c * outline.x - s * outline.y, s * outline.x + c * outline.y, outline.radius)
    return tuple(Vertex(c * v.x - s * v.y, s * v.x + c * v.y, v.bulge) for v in outline)
