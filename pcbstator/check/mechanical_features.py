"""Holes, slots, mounting tabs, keep-outs, lands: each against copper, board, each other and the solder mask."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from math import degrees
from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pcbstator.check.envelope import magnet_radii
from pcbstator.check.limits import ROUNDING, at_least, found
from pcbstator.copper import Copper
from pcbstator.copper.geometry.contour import SAGITTA
from pcbstator.copper.non_winding import CHIP, CHIP_HEIGHT, CHIP_TABLE
from pcbstator.copper.obstacles import CUT, Nearness, board_obstacles, free_turn, too_near
from pcbstator.copper.plain_board import Opening, mask_openings
from pcbstator.findings import Finding

if TYPE_CHECKING:
    from pcbstator.copper.obstacles import Obstacle
    from pcbstator.design import SizedDesign

MOST_SEARCHES = 3  # of a free angle; on a board of 60 coils and 16 layers each takes up to 0.3 s
LIMITS = {
    "board.hole_to_copper": "{limit} mm of the rule set {rules}",
    "board.pad_gap": "{limit} mm of track_gap_mm",
    "board.edge": "{limit} mm of the rule set {rules}",
}


def feature_findings(design: SizedDesign, copper: Copper) -> list[Finding]:
    """Findings about all that shares the board with the winding; values in mm."""
    return [
        *_copper(design, copper), *_sizes(design, copper), *_place(design, copper), *_webs(design, copper),
        *_mask(design, copper), *_chip(design),
    ]  # fmt: skip


def place(x: float, y: float) -> str:
    """A place in words."""
    return f"x {1e3 * x:.3f} mm, y {1e3 * y:.3f} mm"


def _copper(design: SizedDesign, copper: Copper) -> list[Finding]:
    """Copper too near to something: the worst place of every table and kind, with a way out."""
    obstacles = board_obstacles(design, copper)
    groups: dict[tuple[str, str], list[Nearness]] = defaultdict(list)
    for near in too_near(copper, obstacles):
        groups[near.obstacle.code, near.obstacle.origin or near.obstacle.name].append(near)
    findings: list[Finding] = []
    turns: dict[str, list[str]] = {}
    for (code, origin), members in groups.items():
        worst = members[0]
        obstacle = worst.obstacle
        message = _message(design, worst)
        if len({near.obstacle.name for near in members}) > 1:
            message += f"; so do {len({near.obstacle.name for near in members}) - 1} more of {origin}"
        remedies = _diameters(design, copper, obstacle)
        if obstacle.can_turn and origin not in turns and len(turns) < MOST_SEARCHES:
            turns[origin] = _angle(design, copper, [o for o in obstacles if o.origin == origin])
        remedies += turns.get(origin, [])
        message += "; " + (" or ".join(remedies) or "move one of them")
        where = f"{obstacle.name}, layer {worst.layer}, {place(worst.x, worst.y)}, net {worst.net}"
        findings.append(found(code, "error", message, 1e3 * max(worst.distance, 0.0), 1e3 * obstacle.limit, where))
    return findings


def _message(design: SizedDesign, near: Nearness) -> str:
    """What is too near to what, by how much."""
    what, copper, code = near.obstacle.name, f"copper of net {near.net}", near.obstacle.code
    if code == "board.keepout":
        return f"{copper} is in the keep-out {what}"
    limit = LIMITS[code].replace("{rules}", design.rules.name)
    if near.distance < 0:
        return f"{copper} overlaps {what}; they must keep the {limit} apart"
    return f"{copper} comes within {{value}} mm of {what}, below the {limit}"


def _diameters(design: SizedDesign, copper: Copper, obstacle: Obstacle) -> list[str]:
    """The copper's diameters that would clear an obstacle, where that leaves most of the ring."""
    board = design.board
    if obstacle.name == CUT:
        return ["another angle, or another number of tiles"]
    if not obstacle.origin:
        return ["a larger board or a smaller annulus"]
    centre = shapely.Point(0, 0)
    low = float(shapely.distance(obstacle.shape, centre)) - obstacle.radius - obstacle.limit
    corners = shapely.get_coordinates(obstacle.shape)
    high = float(np.hypot(*corners.T).max()) + obstacle.radius + obstacle.limit
    inner, outer = board.copper_inner_diameter / 2, board.copper_outer_diameter / 2
    remedies = []
    if inner < low < outer and outer - low < 0.3 * (outer - inner):
        remedies.append(f"copper_outer_diameter_mm of at most {np.floor(2e5 * low) / 100:.2f}")
    if inner < high < outer and high - inner < 0.3 * (outer - inner):
        remedies.append(f"copper_inner_diameter_mm of at least {np.ceil(2e5 * high) / 100:.2f}")
    return remedies


