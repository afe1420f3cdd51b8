"""Everything about the copper of one stator that is settled before a point is computed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import pi, sin
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.copper.connections.connection_ring import (
    Bus,
    ConnectionRing,
    ConnectionRingSizes,
    chord_angle,
)
from pcbstator.copper.connections.fit import connection_ring_sizes, plan_connection_ring
from pcbstator.copper.geometry.tracks import SAGITTA, FloatArray
from pcbstator.copper.no_room import NoRoomError
from pcbstator.copper.spiral.coil import CoilPlan, fit_spiral, inner_margin, skew_stretch
from pcbstator.copper.spiral.outlines import Family, fan_family, parallel_family, round_family, sector_family
from pcbstator.copper.wave.end_windings import WaveSizes
from pcbstator.copper.wave.plan import WavePlan, fit_wave, lap_places, transition_angles, vias_have_room
from pcbstator.winding import Winding

if TYPE_CHECKING:
    from pcbstator.design import Design

TAPERED_SPARE = 20e-6  # m
MOST_CONDUCTORS = 16_000  # of a wave winding on all layers
MOST_POINTS = 2_000_000, 200_000  # of centre-lines, in the stator and in one coil: some 60 MB of files


@dataclass(frozen=True, eq=False)
class StatorPlan:
    """The plan of the coils and of the connection ring. winding: with its coils in the order in which they are joined;
    coil_angles: (coils,) of their axes [rad]; corner: bend of the inter-coil connections [m].
    """

    winding: Winding
    coil: CoilPlan | WavePlan
    coil_angles: FloatArray
    ring: ConnectionRing
    buses: tuple[Bus, ...]
    channels: tuple[int, ...]
    corner: float


def plan_stator(design: Design, winding: Winding, turns: int, track_width: float) -> StatorPlan:
    """The plan for this many turns of this width; NoRoomError where it does not fit."""
    plan = _plan_wave if design.winding.kind == "wave" else _plan_spiral
    return plan(design, winding, turns, track_width)


def _plan_wave(design: Design, winding: Winding, turns: int, track_width: float) -> StatorPlan:
    asked, board = design.winding, design.board
    sizes = connection_ring_sizes(design, track_width)
    used = len(board.used_layers)
    _check_conductors(winding, turns, used)
    across = board.copper_outer_diameter if sizes.side > 0 else board.copper_inner_diameter
    far = board.copper_inner_diameter if sizes.side > 0 else board.copper_outer_diameter

    def wave(transition_step: float, transition_radius: float) -> WaveSizes:
        return WaveSizes(
            poles=winding.poles,
            phases=winding.phases,
            turns=turns,
            pairs=used // 2 if asked.layer_connection == "series" else 1,
            side=sizes.side,
            transition_radius=transition_radius,
            far_edge=far / 2,
            transition_step=transition_step,
            width=track_width,
            gap=sizes.gap,
            transition_pad=sizes.transition_pad,
            bend=asked.corner_radius or max(1.5 * track_width, 0.3e-3),
            tapered=board.track_profile == "tapered",
            skew=asked.skew,
        )

    loose = wave(0.0, across / 2)
    if not vias_have_room(loose, min(across, far) / 2):
        raise NoRoomError(
            "winding.turns", "the active conductors with their end windings and vias must fit the ring", str(turns), ""
        )
    # The laps of a phase begin as near to each other as their layer-transition vias allow, for short connections.
    for sectors in range(1, 2 * turns + 1):
        ordered, angles, apart = _placed(winding, loose.step, sectors)
        if apart < (loose.pairs + 1) * chord_angle(loose.transition_pad, across / 2):
            continue  # not even vias that touch would do
        ring, buses, channels, step = plan_connection_ring(
            design, ordered, sizes, angles, lambda step: transition_angles(wave(step, across / 2))
        )
        final = wave(step, ring.transition_radius)
        if apart >= (final.pairs + 1) * step:
            break
    else:
        raise NoRoomError(
            "winding.turns", "the vias at the ends of the laps must fit on the connection ring", str(turns), ""
        )
    coil = fit_wave(final)
    if coil is None:
        raise NoRoomError(
            "winding.turns", "the active conductors with their end windings and vias must fit the ring", str(turns), ""
        )
    corner = min(2 * track_width, sizes.transition_pad / 2 + sizes.gap) * 0.8
    return StatorPlan(ordered, coil, angles, ring, buses, channels, corner)


def _check_conductors(winding: Winding, turns: int, layers: int) -> None:
    """Bounds the work that a wave winding can ask for."""
    if layers * winding.poles * winding.phases * turns > MOST_CONDUCTORS:
        raise NoRoomError(
            "winding.turns",
            f"a wave winding must have at most {MOST_CONDUCTORS} active conductors on all layers",
            f"{winding.poles} poles x {winding.phases} phases x {turns} turns x {layers} layers",
            "use fewer turns, poles or layers",
        )


@lru_cache(maxsize=512)
def _placed(winding: Winding, step: float, sectors: int) -> tuple[Winding, FloatArray, float]:
    """The winding with the coils of every path in the order of their places, those places [rad], not to be changed (see
    ``lap_places``), and the least angle between neighbours around the circle [rad]. Many designs have the same.
    """
    angles = lap_places(winding, step, sectors)
    around = np.sort(angles % (2 * pi))
    apart = float(np.diff(np.append(around, around[0] + 2 * pi)).min())
    place = angles.tolist().__getitem__
    paths = tuple(tuple(tuple(sorted(path, key=place)) for path in phase) for phase in winding.paths)
    return replace(winding, paths=paths), angles, apart


def _even_angles(winding: Winding) -> FloatArray:
    return np.asarray(2 * pi / winding.coils * np.arange(winding.coils, dtype=np.float64))


def _family(design: Design, ring: ConnectionRing, sizes: ConnectionRingSizes) -> Family:
    """The outlines of the coil's turns."""
    board, coils = design.board, design.winding.coils or 0
    if sizes.side > 0:
        outer, inner = ring.coil_radius, board.copper_inner_diameter / 2 + sizes.coil_width / 2
    else:
        outer, inner = board.copper_outer_diameter / 2 - sizes.coil_width / 2, ring.coil_radius
    clearance = sizes.coil_width / 2 + max(sizes.gap / 2, sizes.beside_cut + SAGITTA)
    most = sizes.pad / 2 + sizes.gap + sizes.coil_width / 2
    corner = design.winding.corner_radius or min(2 * sizes.coil_width, most)
    track_pitch = sizes.coil_width + sizes.gap
    if design.board.track_profile == "tapered":
        corner = max(corner, 0.6 * (track_pitch * outer / inner - sizes.gap))
    if outer - inner < 2 * corner or inner <= clearance:
        whole = (board.copper_outer_diameter - board.copper_inner_diameter) / 2
        raise NoRoomError(
            "board.copper_outer_diameter_mm",
            "the annulus must leave the coils some radius between connection ring and edge",
            f"{1e3 * (outer - inner):.2f} mm for the coils of {1e3 * whole:.2f} mm",
            "widen the annulus, use narrower tracks or smaller pads",
        )
    if inner * sin(pi / coils) <= clearance + corner:
        raise NoRoomError(
            "winding.coils",
            "a coil must be wider than its corners",
            f"{2e3 * inner * sin(pi / coils):.2f} mm per coil",
            "use fewer coils, a larger copper_inner_diameter_mm or narrower tracks",
        )
    if design.winding.outline == "round":
        return round_family(outer, inner, coils, clearance)
    if design.board.track_profile == "tapered":
        return fan_family(outer, inner, coils, track_pitch, sizes.gap, corner, clearance)
    shape = sector_family if design.winding.outline == "sector" else parallel_family
    return shape(outer, inner, coils, clearance, corner)


