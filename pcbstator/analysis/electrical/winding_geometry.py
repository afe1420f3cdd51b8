"""The winding as angles and lengths: coil span, fill factor of the layers, end windings. From the copper as drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import pi, sqrt
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.copper import Copper, TileJumper, Track

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


def coil_span(tracks: Sequence[Track], radius: float) -> float:
    """Angle [rad] between the two sides of a coil where they cross a circle about the machine's axis.

    tracks: of a spiral coil, from start to finish counter-clockwise; radius: of the circle [m]. A side is where the
    current goes outwards or inwards across the circle, its place the mean over its turns. 0 where nothing crosses.
    """
    turn, crossings = 0.0, 0
    for track in tracks:
        places, outwards = _crossings(_complex(track.shape), radius)
        turn -= float((np.angle(places) * outwards).sum()) + track.turn * float(outwards.sum())
        crossings += len(places)
    return 2 * turn / crossings if crossings else 0.0


def _crossings(line: ComplexArray, radius: float) -> tuple[ComplexArray, FloatArray]:
    """Where a line x + iy [m] crosses a circle, and whether outwards (1) or inwards (-1)."""
    beyond = np.abs(line) > radius
    before = np.flatnonzero(beyond[1:] != beyond[:-1])
    outwards = np.where(beyond[before], -1.0, 1.0)
    start, step = line[before], line[before + 1] - line[before]
    a, b = np.abs(step) ** 2, (start * step.conj()).real  # |start + t step|^2 = radius^2
    t = (outwards * np.sqrt(b**2 - a * (np.abs(start) ** 2 - radius**2)) - b) / a
    return start + t * step, outwards


def span_of_coils(design: SizedDesign, copper: Copper) -> float:
    """Coil span [rad] at the mean copper radius; of a wave winding, whose conductors lie a pole apart, the pole pitch.

    The first pair of layers stands for all of a coil: they differ by their leads only.
    """
    if design.winding.kind == "wave":
        return 2 * pi / design.rotor.poles
    board = design.board
    return coil_span(copper.coil.tracks[:2], (board.copper_inner_diameter + board.copper_outer_diameter) / 4)


def fill_factor(areas: Mapping[int, float], layers: set[int], inner: float, outer: float) -> float:
    """Copper area of a layer over the area of the copper's annulus, mean of some layers.

    areas: of the copper of every layer [m2]; layers: that count; inner, outer: radii of the annulus [m].

    >>> round(fill_factor({1: 1.5 * pi, 2: 0.0}, {1}, 1.0, 2.0), 9)
    0.5
    """
    return sum(areas[layer] for layer in layers) / len(layers) / (pi * (outer**2 - inner**2))


def winding_fill_factor(design: SizedDesign, copper: Copper, areas: Mapping[int, float]) -> float:
    """Fill factor of the layers that carry coils; areas: of the copper of every layer of one board [m2]."""
    board, used = design.board, {track.layer for track, _ in copper.board.template_tracks}
    return fill_factor(areas, used, board.copper_inner_diameter / 2, board.copper_outer_diameter / 2)


def length_along_circle(points: FloatArray) -> float:
    """Length [m] of the pieces of a line that run more along the circle than along the radius; points: (n, 2) [m].

    >>> side, arc = [[1.0, 0.0], [2.0, 0.0]], [[2 * np.cos(a), 2 * np.sin(a)] for a in np.linspace(0, 0.5, 100)[1:]]
    >>> round(length_along_circle(np.array(side + arc)), 4)
    1.0
    """
    line = _complex(points)
    lengths = np.abs(np.diff(line))
    return float(lengths[np.abs(np.diff(np.abs(line))) < lengths / sqrt(2)].sum())


def end_winding_length(copper: Copper) -> float:
    """Length [m] of the end windings along a path of a phase, mean of all paths.

    What counts is every piece of a track, inter-coil connections and tile jumpers included, that runs more along the
    circle than along the radius: the arcs of spirals, the end windings of wave windings. Vias and pins do not count.
    """
    walked, known = copper.current_paths, dict[int, float]()

    def along(track: Track) -> float:
        return known.setdefault(id(track.shape), length_along_circle(track.shape))

    templates = np.array([sum(along(track) for track in coil.tracks) for coil, _ in copper.templates])
    coils = templates[np.array(copper.coil_templates or (0,) * len(copper.coil_angles))]
    tracks = np.array([along(track) for track in walked.tracks])
    jumpers = [
        length_along_circle(np.array([piece.start, piece.end])) if isinstance(piece, TileJumper) else 0.0
        for piece in walked.transitions
    ]
    paths = np.abs(walked.coils) @ coils + np.abs(walked.through) @ tracks + np.abs(walked.across) @ np.array(jumpers)
    return float(paths.mean())


def _complex(points: FloatArray) -> ComplexArray:
    """Points (n, 2) as x + iy."""
    return np.asarray(points[:, 0] + 1j * points[:, 1])
