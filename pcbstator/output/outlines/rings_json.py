"""Outlines as plain data: rings in mm, holes of a piece apart from its outer ring; pads, holes, edge and terminals."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import shapely
from shapely import LinearRing, Polygon

from pcbstator.copper.geometry.contour import Contour
from pcbstator.output.outlines.drawn_board import DrawnBoard, copper_layer, pad_kind
from pcbstator.output.outlines.marks import mark_places

DIGITS = 6  # after the point, of a millimetre


def rings_json(drawn: DrawnBoard) -> str:
    """All outlines of a board as the text of one JSON object. No ring repeats its first point."""
    board = drawn.board
    data = {
        "title": drawn.title,
        "unit": "mm",
        "tolerance_mm": _millimetres(drawn.tolerance),
        "axes": "seen from the rotor side, x right, y up; the origin is the machine's axis",
        "registration_mm": [[_millimetres(x), _millimetres(y)] for x, y in mark_places(board)],
        "layers": [
            {
                "name": copper_layer(layer.number),
                "layer": layer.number,
                "z_mm": _millimetres(layer.depth),
                "thickness_um": round(1e6 * layer.thickness, DIGITS),
                "nets": [
                    {"net": area.net, "area_mm2": round(1e6 * area.area, DIGITS),
                     "pieces": list(map(_piece, area.pieces))}
                    for area in drawn.areas
                    if area.layer == layer.number
                ],
            }
            for layer in board.layers
        ],
        "pads": _pads(drawn),
        "holes": _holes(drawn),
        "edge": {"outline": _contour(drawn.edges[0], drawn), "cutouts": [_contour(c, drawn) for c in drawn.edges[1:]]},
        "terminals": {
            terminal.name: {"x_mm": _millimetres(terminal.x), "y_mm": _millimetres(terminal.y), "layer": terminal.layer,
                            "net": terminal.net}
            for terminal in board.terminals
        },
    }  # fmt: skip
    return json.dumps(data, allow_nan=False, ensure_ascii=False, separators=(",", ":")) + "\n"


def _piece(piece: Polygon) -> dict[str, Any]:
    return {"outer": _ring(piece.exterior), "holes": [_ring(ring) for ring in piece.interiors]}


def _ring(ring: LinearRing) -> list[list[float]]:
    points: list[list[float]] = (np.round(1e3 * shapely.get_coordinates(ring)[:-1], DIGITS) + 0.0).tolist()
    return points


def _contour(contour: Contour, drawn: DrawnBoard) -> list[list[float]]:
    """An outline of the board as a ring, its chords within the tolerance."""
    points = np.concatenate([part[:-1] for part in contour.polylines(drawn.tolerance)])
    ring: list[list[float]] = (np.round(1e3 * points, DIGITS) + 0.0).tolist()
    return ring


def _pads(drawn: DrawnBoard) -> list[dict[str, Any]]:
    """Of plated holes, which go through all layers, and flat ones."""
    layers = [layer.number for layer in drawn.board.layers]
    found: list[dict[str, Any]] = [
        {
            "kind": pad_kind(hole), "name": hole.pin[1] if hole.pin else "", "net": hole.net, "layers": layers,
            "x_mm": _millimetres(hole.x), "y_mm": _millimetres(hole.y), "diameter_mm": _millimetres(hole.pad),
            "drill_mm": _millimetres(hole.drill),
        }
        for hole in drawn.plated
    ]  # fmt: skip
    for land in drawn.lands:
        size = {"diameter_mm": _millimetres(land.length)}
        if not land.is_round:
            size = {"length_mm": _millimetres(land.length), "width_mm": _millimetres(land.width),
                    "angle_deg": round(float(np.degrees(land.angle)), DIGITS)}  # fmt: skip
        found.append(
            {"kind": "land", "name": f"{land.part}.{land.pin}", "net": land.net, "layers": [land.layer],
             "x_mm": _millimetres(land.x), "y_mm": _millimetres(land.y), **size}
        )  # fmt: skip
    return found


def _holes(drawn: DrawnBoard) -> list[dict[str, Any]]:
    """Every drilled hole; slots are among the cut-outs of the edge."""
    drilled = [(hole.x, hole.y, hole.drill, True) for hole in drawn.plated]
    drilled += [(hole.x, hole.y, hole.diameter, False) for hole in drawn.board.shape.drilled if not hole.plated]
    return [
        {"x_mm": _millimetres(x), "y_mm": _millimetres(y), "diameter_mm": _millimetres(d), "plated": plated}
        for x, y, d, plated in drilled
    ]


def _millimetres(length: float) -> float:
    return round(1e3 * length, DIGITS) + 0.0
