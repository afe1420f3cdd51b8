"""The plan of a wave winding: rows of vias, active conductors and the outline of every conductor.

Vias stand in rows about the machine's centre. Where they would touch in one row, every second lap has its vias in a
second one. Pairs of layers in series have a row each, and pass the rows before theirs half-way between two vias.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import pi, sin

import numpy as np
import shapely
from numpy.typing import NDArray

from pcbstator.copper.geometry.tracks import SAGITTA, ComplexArray, FloatArray, flat, strip_edges, turned
from pcbstator.copper.wave.end_windings import EndWinding, WaveSizes, end_windings, lacking, polar, strips
from pcbstator.winding import Winding

STRAIGHT = 0.25  # least part of the room between the vias that must remain for the active conductors


@dataclass(frozen=True, eq=False)
class WavePlan:
    """The numbers of one wave winding.

    ring_rows, far_rows: radii [m] of the rows of vias at the connection ring and at the far end, nearest to the active
    conductors first. ring_ends, far_ends: end windings per pair of layers. clear_radius: radius [m] towards the
    connection ring beyond which there are no more rows.
    """

    sizes: WaveSizes
    ring_rows: tuple[float, ...]
    far_rows: tuple[float, ...]
    ring_ends: tuple[EndWinding, ...]
    far_ends: tuple[EndWinding, ...]
    clear_radius: float

    @property
    def staggered(self) -> bool:
        """Whether every second lap has its vias in a row of its own."""
        return len(self.ring_rows) > self.sizes.pairs

    @property
    def active_ends(self) -> tuple[float, float]:
        """Radii [m] of the ends of the active conductors, at the far end and at the connection ring."""
        return float(self.far_ends[0].radii[0]), float(self.ring_ends[0].radii[0])

    @cached_property
    def shapes(self) -> list[dict[int, _Shape]]:
        """The conductor of every pair of layers with no more points than it needs, as it is (1) and mirrored (-1)."""
        whole = [_shape(self, pair) for pair in range(self.sizes.pairs)]
        plain = [_thinned(shape, 1) for shape in whole]
        mirrored = plain if self.sizes.skew == 0 else [_thinned(shape, -1) for shape in whole]
        return [{1: one, -1: other} for one, other in zip(plain, mirrored, strict=True)]


def lap_places(winding: Winding, step: float, sectors: int) -> FloatArray:
    """Angle [rad] by which each lap is turned, shape (laps,).

    A lap looks the same from any pair of poles, so its ends may lie at any of them: those of one phase lie side by
    side, dealt over ``sectors`` pairs of poles so that their layer-transition vias have room, and the phases follow
    each other. step: angle between neighbouring active conductors [rad].
    """
    laps = winding.coils
    turns = np.empty(laps)
    for phase in range(winding.phases):
        members = [index for index in range(laps) if winding.phase_of[index] == phase]
        plus = {index for index in members if winding.sense[index] > 0}
        first = next(index for index in plus if (index - 1) % laps not in plus)
        for rank, index in enumerate(sorted(members, key=lambda index: (index - first) % laps)):
            turns[index] = first + (index - first) % laps + laps * (phase * sectors + rank % sectors)
    phasors = [winding.sense[i] * np.exp(2j * pi * i / laps) for i in range(laps) if winding.phase_of[i] == 0]
    axis = float(np.angle(np.sum(phasors))) * laps / (2 * pi)
    return (turns - axis) * step


def vias_have_room(sizes: WaveSizes, radius: float) -> bool:
    """Whether the vias of all conductors find room on rows of at most this radius [m]."""
    apart = 2 * radius * sin(sizes.step / 2)
    return (
        apart >= 2 * sizes.beside if sizes.pairs > 1 else apart >= min(sizes.transition_pad + sizes.gap, sizes.beside)
    )


def fit_wave(sizes: WaveSizes) -> WavePlan | None:
    """The plan with the longest active conductors that this width leaves; None where it finds no room."""
    inward = -sizes.side  # from the connection ring towards the active conductors
    fan = sizes.pairs / 2 * sizes.transition_step * sizes.transition_radius
    clear_radius = sizes.transition_radius + inward * (sizes.beside + fan)
    ring_last, far_last = clear_radius + inward * sizes.beside, sizes.far_edge - inward * sizes.transition_pad / 2
    nearest = min(ring_last, far_last)
    if nearest <= 0:
        return None
    if not vias_have_room(sizes, nearest):
        return None
    one_row = 2 * nearest * sin(sizes.step / 2) >= sizes.transition_pad + sizes.gap
    rows = sizes.pairs if sizes.pairs > 1 or one_row else 2
    row_step = sizes.transition_pad + sizes.gap
    if sizes.pairs > 1:
        row_step = max(row_step, sizes.beside + max(ring_last, far_last) * sizes.step / 2)
    ring_rows = tuple(ring_last + inward * row_step * (rows - 1 - index) for index in range(rows))
    far_rows = tuple(far_last - inward * row_step * (rows - 1 - index) for index in range(rows))
    if (ring_rows[0] - far_rows[0]) * sizes.side <= 0 or min(*ring_rows, *far_rows) <= 0:
        return None
    advances = [sizes.pole_pitch / 2] + [sizes.pole_pitch / 2 - sizes.step / 2] * (sizes.pairs - 1)
    room = abs(ring_rows[0] - far_rows[0])
    ends = end_windings(sizes, (ring_rows[0], far_rows[0]), advances)
    if ends is None:
        return None
    plan = WavePlan(sizes, ring_rows, far_rows, *ends, clear_radius)
    length = (plan.active_ends[1] - plan.active_ends[0]) * sizes.side
    if length < STRAIGHT * room:
        return None
    # What a skew squeezes: active conductors slant, and come nearer to each other.
    near = min(plan.active_ends)
    squeezed = near * sizes.step / np.hypot(1, near * sizes.skew / length)
    if squeezed < sizes.width + sizes.gap:
        return None
    return plan if not sizes.skew or _lack(_shape(plan, 0), sizes) <= 0 else None


def transition_angles(sizes: WaveSizes) -> tuple[float, float]:
    """Angle [rad] of a lap's first and last layer-transition via from its axis."""
    cut = (sizes.side - 1) * sizes.pole_pitch / 2 + sizes.side * sizes.skew / 2
    return cut + transition_angle(sizes, 0), cut + transition_angle(sizes, sizes.pairs)


