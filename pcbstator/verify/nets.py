"""Opens, shorts, stray copper and holes that miss their copper, from the copper alone."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, product

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pcbstator.findings import Finding
from pcbstator.verify.connected import ConnectedCopper, connected_copper
from pcbstator.verify.layers import layer_findings
from pcbstator.verify.names import Named, Names, attribute_names, netlist_names, terminal_names
from pcbstator.verify.pieces.ends import dead_ends
from pcbstator.verify.pieces.necks import NarrowPlace, closes_loop, narrow_places
from pcbstator.verify.pieces.rings import hole_findings, ring_parts
from pcbstator.verify.records import WrittenBoard
from pcbstator.verify.wording import at_most_told, place, written

FACING = 10.0  # mm: ends of a track that was cut are not farther apart

Spot = tuple[float, float, int | None]


def net_findings(
    board: WrittenBoard, copper: ConnectedCopper | None = None, necks: Sequence[NarrowPlace] | None = None
) -> list[Finding]:
    """What is wrong with the nets of a board: verify.open, verify.short, verify.stray, verify.hole, verify.layer,
    verify.terminal.

    copper, necks: connected_copper of the board and its narrow_places, where they are known already; without necks
    the least width that the job file states tells what is narrow.

    Names come from the attributes of the copper files, from the netlist, and from the terminals; each source is held
    against the copper by itself, so that nets may share copper wherever all agree that they are one (a star point).
    """
    if copper is None:
        copper = connected_copper(board)
    sources = [attribute_names(board, copper), netlist_names(board, copper)]
    terminals = terminal_names(board.terminals, copper)
    rings = ring_parts(copper)
    findings = layer_findings(board, copper, rings)
    told: set[tuple[str, frozenset[int]]] = set()
    for names in sources:
        findings += _shorts(board, copper, names, told) + _opens(board, copper, names, told)
    findings += _without_copper([*sources, terminals]) + _undrilled(sources)
    if not any(names.named for names in sources):
        findings += _lonely_terminals(copper, terminals)
    findings += hole_findings(board, copper, rings)
    if necks is None:
        least = board.rules.get("MinLineWidth")
        necks = narrow_places(copper, least) if least else ()
    findings += _bridges(copper, necks)
    findings += _strays(copper, [*sources, terminals]) + _unnamed(board) + _terminal_names(board)
    return [*board.findings, *at_most_told(findings)]


def _shorts(
    board: WrittenBoard, copper: ConnectedCopper, names: Names, told: set[tuple[str, frozenset[int]]]
) -> list[Finding]:
    """Joined copper that carries more than one name."""
    findings = []
    for group, found in sorted(names.by_group().items()):
        key = "short", frozenset([group])
        if len(found) < 2 or key in told:
            continue
        told.add(key)
        names_here = sorted(found)
        spot = _meeting(board, copper, group, found)
        message = f"nets {', '.join(names_here[:-1])} and {names_here[-1]} are joined by copper at {place(*spot)}"
        findings.append(written("verify.short", message, place(*spot)))
    return findings


def _meeting(board: WrittenBoard, copper: ConnectedCopper, group: int, found: dict[str, list[Named]]) -> Spot:
    """Where two of the names of a group come together."""
    for layer in board.layers:
        for first, second in combinations([name for name in sorted(found) if name in layer.nets], 2):
            a, b = layer.nets[first], layer.nets[second]
            if shapely.dwithin(a, b, 0.002):
                common = a.intersection(b)
                point = shapely.shortest_line(a, b).centroid if common.is_empty else common.representative_point()
                return point.x, point.y, layer.number
    spot = _unnamed_bridge(board, found) or _hole_bridge(copper, group, found)
    if spot is not None:
        return spot
    some, others = list(found.values())[:2]
    nearest = min(
        ((a, b) for a in some for b in others),
        key=lambda pair: float(np.hypot(pair[0].place[0] - pair[1].place[0], pair[0].place[1] - pair[1].place[1])),
    )
    (x1, y1), (x2, y2) = nearest[0].place, nearest[1].place
    return (x1 + x2) / 2, (y1 + y2) / 2, nearest[0].layer


def _unnamed_bridge(board: WrittenBoard, found: dict[str, list[Named]]) -> Spot | None:
    """Copper of no net that touches two of the names."""
    for layer in board.layers:
        for part in shapely.get_parts(layer.unnamed):
            met = [name for name in found if name in layer.nets and layer.nets[name].intersects(part)]
            if len(met) > 1:
                point = part.representative_point()
                return point.x, point.y, layer.number
    return None


def _hole_bridge(copper: ConnectedCopper, group: int, found: dict[str, list[Named]]) -> Spot | None:
    """A hole that meets pieces of two names."""
    name_of = {each.piece: name for name, all_of in found.items() for each in all_of if each.piece is not None}
    for hole in np.flatnonzero(copper.hole_groups == group):
        pieces = copper.touches[copper.touches[:, 0] == hole, 1]
        if len({name_of[int(piece)] for piece in pieces if int(piece) in name_of}) > 1:
            x, y = copper.holes[hole].path[0]
            return float(x), float(y), None
    return None


def _opens(
    board: WrittenBoard, copper: ConnectedCopper, names: Names, told: set[tuple[str, frozenset[int]]]
) -> list[Finding]:
    """Names that stand on copper which is not joined."""
    findings = []
    for name, groups in sorted(names.groups().items()):
        if len(groups) < 2:
            continue
        sizes = {group: float(shapely.area(copper.pieces[copper.groups == group]).sum()) for group in groups}
        main = max(sizes, key=lambda group: sizes[group])
        for group in sorted(groups):
            key = "open", frozenset([main, group])
            if group == main or key in told:
                continue
            told.add(key)
            x, y, layer, gap = _gap(board, copper, main, group)
            where = place(x, y, layer)
            parted = "" if gap is None else f", {gap:.3g} mm apart"
            message = (
                f"net {name} is open at {where}: copper of {sizes[group]:.3g} mm² is not joined to the rest{parted}"
            )
            findings.append(written("verify.open", message, where, value=gap))
    return findings


def _gap(
    board: WrittenBoard, copper: ConnectedCopper, main: int, group: int
) -> tuple[float, float, int | None, float | None]:
    """Where one group most likely parted from another: facing ends of tracks, pads over each other without a hole, or
    the narrowest gap."""
    found = _facing_ends(board, copper, main, group)
    if found is not None:
        return found
    pads = _pads_without_hole(board, copper, main, group)
    if pads is not None:
        return *pads, None, None
    best: tuple[float, float, int | None, float | None] | None = None
    for layer in board.layers:
        here = copper.layers == layer.number
        a, b = (copper.pieces[here & (copper.groups == each)] for each in (main, group))
        if not len(a) or not len(b):
            continue
        index, distance = shapely.STRtree(a).query_nearest(b, return_distance=True, all_matches=False)
        at = int(np.argmin(distance))
        if best is None or best[3] is None or distance[at] < best[3]:
            middle = shapely.shortest_line(a[index[1, at]], b[index[0, at]]).centroid
            best = middle.x, middle.y, layer.number, float(distance[at])
    if best is not None:
        return best
    point = copper.pieces[copper.members(group)[0]].representative_point()
    return point.x, point.y, int(copper.layers[copper.members(group)[0]]), None


def _facing_ends(
    board: WrittenBoard, copper: ConnectedCopper, main: int, group: int
) -> tuple[float, float, int | None, float | None] | None:
    """The two nearest ends of tracks, one of each group, that hold no hole or pad."""
    best: tuple[float, float, int | None, float | None] | None = None
    fewer, more = sorted((main, group), key=lambda each: len(copper.members(each)))
    for layer in board.layers:
        here = copper.layers == layer.number
        ends = [
            end for piece in np.flatnonzero(here & (copper.groups == fewer)) for end in dead_ends(board, copper, piece)
        ]
        others = np.flatnonzero(here & (copper.groups == more))
        if not ends or not len(others):
            continue
        _, near = shapely.STRtree(copper.pieces[others]).query(shapely.points(ends), "dwithin", distance=FACING)
        facing = [end for piece in np.unique(others[near]) for end in dead_ends(board, copper, piece)]
        for a, b in product(ends, facing):
            distance = float(np.hypot(a[0] - b[0], a[1] - b[1]))
            if best is None or best[3] is None or distance < best[3]:
                best = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2, layer.number, distance
    return best


def _pads_without_hole(
    board: WrittenBoard, copper: ConnectedCopper, main: int, group: int
) -> tuple[float, float] | None:
    """A place where pads of both groups lie over each other and nothing is drilled."""
    drilled = shapely.union_all(copper.barrels) if len(copper.barrels) else shapely.Point()
    seen: dict[tuple[float, float], set[int]] = {}
    for layer in board.layers:
        if not len(layer.pads):
            continue
        here = np.flatnonzero((copper.layers == layer.number) & np.isin(copper.groups, (main, group)))
        pad, piece = shapely.STRtree(copper.pieces[here]).query(shapely.points(layer.pads[:, :2]), "intersects")
        for index, at in zip(pad, piece, strict=True):
            x, y = layer.pads[index, :2]
            spot = round(float(x), 2), round(float(y), 2)
            seen.setdefault(spot, set()).add(int(copper.groups[here[at]]))
    for spot, groups in seen.items():
        if len(groups) > 1 and not drilled.intersects(shapely.Point(spot)):
            return spot
    return None


def _without_copper(sources: Sequence[Names]) -> list[Finding]:
    findings = []
    for names in sources:
        for point in names.without_copper:
            where = place(point.x, point.y, point.layer)
            what = f"terminal {point.net}" if names.source == "terminals" else f"net {point.net}"
            findings.append(written("verify.open", f"{what} has its place at {where}, and no copper is there", where))
    return findings


def _undrilled(sources: Sequence[Names]) -> list[Finding]:
    findings = []
    for names in sources:
        for point in names.without_hole:
            where = place(point.x, point.y)
            message = (
                f"the netlist has a hole of {point.hole:.3g} mm of net {point.net} at {where}, and no file drills it"
            )
            findings.append(written("verify.hole", message, where))
    return findings


def _lonely_terminals(copper: ConnectedCopper, terminals: Names) -> list[Finding]:
    """Terminals from which no copper leads to another one, where nothing but terminals is named."""
    findings = []
    for found in terminals.by_group().values():
        if len(found) == 1 and len(terminals.named) > 1:
            name, at = next(iter(found.items()))
            where = place(*at[0].place)
            message = f"copper leads from terminal {name} at {where} to no other terminal"
            findings.append(written("verify.open", message, where))
    return findings


def _strays(copper: ConnectedCopper, sources: Sequence[Names]) -> list[Finding]:
    """Copper that carries no name, joins no hole and no terminal."""
    if not any(names.named for names in sources):
        return []
    named = {each.group for names in sources for each in names.named} | set(copper.hole_groups.tolist())
    findings = []
    for group in range(copper.count):
        if group in named:
            continue
        pieces = copper.pieces[copper.groups == group]
        point = pieces[0].representative_point()
        where = place(point.x, point.y, int(copper.layers[copper.members(group)[0]]))
        area = float(shapely.area(pieces).sum())
        message = f"copper of {area:.3g} mm² at {where} belongs to no net and is joined to nothing"
        findings.append(written("verify.stray", message, where, "warning", area))
    return findings


def _unnamed(board: WrittenBoard) -> list[Finding]:
    """Copper that no net draws and that touches a net, in files whose copper has nets otherwise."""
    findings = []
    for layer in board.layers:
        for part in shapely.get_parts(layer.unnamed):
            met = [name for name, area in layer.nets.items() if area.intersects(part)]
            if part.is_empty or not met:
                continue
            where = place(*_outside(part, layer.nets[met[0]]), layer.number)
            message = f"copper that belongs to no net touches net {met[0]} at {where}"
            findings.append(written("verify.short", message, where))
    return findings


def _outside(part: BaseGeometry, area: BaseGeometry) -> tuple[float, float]:
    rest = part.difference(area)
    point = (part if rest.is_empty else rest).representative_point()
    return point.x, point.y


def _bridges(copper: ConnectedCopper, necks: Sequence[NarrowPlace]) -> list[Finding]:
    """Copper narrower than any track that joins tracks of one net side by side."""
    findings = []
    for neck in necks:
        if closes_loop(copper, neck):
            where = place(neck.x, neck.y, neck.layer)
            message = f"a bridge of {neck.width:.3g} mm shorts tracks of one net at {where}: turns or phases are joined"
            findings.append(written("verify.short", message, where, value=neck.width))
    return findings


def _terminal_names(board: WrittenBoard) -> list[Finding]:
    """Terminals that lie where the copper files have a pin of another name."""
    findings = []
    functions = {pin.function for pin in board.pins}
    for name, (x, y) in board.terminals.items():
        here = {pin.function for pin in board.pins if np.hypot(pin.x - x, pin.y - y) < 0.1 and pin.function}
        if name in functions and here and name not in here:
            where = place(x, y)
            message = f"terminal {name} is named at {where}, where the copper files have pin {min(here)}: exchanged"
            findings.append(written("verify.terminal", message, where))
    return findings
