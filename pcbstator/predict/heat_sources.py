"""What the drawn copper does in each ring of the board: loss, eddies, heat along the radius, how much is covered.

Everything comes from the tracks' centre-lines, widths and currents; nothing is assumed about coils.
"""

from __future__ import annotations

from collections.abc import Sequence
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
from pcbstator.predict.current_paths import Conductors, link_loads, piece
from pcbstator.predict.losses import circulating_loss

if TYPE_CHECKING:
    from pcbstator.design import Design

FloatArray = NDArray[np.float64]



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
    layer from 0, square of the share of the phase current times the number of equal ones, and that number."""

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


def link_shares(copper: Copper) -> list[float]:
    """Current of every link over the phase current, in the order of ``copper.links``."""
    loads = link_loads(copper)
    return [loads.get(piece(link)[0], 0.0) for link in copper.links]


def _cut(copper: Copper, longest: float, shares: Sequence[float]) -> _Pieces:
    """All tracks in even pieces of at most ``longest`` [m]: the templates that stand for all coils, and the links."""
    coils = copper.template_tracks
    tracks = [*(track for track, _ in coils), *copper.links]
    points = np.concatenate([track.points for track in tracks])
    widths = np.concatenate([track.point_widths for track in tracks])
    x, y = np.ascontiguousarray(points[:, 0]), np.ascontiguousarray(points[:, 1])
    # One way along all tracks in turn, jumps between them included, so that it never stands still between two.
    way = np.append(0.0, np.cumsum(np.hypot(np.diff(x), np.diff(y))))
    sizes = np.array([len(track.points) for track in tracks])
    first = np.cumsum(sizes) - sizes
    lengths = np.maximum(way[first + sizes - 1] - way[first], 1e-15)
    cuts = np.ceil(lengths / longest).astype(np.int64)
    owner = np.repeat(np.arange(len(cuts)), cuts + 1)
    number = np.arange(len(owner)) - (np.cumsum(cuts + 1) - (cuts + 1))[owner]
    ends = way[first][owner] + number * (lengths / cuts)[owner]
    radius, width = np.hypot(np.interp(ends, way, x), np.interp(ends, way, y)), np.interp(ends, way, widths)
    begin = np.flatnonzero(owner[1:] == owner[:-1])
    owner, before, after = owner[begin], radius[begin], radius[begin + 1]
    thickness = {layer.number: layer.thickness for layer in copper.layers}
    count = np.array([*(len(members) for _, members in coils), *(1 for _ in copper.links)])
    loads = np.array([*(copper.phases[0].paths[0].share for _ in coils), *shares])
    return _Pieces(
        radius=(before + after) / 2,
        reach=np.abs(after - before),
        length=(lengths / cuts)[owner],
        width=(width[begin] + width[begin + 1]) / 2,
        thickness=np.array([thickness[track.layer] for track in tracks])[owner],
        layer=np.array([track.layer - 1 for track in tracks])[owner],
        load=(loads**2 * count)[owner],
        count=count[owner],
    )


def ring_sources(
    design: Design,
    copper: Copper,
    edges: FloatArray,
    phase_resistance: float,
    field: RingField | None = None,
    speed: float = 0.0,
    shares: Sequence[float] | None = None,
) -> RingSources:
    """What the copper does in the rings between even ``edges`` [m]; eddies only with the rotor's field.

    speed: of the eddies, for the range of their law [rad/s]. phase_resistance: mean of the phases at 20 C [ohm]; what
    tracks lack of it (vias) is spread as their own loss. shares: of ``link_shares``, if they are known.
    """
    rings, layers, width = len(edges) - 1, len(copper.layers), float(edges[1] - edges[0])
    pieces = _cut(copper, width / 2, link_shares(copper) if shares is None else shares)
    ring = _ring(pieces.radius, edges)

    def summed(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(ring, values, rings), dtype=float)

    resistivity = float(conductor_resistivity(20.0))
    eddy = np.zeros(rings)
    section = pieces.width * pieces.thickness
    loss = pieces.load * resistivity * pieces.length / section
    whole = len(copper.phases) * phase_resistance
    volume = pieces.count * pieces.length * section
    along = materials.heat_values().copper_conductivity * summed(volume * pieces.radial**2) / ring_areas(edges)
    covered = _covered(pieces, edges, design.board.track_gap, layers)
    share = np.bincount(pieces.layer, loss, layers)
    resistance = summed(loss) * whole / loss.sum()
    if field is not None:
        strip_eddy_loss_density(field.pole_pairs * speed / (2 * pi), 1.0, pieces.width.max(), resistivity)  # in range?
        eddy = summed(volume * _eddy_density(pieces, field, resistivity))
        if len(copper.phases[0].paths) > 1:
            conductors = Conductors(copper, design.board.via_drill, design.board.via_plating)
            eddy = eddy + circulating_loss(copper, field, conductors) * resistance / resistance.sum()
    return RingSources(
        edges=edges,
        resistance=resistance,
        eddy=eddy,
        along=along,
        covered=np.where(covered > 0, np.maximum(covered, 0.02), 1.0),
        copper=summed(volume),
        layer_share=share / share.sum(),
    )


def _ring(radius: FloatArray, edges: FloatArray) -> NDArray[np.int64]:
    """The ring that each radius [m] lies in, the nearest for those outside; edges: even [m]."""
    place = (radius - edges[0]) * (1 / (edges[1] - edges[0]))
    return np.clip(place.astype(np.int64), 0, len(edges) - 2)


def _covered(pieces: _Pieces, edges: FloatArray, gap: float, layers: int) -> FloatArray:
    """Part of each ring that tracks with half a gap on either side cover, on the layer that covers most.

    A track along the circle is spread over its width, in four parts, so that narrow rings see no stripes.
    """
    rings, pitch = len(edges) - 1, pieces.width + gap
    across = pitch * np.sqrt(1 - pieces.radial**2)
    offsets = np.array([[-0.375], [-0.125], [0.125], [0.375]])
    cell = _ring(pieces.radius + offsets * across, edges) * layers + pieces.layer
    part = np.broadcast_to(pieces.count * pieces.length * pitch / 4, cell.shape)
    total = np.bincount(cell.ravel(), part.ravel(), rings * layers)
    return np.asarray(np.minimum(total.reshape(rings, layers).max(axis=1) / ring_areas(edges), 1.0))


def _eddy_density(pieces: _Pieces, field: RingField, resistivity: float) -> FloatArray:
    """Eddy loss per volume of every piece at 1 rad/s [W s2/m3].

    It grows as the square of frequency times field, so all orders together are one field at the fundamental.
    """
    together = np.sqrt(np.einsum("n,nzr->zr", np.square(field.orders, dtype=float), field.values**2))
    table = replace(field, orders=np.array([1]), values=together[None])
    ends = pieces.radius + np.array([[-1.0], [1.0]]) * pieces.reach / 12**0.5  # two Gauss points along the radius
    peak = table.at(ends.ravel(), np.tile(pieces.layer, 2)).reshape(ends.shape)
    return strip_eddy_loss_density(field.pole_pairs / (2 * pi), peak, pieces.width, resistivity).mean(axis=0)
