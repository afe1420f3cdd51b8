"""Flux linkage of tracks in a turning ring field, straight from the drawn centre-lines.

For flat copper at one depth, dpsi/dalpha = ∮ r·B_z(r, theta − alpha) dr along the path (Green's theorem on
psi = ∬ B_z r dr dtheta over a counter-clockwise loop), and r·dr = x·dx + y·dy. With
B_z = Σ B_n·cos(n·p·(theta − alpha)) this is

    psi(alpha) = Σ Re[Λ_n·exp(−i·n·p·alpha)],   Λ_n = i/(n·p) · ∮ B_n(r)·exp(i·n·p·theta)·(x·dx + y·dy).

psi is the flux through the loop along +z, counted for current that runs counter-clockwise; an open path gives its
share of the alternating part.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.magnet_ring import RingField

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Integers = NDArray[np.integer]

PIECE = 1.0  # longest piece of a segment, in units of its distance from the magnets
GAUSS = 2  # points per piece
SHARPEST = 0.5  # 1 + cos of the sharpest corner (120 degrees) whose mitre is taken in full


@dataclass(frozen=True, eq=False)
class LinkedTrack:
    """A strip of copper as the field sees it.

    points: (n, 2) centre-line in the direction of current [m]. width: one, or one per point [m].
    distance_index: which of the field's distances it lies at. weight: factor on its linkage, for the sense or the share
    of the current [-].
    """

    points: FloatArray
    width: float | FloatArray
    distance_index: int
    weight: float = 1.0


def path_linkage_harmonics(
    points: FloatArray, width: float, field: RingField, distance_index: int, filaments: int = 2
) -> ComplexArray:
    """Harmonics of the flux linkage of one track.

    points: (n, 2) centre-line [m]. width: of the copper, with its current spread evenly [m]. field: of the magnets [T].
    distance_index: which of the field's distances [-]. filaments: Gauss points across the width [-].
    Returns complex (orders,) [Wb]: psi(alpha) = Σ Re[Λ_n·exp(−i·n·p·alpha)].
    Copper outside the field's radii: LawRangeError. Derived here.

    >>> from pcbstator.physics.magnetics.field_layers import MagnetLayers
    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> from pcbstator.physics.magnetics.magnet_ring import ring_field
    >>> ring = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12)
    >>> field = ring_field(ring, 6, MagnetLayers(0.003, 1.3), 0.018, 0.037, np.array([0.001]))
    >>> loop = np.array([[0.022, -0.005], [0.033, -0.006], [0.033, 0.006], [0.022, 0.005], [0.022, -0.005]])
    >>> bool(path_linkage_harmonics(loop, 0.0, field, 0)[0].real < 0.0)  # the magnet at angle 0 points down
    True
    """
    return tracks_linkage_harmonics([LinkedTrack(points, width, distance_index)], field, filaments)


def tracks_linkage_harmonics(tracks: Sequence[LinkedTrack], field: RingField, filaments: int = 2) -> ComplexArray:
    """Harmonics of the flux linkage of many tracks in series, all at once.

    tracks: any number of LinkedTrack [m]. field: a RingField that reaches a track width beyond every centre-line [T].
    filaments: Gauss points across the width [-]. Returns complex (orders,) [Wb], summed with the tracks' weights:
    psi(alpha) = Σ Re[Λ_n·exp(−i·n·p·alpha)]. Error below 1e-4 of the fundamental.
    Copper outside the field's radii: LawRangeError. Derived here.

    >>> from pcbstator.physics.magnetics.field_layers import MagnetLayers
    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> from pcbstator.physics.magnetics.magnet_ring import ring_field
    >>> ring = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12)
    >>> field = ring_field(ring, 6, MagnetLayers(0.003, 1.3), 0.018, 0.037, np.array([0.001]))
    >>> run = np.array([[0.022, 0.0], [0.033, 0.0]])
    >>> there_and_back = [LinkedTrack(run, 0.0, 0), LinkedTrack(run[::-1], 0.0, 0)]
    >>> bool(abs(tracks_linkage_harmonics(there_and_back, field)).max() < 1e-15)
    True
    """
    return np.asarray(each_track_linkage_harmonics(tracks, field, filaments).sum(axis=0))


def each_track_linkage_harmonics(tracks: Sequence[LinkedTrack], field: RingField, filaments: int = 2) -> ComplexArray:
    """Harmonics of the flux linkage of every track by itself, all at once.

    tracks, field, filaments: as of tracks_linkage_harmonics [m, T, -]. Returns complex (tracks, orders) [Wb], times the
    tracks' weights. Copper outside the field's radii: LawRangeError. Derived here.

    >>> from pcbstator.physics.magnetics.field_layers import MagnetLayers
    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> from pcbstator.physics.magnetics.magnet_ring import ring_field
    >>> ring = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12)
    >>> field = ring_field(ring, 6, MagnetLayers(0.003, 1.3), 0.018, 0.037, np.array([0.001]))
    >>> run = np.array([[0.022, 0.0], [0.033, 0.0]])
    >>> there, back = each_track_linkage_harmonics([LinkedTrack(run, 0.0, 0), LinkedTrack(run[::-1], 0.0, 0)], field)
    >>> bool(abs(there + back).max() < 1e-15 < abs(there).max())
    True
    """
    if not tracks:
        return np.zeros((0, len(field.orders)), complex)
    z, moment, index, owner = _quadrature_points(tracks, field, filaments)
    first = np.flatnonzero(np.diff(owner, prepend=-1))  # of each track with copper: some may have no length
    sums = np.zeros((len(tracks), len(field.orders)), complex)
    sums[owner[first]] = _moments(z, moment, index, field, first)
    return np.asarray(sums * (1j / (field.orders * field.pole_pairs)), complex)


def linkage_waveform(
    harmonics: ComplexArray, orders: Integers, pole_pairs: int, rotor_angles: FloatArray
) -> FloatArray:
    """Flux linkage over rotor angle from its harmonics.

    harmonics: complex (orders,) [Wb]. orders: (orders,) [-]. pole_pairs: p [-]. rotor_angles: (A,) mechanical [rad].
    Returns (A,) [Wb]. Derived here.

    >>> linkage_waveform(np.array([1e-3 + 0j]), np.array([1]), 6, np.array([0.0, np.pi / 6])).tolist()
    [0.001, -0.001]
    """
    turn = np.exp(-1j * pole_pairs * np.multiply.outer(rotor_angles, orders))
    return np.asarray((turn @ harmonics).real)


def _quadrature_points(
    tracks: Sequence[LinkedTrack], field: RingField, filaments: int
) -> tuple[ComplexArray, FloatArray, Integers, Integers]:
    """All quadrature points (points beside each other, pieces): x + iy [m] and weight times x·dx + y·dy [m²]; and of
    every piece the index of the distance and the track.
    """
    counts = np.array([len(track.points) for track in tracks])
    if int(counts.min()) < 2:
        raise LawRangeError(f"a track needs at least two points, got {int(counts.min())}")
    points = np.concatenate([track.points for track in tracks], dtype=float).view(complex).ravel()
    if any(isinstance(track.width, np.ndarray) for track in tracks):
        width = np.concatenate([np.broadcast_to(t.width, count) for t, count in zip(tracks, counts, strict=True)])
    else:
        width = np.repeat(np.array([track.width for track in tracks], float), counts)
    weight = np.repeat([track.weight for track in tracks], counts)
    index = np.repeat([track.distance_index for track in tracks], counts)
    step = np.diff(points)
    step[np.cumsum(counts[:-1]) - 1] = 0.0  # from one track's end to the next one's start there is no copper
    length = np.sqrt(step.real**2 + step.imag**2)
    copper = np.flatnonzero(length)

    across, share = _gauss(filaments if float(width.max()) > 0.0 else 1)
    lines = points + across[:, None] * (width / 2.0 * _mitres(step, length))
    pieces = np.ceil(length[copper] / (PIECE * field.distances[index[copper]]) - 1e-9).astype(np.int64)
    owner = np.repeat(np.arange(len(copper)), pieces)
    number = np.arange(len(owner)) - np.take(np.cumsum(pieces) - pieces, owner)
    segment = np.take(copper, owner)
    start = np.take(lines, segment, axis=1)
    run = (np.take(lines, segment + 1, axis=1) - start) / np.take(pieces, owner)
    along, part = _gauss(GAUSS)
    scale = np.multiply.outer(share / share.sum(), part / 2.0)[..., None] * np.take(weight, segment)
    z = start[:, None] + (number + (along[:, None] + 1.0) / 2.0) * run[:, None]  # (filaments, GAUSS, pieces)
    moment = scale * (z.real * run.real[:, None] + z.imag * run.imag[:, None])
    track = np.repeat(np.arange(len(tracks)), counts)
    rows = -1, len(segment)
    return z.reshape(rows), moment.reshape(rows), np.take(index, segment), np.take(track, segment)


@lru_cache
def _gauss(count: int) -> tuple[FloatArray, FloatArray]:
    """Places in −1 … 1 and weights of Gauss' quadrature, not to be changed."""
    return np.polynomial.legendre.leggauss(count)


