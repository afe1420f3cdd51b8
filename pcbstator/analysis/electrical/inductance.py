"""Inductance of the phases over the real tracks, with the images of the iron behind the magnets.

All pairs of currents are summed over waves around the axis, whose number is fixed: cost grows with the vertices of one
coil. What those waves do not resolve is how copper sees what is near. All coils are the same, so one coil and the edge
of the next, on a grid as fine as the tracks, put that right for all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, cos, log, pi, sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.electrical.conductors import Conductors, phase_angle
from pcbstator.constants import MU_0
from pcbstator.copper import Copper, Track
from pcbstator.physics.inductance.rings import CoilRing, ring_cells, ring_inductance_matrix
from pcbstator.physics.inductance.strips import (
    CELLS_PER_PITCH,
    Image,
    Strips,
    cell_for,
    distinct,
    iron_images,
    joined_strips,
)
from pcbstator.physics.inductance.tracks import near_inductance_matrix, near_reach, track_inductance_matrix

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FEW_INTERCONNECTS = 0.03  # of all copper: what these see of each other counts for little
MANY_INTERCONNECTS = 0.15  # of all copper: below it, what the cut of a connection ring parts is less than 0.1 %
FEW_POLES = 12  # the ends of a wave winding are more than 1 / 12 of it, too much not to repeat
LONGEST = 1500  # cells around a connection ring
FEWEST_REFLECTIONS, MOST_REFLECTIONS = 8, 64  # between two irons: they reach as far as a coil is long
DIGITS = 12  # of the shares of paths: pieces of equal current go together
FINER = 0.8  # of the cell of the waves: a grid that is finer than that adds something

FloatArray = NDArray[np.float64]


def iron_faces(design: SizedDesign) -> tuple[Image, ...]:
    """Images in the iron faces next to the board: behind the magnets, above and for a double rotor also below, and the
    plate beyond the board.
    """
    rotor = design.rotor
    height = rotor.air_gap + rotor.magnet.thickness
    planes = []
    if rotor.back_iron > 0:
        planes.append(height)
        if rotor.arrangement == "double":
            planes.append(-design.stator_thickness - height)
    if rotor.stator_iron > 0:
        planes.append(-design.stator_thickness - rotor.stator_iron_gap)
    if len(planes) < 2:
        return iron_images(planes) if planes else ()
    coil = (design.board.copper_outer_diameter - design.board.copper_inner_diameter) / 2
    wanted = ceil(coil / abs(planes[0] - planes[1]))
    return iron_images(planes, min(max(wanted, FEWEST_REFLECTIONS), MOST_REFLECTIONS))


def inductance_matrix(design: SizedDesign, conductors: Conductors) -> FloatArray:
    """Self and mutual inductances (phases, phases) [H], vias left out."""
    copper, shares = conductors.copper, conductors.network.shares.round(DIGITS)
    images, rings = iron_faces(design), _rings(copper, shares)
    interconnects, currents = _interconnects(copper, shares)
    repeats = None if copper.alike or design.rotor.poles <= FEW_POLES else design.rotor.poles // 2
    whole = ring_inductance_matrix(rings, interconnects, currents, images, repeats)
    cell, interconnect_cell = ring_cells(rings, interconnects)
    pitch = design.board.track_width + design.board.track_gap
    near = _near_coils(rings, cell, pitch, images) if copper.alike else _near_pole(design, rings, cell, images)
    share = _interconnect_share(rings, interconnects, currents) if interconnects is not None else 0.0
    if interconnects is not None and share > FEW_INTERCONNECTS:
        near = near + _near_interconnects(
            design, interconnects, currents, interconnect_cell, images, share > MANY_INTERCONNECTS
        )
    return np.asarray(whole + near)


def inductance_figures(design: SizedDesign, conductors: Conductors) -> dict[str, Any]:
    """The inductances of ``ElectricalResult``."""
    matrix = inductance_matrix(design, conductors)
    phases = len(matrix)
    own = float(np.trace(matrix)) / phases
    return {
        "phase_inductance": own,
        "mutual_inductance": (zero_sequence_inductance(matrix) - own) / (phases - 1),
        "synchronous_inductance": synchronous_inductance(matrix),
        "inductance_matrix": tuple(tuple(row) for row in matrix.tolist()),
    }


def most_inductance(design: SizedDesign, conductors: Conductors) -> float:
    """More inductance [H] than a phase can have, where it need not be known any better.

    Every metre of a phase's copper as a straight track with its return four pole pitches away, as if all turns of a
    coil on all layers lay in one place; twice for the other phases, and once more for each face of iron, which mirrors
    it (derived here).
    """
    board, copper = design.board, conductors.copper
    paths = len(conductors.path_lengths) / len(copper.phases)  # of a phase, which share its current
    beside = int(design.winding.turns) * len(design.layer_z) / paths
    pitch = pi * (board.copper_inner_diameter + board.copper_outer_diameter) / 2 / design.rotor.poles
    own = MU_0 / (2 * pi) * (log(8 * pitch / board.track_width) + 0.5)
    return float(2 * (1 + len(iron_faces(design))) * max(conductors.path_lengths) * beside * own)


def _near_coils(rings: Sequence[CoilRing], cell: float, pitch: float, images: tuple[Image, ...]) -> FloatArray:
    """What waves of this cell [m] miss of how equal coils see themselves, the next ones, and those of other boards in
    the same place (phases, phases) [H].
    """
    kinds, around, phases = len(rings), len(rings[0].angles), len(rings[0].currents)
    every = joined_strips([ring.strips for ring in rings])
    fine = cell_for(every, pitch, 2 * len(distinct(every.starts[:, 2])))  # of a coil and the edge of the next
    total = np.zeros((phases, phases))
    if fine > FINER * cell:
        return total
    step = 2 * pi / around
    turns = np.array([ring.angles[0] for ring in rings])
    turns = (turns - turns[0] + step / 2) % step - step / 2  # of boards whose coils do not lie above each other
    own = [_turned(ring.strips, float(turn)) for ring, turn in zip(rings, turns, strict=True)]
    edge = step / 2 + float(turns.max())
    following = [_behind(_turned(strips, step), edge, near_reach(cell)) for strips in own]
    owner = np.repeat(np.arange(2 * kinds), [len(strips.width) for strips in (*own, *following)])
    currents = np.equal.outer(np.arange(2 * kinds), owner).astype(float)
    near = near_inductance_matrix(joined_strips([*own, *following]), currents, fine, cell, images)
    first = rings[0].angles[0] + turns
    places = [np.rint((ring.angles - begin) / step) for ring, begin in zip(rings, first, strict=True)]
    for one, ring in enumerate(rings):
        for two, other in enumerate(rings):
            apart = (places[two][None, :] - places[one][:, None]) % around
            sees = near[one, two] * (apart == 0) + near[one, kinds + two] * (apart == 1)
            sees = sees + near[two, kinds + one] * (apart == around - 1)
            total += ring.currents @ sees @ other.currents.T
    return total


def _near_pole(design: SizedDesign, rings: Sequence[CoilRing], cell: float, images: tuple[Image, ...]) -> FloatArray:
    """What waves of this cell [m] miss of a wave winding (phases, phases) [H]. Its laps are alike under every pole but
    for their ends and for the layers that change places: one pole stands for all copper of the laps, and the first
    phase for each.
    """
    half, board = pi / design.rotor.poles, design.board
    part, currents = coil_copper(rings, pi, half + near_reach(cell) / board.copper_inner_diameter * 2)
    x, y = (-(part.starts + part.ends)[:, :2] / 2).T  # half a turn away from where the cuts begin
    inside = (y * np.cos(half) < x * np.sin(half)) & (y * np.cos(half) >= -x * np.sin(half))
    fine = cell_for(part, board.track_width + board.track_gap, (1 + len(currents)) * len(distinct(part.starts[:, 2])))
    if fine > FINER * cell:
        return np.zeros((len(currents), len(currents)))
    paths = np.concatenate([currents[:1] * inside, currents])
    sees = near_inductance_matrix(part, paths, fine, cell, images, rows=1)[0, 1:]
    poles = _coil_load(rings) / len(currents) / (part.lengths @ paths[0] ** 2)
    matrix = poles * np.array([np.roll(sees, phase) for phase in range(len(sees))])
    return np.asarray((matrix + matrix.T) / 2)


def _coil_load(rings: Sequence[CoilRing]) -> float:
    """Length of the coils' tracks, each times the squares of the currents in it [m]."""
    return float(sum(ring.strips.lengths.sum() * (ring.currents**2).sum() for ring in rings))


