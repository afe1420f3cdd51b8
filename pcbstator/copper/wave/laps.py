"""The wave winding: runs along the radius, joined at both ends by arcs that cross on two layers.

On one layer of a pair every conductor is the same shape, turned: a via, an end arc, a radial run, an end arc, a via. On
the other layer it is that shape mirrored. An end arc is the involute of a circle, because the gap between an involute
and its turned copies is the same along its whole length. A pass goes once around the machine on both layers of its
pairs; it is cut open at one place on the rim, where its ends reach posts.

Vias stand in rows about the machine's centre. Where they would touch in one row, every second pass has its vias in a
second one. Pairs of layers in series have a row each, and pass the rows before theirs half-way between two vias.
"""

from __future__ import annotations

from cmath import rect
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from math import cos, pi, sin

import numpy as np
import shapely
from numpy.typing import NDArray

from pcbstator.copper.geometry.tracks import (
    SAGITTA,
    ComplexArray,
    FloatArray,
    Track,
    Via,
    flat,
    frozen,
    strip_edges,
    turned,
)
from pcbstator.copper.records import Coil
from pcbstator.winding import Winding

Shapes = NDArray[np.object_]  # of the geometry library

SAMPLES = 241  # of an end arc
ALONG = (1 - np.cos(np.linspace(0, pi, SAMPLES))) / 2  # where they lie, as a part of its length
PIECES = np.diff(ALONG)  # between them
STEPS = (np.append(0.0, PIECES) + np.append(PIECES, 0.0)) / 2  # weights of their sum
TO_GO, NEARER_SQUARED = 1 - ALONG, np.minimum(ALONG, 1 - ALONG) ** 2  # of its length, to its end; to the nearer one
STEEPEST = 0.999**2  # squared sine of the slant of an end arc at most
NEIGHBOURS = 4  # conductors that can come near to a via
MOST_ROUNDS = 100  # of the search for an arc's length
STILL = 1e-7  # its last step, as a part of what there is; what is wrong then goes with a higher power of it
NOTHING = 1e-12  # m; less than this is missing only by rounding
STRAIGHT = 0.25  # least part of the room between the vias that must remain for the runs


@dataclass(frozen=True)
class WaveSizes:
    """What a wave winding is fitted to; lengths [m].

    pairs: of layers in series. rim: +1 where the posts lie outside, -1 inside; post_radius, far_edge: radii of the
    posts and of the copper's other end. post_step: angle between posts [rad]. joint: diameter of the copper at a via.
    skew: turn of the copper over the length of the runs [rad].
    """

    poles: int
    phases: int
    turns: int
    pairs: int
    rim: int
    post_radius: float
    far_edge: float
    post_step: float
    width: float
    gap: float
    transition_pad: float
    bend: float
    tapered: bool
    skew: float = 0.0

    @property
    def conductors(self) -> int:
        """Runs on each layer."""
        return self.poles * self.phases * self.turns

    @property
    def step(self) -> float:
        """Angle between neighbouring runs [rad]."""
        return 2 * pi / self.conductors

    @property
    def pole_pitch(self) -> float:
        """Angle between poles [rad]."""
        return 2 * pi / self.poles

    @property
    def beside(self) -> float:
        """Least distance [m] of a track's centre-line from a via of another conductor."""
        return (self.transition_pad + self.width) / 2 + self.gap


@dataclass(frozen=True, eq=False)
class EndArc:
    """One end of a conductor, from the run outwards (or inwards): radius, angle from the run, width at every point,
    (n,); or several, (arcs, n).
    """

    radii: FloatArray
    angles: FloatArray
    widths: FloatArray


