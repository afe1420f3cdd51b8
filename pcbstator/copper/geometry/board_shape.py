"""The bare board: outline, bore, cut-outs, slots and holes, as they are cut and drilled."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import cos, pi, sin
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pcbstator.copper.geometry.contour import Contour, MountingTab, Place, circle, ring_with_tabs, stadium, turn
from pcbstator.design.validation.entries import ROOT_FILLET
from pcbstator.errors import Complaint, DesignError

if TYPE_CHECKING:
    from pcbstator.design import Design

NOT_CONNECTED = "N/C"  # the net of a plated hole that belongs to none, in Gerber and IPC-D-356A alike


@dataclass(frozen=True)
class Hole:
    """A drilled hole: middle and diameter [m]; plated ones have a pad [m] and a net.

    name: as messages and pictures have it; origin: the table of the design file; part and pin: as the files name it.
    """

    name: str
    x: float
    y: float
    diameter: float
    plated: bool = False
    pad: float = 0.0
    net: str = NOT_CONNECTED
    origin: str = ""
    part: str = ""
    pin: int = 1


@dataclass(frozen=True)
class Slot:
    """A routed slot, cut with the outline: the path of the tool's middle from ``a`` to ``b`` and its diameter [m]."""

    name: str
    a: Place
    b: Place
    width: float
    origin: str = ""

    @property
    def contour(self) -> Contour:
        """Its outline."""
        return stadium(self.a, self.b, self.width)


@dataclass(frozen=True)
class BoardShape:
    """A bare board. ``slots`` and ``cutouts`` are cut with the outline; ``drilled`` are drilled.

    A slot is a cut-out whose tool is known, so that distances from it are exact.
    """

    outer: Contour
    inner: Contour | None = None
    cutouts: tuple[Contour, ...] = ()
    drilled: tuple[Hole, ...] = ()
    slots: tuple[Slot, ...] = ()

    @property
    def edges(self) -> tuple[Contour, ...]:
        """Outline, bore and cut-outs other than slots, the outline first."""
        return self.outer, *(() if self.inner is None else (self.inner,)), *self.cutouts

    @property
    def profile(self) -> tuple[Contour, ...]:
        """All that is cut along the profile: the edges and the slots."""
        return *self.edges, *(slot.contour for slot in self.slots)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Least x, least y, most x, most y [m]."""
        return self.outer.bounds

    @property
    def reach(self) -> float:
        """Most distance [m] of the board from the machine's axis."""
        return self.outer.radii[1]

    @cached_property
    def cut(self) -> BaseGeometry:
        """The area within the outline less bore and cut-outs, slots left in."""
        return self.outer.polygon.difference(shapely.union_all([part.polygon for part in self.edges[1:]]))

    @cached_property
    def material(self) -> BaseGeometry:
        """What is left of the board when slots and holes are gone too."""
        gone = [slot.contour.polygon for slot in self.slots]
        gone += [circle(hole.diameter / 2, (hole.x, hole.y)).polygon for hole in self.drilled]
        return self.cut.difference(shapely.union_all(gone))


def ring_board(inner_radius: float, outer_radius: float) -> BoardShape:
    """A plain ring."""
    return BoardShape(circle(outer_radius), circle(inner_radius))


def lay_board(design: Design) -> BoardShape:
    """The bare board that a design asks for; DesignError where its mounting tabs meet or a hole's pad is impossible."""
    board = design.board
    ring = ring_with_tabs(board.outer_diameter / 2, _tabs(design))
    holes = [
        Hole("", radius * cos(angle), radius * sin(angle), spec.diameter, spec.plated, spec.pad or 0.0, origin=origin)
        for number, spec in enumerate(board.holes, start=1)
        for origin, radius in [(f"board.holes[{number}]", spec.circle_diameter / 2)]
        for angle in around(spec.first_angle, spec.count)
    ]
    for number, tab in enumerate(board.tabs, start=1):
        if tab.hole:
            radius = board.outer_diameter / 2 + tab.reach - tab.width / 2
            holes += [
                Hole("", radius * cos(angle), radius * sin(angle), tab.hole, origin=f"board.tabs[{number}]")
                for angle in around(tab.first_angle, tab.count)
            ]
    named = tuple(replace(hole, name=f"H{n}", part=f"H{n}") for n, hole in enumerate(holes, start=1))
    return BoardShape(ring, circle(board.inner_diameter / 2), (), named, _slots(design))


def around(first: float, count: int) -> list[float]:
    """Angles [rad] of ``count`` things evenly around the circle."""
    return [float(angle) for angle in first + 2 * pi / count * np.arange(count)]


def _slots(design: Design) -> tuple[Slot, ...]:
    found: list[Slot] = []
    for number, spec in enumerate(design.board.slots, start=1):
        radius, half = spec.circle_diameter / 2, (spec.length - spec.width) / 2
        for angle in around(spec.first_angle, spec.count):
            along = (half, 0.0) if spec.direction == "radial" else (0.0, half)
            a, b = (turn((radius + sign * along[0], sign * along[1]), angle) for sign in (-1, 1))
            found.append(Slot(f"S{len(found) + 1}", a, b, spec.width, f"board.slots[{number}]"))
    return tuple(found)


def _tabs(design: Design) -> list[MountingTab]:
    """The mounting tabs of all tables; DesignError where two of them meet."""
    radius = design.board.outer_diameter / 2
    found: list[tuple[MountingTab, int]] = []
    for number, tab in enumerate(design.board.tabs, start=1):
        if tab.width / 2 + ROOT_FILLET / 1e3 > radius / 2:
            rule = f"must be narrower than half of the board, {1e3 * radius:g} mm with the fillets at its root"
            _refuse(design, f"board.tabs[{number}].width_mm", rule, f"{1e3 * tab.width:g}", "make it narrower")
        found += [
            (MountingTab(angle % (2 * pi), tab.width, tab.reach, tab.rounded, ROOT_FILLET / 1e3), number)
            for angle in around(tab.first_angle, tab.count)
        ]
    found.sort(key=lambda pair: pair[0].angle)
    for index, (placed, number) in enumerate(found):
        following, other = found[(index + 1) % len(found)]
        if len(found) < 2:
            break
        apart = (following.angle - placed.angle) % (2 * pi)
        least = placed.half_angle(radius) + following.half_angle(radius)
        if apart < least:
            where = f"{np.degrees(placed.angle):.3g} and {np.degrees(following.angle):.3g} degrees"
            rule = f"must stand {np.degrees(least):.3g} degrees apart, fillets included"
            where += "" if number == other else f" (of board.tabs[{other}])"
            _refuse(design, f"board.tabs[{number}].first_angle_deg", rule, where, "fewer, narrower or other angles")
    return [tab for tab, _ in found]


def _refuse(design: Design, key: str, rule: str, value: str, remedy: str) -> None:
    raise DesignError(design.source, [Complaint(key, rule, value, remedy)])