def transition_angle(sizes: WaveSizes, number: int) -> float:
    return (number - sizes.pairs / 2) * sizes.transition_step


@dataclass(frozen=True, eq=False)
class _Shape:
    """A conductor from the connection ring to the far end: radii [m], angles from its active conductor [rad], what the
    skew adds to them [rad], widths [m].
    """

    radii: FloatArray
    angles: FloatArray
    skew: FloatArray
    widths: FloatArray


def _shape(plan: WavePlan, pair: int) -> _Shape:
    """The conductor of one pair of layers without its leads to vias."""
    ring, far, sizes = plan.ring_ends[pair], plan.far_ends[pair], plan.sizes
    active = np.linspace(ring.radii[0], far.radii[0], 2 if sizes.skew == 0 else 33)[1:-1]
    radii = np.concatenate([ring.radii[::-1], active, far.radii])
    widths = np.full(len(active), sizes.width)
    if sizes.tapered and len(active):
        widths = np.interp(active, *_ascending([ring.radii[0], far.radii[0]], [ring.widths[0], far.widths[0]]))
    near, away = plan.active_ends
    whole = np.concatenate([ring.widths[::-1], widths, far.widths])
    if sizes.tapered:
        shear = radii * sizes.skew / abs(away - near)
        whole = np.minimum(whole, radii * sizes.step / np.sqrt(1 + shear**2) - sizes.gap)
    shape = _Shape(
        radii,
        np.concatenate([-ring.angles[::-1], np.zeros(len(active)), far.angles]),
        sizes.skew * (np.clip((radii - min(near, away)) / abs(away - near), 0, 1) - 0.5),
        whole,
    )
    return _shaved(shape, sizes) if sizes.tapered and sizes.skew else shape


def _lack(shape: _Shape, sizes: WaveSizes) -> float:
    """What the gap to the next conductor lacks [m], on either layer of a pair."""
    points = polar(shape.radii, np.array([[1], [-1]]) * shape.angles + shape.skew)
    left, right = strip_edges(points, shape.widths)
    following = strips(turned(left, sizes.step), turned(right, sizes.step))
    return float(lacking(strips(left, right), following, sizes.gap).max())


def _shaved(shape: _Shape, sizes: WaveSizes) -> _Shape:
    """The same narrower, by what the gap between slanting neighbours lacks when it is measured."""
    for _ in range(8):
        lack = _lack(shape, sizes)
        if lack <= 0:
            break
        shape = replace(shape, widths=np.maximum(shape.widths - lack - 1e-7, sizes.width))
    return shape


def _ascending(x: list[float], y: list[float]) -> tuple[list[float], list[float]]:
    return (x, y) if x[0] < x[1] else (x[::-1], y[::-1])


def _thinned(shape: _Shape, mirror: int) -> _Shape:
    """The same shape with the points that it needs; ``mirror`` is -1 on second layers."""
    keep = _needed(polar(shape.radii, mirror * shape.angles + shape.skew), shape.widths)
    return _Shape(shape.radii[keep], shape.angles[keep], shape.skew[keep], shape.widths[keep])


def _needed(points: ComplexArray, widths: FloatArray) -> NDArray[np.bool_]:
    """Which points are needed to keep within SAGITTA of the curve, its edges included."""
    # The library looks at the plane only, so where widths vary each edge is asked for itself.
    lines = np.array([points, *strip_edges(points, widths)] if np.ptp(widths) > 0 else [points])
    numbered = np.empty((*lines.shape, 3))
    numbered[..., :2] = flat(lines)
    numbered[..., 2] = np.arange(len(points))  # goes along as a third coordinate, which is not looked at
    kept = shapely.simplify(shapely.linestrings(numbered), SAGITTA / 4, preserve_topology=False)
    needed = np.zeros(len(points), dtype=bool)
    needed[shapely.get_coordinates(kept, include_z=True)[:, 2].astype(np.int64)] = True
    return needed