@dataclass(frozen=True, eq=False)
class WavePlan:
    """The numbers of one wave winding. Rows of vias [m], nearest to the runs first, at the rim and at the far end.

    rim_arcs, far_arcs: per pair of layers. passed: radius [m] at the rim beyond which there are no more rows.
    """

    sizes: WaveSizes
    rim_rows: tuple[float, ...]
    far_rows: tuple[float, ...]
    rim_arcs: tuple[EndArc, ...]
    far_arcs: tuple[EndArc, ...]
    passed: float

    @property
    def staggered(self) -> bool:
        """Whether every second pass has its vias in a row of its own."""
        return len(self.rim_rows) > self.sizes.pairs

    @property
    def run(self) -> tuple[float, float]:
        """Radii [m] of the ends of the runs, at the far end and at the rim."""
        return float(self.far_arcs[0].radii[0]), float(self.rim_arcs[0].radii[0])

    @cached_property
    def shapes(self) -> list[dict[int, _Shape]]:
        """The conductor of every pair of layers with no more points than it needs, as it is (1) and mirrored (-1)."""
        whole = [_shape(self, pair) for pair in range(self.sizes.pairs)]
        plain = [_thinned(shape, 1) for shape in whole]
        mirrored = plain if self.sizes.skew == 0 else [_thinned(shape, -1) for shape in whole]
        return [{1: one, -1: other} for one, other in zip(plain, mirrored, strict=True)]


def pass_places(winding: Winding, step: float, sectors: int) -> FloatArray:
    """Angle [rad] by which each pass is turned, shape (passes,).

    A pass looks the same from any pair of poles, so its cut may lie at any of them: those of one phase lie side by
    side, dealt over ``sectors`` pairs of poles so that posts have room, and the phases follow each other. step: angle
    between neighbouring runs [rad].
    """
    passes = winding.coils
    turns = np.empty(passes)
    for phase in range(winding.phases):
        members = [index for index in range(passes) if winding.phase_of[index] == phase]
        plus = {index for index in members if winding.sense[index] > 0}
        first = next(index for index in plus if (index - 1) % passes not in plus)
        for rank, index in enumerate(sorted(members, key=lambda index: (index - first) % passes)):
            turns[index] = first + (index - first) % passes + passes * (phase * sectors + rank % sectors)
    phasors = [winding.sense[i] * np.exp(2j * pi * i / passes) for i in range(passes) if winding.phase_of[i] == 0]
    axis = float(np.angle(np.sum(phasors))) * passes / (2 * pi)
    return (turns - axis) * step


def vias_have_room(sizes: WaveSizes, radius: float) -> bool:
    """Whether the vias of all conductors find room on rows of at most this radius [m]."""
    apart = 2 * radius * sin(sizes.step / 2)
    return (
        apart >= 2 * sizes.beside if sizes.pairs > 1 else apart >= min(sizes.transition_pad + sizes.gap, sizes.beside)
    )


def fit_wave(sizes: WaveSizes) -> WavePlan | None:
    """The plan with the longest runs that this width leaves; None where it finds no room."""
    inward = -sizes.rim  # from the rim towards the runs
    fan = sizes.pairs / 2 * sizes.post_step * sizes.post_radius
    passed = sizes.post_radius + inward * (sizes.beside + fan)
    rim_last, far_last = passed + inward * sizes.beside, sizes.far_edge - inward * sizes.transition_pad / 2
    nearest = min(rim_last, far_last)
    if nearest <= 0:
        return None
    if not vias_have_room(sizes, nearest):
        return None
    one_row = 2 * nearest * sin(sizes.step / 2) >= sizes.transition_pad + sizes.gap
    rows = sizes.pairs if sizes.pairs > 1 or one_row else 2
    row_step = sizes.transition_pad + sizes.gap
    if sizes.pairs > 1:
        row_step = max(row_step, sizes.beside + max(rim_last, far_last) * sizes.step / 2)
    rim_rows = tuple(rim_last + inward * row_step * (rows - 1 - index) for index in range(rows))
    far_rows = tuple(far_last - inward * row_step * (rows - 1 - index) for index in range(rows))
    if (rim_rows[0] - far_rows[0]) * sizes.rim <= 0 or min(*rim_rows, *far_rows) <= 0:
        return None
    advances = [sizes.pole_pitch / 2] + [sizes.pole_pitch / 2 - sizes.step / 2] * (sizes.pairs - 1)
    room = abs(rim_rows[0] - far_rows[0])
    arcs = _end_arcs(sizes, (rim_rows[0], far_rows[0]), advances)
    if arcs is None:
        return None
    plan = WavePlan(sizes, rim_rows, far_rows, *arcs, passed)
    length = (plan.run[1] - plan.run[0]) * sizes.rim
    if length < STRAIGHT * room:
        return None
    # What a skew squeezes: runs slant, and come nearer to each other.
    near = min(plan.run)
    squeezed = near * sizes.step / np.hypot(1, near * sizes.skew / length)
    if squeezed < sizes.width + sizes.gap:
        return None
    return plan if not sizes.skew or _lack(_shape(plan, 0), sizes) <= 0 else None