def _check_transitions(
    design: Design, ring: ConnectionRing, family: Family, sizes: ConnectionRingSizes, angles: tuple[float, ...]
) -> None:
    """The row of layer-transition vias must stay within the coil's pitch and meet the outermost turn."""
    beside = (sizes.transition_pad + sizes.gap) / 2
    half_row = ring.transition_radius * angles[-1] + beside
    if design.board.tiles > 1:
        _check_beside_cut(design, ring, sizes, angles[-1])
    reach = ring.transition_radius * family.ring_angle(sizes.side) + beside
    # Where leads of all coils run on one layer, they must pass each other as far inside as they go.
    inmost = min(ring.transition_radius, *ring.arc_radii) if ring.stepped else ring.transition_radius
    pitch = ring.transition_radius * sin(pi / (design.winding.coils or 1)) - beside * (
        ring.transition_radius / inmost - 1
    )
    room = min(pitch, reach)
    if half_row > room:
        raise NoRoomError(
            "board.layers",
            f"the {len(angles)} vias beside a coil must fit its width at the connection ring",
            f"{2e3 * half_row:.2f} mm needed, {2e3 * room:.2f} mm there",
            "use fewer layers, fewer coils, smaller via_pad_mm or a larger annulus",
        )


def _check_beside_cut(design: Design, ring: ConnectionRing, sizes: ConnectionRingSizes, last_transition: float) -> None:
    """The layer-transition vias of a coil and their leads must be clear of the holes beside a cut."""
    needed = sizes.transition_pad / 2 + sizes.beside_jumpers
    there = min(ring.transition_radius, *ring.arc_radii) * sin(pi / (design.winding.coils or 1) - last_transition)
    if there < needed:
        raise NoRoomError(
            "board.tiles",
            "the holes beside a cut must fit between it and the vias of the coil",
            f"{1e3 * needed:.2f} mm needed, {1e3 * there:.2f} mm there",
            "use a smaller jumper_pad_mm, fewer coils or a larger annulus",
        )


