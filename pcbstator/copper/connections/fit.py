"""What fits on the connection ring: radii, buses and their channels, for every kind of winding."""

from __future__ import annotations

from collections.abc import Callable
from math import asin, pi
from typing import TYPE_CHECKING

from pcbstator.copper.connections.connection_ring import (
    Bus,
    ConnectionRing,
    ConnectionRingSizes,
    assign_channels,
    chord_angle,
    lay_buses,
    layered_ring,
    stepped_ring,
)
from pcbstator.copper.connections.via_transitions import transition_vias
from pcbstator.copper.geometry.tracks import SAGITTA, FloatArray
from pcbstator.copper.no_room import NoRoomError
from pcbstator.winding import Winding

if TYPE_CHECKING:
    from pcbstator.design import Design

TERMINAL_SPACE = 0.5e-3  # between the pads of neighbouring terminals [m]: room for a soldering iron


def connection_ring_sizes(design: Design, track_width: float) -> ConnectionRingSizes:
    """What the design says about its connection ring, with tracks of this width [m]."""
    board = design.board
    outside = design.winding.connection_ring == "outer"
    return ConnectionRingSizes(
        edge=(board.copper_outer_diameter if outside else board.copper_inner_diameter) / 2,
        side=1 if outside else -1,
        coil_width=track_width,
        interconnect_width=board.stated_interconnect_width or track_width,
        gap=board.track_gap + SAGITTA,
        pad=transition_vias(design, track_width)[1],
        terminal_pad=board.terminal_pad,
        jumper_pad=board.jumper_pad if board.tiles > 1 else 0.0,
        beside_cut=board.beside_cut,
    )


def plan_connection_ring(
    design: Design,
    winding: Winding,
    sizes: ConnectionRingSizes,
    coil_angles: FloatArray,
    transition_ends: Callable[[float], tuple[float, float]],
) -> tuple[ConnectionRing, tuple[Bus, ...], tuple[int, ...], float]:
    """Radii of the ring, buses, their channels, and the angle [rad] between a coil's layer-transition vias.

    transition_ends: from that angle, those of a coil's first and last layer-transition via from its axis [rad].
    """
    spacing = sizes.transition_pad + sizes.gap
    pairing = 4 * pi / winding.poles if design.boards_in_series else None
    layers = len(design.board.used_layers)
    tiles = design.board.tiles
    # Every arc needs a radius of its own where holes beside the cuts go through all layers.
    arrangements: list[Callable[[ConnectionRingSizes, int], ConnectionRing]] = (
        [layered_ring, stepped_ring] if tiles == 1 else [stepped_ring]
    )
    for arrange in arrangements:
        channels = 1
        while channels <= 2 * winding.coils:
            ring = arrange(sizes, channels)
            smallest = min(ring.transition_radius, ring.terminal_radius, *ring.arc_radii)
            if smallest <= 0:
                break
            # Square on to a neighbour's lead, which may run on beyond the end of this one.
            step = asin(min(spacing / min(ring.transition_radius, *ring.arc_radii), 1.0))
            apart = chord_angle(sizes.terminal + max(sizes.gap, TERMINAL_SPACE), ring.terminal_radius)
            aside = max(sizes.terminal, sizes.transition_pad) / 2 + sizes.beside_jumpers
            cuts = (tiles, asin(min(aside / smallest, 1.0))) if tiles > 1 else None
            buses = lay_buses(
                winding, design.board_connection, coil_angles, *transition_ends(step), apart, pairing, step, cuts
            )
            _check_terminals(sum(bus.terminal is not None for bus in buses), apart)
            period, most = (2 * pi / tiles if tiles > 1 else None), (layers if arrange is layered_ring else None)
            chosen, needed = assign_channels(buses, 0.95 * step, period, most)
            if arrange is layered_ring and needed > layers:
                break
            if arrange is layered_ring or needed <= channels:
                return arrange(sizes, max(needed, channels)), buses, chosen, step
            channels = needed
    raise NoRoomError(
        "board.copper_inner_diameter_mm",
        "the annulus must have room for the inter-coil connections",
        "too small a ring",
        "enlarge the annulus or use fewer parallel_paths",
    )


def _check_terminals(count: int, apart: float) -> None:
    """All terminals stand on one circle, ``apart`` [rad] from each other."""
    if count * apart > 2 * pi:
        raise NoRoomError(
            "board.terminal_pad_mm",
            f"the {count} terminals must fit on the connection ring",
            f"{360 * count * apart / (2 * pi):.0f} degrees of it needed",
            "use smaller pads, a larger annulus or the other connection_ring",
        )
