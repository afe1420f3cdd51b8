"""What the drawn copper does in each ring of the board: loss, eddies, heat along the radius, how much is covered.

Everything comes from the tracks' centre-lines, widths and currents; nothing is assumed about coils.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator import materials
from pcbstator.copper import Copper, Track
from pcbstator.physics.conductors import conductor_resistivity
from pcbstator.physics.eddy import strip_eddy_loss_density
from pcbstator.physics.magnet_ring import RingField
from pcbstator.physics.plate_heat import ring_areas
from pcbstator.predict.current_paths import Conductors, way_loads
from pcbstator.predict.losses import circulating_loss

if TYPE_CHECKING:
    from pcbstator.design import Design

FloatArray = NDArray[np.float64]

PIECE = 0.75  # of a ring's width at most: the steady current to 1e-4

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


@dataclass(frozen=True, eq=False)
class _Pieces:
    """Short pieces of track: radius of their middle, how far they reach along the radius, length, width, thickness [m],
    layer from 0, squares of the share of the phase current summed over equal ones, and the number of those."""

    radius: FloatArray
    reach: FloatArray
    length: FloatArray
    width: FloatArray
    thickness: FloatArray
    layer: NDArray[np.int64]
    load: FloatArray
    count: FloatArray

    @property
    def radial(self) -> FloatArray:
        """Part of the length that goes along the radius."""
        return np.minimum(self.reach / self.length, 1.0)


def _shapes(copper: Copper) -> tuple[list[Track], FloatArray, FloatArray]:
    """One track of every shape, width and layer, how many there are, and their loads: squares of the share of the phase
    current, summed.
    """
    share = copper.phases[0].paths[0].share
    counted = [(track, len(members), len(members) * share**2) for track, members in copper.template_tracks]
    loads = (way_loads(copper)[: len(copper.links)] ** 2).tolist()
    counted += [(link, 1, load) for link, load in zip(copper.links, loads, strict=True)]
    found: dict[tuple[object, ...], tuple[Track, list[float]]] = {}
    for track, count, load in counted:
        _, sums = found.setdefault((id(track.shape), track.layer, track.width, id(track.widths)), (track, [0.0, 0.0]))
        sums[0] += count
        sums[1] += load
    counts, squares = np.array([sums for _, sums in found.values()]).T
    return [track for track, _ in found.values()], counts, squares


def _cut(copper: Copper, longest: float) -> _Pieces:
    """All tracks in even pieces of at most ``longest`` [m]; one stands for all of its shape, wherever they lie."""
    tracks, count, load = _shapes(copper)
    points = np.concatenate([track.shape for track in tracks]).view(np.complex128)[:, 0]
    widths = np.concatenate([track.point_widths for track in tracks])
    # One way along all tracks in turn, jumps between them included, so that it never stands still between two.
    way = np.zeros(len(points))
    np.cumsum(np.abs(points[1:] - points[:-1]), out=way[1:])
    sizes = np.array([len(track.shape) for track in tracks])
    first = np.cumsum(sizes) - sizes
    lengths = np.maximum(way[first + sizes - 1] - way[first], 1e-15)
    cuts = np.ceil(lengths / longest).astype(np.int64)
    owner = np.repeat(np.arange(len(cuts)), cuts + 1)
    number = np.arange(len(owner)) - (np.cumsum(cuts + 1) - (cuts + 1))[owner]
    ends = way[first][owner] + number * (lengths / cuts)[owner]
    begin = np.flatnonzero(owner[1:] == owner[:-1])
    owner, middles = owner[begin], (ends[begin] + ends[begin + 1]) / 2
    at_ends, middle = np.abs(np.interp(ends, way, points)), np.abs(np.interp(middles, way, points))
    before, after = at_ends[begin], at_ends[begin + 1]
    thickness = {layer.number: layer.thickness for layer in copper.layers}
    return _Pieces(
        radius=(before + after + 2 * middle) / 4,
        reach=np.abs(after - before),
        length=(lengths / cuts)[owner],
        width=np.interp(middles, way, widths),
        thickness=np.array([thickness[track.layer] for track in tracks])[owner],
        layer=np.array([track.layer - 1 for track in tracks])[owner],
        load=load[owner],
        count=count[owner],
    )


def ring_sources(
    design: Design,
    copper: Copper,
    edges: FloatArray,
    phase_resistance: float,
    field: RingField | None = None,
    speed: float = 0.0,
) -> RingSources:
    """What the copper does in the rings between even ``edges`` [m]; eddies only with the rotor's field.

    speed: of the eddies, for the range of their law [rad/s]. phase_resistance: mean of the phases at 20 C [ohm]; what
    tracks lack of it (vias) is spread as their own loss.
    """
    area, width = ring_areas(edges), float(edges[1] - edges[0])
    pieces = _cut(copper, PIECE * width)
    pitch = pieces.width + design.board.track_gap
    rings = _Bands(pieces, pieces.reach, edges, len(copper.layers))
    # A track along the circle covers its width and half a gap on either side, so that narrow rings see no stripes.
    wider = _Bands(pieces, pieces.reach + pitch * np.sqrt(1 - pieces.radial**2), edges, len(copper.layers))
    section = pieces.width * pieces.thickness
    volume = pieces.count * pieces.length * section
    resistivity = float(conductor_resistivity(20.0))
    loss = rings.sums(pieces.load * resistivity * pieces.length / section)
    along = rings.sums(volume * pieces.radial**2).sum(axis=1) / area
    covered = np.minimum(wider.sums(pieces.count * pieces.length * pitch).max(axis=1) / area, 1.0)
    resistance = loss.sum(axis=1) * (len(copper.phases) * phase_resistance / loss.sum())
    eddy = np.zeros(len(resistance))
    if field is not None:
        strip_eddy_loss_density(field.pole_pairs * speed / (2 * pi), 1.0, pieces.width.max(), resistivity)  # in range?
        eddy = rings.sums(volume * _eddy_density(pieces, field, resistivity)).sum(axis=1)
        if len(copper.phases[0].paths) > 1:
            conductors = Conductors(copper, design.board.via_drill, design.board.via_plating)
            eddy = eddy + circulating_loss(copper, field, conductors) * resistance / resistance.sum()
    return RingSources(
        edges=edges,
        resistance=resistance,
        eddy=eddy,
        along=materials.heat_values().copper_conductivity * along,
        covered=np.where(covered > 0, np.maximum(covered, 0.02), 1.0),
        copper=rings.sums(volume).sum(axis=1),
        layer_share=loss.sum(axis=0) / loss.sum(),
    )


class _Bands:
    """How the pieces share in rings and layers, each evenly over a band of radii ``wide`` [m] about its own."""

    def __init__(self, pieces: _Pieces, wide: FloatArray, edges: FloatArray, layers: int) -> None:
        rings, scale = len(edges) - 1, 1 / (edges[1] - edges[0])
        parts = max(int(np.ceil(wide.max() * scale)), 1)  # so that each lies in one ring or two
        size = np.maximum(wide * (scale / parts), 1e-9)
        low = (pieces.radius - edges[0]) * scale + (np.arange(parts) - parts / 2)[:, None] * size
        low = np.clip(low, 0.0, rings - 1e-9)
        ring = low.astype(np.int64)
        first = np.minimum((ring + 1 - low) / (size * parts), 1 / parts)
        self.part = np.concatenate([first, 1 / parts - first])
        cell = ring * layers + pieces.layer
        self.cell = np.concatenate([cell, np.minimum(cell + layers, (rings - 1) * layers + pieces.layer)]).ravel()
        self.shape = rings, layers

    def sums(self, values: FloatArray) -> FloatArray:
        """Values of the pieces summed over every ring and layer (rings, layers)."""
        total = np.bincount(self.cell, (self.part * values).ravel(), self.shape[0] * self.shape[1])
        return np.asarray(total.reshape(self.shape))


def _eddy_density(pieces: _Pieces, field: RingField, resistivity: float) -> FloatArray:
    """Eddy loss per volume of every piece at 1 rad/s [W s2/m3].

    It grows as the square of frequency times field, so all orders together are one field at the fundamental.
    """
    together = np.sqrt(np.einsum("n,nzr->zr", np.square(field.orders, dtype=float), field.values**2))
    table = replace(field, orders=np.array([1]), values=together[None])
    ends = pieces.radius + np.array([[-1.0], [1.0]]) * pieces.reach / 12**0.5  # two Gauss points along the radius
    peak = table.at(ends.ravel(), np.tile(pieces.layer, 2)).reshape(ends.shape)
    density = strip_eddy_loss_density(field.pole_pairs / (2 * pi), peak, pieces.width, resistivity)
    return np.asarray(density.mean(axis=0))
