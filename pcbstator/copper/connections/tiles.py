"""A ring cut into equal arcs, each a board of its own, for machines that are larger than a board manufacturer makes.

Cuts lie half-way between coils. Inter-coil connections go across in tile jumpers, soldered into a hole on either side
of the cut. Every tile is turned to the same place, its middle at the top; tiles with the same copper are one kind,
which is ordered once.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from math import asin, atan2, degrees, hypot, pi
from typing import TYPE_CHECKING, TypeVar

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from pcbstator.copper.connections.buses import Cuts
from pcbstator.copper.geometry.board_shape import NOT_CONNECTED, BoardShape, Hole, ring_board
from pcbstator.copper.geometry.contour import Arc, Contour, Line, Place, Segment, signed_sweep, turn
from pcbstator.copper.geometry.tracks import FloatArray, Terminal, Track, Via
from pcbstator.copper.non_winding import Land, NonWindingCopper
from pcbstator.copper.plain_board import PlainBoard
from pcbstator.copper.records import Copper
from pcbstator.errors import Complaint, DesignError

if TYPE_CHECKING:
    from pcbstator.design import Design

Placed = TypeVar("Placed", Via, Terminal, Hole, Land)

JUMPER_PLAY = 0.1e-3  # of a tile jumper in its hole [m]
TOP = pi / 2  # where the middle of every tile is turned to
SAME_PLACE = 1e-8  # m; ends of tracks that meet
TURNS = 720  # of a tile in half a turn, in the search for one that fits the panel


@dataclass(frozen=True, eq=False)
class TileKind:
    """Tiles that are made alike: numbers from 1, counter-clockwise, the first at the angle 0 on.

    names: per tile, terminal names by the name on the board, which is a number where tiles of one kind differ.
    """

    board: PlainBoard
    tiles: tuple[int, ...]
    names: tuple[dict[str, str], ...]


def first_cut(coils: int) -> float:
    """Angle [rad] at which tile 1 begins."""
    return -pi / coils


def lay_cuts(design: Design, width: float) -> Cuts | None:
    """How connections of ``width`` [m] go across the cuts; None for a whole ring."""
    board, coils = design.board, design.winding.coils
    if board.tiles == 1 or coils is None:
        return None
    beside = board.beside_cut + max(board.jumper_pad, width) / 2
    wire = board.jumper_drill - JUMPER_PLAY
    return Cuts(first_cut(coils), 2 * pi / board.tiles, beside, board.jumper_drill, board.jumper_pad, wire)


def cut_board(design: Design, shape: BoardShape) -> BoardShape:
    """The whole ring with its cuts; DesignError where the panel is too small or a cut meets a mounting tab."""
    board = design.board
    tiled = board.tiles > 1
    outlines = [tile_outline(design, shape, number) for number in range(board.tiles)] if tiled else [shape.outer]
    _check_panel(design, shape, outlines)
    if not tiled:
        return shape
    angles = [first_cut(design.winding.coils or 1) + 2 * pi / board.tiles * number for number in range(board.tiles)]
    inner, reach = board.inner_diameter / 2, shape.outer.radii[1] + board.tile_gap
    within = max(inner - board.tile_gap - 1e-3, inner / 2)
    return replace(shape, cutouts=tuple(_strip(within, reach, board.tile_gap, a) for a in angles))


def _strip(inner: float, outer: float, width: float, angle: float) -> Contour:
    """A straight cut along the radius, at least a micrometre wide, so that it has an area."""
    half = max(width, 1e-6) / 2
    corners = [turn(place, angle) for place in ((inner, -half), (outer, -half), (outer, half), (inner, half))]
    return Contour(corners[0], tuple(Line(corner) for corner in (*corners[1:], corners[0])))


def tile_outline(design: Design, shape: BoardShape, number: int) -> Contour:
    """The outline of a tile at its place, counter-clockwise; DesignError where a cut meets a mounting tab."""
    board = design.board
    start = first_cut(design.winding.coils or 1) + 2 * pi / board.tiles * number
    stop, half = start + 2 * pi / board.tiles, board.tile_gap / 2
    outer, inner = board.outer_diameter / 2, board.inner_diameter / 2
    out, into = asin(half / outer), asin(half / inner)
    edge = _edge_between(design, shape.outer, outer, start + out, stop - out)
    corners = [turn((radius, 0.0), angle) for radius, angle in ((inner, stop - into), (inner, start + into))]
    first = turn((outer, 0.0), start + out)
    back = Arc(corners[1], (0.0, 0.0), counter_clockwise=False)
    return Contour(first, (*edge, Line(corners[0]), back, Line(first)))


def _edge_between(design: Design, edge: Contour, radius: float, start: float, stop: float) -> list[Segment]:
    """The segments of the board's outer edge from one angle to another."""
    pieces = list(edge.pairs())
    first = next((index for index, piece in enumerate(pieces) if _holds(piece, start)), None)
    if first is None or not any(_holds(piece, stop) for piece in pieces):
        angle = degrees(start if first is None else stop) % 360
        tabs = " or ".join(f"board.tabs[{number}]" for number in range(1, len(design.board.tabs) + 1))
        remedy = "turn the tabs by first_angle_deg, or use another number of tiles"
        rule = f"must not cut through {tabs}"
        raise DesignError(design.source, [Complaint("board.tiles", rule, f"a cut at {angle:.3g} degrees", remedy)])
    found: list[Segment] = []
    begin = turn((radius, 0.0), start)
    for _, segment in [*pieces[first:], *pieces[: first + 1]]:
        ends = _holds((begin, segment), stop)
        piece = replace(segment, end=turn((radius, 0.0), stop)) if ends else segment
        if found and _about_centre(piece) and _about_centre(found[-1]):
            found.pop()  # one arc goes on
        found.append(piece)
        begin = segment.end
        if ends:
            break
    return found