def _interconnect_share(rings: Sequence[CoilRing], interconnects: Strips, currents: FloatArray) -> float:
    """Of all copper, by length times squares of the currents: what paths share counts for more."""
    load = float((currents**2).sum(axis=0) @ interconnects.lengths)
    return load / (_coil_load(rings) + load)


def _near_interconnects(
    design: SizedDesign,
    interconnects: Strips,
    currents: FloatArray,
    cell: float,
    images: tuple[Image, ...],
    closed: bool,
) -> FloatArray:
    """What waves of this cell [m] miss of how inter-coil connections see those beside them in the connection rings
    (phases, phases) [H]; closed: whether these go all around, or end where they are cut open.
    """
    ends = [np.hypot(*spot[:, :2].T) for spot in (interconnects.starts, interconnects.ends)]
    radius, board = (ends[0] + ends[1]) / 2, design.board
    total = np.zeros((len(currents), len(currents)))
    # What goes from one connection ring to the other has nothing beside it.
    along = np.abs(ends[1] - ends[0]) < interconnects.lengths / sqrt(2)
    half = (board.copper_inner_diameter + board.copper_outer_diameter) / 4
    for ring in (along & (radius < half), along & (radius >= half)):
        chosen = np.flatnonzero(ring)
        if len(chosen) == 0:
            continue
        mean = float(radius[chosen].mean())
        fine = max((board.track_width + board.track_gap) / CELLS_PER_PITCH, 2 * pi * mean / LONGEST)
        if fine <= FINER * cell:
            total += _near_ring(_some(interconnects, chosen), currents[:, chosen], mean, (fine, cell), images, closed)
    return total


