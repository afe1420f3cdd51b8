"""What fits: the coil between rim and neighbours, and the numbers that would fit where it does not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import asin, floor, pi, sin
from typing import TYPE_CHECKING

from pcbstator.copper.outline import SAGITTA, Family, parallel_family, round_family, sector_family
from pcbstator.copper.rim import (
    Bus,
    RimPlan,
    RimSizes,
    assign_channels,
    chord_angle,
    lay_buses,
    layered_rim,
    stepped_rim,
)
from pcbstator.copper.spiral import CoilPlan, fit_spiral, inner_margin
from pcbstator.errors import Complaint, DesignError
from pcbstator.winding import Winding, lay_winding

if TYPE_CHECKING:
    from pcbstator.design import Design

MOST_TURNS = 500
MOST_POINTS = 2_000_000, 200_000  # of centre-lines, in the stator and in one coil: some 60 MB of files
TERMINAL_SPACE = 0.5e-3  # between the pads of neighbouring terminals [m]: room for a soldering iron


@dataclass(frozen=True)
class NoRoomError(Exception):
    """Something does not fit: the key that decides, the rule with its numbers, and a way out."""

    key: str
    rule: str
    value: str
    remedy: str


@dataclass(frozen=True, eq=False)
class StatorPlan:
    """Everything about the copper that is settled before a point is computed."""

    coil: CoilPlan
    rim: RimPlan
    buses: tuple[Bus, ...]
    channels: tuple[int, ...]


def _sizes(design: Design, track_width: float) -> RimSizes:
    board = design.board
    outside = design.winding.link_rim == "outer"
    return RimSizes(
        edge=(board.copper_outer_diameter if outside else board.copper_inner_diameter) / 2,
        side=1 if outside else -1,
        coil_width=track_width,
        link_width=board.stated_link_width or track_width,
        gap=board.track_gap + SAGITTA,
        pad=board.via_pad,
        terminal_pad=board.terminal_pad,
    )


def _plan_rim(
    design: Design, winding: Winding, sizes: RimSizes
) -> tuple[RimPlan, tuple[Bus, ...], tuple[int, ...], tuple[float, ...]]:
    """Radii of the rim, buses, their channels, and the angles of a coil's posts."""
    posts = design.board.layers // 2 + 1
    spacing = sizes.joint + sizes.gap
    ways: list[Callable[[RimSizes, int], RimPlan]] = [layered_rim, stepped_rim]
    for way in ways:
        channels = 1
        while channels <= 2 * winding.coils:
            rim = way(sizes, channels)
            smallest = min(rim.post_radius, rim.terminal_radius, *rim.arc_radii)
            if smallest <= 0:
                break
            # Square on to a neighbour's lead, which may run on beyond the end of this one.
            step = asin(min(spacing / min(rim.post_radius, *rim.arc_radii), 1.0))
            angles = tuple((index - (posts - 1) / 2) * step for index in range(posts))
            apart = chord_angle(sizes.terminal + max(sizes.gap, TERMINAL_SPACE), rim.terminal_radius)
            buses = lay_buses(winding, design.winding.connection, angles[0], angles[-1], apart)
            _check_terminals(sum(bus.terminal is not None for bus in buses), apart)
            chosen, needed = assign_channels(buses, 0.95 * step)
            if way is layered_rim and needed > design.board.layers:
                break
            if way is layered_rim or needed <= channels:
                return way(sizes, max(needed, channels)), buses, chosen, angles
            channels = needed
    raise NoRoomError(
        "board.copper_inner_diameter_mm",
        "the annulus must have room for the links on the rim",
        "too small a ring",
        "enlarge the annulus or use fewer parallel_paths",
    )


def _check_terminals(count: int, apart: float) -> None:
    """All terminals stand on one circle, ``apart`` [rad] from each other."""
    if count * apart > 2 * pi:
        raise NoRoomError(
            "board.terminal_pad_mm",
            f"the {count} terminals must fit on the rim",
            f"{360 * count * apart / (2 * pi):.0f} degrees of it needed",
            "use smaller pads, a larger annulus or the other link_rim",
        )


def _family(design: Design, rim: RimPlan, sizes: RimSizes) -> Family:
    """The outlines of the coil's turns."""
    board, coils = design.board, design.winding.coils
    if sizes.side > 0:
        outer, inner = rim.coil_radius, board.copper_inner_diameter / 2 + sizes.coil_width / 2
    else:
        outer, inner = board.copper_outer_diameter / 2 - sizes.coil_width / 2, rim.coil_radius
    clearance = (sizes.coil_width + sizes.gap) / 2
    most = sizes.pad / 2 + sizes.gap + sizes.coil_width / 2
    corner = design.winding.corner_radius or min(2 * sizes.coil_width, most)
    if outer - inner < 2 * corner or inner <= clearance:
        whole = (board.copper_outer_diameter - board.copper_inner_diameter) / 2
        raise NoRoomError(
            "board.copper_outer_diameter_mm",
            "the annulus must leave the coils some radius between rim and edge",
            f"{1e3 * (outer - inner):.2f} mm for the coils of {1e3 * whole:.2f} mm",
            "widen the annulus, use narrower tracks or smaller pads",
        )
    if inner * sin(pi / coils) <= clearance + corner:
        raise NoRoomError(
            "winding.coils",
            "a coil must be wider than its corners",
            f"{2e3 * inner * sin(pi / coils):.2f} mm per coil",
            "use fewer coils, a larger copper_inner_diameter_mm or narrower tracks",
        )
    if design.winding.outline == "round":
        return round_family(outer, inner, coils, clearance)
    shape = sector_family if design.winding.outline == "sector" else parallel_family
    return shape(outer, inner, coils, clearance, corner)


