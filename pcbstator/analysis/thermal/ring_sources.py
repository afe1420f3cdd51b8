"""What the drawn copper does in each ring of the board: loss, eddies, heat along the radius, how much is covered.

Everything comes from the tracks' centre-lines, widths and currents; nothing is assumed about coils.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pcbstator import materials
from pcbstator.analysis.electrical.conductors import Conductors
from pcbstator.analysis.magnetic.losses import all_orders_at_once, circulating_loss
from pcbstator.copper import Copper, Track
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.delta_loop import DeltaLoop
from pcbstator.physics.conductors.eddy import strip_eddy_loss_density
from pcbstator.physics.conductors.resistance import conductor_resistivity
from pcbstator.physics.magnetics.magnet_ring import RingField
from pcbstator.physics.thermal.plate import ring_areas

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

PIECE = 0.75  # of a ring's width at most: the steady current to 1e-4
NARROW = 1e-6  # of a ring's width: pieces along the circle are as wide, so that rounding does not show


class SourceCase(NamedTuple):
    """A stator whose sources are wanted: its conductors at 20 C, and even ``edges`` of its rings [m]. What tracks lack
    of its resistance (vias) is spread as their own loss. field: of the rotor, where eddies are wanted; speed: of the
    eddies, for the range of their law [rad/s]; loop: of a delta, at 20 C.
    """

    design: SizedDesign
    conductors: Conductors
    edges: FloatArray
    field: RingField | None = None
    speed: float = 0.0
    loop: DeltaLoop | None = None

    @property
    def copper(self) -> Copper:
        """What its conductors are made of."""
        return self.conductors.copper


@dataclass(frozen=True, eq=False)
class RingSources:
    """Per ring of the board, or per layer.

    edges: (n + 1,) radii [m]. resistance: (n,) loss per square of rms phase current at 20 C [ohm]. eddy: (n,) loss of
    eddies and of currents between parallel paths at 1 rad/s, 20 C [W s2]. along: (n,) conductivity times thickness of
    the copper along the radius [W/K]. covered: (n,) part of the circle that tracks and their gaps take; 1 where there
    is no copper. copper: (n,) volume [m3]. layer_share: (layers,) of the loss.
    """

    edges: FloatArray
    resistance: FloatArray
    eddy: FloatArray
    along: FloatArray
    covered: FloatArray
    copper: FloatArray
    layer_share: FloatArray


class _Pieces(NamedTuple):
    """Short pieces of track: radius of their middle, how far they reach along the radius, length, width, thickness [m],
    layer from 0, squares of the share of the phase current summed over equal ones, and how many those are."""

    radius: FloatArray
    reach: FloatArray
    length: FloatArray
    width: FloatArray
    thickness: FloatArray
    layer: NDArray[np.int64]
    load: FloatArray
    alike: FloatArray


def _shapes(conductors: Conductors) -> tuple[list[Track], FloatArray, FloatArray]:
    """One track of every shape, width and layer, how many there are, and their loads: squares of the share of the phase
    current, summed.
    """
    copper, squares = conductors.copper, conductors.coil_loads**2
    counted = [(track, len(members), float(squares[members].sum())) for track, members in copper.template_tracks]
    loads = (conductors.track_loads[: len(copper.interconnects)] ** 2).tolist()
    counted += [(interconnect, 1, load) for interconnect, load in zip(copper.interconnects, loads, strict=True)]
    found: dict[tuple[int, int, float, int], tuple[Track, list[float]]] = {}
    for track, count, load in counted:
        _, sums = found.setdefault(track.form, (track, [0.0, 0.0]))
        sums[0] += count
        sums[1] += load
    counts, summed = np.array([sums for _, sums in found.values()]).T
    return [track for track, _ in found.values()], counts, summed


def _cut(conductors: Conductors, longest: float) -> _Pieces:
    """All tracks in even pieces of at most ``longest`` [m]; one stands for all of its shape, wherever they lie."""
    tracks, count, load = _shapes(conductors)
    points = np.concatenate([track.shape for track in tracks]).view(np.complex128)[:, 0]
    # One coordinate along all tracks in turn, jumps between them included, so that it never stands still between two.
    distance = np.zeros(len(points))
    np.cumsum(np.abs(points[1:] - points[:-1]), out=distance[1:])
    sizes = np.array([len(track.shape) for track in tracks])
    first = np.cumsum(sizes) - sizes
    lengths = np.maximum(distance[first + sizes - 1] - distance[first], 1e-15)
    cuts = np.ceil(lengths / longest).astype(np.int64)
    owner = np.repeat(np.arange(len(cuts)), cuts + 1)
    number = np.arange(len(owner)) - (np.cumsum(cuts + 1) - (cuts + 1))[owner]
    ends = distance[first][owner] + number * (lengths / cuts)[owner]
    begin = np.flatnonzero(owner[1:] == owner[:-1])
    owner, middles = owner[begin], (ends[begin] + ends[begin + 1]) / 2
    at_ends, middle = np.abs(np.interp(ends, distance, points)), np.abs(np.interp(middles, distance, points))
    before, after = at_ends[begin], at_ends[begin + 1]
    width = np.array([track.width for track in tracks])[owner]
    if any(track.widths is not None for track in tracks):
        width = np.interp(middles, distance, np.concatenate([track.point_widths for track in tracks]))
    layer = np.array([track.layer - 1 for track in tracks])[owner]
    return _Pieces(
        radius=(before + after + 2 * middle) / 4,
        reach=np.abs(after - before),
        length=(lengths / cuts)[owner],
        width=width,
        thickness=np.array([each.thickness for each in conductors.copper.layers])[layer],
        layer=layer,
        load=load[owner],
        alike=count[owner],
    )


def ring_sources(cases: Sequence[SourceCase]) -> list[RingSources | LawRangeError]:
    """What the copper does in the rings of each stator, all with the same number of them; eddies only with the rotor's
    field. Where those are out of range, that is the result, and the others do not notice.
    """
    if not cases:
        return []
    each = [_cut(case.conductors, PIECE * float(case.edges[1] - case.edges[0])) for case in cases]
    eddies = [_eddy_density(case, own) for case, own in zip(cases, each, strict=True)]
    pieces = _Pieces(*map(np.concatenate, zip(*each, strict=True)))
    owner = np.repeat(np.arange(len(cases)), [len(own.radius) for own in each])
    edges, layers = np.array([case.edges for case in cases]), max(len(case.copper.layers) for case in cases)
    pitch = pieces.width + np.array([case.design.board.track_gap for case in cases])[owner]
    radial = np.minimum(pieces.reach / pieces.length, 1.0)  # part of the length that goes along the radius
    bands = _Bands(pieces, pieces.reach, edges, layers, owner)
    # A track along the circle covers its width and half a gap on either side, so that narrow rings see no stripes.
    wider = _Bands(pieces, pieces.reach + pitch * np.sqrt(1 - radial**2), edges, layers, owner)
    section = pieces.width * pieces.thickness
    volume = pieces.alike * pieces.length * section
    known = np.concatenate(
        [np.zeros(len(own.radius)) if isinstance(e, LawRangeError) else e for own, e in zip(each, eddies, strict=True)]
    )
    found = zip(
        bands.sums(pieces.load * float(conductor_resistivity(20.0)) * pieces.length / section),
        bands.sums(volume),
        bands.sums(volume * radial**2),
        wider.sums(pieces.alike * pieces.length * pitch),
        bands.sums(volume * known),
        strict=True,
    )
    return [
        eddy if isinstance(eddy, LawRangeError) else _in_rings(case, *(s[:, : len(case.copper.layers)] for s in sums))
        for case, eddy, sums in zip(cases, eddies, found, strict=True)
    ]


def _in_rings(
    case: SourceCase, loss: FloatArray, volume: FloatArray, along: FloatArray, covered: FloatArray, eddy: FloatArray
) -> RingSources | LawRangeError:
    """The sources of one stator from sums over its rings and layers (rings, layers)."""
    copper, area = case.copper, ring_areas(case.edges)
    part = np.minimum(covered.max(axis=1) / area, 1.0)
    resistance = loss.sum(axis=1) * (len(copper.phases) * case.conductors.phase_resistance / loss.sum())
    eddies = eddy.sum(axis=1)
    if case.field is not None:
        try:
            eddies += circulating_loss(case.field, case.conductors) * resistance / resistance.sum()
        except LawRangeError as reason:
            return reason
    return RingSources(
        edges=case.edges,
        resistance=resistance,
        eddy=eddies,
        along=materials.heat_values().copper_conductivity * along.sum(axis=1) / area,
        covered=np.where(part > 0, np.maximum(part, 0.02), 1.0),
        copper=volume.sum(axis=1),
        layer_share=loss.sum(axis=0) / loss.sum(),
    )


class _Bands:
    """How the pieces share in the rings and layers of their stators, each evenly over a band of radii ``wide`` [m]
    about its own. edges: (stators, rings + 1) [m]; owner: the stator of each piece.
    """

    def __init__(
        self, pieces: _Pieces, wide: FloatArray, edges: FloatArray, layers: int, owner: NDArray[np.int64]
    ) -> None:
        stators, rings = len(edges), edges.shape[1] - 1
        scale = (1 / (edges[:, 1] - edges[:, 0]))[owner]
        size = np.maximum(wide * scale, NARROW)
        low = (pieces.radius - edges[owner, 0]) * scale - size / 2
        high, first = low + size, np.floor(low)
        place, parts, cells = owner * rings, [], []
        for number in range(int((high - first).max()) + 1):
            ring = first + number
            parts.append(np.maximum(np.minimum(high, ring + 1) - np.maximum(low, ring), 0.0) / size)
            inside = np.minimum(np.maximum(ring, 0.0), rings - 1.0).astype(np.int64)
            cells.append((place + inside) * layers + pieces.layer)
        self.parts, self.cells, self.shape = np.array(parts), np.concatenate(cells), (stators, rings, layers)

    def sums(self, values: FloatArray) -> FloatArray:
        """Values of the pieces summed over every ring and layer (stators, rings, layers)."""
        stators, rings, layers = self.shape
        total = np.bincount(self.cells, (self.parts * values).ravel(), stators * rings * layers)
        return np.asarray(total.reshape(self.shape))


def _eddy_density(case: SourceCase, pieces: _Pieces) -> FloatArray | LawRangeError:
    """Eddy loss per volume of every piece at 1 rad/s [W s2/m3]; 0 where eddies are not wanted.

    It grows as the square of frequency times field, so all orders together are one field at the fundamental.
    """
    field = case.field
    if field is None:
        return np.zeros(len(pieces.radius))
    resistivity, frequency = float(conductor_resistivity(20.0)), field.pole_pairs / (2 * pi)
    table = all_orders_at_once(field)
    ends = pieces.radius + np.array([[-1.0], [1.0]]) * pieces.reach / 12**0.5  # two Gauss points along the radius
    try:
        peak = table.at(ends.ravel(), np.tile(pieces.layer, 2)).reshape(ends.shape)
        strip_eddy_loss_density(frequency * case.speed, 1.0, pieces.width.max(), resistivity)  # in range?
        density = strip_eddy_loss_density(frequency, peak, pieces.width, resistivity)
    except LawRangeError as reason:
        return reason
    return np.asarray(density.mean(axis=0))