def _near_ring(
    interconnects: Strips,
    currents: FloatArray,
    mean: float,
    cells: tuple[float, float],
    images: tuple[Image, ...],
    closed: bool,
) -> FloatArray:
    """What the waves miss of the inter-coil connections in one connection ring of this mean radius [m]; cells: of the
    finer grid, and of the waves [m].

    It is unrolled, its arcs become straight lines: over the few tracks that are near each other, they hardly bend. If
    ``closed``, its ends are laid beside each other again for what the cut has parted.
    """
    points = [spots[:, 0] + 1j * spots[:, 1] for spots in (interconnects.starts, interconnects.ends)]
    turn, phases = np.angle(points[1] / points[0]), len(currents)
    place = np.angle(points[0] * np.exp(0.5j * turn))
    radii = np.abs(points)

    def unrolled(place: FloatArray) -> Strips:
        lines = zip(radii, (place - turn / 2, place + turn / 2), strict=True)
        starts, ends = (np.column_stack([radius, mean * angle, interconnects.starts[:, 2]]) for radius, angle in lines)
        return Strips(starts, ends, interconnects.width, interconnects.thickness)

    whole = unrolled(place)
    total = near_inductance_matrix(whole, currents, *cells, images)
    beside = np.flatnonzero(mean * (pi - np.abs(place)) < near_reach(cells[1]) + whole.lengths)
    if closed and len(beside):
        parted = np.concatenate([currents * (place > 0), currents * (place <= 0)])[:, beside]
        joined = _some(unrolled(place % (2 * pi)), beside)
        across = near_inductance_matrix(joined, parted, *cells, images, phases)[:, phases:]
        total += across + across.T
    return total


def _behind(strips: Strips, angle: float, reach: float) -> Strips:
    """The pieces that lie before the ray at this angle [rad], or less than ``reach`` [m] behind it."""
    x, y = ((strips.starts + strips.ends)[:, :2] / 2).T
    behind, along = y * np.cos(angle) - x * np.sin(angle), x * np.cos(angle) + y * np.sin(angle)
    return _some(strips, np.flatnonzero((behind < reach) & (along > -reach)))