def _end_arcs(
    sizes: WaveSizes, rows: tuple[float, float], advances: list[float]
) -> tuple[tuple[EndArc, ...], tuple[EndArc, ...]] | None:
    """The end arcs of every pair, at the rim and at the far end, that end before ``rows`` [m]; None without room.

    The first guess knows the gap along the normal only; what the real, bent copper lacks is added until it fits.
    """
    pairs = len(advances)
    outward, advance = np.repeat([[sizes.rim], [-sizes.rim]], pairs, axis=0), np.tile(advances, 2)[:, None]
    row = np.repeat(rows, pairs)[:, None]
    spacing = np.full((2, 1), sizes.width + sizes.gap + SAGITTA)
    shave, before = np.zeros((2, 1)), np.full((2, 1), sizes.bend / 4)
    for _ in range(12):
        each = (np.repeat(trial, pairs, axis=0) for trial in (before, spacing, shave))
        arcs = _arcs_ending(sizes, row, outward, advance, *each)
        if arcs is None:
            return None
        gap_lack, via_lack = (lacks.reshape(2, pairs).max(axis=1) for lacks in _lacks(sizes, arcs, advance, row))
        if gap_lack.max() <= 0 and via_lack.max() <= NOTHING:
            single = [EndArc(*values) for values in zip(arcs.radii, arcs.angles, arcs.widths, strict=True)]
            return tuple(single[:pairs]), tuple(single[pairs:])
        more = np.where(gap_lack > 0, gap_lack + 1e-7, 0.0)[:, None]
        spacing += more
        shave += more
        before += np.maximum(via_lack, 0.0)[:, None] * 1.05
    return None


