"""Inductance of drawn copper summed over all pairs of its pieces; owes nothing to ``analysis.electrical.inductance``.

The copper is what is drawn (``placed_coil`` and ``interconnects``), each piece once; the current in it comes from a
walk along every path. Pieces that are far from each other count as points, near ones as a filament each, or two if they
are wide, those beside each other as filaments across their width. Filaments and bars are exact laws, held against
printed values in tests/physics.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.spatial import cKDTree

from pcbstator.constants import MU_0
from pcbstator.copper import CoilVisit, Pin, TileJumper, Track
from pcbstator.physics.inductance.closed_forms import bar_self_inductance, filament_mutual_inductance
from pcbstator.physics.inductance.strips import unclosed_part

LONGEST = 1.0e-3  # pieces, if they are no wider than twice this [m]
FAR = 3.5  # lengths of the longest: from here on they are points
BESIDE = 2.2  # widths, and the length of the longest: from here on they are lines; half of it where those are two
SAGITTA = 10e-6  # by which a piece may leave the curve that it stands for [m]
ACROSS = 3  # filaments at least, one more of the other piece, so that none lie in one line
BLOCK = 60_000


@dataclass
class Pieces:
    """Straight pieces: starts and ends (n, 3), widths, thicknesses (n,) [m], currents per ampere of a phase (N, n)."""

    starts: np.ndarray
    ends: np.ndarray
    widths: np.ndarray
    thicknesses: np.ndarray
    currents: np.ndarray


def _place(point):
    return round(float(point[0]) * 1e8), round(float(point[1]) * 1e8)


def walked_currents(copper, patterns):
    """Current in every drawn inter-coil connection, in the direction in which it is drawn, and in every coil, from
    start to finish, per ampere of every phase (phases, interconnects) and (phases, coils); patterns: the same in every
    path (phases, paths).
    """
    ends = [
        (interconnect.layer, _place(interconnect.points[0]), _place(interconnect.points[-1]))
        for interconnect in copper.interconnects
    ]
    assert len({(layer, *sorted(both)) for layer, *both in ends}) == len(ends)  # none is drawn twice
    drawn = {key: (index, 1) for index, key in enumerate(ends)}
    drawn |= {(layer, last, first): (index, -1) for index, (layer, first, last) in enumerate(ends)}
    in_interconnects = np.zeros((len(patterns), len(ends)))
    in_coils = np.zeros((len(patterns), len(copper.coil_angles)))
    paths = [path for phase in copper.phases for path in phase.paths]
    for path, pattern in zip(paths, patterns.T, strict=True):
        for step in path.steps:
            if isinstance(step, CoilVisit):
                in_coils[:, step.coil] += pattern if step.forward else -pattern
            elif isinstance(step, Track):
                index, sense = drawn[step.layer, _place(step.points[0]), _place(step.points[-1])]
                in_interconnects[:, index] += sense * pattern
            else:
                assert isinstance(step, (Pin, TileJumper))  # wires are left out
    return in_interconnects, in_coils


def drawn_pieces(copper, patterns):
    """All copper that carries current, each piece once."""
    in_interconnects, in_coils = walked_currents(copper, patterns)
    tracks = [(track, current) for index, current in enumerate(in_coils.T) for track in copper.placed_coil(index, True)]
    tracks += [
        (interconnect, current)
        for interconnect, current in zip(copper.interconnects, in_interconnects.T, strict=True)
        if current.any()
    ]
    parts, longest = [], max(LONGEST, *(track.width / 2 for track, _ in tracks))
    for track, current in tracks:
        layer = copper.layers[track.layer - 1]
        for first, last in _chords(track.points, longest):
            count = int(np.ceil(np.hypot(*(track.points[last] - track.points[first])) / longest))
            ends = np.linspace(track.points[first], track.points[last], count + 1)
            ends = np.column_stack([ends, np.full(count + 1, layer.depth)])
            width = track.piece_widths[first:last].mean()
            parts += [(a, b, width, layer.thickness, current) for a, b in pairwise(ends)]
    starts, ends, widths, thicknesses, currents = (np.array(column) for column in zip(*parts, strict=True))
    return Pieces(starts, ends, widths, thicknesses, currents.T)


def _chords(points, longest):
    """First and last point of the chords that stand for a polyline."""
    first, last = 0, 1
    while last < len(points):
        ahead = last + 1
        if ahead < len(points):
            chord = points[ahead] - points[first]
            length = np.hypot(*chord)
            off = points[first + 1 : ahead] - points[first]
            if length <= longest and np.abs(off[:, 0] * chord[1] - off[:, 1] * chord[0]).max() <= SAGITTA * length:
                last = ahead
                continue
        yield first, last
        first, last = last, last + 1


def pair_sum_matrix(pieces, images=()):
    """Inductances (N, N) [H]; images: sign, shift and strength of what mirrors in iron. Between two irons without what
    their reflections see of a phase that is not closed, whose sum would have no end.
    """
    total = _pairs(pieces, 1.0, 0.0)
    for sign, shift, strength in images:
        total = total + strength * _pairs(pieces, sign, shift)
    moments, size = pieces.currents @ (pieces.ends - pieces.starts)[:, :2], float(np.ptp(pieces.starts[:, 0]))
    return (total + total.T) / 2 - unclosed_part(moments, images, size)


def _pairs(pieces, sign, shift):
    """All pieces with all, or with all of their images."""
    mirror, lift = np.array([1.0, 1.0, sign]), np.array([0.0, 0.0, shift])
    own = (sign, shift) == (1.0, 0.0)
    middles, moments = (pieces.starts + pieces.ends) / 2, (pieces.ends - pieces.starts)[:, :2]
    longest, widest = np.hypot(*moments.T).max(), pieces.widths.max()
    away = 1 + (widest > LONGEST)  # wide ones are two each even from far
    beside = longest + BESIDE * widest / away
    far = max(FAR * longest, beside)
    total = np.zeros((len(pieces.currents),) * 2)
    for first in range(0, len(middles), 400):
        rows = slice(first, first + 400)
        inverse = _inverse_distances(pieces, rows, away, mirror, lift, far) * (moments[rows] @ moments.T)
        total += MU_0 / (4 * np.pi) * pieces.currents[:, rows] @ inverse @ pieces.currents.T
    near = cKDTree(middles).sparse_distance_matrix(cKDTree(middles * mirror + lift), far, output_type="ndarray")
    near = near[near["i"] < near["j"]] if own else near
    across = max(ACROSS, int(np.ceil(widest / LONGEST)) + 1)
    for pairs, filaments in ((near[near["v"] >= beside], away), (near[near["v"] < beside], across)):
        for first in range(0, len(pairs), BLOCK):
            i, j = pairs["i"][first : first + BLOCK], pairs["j"][first : first + BLOCK]
            values = _mutual(pieces, i, j, filaments, mirror, lift)
            both = (pieces.currents[:, i] * values) @ pieces.currents[:, j].T
            total += both + both.T if own else both
    if own:
        bars = bar_self_inductance(np.hypot(*moments.T), pieces.widths, pieces.thicknesses)
        total += (pieces.currents * bars) @ pieces.currents.T
    return total


def _inverse_distances(pieces, rows, points, mirror, lift, far):
    """Mean 1 / R between some pieces and all, as so many points across each; nought for those nearer than ``far``."""
    nodes, weights = np.polynomial.legendre.leggauss(points)
    every = np.arange(len(pieces.widths))
    places = [sum(_filament(pieces, every, node)) / 2 for node in nodes]
    total = 0.0
    for place, weight in zip(places, weights / 2, strict=True):
        for other, share in zip(places, weights / 2, strict=True):
            squares = ((place[rows, None] - (other * mirror + lift)) ** 2).sum(-1)
            total = total + weight * share / np.sqrt(np.maximum(squares, 1e-12))
    middles = (pieces.starts + pieces.ends) / 2
    squares = ((middles[rows, None] - (middles * mirror + lift)) ** 2).sum(-1)
    return np.where(squares > far**2, total, 0.0)


def _mutual(pieces, i, j, across, mirror, lift):
    """Of pairs of pieces, as filaments at the Gauss nodes across their widths."""
    total = 0.0
    for node, weight in zip(*np.polynomial.legendre.leggauss(across), strict=True):
        ours = _filament(pieces, i, node)
        more = across + (across > 1)
        for other, share in zip(*np.polynomial.legendre.leggauss(more), strict=True):
            theirs = (end * mirror + lift for end in _filament(pieces, j, other))
            total = total + weight * share / 4 * filament_mutual_inductance(*ours, *theirs)
    return total


def _filament(pieces, which, node):
    """Starts and ends of filaments so far from the middle, in half widths."""
    along = pieces.ends[which] - pieces.starts[which]
    aside = np.column_stack([-along[:, 1], along[:, 0], np.zeros(len(along))]) / np.hypot(*along.T[:2])[:, None]
    aside *= node * pieces.widths[which, None] / 2
    return pieces.starts[which] + aside, pieces.ends[which] + aside
