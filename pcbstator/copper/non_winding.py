"""Copper that is not winding: pads of holes, lands of a thermistor with their leads."""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, cos, hypot, pi, sin
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import Polygon, affinity
from shapely.geometry.base import BaseGeometry

from pcbstator.copper.geometry.board_shape import Hole
from pcbstator.copper.geometry.contour import Place, turn
from pcbstator.copper.geometry.tracks import FloatArray, Track

if TYPE_CHECKING:
    from pcbstator.design import Design

MASK_EXPANSION = 0.05e-3  # m; an opening of the mask is this much wider than its pad all round (common practice)
CHIP_TABLE = "board.thermistor"  # where the design file has it
CHIP, WIRES = "RT1", "J2"  # reference designators of the thermistor and of the pads for its wires

# Lands for reflow at the middle density: length along the chip, width across it, pitch [m]. IPC-7351 (B), from memory.
LANDS = {
    "0402": (0.60e-3, 0.60e-3, 1.00e-3),
    "0603": (0.95e-3, 1.00e-3, 1.60e-3),
    "0805": (1.15e-3, 1.45e-3, 1.90e-3),
    "1206": (1.15e-3, 1.80e-3, 2.90e-3),
}
CHIP_HEIGHT = 0.95e-3  # m; the tallest common chip thermistor up to 1206 with its solder (from memory)


@dataclass(frozen=True)
class Land:
    """Flat copper on one face for a part or a wire: middle, length and width [m], turned by ``angle`` [rad].

    A round one has its diameter as length and width. pin: from 1; name: of the net and, for a wire, of the pad.
    """

    part: str
    pin: int
    net: str
    layer: int
    x: float
    y: float
    length: float
    width: float
    angle: float = 0.0
    is_round: bool = False

    def area(self, wider: float = 0.0) -> BaseGeometry:
        """The copper as a shape, ``wider`` [m] all round (with square corners)."""
        if self.is_round:
            return shapely.Point(self.x, self.y).buffer(self.length / 2 + wider, quad_segs=64)
        flat = shapely.box(-self.length / 2 - wider, -self.width / 2 - wider,
                           self.length / 2 + wider, self.width / 2 + wider)  # fmt: skip
        turned = affinity.rotate(flat, self.angle, origin=(0, 0), use_radians=True)
        placed: Polygon = affinity.translate(turned, self.x, self.y)
        return placed


@dataclass(frozen=True, eq=False)
class NonWindingCopper:
    """Lands and leads; the holes with pads are the board's own."""

    lands: tuple[Land, ...] = ()
    tracks: tuple[Track, ...] = ()
    holes: tuple[Hole, ...] = ()


def lay_non_winding(design: Design) -> NonWindingCopper:
    """The thermistor's lands, its leads and the pads or holes for its wires."""
    chip, board = design.board.thermistor, design.board
    if chip is None:
        return NonWindingCopper()
    length, width, pitch = LANDS[chip.size]
    if chip.land_length is not None and chip.land_width is not None and chip.land_pitch is not None:
        length, width, pitch = chip.land_length, chip.land_width, chip.land_pitch
    radius, tangential = chip.circle_diameter / 2, chip.direction == "tangential"
    size, gap, layer = board.terminal_pad, board.track_gap, board.layers
    spread = max(pitch if tangential else 0.0, size + max(gap, board.rules.mask_web + 2 * MASK_EXPANSION))
    wire_radius = _wire_radius(design, radius, width if tangential else pitch + length, spread)
    away = 1.0 if wire_radius >= radius else -1.0
    half = asin(min(spread / 2 / wire_radius, 1.0)) if wire_radius > 0 else 0.0
    lands, tracks, holes = [], [], []
    for pin, sign in ((1, 1.0), (2, -1.0)):  # pin 1 on the counter-clockwise side, or towards the wires
        flat = (radius, sign * pitch / 2) if tangential else (radius + away * sign * pitch / 2, 0.0)
        net = f"T{pin}"
        x, y = turn(flat, chip.angle)
        lands.append(Land(CHIP, pin, net, layer, x, y, length, width, chip.angle + (pi / 2 if tangential else 0.0)))
        pad = wire_radius * cos(half), sign * wire_radius * sin(half)
        px, py = turn(pad, chip.angle)
        if chip.wires == "pads":
            lands.append(Land(WIRES, pin, net, layer, px, py, size, size, is_round=True))
        else:
            drill = board.terminal_drill
            holes.append(Hole(net, px, py, drill, True, size, net, CHIP_TABLE, WIRES, pin))
        lead = [flat, pad] if tangential or pin == 1 else _round_the_chip(flat, pad, width, board.track_width, gap)
        points = np.array([turn(place, chip.angle) for place in lead])
        tracks.append(_lead(layer, points, board.track_width, net))
    return NonWindingCopper(tuple(lands), tuple(tracks), tuple(holes))


def _lead(layer: int, points: FloatArray, width: float, net: str) -> Track:
    return Track(layer, points, width, net, "", "lead")


def _wire_radius(design: Design, radius: float, across: float, spread: float) -> float:
    """Radius [m] of the wires' pads: as stated, or beside the lands towards the edge that is nearer."""
    board, chip = design.board, design.board.thermistor
    assert chip is not None
    if chip.wire_circle_diameter is not None:
        return chip.wire_circle_diameter / 2
    gap = max(board.track_gap, board.rules.mask_web + 2 * MASK_EXPANSION)
    step = across / 2 + gap + board.terminal_pad / 2
    middle = (board.inner_diameter + board.outer_diameter) / 4
    return hypot(radius + step if radius >= middle else max(radius - step, 0.0), spread / 2)


def _round_the_chip(land: Place, pad: Place, width: float, track: float, gap: float) -> list[Place]:
    """The lead from the far land of a radial chip past the near one."""
    side = -(width / 2 + gap + track / 2)
    return [land, (land[0], side), (pad[0], side), pad] if pad[1] > side else [land, (land[0], pad[1]), pad]