def _mitres(step: ComplexArray, length: FloatArray) -> ComplexArray:
    """Per vertex, the offset to the left per unit offset of its two segments, so that filaments stay joined."""
    normal = np.zeros(len(step) + 2, complex)
    scale = 1.0 / np.where(length > 0.0, length, 1.0)
    normal.real[1:-1], normal.imag[1:-1] = -step.imag * scale, step.real * scale
    before, after = normal[:-1], normal[1:]
    shared = before.real * after.real + before.imag * after.imag
    return np.asarray((before + after) * (1.0 / np.maximum(1.0 + shared, SHARPEST)), complex)


def _moments(z: ComplexArray, moment: FloatArray, index: Integers, field: RingField, first: Integers) -> ComplexArray:
    """Sums of moment·B_n(r)·exp(i·n·p·theta) over the points of all pieces from each of ``first`` on to the next, for
    every order: (first, orders).
    """
    r = np.sqrt(z.real**2 + z.imag**2)
    flat, t = field.locate(r, index)
    direction = (z.view(float).reshape(*z.shape, 2) * (1.0 / r)[..., None]).view(complex)[..., 0]
    turn = _power(direction, field.pole_pairs)
    steps: dict[int, ComplexArray] = {}
    sums = np.empty((len(first), len(field.orders)), complex)
    current, reached = None, 0
    for row, order in enumerate(field.orders.tolist()):
        step = order - reached
        if step not in steps:
            steps[step] = _power(turn, step)
        current, reached = steps[step] if current is None else current * steps[step], order
        table = field.values[row].ravel()
        value = np.take(table, flat)
        value += t * (np.take(table, flat + 1) - value)
        value *= moment
        sums[:, row].real = np.add.reduceat((value * current.real).sum(axis=0), first)
        sums[:, row].imag = np.add.reduceat((value * current.imag).sum(axis=0), first)
    return sums


def _power(base: ComplexArray, exponent: int) -> ComplexArray:
    """base**exponent by squaring, for an exponent of 1 or more: several times faster than the general power."""
    result, square = None, base
    while exponent:
        if exponent % 2:
            result = square if result is None else result * square
        exponent //= 2
        square = square * square if exponent else square
    return base if result is None else result