def _angle(design: SizedDesign, copper: Copper, group: list[Obstacle]) -> list[str]:
    """The nearest angle at which the whole table is free of copper."""
    kind, _, number = group[0].origin.removeprefix("board.").partition("[")
    spec = getattr(design.board, kind)[int(number.removesuffix("]")) - 1]
    turn = free_turn(copper, group, spec.count)
    if turn is None:
        size = max(float(_extent(obstacle)) + obstacle.limit for obstacle in group)
        least = 2 * (design.board.copper_outer_diameter / 2 + size)
        wider = f"circle_diameter_mm of at least {np.ceil(1e5 * least) / 100:.2f}"
        return [wider + ", since no angle is free on this circle"]
    angle = (degrees(spec.first_angle + turn) + 180) % 360 - 180
    return [f"first_angle_deg = {angle:.6g}"]


def _extent(obstacle: Obstacle) -> float:
    """Half of the obstacle's size along the radius [m]."""
    radii = np.hypot(*shapely.get_coordinates(obstacle.shape).T)
    return float(np.ptp(radii)) / 2 + obstacle.radius


def _sizes(design: SizedDesign, copper: Copper) -> list[Finding]:
    """Drills, rings and slots against the rule set."""
    rules, said = design.rules, f" of the rule set {design.rules.name}"
    findings = []
    for hole in {hole.origin: hole for hole in reversed(copper.shape.drilled)}.values():
        if hole.origin == CHIP_TABLE:
            continue  # as large as the terminals, which are checked
        where = f"hole {hole.name}, {place(hole.x, hole.y)}"
        findings += at_least("board.drill", 1e3 * hole.diameter, 1e3 * rules.drill,
                             f"the drill of {{value}} mm of {hole.origin} is below the {{limit}} mm" + said,
                             where=where)  # fmt: skip
        if hole.plated:
            findings += at_least("board.annular_ring", 1e3 * (hole.pad - hole.diameter) / 2, 1e3 * rules.annular_ring,
                                 f"the ring of {{value}} mm of {hole.origin} is below the {{limit}} mm" + said,
                                 where=where)  # fmt: skip
    for slot in {slot.origin: slot for slot in reversed(copper.shape.slots)}.values():
        findings += at_least("board.slot", 1e3 * slot.width, 1e3 * rules.slot,
                             f"the slot of {{value}} mm of {slot.origin} is below the {{limit}} mm" + said,
                             where=f"slot {slot.name}, {place(*slot.a)}")  # fmt: skip
    return findings


def _place(design: SizedDesign, copper: Copper) -> list[Finding]:
    """Everything lies on the board: no hole or land beyond its edge."""
    cut = copper.shape.cut
    shapely.prepare(cut)
    things: list[tuple[str, str, BaseGeometry]] = []
    things += [(f"hole {h.name}", h.origin, shapely.Point(h.x, h.y)) for h in copper.shape.drilled]
    things += [(f"slot {s.name}", s.origin, shapely.LineString([s.a, s.b])) for s in copper.shape.slots]
    things += [(f"land {land.net}", CHIP_TABLE, land.area()) for land in copper.non_winding.lands]
    findings = {}
    for name, origin, shape in things:
        if origin not in findings and not cut.contains(shape):
            spot = shape.centroid
            findings[origin] = Finding(
                "board.outline", "error", f"{name} of {origin} does not lie on the board: another circle_diameter_mm, "
                "or a larger board", where=f"{name}, {place(spot.x, spot.y)}",
            )  # fmt: skip
    return list(findings.values())


