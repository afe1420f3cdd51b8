"""Holes against the copper around them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely
from numpy.typing import NDArray

from pcbstator.findings import Finding
from pcbstator.verify.connected import ConnectedCopper, barrel, bored
from pcbstator.verify.records import WrittenBoard
from pcbstator.verify.wording import place, written

RIM = 0.005  # mm: copper must reach so far beyond a plated hole to count as a ring
WHOLE = 0.98  # of the way round


def ring_parts(copper: ConnectedCopper) -> dict[int, NDArray[np.float64]]:
    """How much of the way round each plated hole has copper, by layer: 0 none, 1 a whole ring."""
    rims = np.asarray(shapely.get_exterior_ring(bored(copper.holes, RIM)))
    return {int(layer): _layer_parts(copper, int(layer), rims) for layer in np.unique(copper.layers)}


def _layer_parts(copper: ConnectedCopper, layer: int, rims: NDArray[np.object_]) -> NDArray[np.float64]:
    parts = np.zeros(len(rims))
    if not len(rims):
        return parts
    members = np.flatnonzero(copper.layers == layer)
    hole, piece = shapely.STRtree(copper.pieces[members]).query(rims, predicate="intersects")
    inside = shapely.covers(copper.pieces[members[piece]], rims[hole])
    parts[hole[inside]] = 1.0
    for index, at in zip(hole[~inside], piece[~inside], strict=True):
        shared = rims[index].intersection(copper.pieces[members[at]]).length / rims[index].length
        parts[index] = min(1.0, parts[index] + shared)
    return parts


def hole_findings(
    board: WrittenBoard, copper: ConnectedCopper, rings: Mapping[int, NDArray[np.float64]]
) -> list[Finding]:
    """verify.hole: plated holes without copper or with a broken ring, unplated holes through copper.

    rings: ring_parts of every layer.
    """
    findings = []
    for index, hole in enumerate(copper.holes):
        x, y = (float(value) for value in hole.path.mean(axis=0))
        parts = {n: float(rings[n][index]) for n in range(hole.first, hole.last + 1) if n in rings}
        if max(parts.values(), default=0.0) == 0.0:
            where = place(x, y)
            message = f"the plated hole of {hole.diameter:.3g} mm at {where} meets no copper on any layer"
            findings.append(written("verify.hole", message, where))
            continue
        broken = {number: part for number, part in parts.items() if 0 < part < WHOLE}
        if broken:
            number = min(broken, key=lambda n: broken[n])
            where = place(x, y, number)
            message = (
                f"the plated hole of {hole.diameter:.3g} mm at {where} breaks out of its copper: "
                f"{100 * broken[number]:.0f} % of its ring is there"
            )
            findings.append(written("verify.hole", message, where, value=broken[number]))
    return findings + _unplated(board)


def _unplated(board: WrittenBoard) -> list[Finding]:
    findings = []
    for hole in board.holes:
        if hole.plated is not False:
            continue
        drilled = barrel(hole)
        for layer in board.layers:
            if drilled.intersects(layer.copper):
                x, y = (float(value) for value in hole.path.mean(axis=0))
                where = place(x, y, layer.number)
                message = f"the unplated hole of {hole.diameter:.3g} mm at {where} goes through copper"
                findings.append(written("verify.hole", message, where))
                break
    return findings