def _arcs_ending(
    sizes: WaveSizes,
    row: FloatArray,
    outward: NDArray[np.int64],
    advance: FloatArray,
    before: FloatArray,
    spacing: FloatArray,
    shave: FloatArray,
) -> EndArc | None:
    """The arcs that advance by ``advance`` [rad] and end ``before`` a row [m]; their runs end as far out as that lets.

    All (arcs, 1). The sine of their slant grows along a bend, follows the involute and falls again along a bend.
    """
    end, base = row - outward * before, spacing / sizes.step
    bend = np.maximum(sizes.bend, end * sizes.step) if sizes.tapered else sizes.bend  # wide runs bend wide
    longest = np.abs(end - np.where(outward == sizes.rim, sizes.far_edge, sizes.post_radius))
    if np.any(end <= base * 1.001) or np.any(end - outward * longest <= 0):
        return None

    def run(length: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Radii, the slant's squared sine, and the rate at which the angle grows along it, (arcs, SAMPLES)."""
        radii = end - outward * length * TO_GO
        part = base / np.maximum(radii, base)
        square = np.minimum(np.minimum((length / bend) ** 2 * NEARER_SQUARED, 1 - part * part), STEEPEST)
        return radii, square, np.sqrt(square / (1 - square)) / radii

    def excess(length: FloatArray) -> FloatArray:
        return np.asarray(length * (run(length)[2] @ STEPS)[:, None] - advance)

    most = excess(longest)
    if np.any(most < 0):
        return None
    radii, square, rate = run(_roots(excess, longest, -advance, most))
    angles = np.zeros_like(radii)
    np.cumsum((rate[:, 1:] + rate[:, :-1]) * PIECES, axis=1, out=angles[:, 1:])
    widths = np.full(radii.shape, sizes.width)
    if sizes.tapered:
        room = radii * sizes.step * np.sqrt(1 - square) - sizes.gap - SAGITTA - shave
        # Beyond the arc's steepest place vias are near: from there it narrows to its base width.
        steepest, number = np.argmax(square, axis=1)[:, None], np.arange(SAMPLES)
        beyond = np.maximum(number - steepest, 0) / np.maximum(SAMPLES - 1 - steepest, 1)
        there = np.take_along_axis(room, steepest, axis=1)
        narrowing = np.where(beyond > 0, there + beyond * (sizes.width - there), room)
        widths = np.maximum(np.minimum(narrowing, room), sizes.width)
    return EndArc(radii, angles * (advance / angles[:, -1:]), widths)


def _roots(
    function: Callable[[FloatArray], FloatArray], high: FloatArray, at_zero: FloatArray, at_high: FloatArray
) -> FloatArray:
    """Where functions pass zero between 0 and ``high``, all at once: false position after Anderson and Björck, which
    lowers the value at an end that stays. (The library solves one function at a time, which takes up to twice as long.)
    """
    stays, value, last, there = np.zeros_like(high), at_zero, high, at_high
    for _ in range(MOST_ROUNDS):
        spread = there - value
        new = last - there * (last - stays) / np.where(spread == 0, 1.0, spread)
        if np.all(np.abs(new - last) <= STILL * high):
            break
        found = function(new)
        kept = found * there > 0
        lower = 1 - found / np.where(there == 0, 1.0, there)
        value = np.where(kept, value * np.where(lower > 0, lower, 0.5), there)
        stays, last, there = np.where(kept, stays, last), new, found
    return new


def _lacks(sizes: WaveSizes, arcs: EndArc, advance: FloatArray, row: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What each arc lacks of the gap to the next conductor, and of the distance from its vias in its ``row`` [m];
    nothing, or less than nothing, where it is far enough away.
    """
    points, widths = _with_runs(sizes, arcs)
    left, right = strip_edges(points, widths)
    outward = arcs.radii[:, -1:] > arcs.radii[:, :1]  # the next one lies further on
    facing, back = np.where(outward, left, right), np.where(outward, right, left)
    gap_lacks = _lacking(_lines(facing), _lines(turned(back, sizes.step)), sizes.gap)
    # The vias are turned instead of the neighbours; those further on pass deeper below them.
    shifts = np.array([[0.0], [-0.5]] if sizes.pairs > 1 else [[0.0]])  # of other pairs
    ahead = (np.arange(1, NEIGHBOURS + 1) + shifts).ravel() * sizes.step
    vias, least = polar(row, advance - ahead), sizes.beside - sizes.width / 2
    if _nearest(vias, points[:, 1:], row - arcs.radii[:, :1]) - widths.max() / 2 >= least:
        return gap_lacks, np.zeros(len(row))  # so far away that no more need be known
    return gap_lacks, least - shapely.distance(shapely.multipoints(flat(vias)), _strips(left, right))


def _nearest(vias: ComplexArray, points: ComplexArray, beyond: FloatArray) -> float:
    """At least how far [m] vias are from the lines through the points of their arcs, and from the runs before those,
    which begin ``beyond`` [m] along the radius.
    """
    apart = vias[:, :, None] - points[:, None]
    nearest = float(np.sqrt((apart.real**2 + apart.imag**2).min()))
    return min(nearest - float(np.abs(np.diff(points)).max()) / 2, float(np.abs(beyond).min()))


def _lacking(ones: Shapes, others: Shapes, least: float) -> FloatArray:
    """What distances lack [m]; 0 where nothing, which an index tells far sooner than how much."""
    shapely.prepare(ones)
    near = shapely.dwithin(ones, others, least)
    return np.where(near, least - shapely.distance(ones, others), 0.0) if near.any() else np.zeros(len(ones))


def _with_runs(sizes: WaveSizes, arcs: EndArc) -> tuple[ComplexArray, FloatArray]:
    """Points x + iy and widths [m] of end arcs with the piece of run before them, which wide bends of their neighbours
    come near to; each (arcs, n).
    """
    radii, widths, points = arcs.radii, arcs.widths, polar(arcs.radii, arcs.angles)
    ray = points[:, :1] - points[:, 1:2]
    before = points[:, :1] + ray / np.abs(ray) * radii[:, :1] * sizes.step
    return np.concatenate([before, points], axis=1), np.concatenate([widths[:, :1], widths], axis=1)


def _lines(points: ComplexArray) -> Shapes:
    return np.asarray(shapely.linestrings(flat(points)))


def _strips(left: ComplexArray, right: ComplexArray) -> Shapes:
    """The areas between edges."""
    return np.asarray(shapely.polygons(flat(np.concatenate([right, left[:, ::-1]], axis=1))))


def polar(radii: FloatArray, angles: FloatArray) -> ComplexArray:
    """Points x + iy [m] from polar coordinates."""
    points = np.empty(np.broadcast(radii, angles).shape, dtype=complex)
    points.real, points.imag = radii * np.cos(angles), radii * np.sin(angles)
    return points


@dataclass(frozen=True, eq=False)
class _Shape:
    """A conductor from the rim to the far end: radii [m], angles from its run [rad], what the skew adds, widths [m]."""

    radii: FloatArray
    angles: FloatArray
    skew: FloatArray
    widths: FloatArray


def _shape(plan: WavePlan, pair: int) -> _Shape:
    """The conductor of one pair of layers without its leads to vias."""
    rim, far, sizes = plan.rim_arcs[pair], plan.far_arcs[pair], plan.sizes
    run = np.linspace(rim.radii[0], far.radii[0], 2 if sizes.skew == 0 else 33)[1:-1]
    radii = np.concatenate([rim.radii[::-1], run, far.radii])
    widths = np.full(len(run), sizes.width)
    if sizes.tapered and len(run):
        widths = np.interp(run, *_ascending([rim.radii[0], far.radii[0]], [rim.widths[0], far.widths[0]]))
    near, away = plan.run
    whole = np.concatenate([rim.widths[::-1], widths, far.widths])
    if sizes.tapered:
        shear = radii * sizes.skew / abs(away - near)
        whole = np.minimum(whole, radii * sizes.step / np.sqrt(1 + shear**2) - sizes.gap)
    shape = _Shape(
        radii,
        np.concatenate([-rim.angles[::-1], np.zeros(len(run)), far.angles]),
        sizes.skew * (np.clip((radii - min(near, away)) / abs(away - near), 0, 1) - 0.5),
        whole,
    )
    return _shaved(shape, sizes) if sizes.tapered and sizes.skew else shape


def _lack(shape: _Shape, sizes: WaveSizes) -> float:
    """What the gap to the next conductor lacks [m], on either layer of a pair."""
    points = polar(shape.radii, np.array([[1], [-1]]) * shape.angles + shape.skew)
    left, right = strip_edges(points, shape.widths)
    following = _strips(turned(left, sizes.step), turned(right, sizes.step))
    return float(_lacking(_strips(left, right), following, sizes.gap).max())


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


def lay_passes(plan: WavePlan, odd: bool, drill: float, pad: float, layers: int) -> Coil:
    """One pass on ``pairs`` pairs of layers in series; ``odd`` ones have their vias in the second row, if there is one.

    layers: of the board, which every via goes through.
    """
    sizes = plan.sizes
    rows = [int(odd and plan.staggered)] if sizes.pairs == 1 else list(range(sizes.pairs))
    tracks: list[Track] = []
    vias: list[tuple[float, float]] = []
    first = sizes.rim * sizes.pole_pitch / 2  # the run on the pair's first layer
    cut = first - sizes.pole_pitch / 2 + sizes.rim * sizes.skew / 2
    for pair, row in enumerate(rows):
        between = _way(plan, pair, 1, row, None)  # vias: all conductors but the first and last are turned copies
        mirrored = _Way(between.points.conj(), between.widths) if sizes.skew == 0 else _way(plan, pair, -1, row, None)
        starts = between, _way(plan, pair, 1, row, pair)
        finishes = mirrored.back, _way(plan, pair, -1, row, pair + 1).back
        for index in range(sizes.poles // 2):
            here = first + 2 * index * sizes.pole_pitch
            last = index == sizes.poles // 2 - 1
            tracks.append(starts[index == 0].track(2 * pair + 1, here, sizes))
            tracks.append(finishes[last].track(2 * pair + 2, here + sizes.pole_pitch, sizes))
            far_turn = here + sizes.pole_pitch / 2 - sizes.rim * sizes.skew / 2
            vias.append((plan.far_rows[row], far_turn))
            if index:
                vias.append((plan.rim_rows[row], cut + 2 * index * sizes.pole_pitch))
    posts = [(sizes.post_radius, cut + _post_angle(sizes, number)) for number in range(sizes.pairs + 1)]
    placed = [Via(r * cos(a), r * sin(a), drill, pad, "", 1, layers) for r, a in (*vias, *posts)]
    return Coil(sizes.turns, sizes.poles // 2 * sizes.pairs, tuple(tracks), tuple(placed))


def post_angles(sizes: WaveSizes) -> tuple[float, float]:
    """Angle [rad] of a pass's first and last post from its axis."""
    cut = (sizes.rim - 1) * sizes.pole_pitch / 2 + sizes.rim * sizes.skew / 2
    return cut + _post_angle(sizes, 0), cut + _post_angle(sizes, sizes.pairs)


def _post_angle(sizes: WaveSizes, number: int) -> float:
    return (number - sizes.pairs / 2) * sizes.post_step


@dataclass(frozen=True, eq=False)
class _Lead:
    """The way from an end arc at the rim to a via of ``row``, or, at the cut, to the post of this number."""

    plan: WavePlan
    row: int
    post: int | None

    def points(self, angle: float, place: float) -> Iterator[tuple[float, float]]:
        """Radius and angle of its corners, from the arc on; it begins at ``angle``, its via is at ``place`` [rad]."""
        plan, sizes = self.plan, self.plan.sizes
        if self.post is None:
            yield from _to_via(sizes, plan.rim_rows[self.row], angle, place, sizes.rim)
            return
        yield plan.passed, angle
        target = place + _post_angle(sizes, self.post)
        yield sizes.post_radius - sizes.rim * sizes.beside, target
        yield sizes.post_radius, target


def _to_via(sizes: WaveSizes, radius: float, angle: float, place: float, outward: int) -> Iterator[tuple[float, float]]:
    """Straight out, and at 45 degrees aside at last where the lead passed rows of other pairs."""
    if abs(angle - place) > 1e-12:
        yield radius - outward * radius * abs(angle - place), angle
    yield radius, place


@dataclass(frozen=True, eq=False)
class _Way:
    """The way of a conductor from the rim to the far end with its run at angle 0: points as x + iy [m] and widths."""

    points: ComplexArray
    widths: FloatArray

    @cached_property
    def shape(self) -> FloatArray:
        """The points as x and y, (n, 2) [m], which all tracks of this way share."""
        return frozen(flat(self.points))

    @cached_property
    def width(self) -> float:
        """The largest width [m]."""
        return float(self.widths.max())

    @property
    def back(self) -> _Way:
        """The same from the far end to the rim."""
        return _Way(self.points[::-1], self.widths[::-1])

    def track(self, layer: int, run: float, sizes: WaveSizes) -> Track:
        """This conductor with its run at angle ``run`` [rad]."""
        widths = self.widths if sizes.tapered else None
        return Track(layer, self.shape, self.width, "", "", "coil", widths, run)


def _way(plan: WavePlan, pair: int, mirror: int, row: int, post: int | None) -> _Way:
    """One conductor to the via of this row, or to this post; ``mirror`` is -1 on second layers."""
    sizes, shape = plan.sizes, plan.shapes[pair][mirror]
    angles = mirror * shape.angles + shape.skew
    half = sizes.pole_pitch / 2
    rim_via = -mirror * half + sizes.rim * sizes.skew / 2
    far_via = mirror * half - sizes.rim * sizes.skew / 2
    rim_end = [rect(*corner) for corner in _Lead(plan, row, post).points(float(angles[0]), rim_via)]
    far_end = [rect(*corner) for corner in _to_via(sizes, plan.far_rows[row], float(angles[-1]), far_via, -sizes.rim)]
    points = np.concatenate([rim_end[::-1], polar(shape.radii, angles), far_end])
    widths = np.full(len(points), sizes.width)
    widths[len(rim_end) : -len(far_end)] = shape.widths
    return _Way(points, widths)


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