def _about_centre(segment: Segment) -> bool:
    return isinstance(segment, Arc) and hypot(*segment.centre) < 1e-12


def _holds(piece: tuple[Place, Segment], angle: float) -> bool:
    """Whether a piece of the outer edge is an arc about the centre that passes an angle."""
    begin, segment = piece
    if not isinstance(segment, Arc) or not _about_centre(segment):
        return False
    return (angle - atan2(begin[1], begin[0])) % (2 * pi) <= signed_sweep(begin, segment)


def least_panel(outline: FloatArray, width: float, height: float) -> tuple[bool, float, float]:
    """Whether some turn of an outline (n, 2) fits width x height [m], and the sides [m] of the turn that comes nearest.

    Both ways round the panel are tried, in steps of a quarter of a degree.
    """
    hull = shapely.get_coordinates(shapely.convex_hull(shapely.MultiPoint(outline)))
    angles = pi / TURNS * np.arange(TURNS)
    along = np.stack([np.cos(angles), np.sin(angles)]), np.stack([-np.sin(angles), np.cos(angles)])
    across, up = (np.ptp(hull @ directions, axis=0) for directions in along)
    over = np.maximum(across / width, up / height)
    best = int(over.argmin())
    return bool(over[best] <= 1 + 1e-9), float(across[best]), float(up[best])


def tile_sides(design: Design, copper: Copper) -> tuple[float, float]:
    """Sides [m] of the least rectangle around a tile without mounting tabs, or of the turn that fits the panel best."""
    width, height = design.board.panel or (1.0, 1.0)
    plain = design.model_copy(update={"board": design.board.model_copy(update={"tabs": ()})})
    ring = ring_board(copper.board_inner_radius, copper.board_outer_radius)
    outline = np.concatenate(tile_outline(plain, ring, 0).polylines(1e-5))
    return least_panel(outline, width, height)[1:]


def _check_panel(design: Design, shape: BoardShape, outlines: Sequence[Contour]) -> None:
    """DesignError where a tile, or the whole board, does not fit the stated panel."""
    board, coils = design.board, design.winding.coils
    if board.panel is None:
        return
    width, height = board.panel

    def fits(contours: Sequence[Contour]) -> tuple[bool, float, float]:
        return min(least_panel(np.concatenate(each.polylines(1e-5)), width, height) for each in contours)

    part, across, up = fits(outlines)
    if part:
        return
    more = [n for n in range(board.tiles + 1, 61) if coils and coils % n == 0 and design.winding.kind == "spiral"]
    enough = next((n for n in more if _fits_in(design, shape, n, fits)), None)
    what = "a tile" if board.tiles > 1 else "the board"
    rule = f"{what} must fit the panel of {1e3 * width:g} x {1e3 * height:g} mm"
    value = (
        f"{1e3 * across:.1f} x {1e3 * up:.1f} mm with {board.tiles} tiles"
        if board.tiles > 1
        else (f"{1e3 * across:.1f} x {1e3 * up:.1f} mm")
    )
    remedy = f"use tiles = {enough}" if enough else "use a larger panel, or more coils to cut between"
    raise DesignError(design.source, [Complaint("board.tiles", rule, value, remedy)])


def _fits_in(
    design: Design, shape: BoardShape, tiles: int, fits: Callable[[Sequence[Contour]], tuple[bool, float, float]]
) -> bool:
    other = design.model_copy(update={"board": design.board.model_copy(update={"tiles": tiles})})
    try:
        return fits([tile_outline(other, shape, number) for number in range(tiles)])[0]
    except DesignError:
        return False