def _check_posts(design: Design, rim: RimPlan, family: Family, sizes: RimSizes, angles: tuple[float, ...]) -> None:
    """The row of posts must stay within the coil's pitch and reach the outermost turn from its middle."""
    beside = (sizes.joint + sizes.gap) / 2
    half_row = rim.post_radius * angles[-1] + beside
    reach = rim.post_radius * family.rim_angle(sizes.side) + beside
    # Where leads of all coils run on one layer, they must pass each other as far inside as they go.
    inmost = min(rim.post_radius, *rim.arc_radii) if rim.stepped else rim.post_radius
    pitch = rim.post_radius * sin(pi / design.winding.coils) - beside * (rim.post_radius / inmost - 1)
    room = min(pitch, reach)
    if half_row > room:
        raise NoRoomError(
            "board.layers",
            f"the {len(angles)} vias beside a coil must fit its width at the rim",
            f"{2e3 * half_row:.2f} mm needed, {2e3 * room:.2f} mm there",
            "use fewer layers, fewer coils, smaller via_pad_mm or a larger annulus",
        )


def _plan(design: Design, winding: Winding, turns: int, track_width: float) -> StatorPlan:
    """The plan for this many turns of this width; NoRoomError where it does not fit."""
    sizes = _sizes(design, track_width)
    rim, buses, channels, angles = _plan_rim(design, winding, sizes)
    family = _family(design, rim, sizes)
    _check_posts(design, rim, family, sizes, angles)
    placed = fit_spiral(
        family, turns, track_width, design.board.track_gap, sizes.pad, design.board.layers // 2, sizes.side
    )
    if placed is None:
        raise NoRoomError(
            "winding.turns", "the turns must leave room for the vias in the middle of the coil", str(turns), ""
        )
    family, pitch, inner = placed
    corner = min(2 * track_width, sizes.pad / 2 + sizes.gap + track_width / 2) * 0.8
    margin = inner_margin(track_width, design.board.track_gap, sizes.pad)
    coil = CoilPlan(family, turns, pitch, track_width, sizes.side, rim.post_radius, angles, inner, corner, margin)
    return StatorPlan(coil, rim, buses, channels)


def _check_size(coil: CoilPlan, layers: int, coils: int) -> None:
    """Bounds the work and the size of the files that a design can ask for."""
    points = 2 * coil.family.half_vertices * coil.turns * layers
    if points <= MOST_POINTS[1] and points * coils <= MOST_POINTS[0]:
        return
    raise NoRoomError(
        "winding.turns",
        f"the drawing must have at most {MOST_POINTS[1]} points per coil and {MOST_POINTS[0]} in all",
        f"{coil.turns} turns x {layers} layers = {points} points per coil, {coils} coils",
        "use fewer turns, layers or coils, or a smaller machine",
    )


def _fits(design: Design, winding: Winding, turns: int, track_width: float) -> bool:
    try:
        _plan(design, winding, turns, track_width)
    except NoRoomError:
        return False
    return True


def most_turns(design: Design, winding: Winding | None = None) -> int:
    """The largest number of turns per coil and layer that fits the design's annulus; 0 if none does."""
    winding = winding or lay_winding(design)
    low, high = 0, 1
    while high <= MOST_TURNS and _fits(design, winding, high, design.board.track_width):
        low, high = high, 2 * high
    high = min(high, MOST_TURNS + 1)
    while high - low > 1:
        middle = (low + high) // 2
        if _fits(design, winding, middle, design.board.track_width):
            low = middle
        else:
            high = middle
    return low


def widest_track(design: Design, turns: int, winding: Winding | None = None) -> float:
    """The widest track [m], to 0.01 mm, with which ``turns`` fit; 0 if none does."""
    winding = winding or lay_winding(design)
    step = 1e-5
    low, high = 0, 1
    while high < 4096 and _fits(design, winding, turns, high * step):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if _fits(design, winding, turns, middle * step):
            low = middle
        else:
            high = middle
    return low * step


def settle_plan(design: Design, winding: Winding) -> StatorPlan:
    """The plan the design asks for; DesignError with the number that would fit."""
    width = design.board.track_width
    turns = most_turns(design, winding) if design.winding.turns == "fill" else design.winding.turns
    try:
        plan = _plan(design, winding, max(int(turns), 1), width)
        _check_size(plan.coil, design.board.layers, winding.coils)
        return plan
    except NoRoomError as lack:
        complaint = Complaint(lack.key, lack.rule, lack.value, lack.remedy)
        if lack.key == "winding.turns" and not lack.remedy:
            complaint = _too_many_turns(design, winding, lack)
        raise DesignError(design.source, [complaint]) from None


def _turns(count: int) -> str:
    return f"{count} turn" if count == 1 else f"{count} turns"


def _too_many_turns(design: Design, winding: Winding, lack: NoRoomError) -> Complaint:
    """What would fit instead."""
    fitting, turns = most_turns(design, winding), max(int(lack.value), 1)
    widest = widest_track(design, turns, winding)
    offers = [f"use at most {_turns(fitting)} with this track_width_mm"] if fitting else []
    if widest >= 5e-5:
        offers.append(f"for {_turns(turns)} a track_width_mm of at most {floor(1e5 * widest + 0.5) / 100:.2f}")
    if not offers:
        offers.append("use fewer coils or layers, smaller via_pad_mm or a wider annulus")
    return Complaint(lack.key, lack.rule, lack.value, " or ".join(offers))
