"""Inductance of the phases over the real tracks, with the images of the iron behind the magnets.

All copper goes onto one coarse grid, on which every pair of currents is summed by Fourier transforms: cost grows with
the vertices, not with their square. What a coarse grid does not resolve is how a coil sees itself; all coils are the
same, so one coil on a fine grid puts that right for all of them.
"""

from __future__ import annotations

from math import cos
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.copper import CoilVisit, Copper, Track
from pcbstator.physics.track_inductance import (
    Image,
    Strips,
    cell_for,
    iron_images,
    joined_strips,
    strips_along,
    track_inductance_matrix,
)
from pcbstator.predict.current_paths import phase_angle

if TYPE_CHECKING:
    from pcbstator.design import Design

COARSE = 1.5  # cells of the coarse grid per track pitch
COARSE_CELLS = 320  # most cells along one side of the coarse grid

FloatArray = NDArray[np.float64]


def iron_faces(design: Design) -> tuple[Image, ...]:
    """Images in the iron faces next to the board: behind the magnets, above and for a double rotor also below."""
    rotor = design.rotor
    if rotor.back_iron == 0:
        return ()
    height = rotor.air_gap + rotor.magnet.thickness
    planes = [height]
    if rotor.arrangement == "double":
        planes.append(-design.stator_thickness - height)
    return iron_images(planes)


def inductance_matrix(design: Design, copper: Copper) -> FloatArray:
    """Self and mutual inductances (phases, phases) [H], vias left out."""
    strips, currents = _all_copper(copper)
    images = iron_faces(design)
    pitch = design.board.track_width + design.board.track_gap
    cell = max(COARSE * pitch, design.board.copper_outer_diameter / COARSE_CELLS)
    whole = track_inductance_matrix(strips, currents, cell, images)
    return np.asarray(whole + _lack(design, copper, strips, currents, cell))


def inductance_figures(design: Design, copper: Copper) -> dict[str, Any]:
    """The inductances of ``ElectricalResult``."""
    matrix = inductance_matrix(design, copper)
    phases = len(matrix)
    own = float(np.trace(matrix)) / phases
    return {
        "phase_inductance": own,
        "mutual_inductance": (float(matrix.sum()) / phases - own) / (phases - 1),
        "synchronous_inductance": synchronous_inductance(matrix),
        "inductance_matrix": tuple(tuple(row) for row in matrix.tolist()),
    }


def _lack(design: Design, copper: Copper, strips: Strips, currents: FloatArray, cell: float) -> FloatArray:
    """What the grid of this cell [m] misses of how near copper sees itself (phases, phases) [H]."""
    if copper.alike:
        lack = coil_inductance(design, copper) - coil_inductance(design, copper, cell)
        shares = np.array([phase.paths[0].share for phase in copper.phases])
        return np.diag(len(copper.coil_angles) / len(copper.phases) * shares**2 * lack)
    # A wave winding is the same under every pair of poles but for its links: one of them stands for all.
    pole_pairs = design.rotor.poles // 2
    middle = (strips.starts + strips.ends) / 2
    number = np.floor(np.arctan2(middle[:, 1], middle[:, 0]) % (2 * np.pi) * pole_pairs / (2 * np.pi))
    own = number == pole_pairs // 2  # half a turn away from where the cuts begin
    part = Strips(strips.starts[own], strips.ends[own], strips.width[own], strips.thickness[own])
    images = iron_faces(design)
    fine = track_inductance_matrix(part, currents[:, own], cell_for(part), images)
    return np.asarray(pole_pairs * (fine - track_inductance_matrix(part, currents[:, own], cell, images)))


def coil_inductance(design: Design, copper: Copper, cell: float | None = None) -> float:
    """Self inductance [H] of one coil, on a grid of this cell [m]."""
    coil = joined_strips([_strips(copper, track) for track in copper.coil.tracks])
    ones = np.ones((1, len(coil.lengths)))
    return float(track_inductance_matrix(coil, ones, cell or cell_for(coil), iron_faces(design))[0, 0])


def synchronous_inductance(matrix: FloatArray) -> float:
    """Inductance [H] of a phase when all carry balanced sine currents: self minus mutual for three phases."""
    count = len(matrix)
    following = [
        matrix[a, (a + k) % count] * cos(phase_angle((a + k) % count, count) - phase_angle(a, count))
        for a in range(count)
        for k in range(count)
    ]
    return float(sum(following)) / count


def _strips(copper: Copper, track: Track) -> Strips:
    layer = copper.layers[track.layer - 1]
    return strips_along(track.points, layer.depth, track.piece_widths, layer.thickness)


def _all_copper(copper: Copper) -> tuple[Strips, FloatArray]:
    """Every strip that carries current, and its current per ampere of every phase (phases, strips)."""
    coils = {id(coil): joined_strips([_strips(copper, t) for t in coil.tracks]) for coil, _ in copper.templates}
    parts: list[Strips] = []
    rows: list[tuple[int, int, float]] = []

    def add(strips: Strips, phase: int, share: float) -> None:
        parts.append(strips)
        rows.append((phase, len(strips.lengths), share))

    for index, phase in enumerate(copper.phases):
        for path in phase.paths:
            for step in path.steps:
                if isinstance(step, CoilVisit):
                    turned = _turned(coils[id(copper.template(step.coil))], float(copper.coil_angles[step.coil]))
                    add(turned, index, path.share if step.forward else -path.share)
                elif isinstance(step, Track):
                    add(_strips(copper, step), index, path.share)
    currents = np.zeros((len(copper.phases), sum(count for _, count, _ in rows)))
    begin = 0
    for index, count, share in rows:
        currents[index, begin : begin + count] = share
        begin += count
    return joined_strips(parts), currents


def _turned(strips: Strips, angle: float) -> Strips:
    """Strips turned about the board's centre."""
    turn = np.array([[np.cos(angle), np.sin(angle), 0.0], [-np.sin(angle), np.cos(angle), 0.0], [0.0, 0.0, 1.0]])
    return Strips(strips.starts @ turn, strips.ends @ turn, strips.width, strips.thickness)