def lay_tiles(design: Design, copper: Copper) -> tuple[TileKind, ...]:
    """The kinds of tiles of a ring; none where it is not cut."""
    if copper.tiles == 1:
        return ()
    kinds: dict[Hashable, list[tuple[int, PlainBoard]]] = defaultdict(list)
    for number in range(copper.tiles):
        board = _tile(design, copper, number)
        kinds[_likeness(board)].append((number + 1, board))
    return tuple(_kind([n for n, _ in members], [board for _, board in members]) for members in kinds.values())


def _kind(numbers: list[int], boards: list[PlainBoard]) -> TileKind:
    """One kind; where its tiles' terminals have different names, they are numbered in the order of their places."""
    named = [{t.name: t.name for t in board.terminals if not is_jumper_hole(t)} for board in boards]
    first = boards[0]
    if any(names != named[0] for names in named):
        ordered = [
            sorted((t for t in b.terminals if not is_jumper_hole(t)), key=lambda t: _rough(t.x, t.y)) for b in boards
        ]
        named = [{str(place): t.name for place, t in enumerate(each, start=1)} for each in ordered]
        new = {t.name: str(place) for place, t in enumerate(ordered[0], start=1)}
        terminals = tuple(replace(t, name=new.get(t.name, t.name)) for t in first.terminals)
        first = replace(first, terminals=terminals)
    return TileKind(first, tuple(numbers), tuple(named))


def tile_folder(kind: TileKind) -> str:
    """Name of a kind and of the folder with its files: that of its first tile."""
    return f"tile-{kind.tiles[0]}"


def is_jumper_hole(terminal: Terminal) -> bool:
    """Whether a hole is for a tile jumper to the next tile."""
    return terminal.name[:1] in "XY" and terminal.name[1:].isdigit()


def tile_middle(copper: Copper, number: int) -> float:
    """Where the middle of tile ``number``, from 0, is in the ring [rad]; the tile's own files have it at the top."""
    coils = len(copper.coil_angles)
    each = coils // copper.tiles
    return 2 * pi / coils * (number * each + (each - 1) / 2)