def _some(strips: Strips, chosen: NDArray[np.intp]) -> Strips:
    return Strips(strips.starts[chosen], strips.ends[chosen], strips.width[chosen], strips.thickness[chosen])


def coil_inductance(design: SizedDesign, copper: Copper, cell: float) -> float:
    """Self inductance [H] of one coil, on a grid of this cell [m]."""
    coil = strips_of(copper, copper.coil.tracks)
    ones = np.ones((1, len(coil.lengths)))
    return float(track_inductance_matrix(coil, ones, cell, iron_faces(design))[0, 0])


def synchronous_inductance(matrix: FloatArray) -> float:
    """Inductance [H] of a phase when all carry balanced sine currents: self minus mutual for three phases."""
    count = len(matrix)
    following = [
        matrix[a, (a + k) % count] * cos(phase_angle((a + k) % count, count) - phase_angle(a, count))
        for a in range(count)
        for k in range(count)
    ]
    return float(sum(following)) / count


def zero_sequence_inductance(matrix: FloatArray) -> float:
    """Inductance [H] of a phase when all carry the same current: self plus both mutuals for three phases."""
    return float(matrix.sum()) / len(matrix)


def strips_of(copper: Copper, tracks: Sequence[Track]) -> Strips:
    """The pieces of these tracks, in order."""
    layers = [copper.layers[track.layer - 1] for track in tracks]
    counts = [len(track.points) - 1 for track in tracks]
    depth = np.repeat([layer.depth for layer in layers], counts)
    thickness = np.repeat([layer.thickness for layer in layers], counts)
    starts, ends = (np.concatenate([track.points[part] for track in tracks]) for part in (np.s_[:-1], np.s_[1:]))
    widths = np.concatenate([track.piece_widths for track in tracks])
    return Strips(np.column_stack([starts, depth]), np.column_stack([ends, depth]), widths, thickness)


def coil_copper(rings: Sequence[CoilRing], angle: float = 0.0, within: float = pi) -> tuple[Strips, FloatArray]:
    """Every strip of the coils, and its current per ampere of every phase (phases, strips); or those whose middle lies
    within so much of this angle [rad].
    """
    parts, carried = [], []
    for ring in rings:
        place = np.arctan2(*(ring.strips.starts + ring.strips.ends)[:, 1::-1].T)
        for turn, current in zip(ring.angles.tolist(), ring.currents.T[:, :, None], strict=True):
            chosen = np.flatnonzero(np.cos(place + (turn - angle)) >= np.cos(min(within, pi)))
            parts.append(_turned(_some(ring.strips, chosen), turn))
            carried.append(np.broadcast_to(current, (len(current), len(place)))[:, chosen])
    return joined_strips(parts), np.concatenate(carried, axis=1)


def _rings(copper: Copper, shares: FloatArray) -> list[CoilRing]:
    """The coils of every template, with the current in each, from start to finish, per ampere of every phase."""
    currents = shares @ copper.current_paths.coils
    return [
        CoilRing(strips_of(copper, coil.tracks), copper.coil_angles[members], currents[:, members])
        for coil, members in copper.templates
    ]


def _interconnects(copper: Copper, shares: FloatArray) -> tuple[Strips | None, FloatArray]:
    """Strips of the inter-coil connections that carry current, if there are any, each once whatever paths share it, and
    the current in them per ampere of every phase (phases, strips).
    """
    currents = shares @ copper.current_paths.through
    carrying = np.flatnonzero(currents.any(axis=0))
    tracks = [copper.current_paths.tracks[row] for row in carrying]
    pieces = [len(track.points) - 1 for track in tracks]
    return strips_of(copper, tracks) if tracks else None, np.repeat(currents[:, carrying], pieces, axis=1)


def _turned(strips: Strips, angle: float) -> Strips:
    """Strips turned about the board's centre."""
    turn = np.array([[np.cos(angle), np.sin(angle), 0.0], [-np.sin(angle), np.cos(angle), 0.0], [0.0, 0.0, 1.0]])
    return Strips(strips.starts @ turn, strips.ends @ turn, strips.width, strips.thickness)
