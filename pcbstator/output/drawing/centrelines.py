"""The centre-lines of the conductors as plain data, for a field solver or a plot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from pcbstator.copper import CoilVisit, Copper, Path, Point, Track


def centrelines(copper: Copper, shares: Sequence[Sequence[float]]) -> dict[str, Any]:
    """Phases with their paths of tracks, in the order and direction of positive current, and all vias.

    shares: of the phase current in every path of every phase.
    """
    return {
        "phases": [
            {
                "name": phase.name,
                "terminal": _point(phase.terminal),
                "end": _point(phase.end),
                "paths": [_path(copper, path, share) for path, share in zip(phase.paths, own, strict=True)],
            }
            for phase, own in zip(copper.phases, shares, strict=True)
        ],
        "vias": [
            {
                "x_mm": _millimetres(via.x),
                "y_mm": _millimetres(via.y),
                "drill_mm": _millimetres(via.drill),
                "from_layer": via.from_layer,
                "to_layer": via.to_layer,
                "net": via.net,
            }
            for via in copper.vias
        ],
    }


def _path(copper: Copper, path: Path, share: float) -> dict[str, Any]:
    tracks: list[Track] = []
    for step in path.steps:
        if isinstance(step, CoilVisit):
            tracks += copper.placed_coil(step.coil, step.forward)
        elif isinstance(step, Track):
            tracks.append(step)
    layers = {layer.number: layer for layer in copper.layers}
    return {
        "share": share,
        "tracks": [
            {
                "layer": track.layer,
                "z_mm": _millimetres(layers[track.layer].depth),
                "width_mm": _width(track),
                "thickness_um": round(1e6 * layers[track.layer].thickness, 6),
                "points_mm": np.round(1e3 * track.points, 6).tolist(),
            }
            for track in tracks
        ],
    }


def _width(track: Track) -> float | list[float]:
    """One number, or one per point where the width varies."""
    if track.widths is None:
        return _millimetres(track.width)
    return [_millimetres(float(width)) for width in track.widths]


def _point(point: Point) -> dict[str, float]:
    return {"x_mm": _millimetres(point.x), "y_mm": _millimetres(point.y), "layer": point.layer}


def _millimetres(length: float) -> float:
    return round(1e3 * length, 6)