def _tile(design: Design, copper: Copper, number: int) -> PlainBoard:
    """Tile ``number``, from 0, turned to the top; nets are P1, P2, ... for every piece of copper on it."""
    each, half = len(copper.coil_angles) // copper.tiles, pi / copper.tiles
    middle = tile_middle(copper, number)
    angle = TOP - middle

    def here(x: float, y: float) -> bool:
        return bool((atan2(y, x) - middle + half) % (2 * pi) < 2 * half)

    def moved(thing: Placed) -> Placed:
        x, y = turn((thing.x, thing.y), angle)
        return replace(thing, x=x, y=y)

    tracks, vias = _coils(copper, range(number * each, (number + 1) * each), each)
    tracks += [track.turned(angle) for track in copper.interconnects if here(*track.points[len(track.points) // 2])]
    vias += [moved(via) for via in copper.interconnect_vias if here(via.x, via.y)]
    holes = [moved(hole) for hole in (*copper.terminals, *copper.jumper_holes) if here(hole.x, hole.y)]
    tracks, vias, holes = _named(tracks, vias, holes)
    terminals = sorted(holes, key=lambda hole: (is_jumper_hole(hole), hole.name))
    net_at = {_rough(hole.x, hole.y): hole.net for group in (vias, holes) for hole in group}
    teardrops = []
    for teardrop in (teardrop.turned(angle) for teardrop in copper.teardrops if here(*teardrop.points[0])):
        if (end := _rough(*teardrop.points[-1])) in net_at:
            teardrops.append(replace(teardrop, net=net_at[end]))
    non_winding = copper.non_winding
    lands = tuple(replace(moved(land), angle=land.angle + angle) for land in non_winding.lands if here(land.x, land.y))
    leads = tuple(t.turned(angle) for t in non_winding.tracks if here(*t.points[0]))
    chip = tuple(moved(hole) for hole in non_winding.holes if here(hole.x, hole.y))
    return PlainBoard(
        layers=copper.layers,
        board_inner_radius=copper.board_inner_radius,
        board_outer_radius=copper.board_outer_radius,
        tracks=tuple(tracks),
        vias=tuple(vias),
        terminals=tuple(terminals),
        phases=copper.phases,
        teardrops=tuple(teardrops),
        stated_shape=_shape(design, copper.shape, number, angle, here),
        stated_non_winding=NonWindingCopper(lands, leads, chip),
    )


def _coils(copper: Copper, members: range, each: int) -> tuple[list[Track], list[Via]]:
    """Tracks and vias of a tile's coils, the template turned by the same angles on every tile."""
    tracks, vias = [], []
    for place, index in enumerate(members):
        angle = TOP + 2 * pi / len(copper.coil_angles) * (place - (each - 1) / 2)
        coil = copper.template(index)
        tracks += [track.turned(angle, net=copper.coil_nets[index]) for track in coil.tracks]
        for via in coil.vias:
            x, y = turn((via.x, via.y), angle)
            vias.append(replace(via, x=x, y=y, net=copper.coil_nets[index]))
    return tracks, vias


def _shape(
    design: Design, ring: BoardShape, number: int, angle: float, here: Callable[[float, float], bool]
) -> BoardShape:
    """The bare tile with its holes and slots, named anew in their order."""
    drilled = []
    for hole in ring.drilled:
        if here(hole.x, hole.y):
            x, y = turn((hole.x, hole.y), angle)
            drilled.append(replace(hole, x=x, y=y))
    drilled.sort(key=lambda hole: (hole.origin, hole.part if hole.net != NOT_CONNECTED else "", _rough(hole.x, hole.y)))
    plain = [hole for hole in drilled if hole.net == NOT_CONNECTED]
    renamed = {id(hole): f"H{place}" for place, hole in enumerate(plain, start=1)}
    slots = [
        replace(slot, a=turn(slot.a, angle), b=turn(slot.b, angle))
        for slot in ring.slots
        if here((slot.a[0] + slot.b[0]) / 2, (slot.a[1] + slot.b[1]) / 2)
    ]
    slots.sort(key=lambda slot: (slot.origin, _rough(*slot.a)))
    return BoardShape(
        tile_outline(design, ring, number).turned(angle),
        drilled=tuple(_renamed(hole, renamed.get(id(hole))) for hole in drilled),
        slots=tuple(replace(slot, name=f"S{place}") for place, slot in enumerate(slots, start=1)),
    )


def _renamed(hole: Hole, name: str | None) -> Hole:
    return hole if name is None else replace(hole, name=name, part=name)


def _named(
    tracks: list[Track], vias: list[Via], holes: list[Terminal]
) -> tuple[list[Track], list[Via], list[Terminal]]:
    """The same copper with a net for every connected piece, in the order of their first holes around the tile."""
    ends = [track.points[index] for track in tracks for index in (0, -1)]
    plated = [(via.x, via.y) for via in vias] + [(hole.x, hole.y) for hole in holes]
    places = np.array([*ends, *plated])
    pairs = KDTree(places).query_pairs(SAME_PLACE, output_type="ndarray")
    both = np.arange(0, 2 * len(tracks), 2)
    a, b = np.concatenate([pairs, np.stack([both, both + 1], axis=1)]).T
    graph = coo_array((np.ones(len(a)), (a, b)), shape=(len(places), len(places)))
    _, piece = connected_components(graph, directed=False)
    number: dict[int, str] = {}
    for index in sorted(range(len(places)), key=lambda i: _rough(*places[i])):
        number.setdefault(int(piece[index]), f"P{len(number) + 1}")
    nets = [number[int(value)] for value in piece]
    first, second = 2 * len(tracks), 2 * len(tracks) + len(vias)
    return (
        [replace(track, net=nets[2 * i], phase="") for i, track in enumerate(tracks)],
        [replace(via, net=net) for via, net in zip(vias, nets[first:second], strict=True)],
        [replace(hole, net=net) for hole, net in zip(holes, nets[second:], strict=True)],
    )


def _rough(x: float, y: float) -> tuple[int, int]:
    """A place in nanometres; the offset keeps round numbers away from where rounding tips."""
    return round(1e9 * x + 0.137), round(1e9 * y + 0.137)


def _likeness(board: PlainBoard) -> Hashable:
    """Equal for tiles whose copper, holes and outline are equal, whatever the names of their terminals."""

    def line(track: Track) -> Hashable:
        flat = np.rint(1e9 * track.points + 0.137).astype(np.int64)
        widths = np.rint(1e9 * track.point_widths + 0.137).astype(np.int64)
        directions = [np.column_stack([flat, widths]).tobytes(), np.column_stack([flat, widths])[::-1].tobytes()]
        return track.layer, track.net, min(directions)

    def outline(contour: Contour) -> Hashable:
        return _rough(*contour.start), tuple(_rough(*segment.end) for segment in contour.segments)

    shape, non_winding = board.shape, board.non_winding
    return (
        tuple(sorted(map(line, (*board.tracks, *non_winding.tracks)))),  # type: ignore[type-var]
        tuple(sorted((*_rough(v.x, v.y), v.net, round(1e9 * v.drill), round(1e9 * v.pad)) for v in board.vias)),
        tuple(sorted((*_rough(t.x, t.y), t.net, round(1e9 * t.drill), round(1e9 * t.pad)) for t in board.terminals)),
        outline(shape.outer),
        tuple((*_rough(h.x, h.y), h.diameter, h.pad, h.name, h.net) for h in shape.drilled),
        tuple((*_rough(*s.a), *_rough(*s.b), s.width) for s in shape.slots),
        tuple((*_rough(land.x, land.y), land.net) for land in non_winding.lands),
    )