def _webs(design: SizedDesign, copper: Copper) -> list[Finding]:
    """Laminate between holes and slots, and from them to the edge."""
    shape, limit = copper.shape, design.rules.hole_web
    names = [f"hole {h.name}" for h in shape.drilled] + [f"slot {s.name}" for s in shape.slots]
    if not names:
        return []
    lines: list[BaseGeometry] = [shapely.Point(h.x, h.y) for h in shape.drilled]
    lines += [shapely.LineString([s.a, s.b]) for s in shape.slots]
    shapes = np.array(lines, dtype=object)
    half = np.array([h.diameter / 2 for h in shape.drilled] + [s.width / 2 for s in shape.slots])
    edges = [(("the outer edge", *["an inner edge"] * len(shape.edges))[i], shapely.LineString(points))
             for i, contour in enumerate(shape.edges) for points in contour.polylines()]  # fmt: skip
    a, b = shapely.STRtree(shapes).query(shapes, "dwithin", distance=limit + half + half.max())
    a, b = a[a < b], b[a < b]
    gaps = shapely.distance(shapes[a], shapes[b]) - half[a] - half[b]
    found_: list[tuple[float, str, str, int]] = [
        (float(gap), names[i], names[j], int(i)) for gap, i, j in zip(gaps, a, b, strict=True)
    ]
    for name, line in edges:
        gaps = shapely.distance(shapes, line) - half + SAGITTA  # chords lie inside the outline
        found_ += [(float(gap), names[i], name, i) for i, gap in enumerate(gaps) if gap < limit]
    if not found_:
        return []
    gap, one, other, index = min(found_)
    spot = shapes[index].centroid
    message = (
        f"{{value}} mm of laminate stand between {one} and {other}, below the {{limit}} mm of the rule set "
        f"{design.rules.name}: move or shrink one of them"
    )
    return at_least("board.hole_web", 1e3 * gap, 1e3 * limit, message, where=f"{one}, {place(spot.x, spot.y)}")


def _mask(design: SizedDesign, copper: Copper) -> list[Finding]:
    """Mask between two openings of a side, where it is narrower than the board manufacturer can keep."""
    limit = design.rules.mask_web
    worst: tuple[float, Opening, Opening, str] | None = None
    sides: tuple[Literal["top", "bottom"], ...] = ("top", "bottom")
    copper = replace(copper, terminals=copper.terminals + copper.jumper_holes, jumper_holes=())
    for side in sides:
        openings = mask_openings(copper, side)
        for one, other, web in _narrow(openings, limit):
            if worst is None or web < worst[0]:
                worst = web, one, other, side
    if worst is None:
        return []
    web, one, other, face = worst
    line = shapely.shortest_line(one.shape, other.shape)
    middle = shapely.line_interpolate_point(line, 0.5, normalized=True)
    message = (
        f"{{value}} mm of solder mask stand between {one.name} and {other.name}, below the {{limit}} mm of the rule "
        f"set {design.rules.name}: solder may bridge them; move them apart or use smaller pads"
    )
    where = f"{face}, {place(middle.x, middle.y)}"
    return [found("board.mask_web", "warning", message, 1e3 * web, 1e3 * limit, where)]


def _narrow(openings: list[Opening], limit: float) -> Iterable[tuple[Opening, Opening, float]]:
    """Pairs of openings with less than ``limit`` [m] of mask between them."""
    if len(openings) < 2:
        return
    shapes = np.array([opening.shape for opening in openings], dtype=object)
    half = np.array([opening.radius for opening in openings])
    a, b = shapely.STRtree(shapes).query(shapes, "dwithin", distance=limit + half + half.max())
    a, b = a[a < b], b[a < b]
    webs = shapely.distance(shapes[a], shapes[b]) - half[a] - half[b]
    for i, j, web in zip(a, b, webs, strict=True):
        if web < limit * (1 - ROUNDING):
            yield openings[i], openings[j], float(web)


def _chip(design: SizedDesign) -> list[Finding]:
    """A chip under the lower magnets of a double rotor needs its height in the gap."""
    chip, rotor = design.board.thermistor, design.rotor
    if chip is None or rotor.arrangement != "double":
        return []
    near, far = magnet_radii(design)
    if not near < chip.circle_diameter / 2 < far:
        return []
    return at_least(
        "board.chip_height", 1e3 * rotor.air_gap, 1e3 * CHIP_HEIGHT,
        f"the lower magnets pass {{value}} mm from the board and a chip such as {CHIP} stands up to {{limit}} mm high: "
        "put it beyond the magnets or widen the gap", where=f"{CHIP}",
    )  # fmt: skip
