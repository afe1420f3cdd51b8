"""The magnets' field on this copper: linkage of every phase by harmonic, and what follows from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import pi, sin, sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.electrical.conductors import Conductors
from pcbstator.analysis.magnetic.waveforms import distortion, ripple, sampled_waves
from pcbstator.copper import Copper, Track
from pcbstator.design import BlockMagnet, DiscMagnet
from pcbstator.errors import LawRangeError
from pcbstator.materials import mild_steel
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.linkage import LinkedTrack, each_track_linkage_harmonics
from pcbstator.physics.magnetics.magnet_pattern import (
    Footprint,
    block_footprint,
    disc_footprint,
    halbach_footprint,
    sector_footprint,
)
from pcbstator.physics.magnetics.magnet_ring import PlateField, RingField, joined_fields, ring_field, ring_harmonics
from pcbstator.physics.magnetics.ring_modes import RingSource, ring_source
from pcbstator.physics.magnetics.steel import SaturatedIron, saturated_iron
from pcbstator.physics.magnetics.working_point import thinnest_layer
from pcbstator.physics.mechanics.magnet_force import FORCE_ORDERS

if TYPE_CHECKING:
    from pcbstator.design import Design, SizedDesign

ComplexArray = NDArray[np.complex128]

ORDERS = np.arange(1, 26, 2)
PLATE_RINGS = 32  # of a steel plate beyond the board
POINTS = 6000  # of centre-lines that are integrated at once: more would not stay in the processor's cache


def magnet_footprint(design: Design) -> Footprint:
    """The outline of one magnet as the field laws take it."""
    magnet = design.rotor.magnet
    if isinstance(magnet, DiscMagnet):
        return disc_footprint(magnet.circle_diameter / 2, magnet.diameter / 2)
    if isinstance(magnet, BlockMagnet):
        return block_footprint(magnet.circle_diameter / 2, magnet.length, magnet.width)
    half_angle = magnet.arc_ratio * pi / design.rotor.poles
    inner, outer = magnet.inner_diameter / 2, magnet.outer_diameter / 2
    if magnet.array == "halbach":
        return halbach_footprint(inner, outer, half_angle / magnet.segments_per_pole, magnet.segments_per_pole)
    return sector_footprint(inner, outer, half_angle)


def magnet_layers(design: SizedDesign) -> MagnetLayers:
    """Magnets, iron and what faces them. The mid-plane of a double rotor carries no radial field: a mirror."""
    rotor, magnet = design.rotor, design.rotor.magnet
    middle = rotor.air_gap + design.stator_thickness / 2
    has_plate = rotor.stator_iron > 0
    return MagnetLayers(
        magnet_thickness=magnet.thickness,
        remanence=magnet.remanence,
        recoil_permeability=magnet.recoil_permeability,
        back_iron=rotor.back_iron,
        mirror_distance=middle if rotor.arrangement == "double" else None,
        plate_distance=rotor.air_gap + design.stator_thickness + rotor.stator_iron_gap if has_plate else None,
        plate_thickness=rotor.stator_iron,
    )


def steel_ring(design: Design, footprint: Footprint) -> tuple[float, float]:
    """Inner and outer radius [m] of the steel behind the magnets, and of that beyond the board."""
    rotor = design.rotor
    inner = float(footprint.breakpoints[0]) if rotor.iron_inner_diameter is None else rotor.iron_inner_diameter / 2
    outer = float(footprint.breakpoints[-1]) if rotor.iron_outer_diameter is None else rotor.iron_outer_diameter / 2
    return inner, max(inner, outer)


def rotor_source(
    design: SizedDesign,
    orders: NDArray[np.integer] = ORDERS,
    span: tuple[float, float] | None = None,
    nearest: float | None = None,
) -> RingSource:
    """The magnets in radial modes, the dear part of all that follows: iron, field and forces share it.

    orders: of the field. span: radii to serve [m], by default those of ``rotor_field``. nearest: a distance to serve as
    well [m].
    """
    layers, footprint = magnet_layers(design), magnet_footprint(design)
    inner, outer = span or copper_span(design)
    ends = footprint.breakpoints
    edges = steel_ring(design, footprint) if layers.back_iron > 0 or layers.plate_thickness > 0 else ()
    radii = np.array([min(inner, *ends, *edges), max(outer, *ends, *edges)])
    thinnest = thinnest_layer(layers)
    distances = np.append(copper_distances(design, layers), thinnest if nearest is None else min(nearest, thinnest))
    faced = layers.facing_distance < float("inf")
    wanted = np.union1d(np.union1d(orders, ORDERS), FORCE_ORDERS if faced else ())
    return ring_source(footprint, design.rotor.poles // 2, radii, distances, wanted.astype(np.int64), edges=edges)


def rotor_iron(design: SizedDesign, source: RingSource | None = None) -> SaturatedIron:
    """The layers and the source with their steel as it is in this field; source: of ``rotor_source``."""
    footprint, layers, source = magnet_footprint(design), magnet_layers(design), source or rotor_source(design)
    ends = steel_ring(design, footprint)
    return saturated_iron(footprint, design.rotor.poles // 2, layers, mild_steel(), source, ends)


def rotor_field(
    design: SizedDesign,
    iron: SaturatedIron | None = None,
    *,
    orders: NDArray[np.integer] = ORDERS,
    span: tuple[float, float] | None = None,
) -> RingField:
    """The field of the rotor with its steel at every copper layer, over all radii of the copper.

    iron: of ``rotor_iron`` with a source for such orders and radii. orders: the fundamental alone is quicker by far.
    span: other radii to serve [m], so that one table can serve many boards.
    """
    iron = iron or rotor_iron(design, rotor_source(design, orders, span))
    inner, outer = span or copper_span(design)
    footprint, pole_pairs, layers = magnet_footprint(design), design.rotor.poles // 2, iron.layers
    distances = copper_distances(design, layers)
    field = ring_field(footprint, pole_pairs, layers, inner, outer, distances, orders, iron.source)
    if layers.plate_distance is None:
        return field
    edges, place = np.linspace(*steel_ring(design, footprint), PLATE_RINGS + 1), np.array([layers.plate_distance])
    radii = (edges[1:] + edges[:-1]) / 2  # not at its ends, where what enters has no bound
    entering = ring_harmonics(footprint, pole_pairs, layers, radii, place, field.orders, source=iron.source)
    return replace(field, plate=PlateField(radii, entering[:, 0]))


def copper_span(design: SizedDesign) -> tuple[float, float]:
    """Inner and outer radius [m] of all copper, and a little more."""
    board = design.board
    margin, inner = max(board.track_width, board.interconnect_width), board.copper_inner_diameter / 2
    return max(inner - margin, inner / 2), board.copper_outer_diameter / 2 + margin


def copper_distances(design: SizedDesign, layers: MagnetLayers) -> NDArray[np.float64]:
    """Distance [m] of every copper layer from the nearer magnets."""
    distances = design.rotor.air_gap - np.array(design.layer_z)
    if layers.mirror_distance is not None:
        distances = np.minimum(distances, 2 * layers.mirror_distance - distances)
    return np.asarray(distances)


def path_linkages(copper: Copper, field: RingField) -> ComplexArray:
    """Linkage harmonics (paths, orders) [Wb] of every path: one coil turned to its places, and the inter-coil
    connections.
    """
    found = all_path_linkages([(copper, field)])[0]
    if isinstance(found, LawRangeError):
        raise found
    return found


def all_path_linkages(stators: Sequence[tuple[Copper, RingField]]) -> list[ComplexArray | LawRangeError]:
    """Linkage harmonics of the paths of many stators; those beside each other are integrated at once as far as their
    fields join. What is out of range for one is its result, and the others do not notice.

    Every shape of copper is integrated once, whatever number of its turned copies there is and of paths that run
    through them.
    """
    shaped = [(_Shapes(copper), field) for copper, field in stators]
    found: list[ComplexArray | LawRangeError] = []
    while len(found) < len(shaped):
        first, field = shaped[len(found)]
        points, end = first.points, len(found) + 1
        while end < len(shaped) and shaped[end][1].joins(field):
            points, end = points + shaped[end][0].points, end + 1
            if points * len(field.orders) > POINTS:
                break
        found += _integrated_at_once(shaped[len(found) : end])
    return found


def _integrated_at_once(stators: Sequence[tuple[_Shapes, RingField]]) -> list[ComplexArray | LawRangeError]:
    """Linkages of stators whose fields join."""
    fields = list({id(field): field for _, field in stators}.values())
    before = np.cumsum([0, *(len(field.distances) for field in fields)]).tolist()
    first = {id(field): number for field, number in zip(fields, before, strict=False)}
    tracks = [
        LinkedTrack(track.shape, track.width if track.widths is None else track.widths, layer + first[id(field)])
        for shapes, field in stators
        for track, layer in zip(shapes.tracks, shapes.layers, strict=True)
    ]
    try:
        each = each_track_linkage_harmonics(tracks, joined_fields(fields))
    except LawRangeError as reason:
        return [reason] if len(stators) == 1 else [found for one in stators for found in _integrated_at_once([one])]
    parts = np.split(each, np.cumsum([len(shapes.tracks) for shapes, _ in stators])[:-1])
    return [shapes.path_linkages(field, part) for (shapes, field), part in zip(stators, parts, strict=True)]


class _Shapes:
    """One track of every shape, width and layer of a stator; rows: which of them is that of each of all its tracks."""

    def __init__(self, copper: Copper) -> None:
        found: dict[tuple[int, int, float, int], int] = {}
        self.copper = copper
        self.all = [*(track for track, _ in copper.template_tracks), *copper.current_paths.tracks]
        self.tracks: list[Track] = []
        self.rows: list[int] = []
        for track in self.all:
            row = found.setdefault(track.form, len(self.tracks))
            if row == len(self.tracks):
                self.tracks.append(track)
            self.rows.append(row)
        self.layers = [track.layer - 1 for track in self.tracks]
        self.points = sum(len(track.shape) for track in self.tracks)

    def path_linkages(self, field: RingField, found: ComplexArray) -> ComplexArray:
        """Linkage of every path (paths, orders) from that of every shape (shapes, orders)."""
        copper, tracks = self.copper, len(self.all)
        turns = np.concatenate([[track.turn for track in self.all], copper.coil_angles])
        turned = np.exp(1j * field.pole_pairs * np.multiply.outer(turns, field.orders))
        each = found[self.rows] * turned[:tracks]
        coils, row = np.empty((len(copper.coil_angles), len(field.orders)), complex), 0
        for template, members in copper.templates:
            coils[members] = each[row : row + len(template.tracks)].sum(axis=0)
            row += len(template.tracks)
        return np.asarray(
            copper.current_paths.coils @ (coils * turned[tracks:]) + copper.current_paths.through @ each[row:]
        )


def phase_linkages(conductors: Conductors, paths: ComplexArray) -> ComplexArray:
    """Linkage harmonics (phases, orders) [Wb] of the phases from those of their paths, as these share the current."""
    return np.asarray(conductors.network.shares @ paths)


def constants(
    design: SizedDesign, field: RingField, linkages: NDArray[np.complex128], series_turns: int, resistance: float
) -> dict[str, Any]:
    """The fields of ``MagneticResult`` that need the fundamental only; linkages: (phases, 1 or more orders) [Wb]."""
    phases, pole_pairs = len(linkages), field.pole_pairs
    psi = float(np.abs(linkages[:, 0]).mean())
    emf_constant = pole_pairs * psi
    torque_constant = phases / 2 * pole_pairs * psi
    mean_radius = (design.board.copper_inner_diameter + design.board.copper_outer_diameter) / 4
    line = {"star": 2 * sin(pi / (phases if phases % 2 else 2 * phases)), "delta": 1.0}
    line_factor = line.get(design.winding.connection)
    return {
        "gap_field_peak": abs(float(field.at(np.array([mean_radius]), 0)[0, 0])),
        "flux_linkage_peak": psi,
        "emf_constant": emf_constant,
        "torque_constant": torque_constant,
        "motor_constant": torque_constant / sqrt(phases / 2 * resistance),
        "speed_constant": 30 / pi / (emf_constant * line_factor) if line_factor and emf_constant > 0 else None,
        "effective_factor": psi / full_pitch_linkage(design, field, series_turns),
    }


def wave_figures(design: SizedDesign, field: RingField, linkages: NDArray[np.complex128]) -> dict[str, Any]:
    """The fields of ``MagneticResult`` that need all orders: harmonics, distortion and ripple."""
    ratios = np.abs(linkages * field.orders).mean(axis=0)
    waves = sampled_waves(linkages, field.orders, field.pole_pairs, design.winding.connection)
    return {
        "emf_harmonics": tuple(
            {"order": int(order), "ratio": float(ratio / ratios[0])}
            for order, ratio in zip(field.orders, ratios, strict=True)
        ),
        "emf_distortion": distortion(waves.phase_emf[0]),
        "line_emf_distortion": distortion(waves.line_emf[0]) if len(waves.line_emf) else None,
        "torque_ripple": ripple(waves.torque),
        "six_step_ripple": ripple(waves.six_step),
        "waves": waves,
    }


def full_pitch_linkage(design: SizedDesign, field: RingField, turns: int) -> float:
    """Linkage [Wb] that as many full-pitch turns spanning the copper's annulus would have: N·(2/p)·∫ b_1 r dr."""
    radii = np.linspace(design.board.copper_inner_diameter / 2, design.board.copper_outer_diameter / 2, 400)
    known = np.linspace(field.inner, field.outer, field.values.shape[-1])
    mean = np.interp(radii, known, field.mean_peak)
    return turns * 2 / field.pole_pairs * float(np.trapezoid(mean * radii, radii))
