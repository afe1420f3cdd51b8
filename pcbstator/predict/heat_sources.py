"""What the drawn copper does in each ring of the board: loss, eddies, heat along the radius, how much is covered.

Everything comes from the tracks' centre-lines, widths and currents; nothing is assumed about coils.
"""

from __future__ import annotations

from dataclasses import dataclass
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
    """Short pieces of track: radius, length, its part along the radius, width, thickness [m], layer from 0, square of
    the share of the phase current times the number of equal ones, and that number."""

    radius: FloatArray
    length: FloatArray
    radial: FloatArray
    width: FloatArray
    thickness: FloatArray
    layer: NDArray[np.int64]
    load: FloatArray
    count: FloatArray


def _cut(copper: Copper, longest: float) -> _Pieces:
    """All tracks in pieces of at most ``longest`` [m]: the templates that stand for all coils, and the links."""
    loads = link_loads(copper)
    share = copper.phases[0].paths[0].share
    tracks: list[tuple[Track, float, int]] = [(track, share, len(coils)) for track, coils in copper.template_tracks]
    tracks += [(link, loads.get(piece(link)[0], 0.0), 1) for link in copper.links]
    sizes = np.array([len(track.points) - 1 for track, _, _ in tracks])
    start = np.concatenate([track.points[:-1] for track, _, _ in tracks])
    step = np.concatenate([np.diff(track.points, axis=0) for track, _, _ in tracks])
    length = np.hypot(step[:, 0], step[:, 1])
    cuts = np.maximum(np.ceil(length / longest).astype(np.int64), 1)
    owner = np.repeat(np.arange(len(length)), cuts)
    first = np.repeat(np.cumsum(cuts) - cuts, cuts)
    place = (np.arange(len(owner)) - first + 0.5) / cuts[owner]
    middle = start[owner] + place[:, None] * step[owner]
    radius = np.hypot(middle[:, 0], middle[:, 1])
    long = length[owner] / cuts[owner]
    inward = np.abs((middle * step[owner]).sum(axis=1)) / (np.maximum(radius, 1e-9) * np.maximum(length[owner], 1e-15))

    def each(values: list[float]) -> FloatArray:
        return np.repeat(np.asarray(values, dtype=float), sizes)[owner]

    section = {layer.number: layer.thickness for layer in copper.layers}
    count = each([number for _, _, number in tracks])
    return _Pieces(
        radius=radius,
        length=long,
        radial=inward,
        width=np.concatenate([track.piece_widths for track, _, _ in tracks])[owner],
        thickness=each([section[track.layer] for track, _, _ in tracks]),
        layer=each([track.layer - 1 for track, _, _ in tracks]).astype(np.int64),
        load=each([load for _, load, _ in tracks]) ** 2 * count,
        count=count,
    )


def ring_sources(
    design: Design,
    copper: Copper,
    edges: FloatArray,
    phase_resistance: float,
    field: RingField | None = None,
    speed: float = 0.0,
) -> RingSources:
    """What the copper does in the rings between ``edges`` [m]; eddies only with the rotor's field.

    speed: of the eddies, for the range of their law [rad/s]. phase_resistance: mean of the phases at 20 C [ohm]; what
    tracks lack of it (vias) is spread as their own loss.
    """
    rings, layers = len(edges) - 1, len(copper.layers)
    pieces = _cut(copper, float(np.diff(edges).min()) / 2)
    ring = np.clip(np.searchsorted(edges, pieces.radius) - 1, 0, rings - 1)
    area = ring_areas(edges)

    def summed(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(ring, values, rings), dtype=float)

    resistivity = float(conductor_resistivity(20.0))
    eddy = np.zeros(rings)
    section = pieces.width * pieces.thickness
    loss = pieces.load * resistivity * pieces.length / section
    whole = len(copper.phases) * phase_resistance
    volume = pieces.count * pieces.length * section
    along = materials.heat_values().copper_conductivity * summed(volume * pieces.radial**2) / area
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


def _covered(pieces: _Pieces, edges: FloatArray, gap: float, layers: int) -> FloatArray:
    """Part of each ring that tracks with half a gap on either side cover, on the layer that covers most.

    A track along the circle is spread over its width, so that narrow rings see no stripes.
    """
    rings, pitch = len(edges) - 1, pieces.width + gap
    across = pitch * np.sqrt(np.maximum(1 - pieces.radial**2, 0.0))
    part = pieces.count * pieces.length * pitch / 4
    total = np.zeros(rings * layers)
    for offset in (-0.375, -0.125, 0.125, 0.375):
        ring = np.clip(np.searchsorted(edges, pieces.radius + offset * across) - 1, 0, rings - 1)
        total += np.bincount(ring * layers + pieces.layer, part, rings * layers)
    return np.asarray(np.minimum(total.reshape(rings, layers).max(axis=1) / ring_areas(edges), 1.0))


def _eddy_density(pieces: _Pieces, field: RingField, resistivity: float) -> FloatArray:
    """Eddy loss per volume of every piece at 1 rad/s [W s2/m3]."""
    frequencies = field.orders * field.pole_pairs / (2 * pi)
    peak = field.at(pieces.radius, pieces.layer)
    density = strip_eddy_loss_density(frequencies[:, None], peak, pieces.width, resistivity)
    return np.asarray(density.sum(axis=0))