def _plan_spiral(design: Design, winding: Winding, turns: int, track_width: float) -> StatorPlan:
    sizes, skew = connection_ring_sizes(design, track_width), design.winding.skew
    last = len(design.board.used_layers) // 2
    ring, buses, channels, step = plan_connection_ring(
        design, winding, sizes, _even_angles(winding),
        lambda step: (sizes.side * skew / 2 - last / 2 * step, sizes.side * skew / 2 + last / 2 * step),
    )  # fmt: skip
    angles = tuple((index - last / 2) * step for index in range(last + 1))
    family = _family(design, ring, sizes)
    _check_transitions(design, ring, family, sizes, angles)
    stretch, gap = skew_stretch(family.outer, family.inner, skew), design.board.track_gap
    if stretch > 1:
        sizes = replace(sizes, coil_width=stretch * track_width, gap=stretch * sizes.gap, pad=stretch * sizes.pad)
        family, track_width, gap = _family(design, ring, sizes), stretch * track_width, stretch * gap
    if design.board.track_profile == "tapered":
        sizes = replace(sizes, pad=sizes.pad + TAPERED_SPARE)  # where turns narrow on their way to a via
    placed = fit_spiral(family, turns, track_width, gap, sizes.pad, last, sizes.side)
    if placed is None:
        raise NoRoomError(
            "winding.turns", "the turns must leave room for the vias in the middle of the coil", str(turns), ""
        )
    family, pitch, inner = placed
    corner = min(2 * track_width, sizes.pad / 2 + sizes.gap + track_width / 2) * 0.8
    margin = inner_margin(track_width, gap, sizes.pad)
    coil = CoilPlan(
        family,
        turns,
        pitch,
        track_width,
        sizes.side,
        ring.transition_radius,
        angles,
        inner,
        corner,
        margin,
        skew,
        stretch,
    )
    _check_size(coil, len(design.board.used_layers), winding.coils)
    return StatorPlan(winding, coil, _even_angles(winding), ring, buses, channels, corner)


def _check_size(coil: CoilPlan, layers: int, coils: int) -> None:
    """Bounds the work and the size of the files that a design can ask for."""
    points = 2 * coil.family.half_vertices * coil.turns * layers
    if points <= MOST_POINTS[1] and points * coils <= MOST_POINTS[0]:
        return
    raise NoRoomError(
        "winding.turns",
        f"the drawing must have at most {MOST_POINTS[1]} points per coil and {MOST_POINTS[0]} in all",
        f"{coil.turns} turns x {layers} layers = {points} points per coil, {coils} coils",
        "use fewer turns, layers or coils, or a smaller machine",
    )
