"""The laps of a wave winding: active conductors along the radius, joined at both ends by end windings on two layers.

On one layer of a pair every conductor is the same shape, turned: a via, an end winding, an active conductor, an end
winding, a via. On the other layer it is that shape mirrored. A lap goes once around the machine on both layers of its
pairs; it is open at one place on the connection ring, where its ends reach layer-transition vias.
"""

from __future__ import annotations

from cmath import rect
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from math import cos, sin

import numpy as np

from pcbstator.copper.geometry.tracks import ComplexArray, FloatArray, Track, Via, flat, frozen
from pcbstator.copper.records import Coil
from pcbstator.copper.wave.end_windings import WaveSizes, polar
from pcbstator.copper.wave.plan import WavePlan, transition_angle


def lay_laps(plan: WavePlan, odd: bool, drill: float, pad: float, layers: int) -> Coil:
    """One lap on ``pairs`` pairs of layers in series; ``odd`` ones have their vias in the second row, if there is one.

    layers: of the board, which every via goes through.
    """
    sizes = plan.sizes
    rows = [int(odd and plan.staggered)] if sizes.pairs == 1 else list(range(sizes.pairs))
    tracks: list[Track] = []
    vias: list[tuple[float, float]] = []
    first = sizes.side * sizes.pole_pitch / 2  # the active conductor on the pair's first layer
    cut = first - sizes.pole_pitch / 2 + sizes.side * sizes.skew / 2
    for pair, row in enumerate(rows):
        # Between vias: all conductors but the first and last are turned copies of one.
        between = _centre_line(plan, pair, 1, row, None)
        mirrored = between.mirrored if sizes.skew == 0 else _centre_line(plan, pair, -1, row, None)
        starts = between, _centre_line(plan, pair, 1, row, pair)
        finishes = mirrored.back, _centre_line(plan, pair, -1, row, pair + 1).back
        for index in range(sizes.poles // 2):
            here = first + 2 * index * sizes.pole_pitch
            last = index == sizes.poles // 2 - 1
            tracks.append(starts[index == 0].track(2 * pair + 1, here, sizes))
            tracks.append(finishes[last].track(2 * pair + 2, here + sizes.pole_pitch, sizes))
            far_turn = here + sizes.pole_pitch / 2 - sizes.side * sizes.skew / 2
            vias.append((plan.far_rows[row], far_turn))
            if index:
                vias.append((plan.ring_rows[row], cut + 2 * index * sizes.pole_pitch))
    ends = [(sizes.transition_radius, cut + transition_angle(sizes, number)) for number in range(sizes.pairs + 1)]
    placed = [Via(r * cos(a), r * sin(a), drill, pad, "", 1, layers) for r, a in (*vias, *ends)]
    return Coil(sizes.turns, sizes.poles // 2 * sizes.pairs, tuple(tracks), tuple(placed))


@dataclass(frozen=True, eq=False)
class _Lead:
    """The lead from an end winding at the connection ring to a via of ``row``, or, at the lap's ends, to the
    layer-transition via of this number.
    """

    plan: WavePlan
    row: int
    transition: int | None

    def points(self, angle: float, place: float) -> Iterator[tuple[float, float]]:
        """Radius and angle of its corners, from the end winding on, at ``angle``, to its via, at ``place`` [rad]."""
        plan, sizes = self.plan, self.plan.sizes
        if self.transition is None:
            yield from _to_via(sizes, plan.ring_rows[self.row], angle, place, sizes.side)
            return
        yield plan.clear_radius, angle
        target = place + transition_angle(sizes, self.transition)
        yield sizes.transition_radius - sizes.side * sizes.beside, target
        yield sizes.transition_radius, target


def _to_via(sizes: WaveSizes, radius: float, angle: float, place: float, outward: int) -> Iterator[tuple[float, float]]:
    """Straight out, and at 45 degrees aside at last where the lead passed rows of other pairs."""
    if abs(angle - place) > 1e-12:
        yield radius - outward * radius * abs(angle - place), angle
    yield radius, place


@dataclass(frozen=True, eq=False)
class _CentreLine:
    """The centre-line of a conductor from the connection ring to the far end, its active conductor at angle 0: points
    x + iy and widths [m].
    """

    points: ComplexArray
    widths: FloatArray

    @cached_property
    def shape(self) -> FloatArray:
        """The points as x and y, (n, 2) [m], which all tracks of this form share."""
        return frozen(flat(self.points))

    @cached_property
    def width(self) -> float:
        """The largest width [m]."""
        return float(self.widths.max())

    @property
    def mirrored(self) -> _CentreLine:
        """The same in the mirror of the axis, as second layers have it."""
        return _CentreLine(self.points.conj(), self.widths)

    @property
    def back(self) -> _CentreLine:
        """The same from the far end to the connection ring."""
        return _CentreLine(self.points[::-1], self.widths[::-1])

    def track(self, layer: int, place: float, sizes: WaveSizes) -> Track:
        """This conductor with its active conductor at angle ``place`` [rad]."""
        widths = self.widths if sizes.tapered else None
        return Track(layer, self.shape, self.width, "", "", "coil", widths, place)


def _centre_line(plan: WavePlan, pair: int, mirror: int, row: int, transition: int | None) -> _CentreLine:
    """One conductor to the via of this row, or to this layer-transition via; ``mirror`` is -1 on second layers."""
    sizes, shape = plan.sizes, plan.shapes[pair][mirror]
    angles = mirror * shape.angles + shape.skew
    half = sizes.pole_pitch / 2
    ring_via = -mirror * half + sizes.side * sizes.skew / 2
    far_via = mirror * half - sizes.side * sizes.skew / 2
    ring_end = [rect(*corner) for corner in _Lead(plan, row, transition).points(float(angles[0]), ring_via)]
    far_end = [rect(*corner) for corner in _to_via(sizes, plan.far_rows[row], float(angles[-1]), far_via, -sizes.side)]
    points = np.concatenate([ring_end[::-1], polar(shape.radii, angles), far_end])
    widths = np.full(len(points), sizes.width)
    widths[len(ring_end) : -len(far_end)] = shape.widths
    return _CentreLine(points, widths)
