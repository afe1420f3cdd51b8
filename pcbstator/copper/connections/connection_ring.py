"""The connection ring: which coil ends are joined there, and on which layers and radii the inter-coil connections run.

Joins are worked out as angles first: every join is a bus, an arc with taps at the coils' layer-transition vias and
perhaps a terminal. Two arrangements lead the arcs past each other:

* *layered*: all arcs at one radius, each on a layer of its own, so that nothing crosses. Takes the least radius.
* *stepped*: all arcs on layer 1, each at a radius of its own; radial leads on the last layer, a via at every tap.
  For boards with fewer layers than arcs that overlap.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache
from math import asin, pi
from typing import NamedTuple

import numpy as np

from pcbstator.copper.connections.terminals import paired_terminals, spread, spread_in_tiles
from pcbstator.copper.geometry.tracks import FloatArray
from pcbstator.winding import PHASE_NAMES, Winding

ALIKE, DIGITS = 1e-9, 8  # rad, and decimals: angles that differ by less do so by rounding, which must not decide


class Tap(NamedTuple):
    """A place on a bus: the angle [rad] and what hangs there, a coil's start or finish or a terminal."""

    angle: float
    coil: int = -1
    at_start: bool = False
    terminal: str = ""


@dataclass(frozen=True)
class Bus:
    """Coil ends that are joined. taps lie in the order of the arc; angles grow along it and may pass 2·pi."""

    net: str
    phase: str
    taps: tuple[Tap, ...]

    @property
    def terminal(self) -> Tap | None:
        """The tap with the terminal, if the bus has one."""
        return next((tap for tap in self.taps if tap.terminal), None)

    @property
    def span(self) -> tuple[float, float]:
        """First and last angle [rad]."""
        return self.taps[0].angle, self.taps[-1].angle


class Join(NamedTuple):
    """Coil ends that must be joined: net, phase, (coil, at its start) of each, and the terminal's name or ""."""

    net: str
    phase: str
    coil_ends: tuple[tuple[int, bool], ...]
    terminal: str


def net_name(connection: str, phase: int) -> str:
    """The electrical net of a phase: star and delta are one piece of copper, open phases are not."""
    return PHASE_NAMES[phase] if connection == "open" else connection.upper()


@lru_cache(maxsize=256)
def joins(winding: Winding, connection: str) -> tuple[Join, ...]:
    """What must be joined; many stators have the same winding."""

    def entry(coil: int) -> tuple[int, bool]:
        return coil, winding.sense[coil] > 0

    def leaving(coil: int) -> tuple[int, bool]:
        return coil, winding.sense[coil] < 0

    result: list[tuple[str, str, list[tuple[int, bool]], str]] = []
    for phase, paths in enumerate(winding.paths):
        name, net = PHASE_NAMES[phase], net_name(connection, phase)
        for path in paths:
            result += [(net, name, [leaving(a), entry(b)], "") for a, b in itertools.pairwise(path)]
        entries, ends = [entry(path[0]) for path in paths], [leaving(path[-1]) for path in paths]
        if connection == "delta":
            result.append((net, name, entries + [leaving(path[-1]) for path in winding.paths[phase - 1]], name))
            continue
        result.append((net, name, entries, name))
        if connection == "open":
            result.append((net, name, ends, f"{name}2"))
    if connection == "star":
        ends = [leaving(path[-1]) for paths in winding.paths for path in paths]
        result.append((net_name("star", 0), "N", sorted(ends), "N"))
    return tuple(Join(net, name, tuple(ends), terminal) for net, name, ends, terminal in result)


def _rounded_angle(tap: Tap) -> float:
    return round(tap[0], DIGITS)


def _arc_order(taps: list[Tap]) -> tuple[Tap, ...]:
    """The taps along the arc that leaves out the largest gap between them; of gaps that are alike the last one."""
    full = 2 * pi
    taps = sorted([Tap((tap[0] + ALIKE) % full - ALIKE, *tap[1:]) for tap in taps], key=_rounded_angle)
    begin, widest = 0, 0.0
    for index in range(1, len(taps)):
        gap = taps[index][0] - taps[index - 1][0]
        if gap < 0:  # at one place, but for rounding
            taps[index] = taps[index]._replace(angle=taps[index - 1][0])
        elif gap > widest - ALIKE:
            begin, widest = index, gap
    if (taps[0][0] - taps[-1][0]) % full > widest - ALIKE:
        begin = 0
    return (*taps[begin:], *(Tap(tap[0] + full, *tap[1:]) for tap in taps[:begin]))


def lay_buses(
    winding: Winding,
    connection: str,
    coil_angles: FloatArray,
    start_angle: float,
    finish_angle: float,
    terminal_spacing: float,
    pairing: float | None = None,
    clearance: float = 0.0,
    cuts: tuple[int, float] | None = None,
) -> tuple[Bus, ...]:
    """The buses with their angles.

    coil_angles: of the coils' axes [rad]; start_angle, finish_angle: of a coil's first and last layer-transition
    via from its axis [rad]; terminal_spacing: least angle between terminals; pairing: where given, both ends of a phase
    are a multiple of this angle apart, the same for all phases (see ``connections.stack``); clearance: of their leads
    from layer-transition vias [rad]; cuts: number of tiles and the angle [rad] by which terminals keep from the cuts
    between them.
    """
    wanted, axes = joins(winding, connection), coil_angles.tolist()
    angles = [axis + finish_angle for axis in axes], [axis + start_angle for axis in axes]
    homes = {}
    for join in wanted:
        if join.terminal:
            coil, at_start = join.coil_ends[-2 if join.terminal == "N" else 0]
            homes[join.terminal] = angles[at_start][coil]
    if cuts is not None:
        places = spread_in_tiles(homes, terminal_spacing, pi / winding.coils, *cuts)
    elif pairing is None:
        places = dict(zip(homes, spread(list(homes.values()), terminal_spacing), strict=True))
    else:
        passed = [angles[at_start][coil] for join in wanted for coil, at_start in join.coil_ends]
        places = paired_terminals(homes, terminal_spacing, pairing, passed, clearance)
    buses = []
    for net, phase, coil_ends, name in wanted:
        taps = [Tap(angles[at_start][coil], coil, at_start) for coil, at_start in coil_ends]
        if name:
            taps.append(Tap(places[name], terminal=name))
        buses.append(Bus(net, phase, _arc_order(taps)))
    return tuple(buses)


def assign_channels(
    buses: tuple[Bus, ...], clearance: float, period: float | None = None, most: int | None = None
) -> tuple[tuple[int, ...], int]:
    """A channel for every bus, so that those in one channel keep ``clearance`` [rad] apart; and their number.

    With a ``period`` [rad], buses that are turned by it lie in one channel, at the price of one channel at most. Where
    it is plain that more than ``most`` are needed, none are chosen.
    """
    spans = [bus.span for bus in buses]
    begin, end = np.array(spans).T
    follows = (begin[None, :] - begin[:, None]) % (2 * pi) < (end - begin)[:, None] + clearance
    above = int(follows.sum(axis=0).max())  # arcs above one place: no fewer channels will do
    if most is not None and above > most:
        return (), above
    # The buses that meet each bus, as the bits of a number: so are the members of a channel.
    bits = np.packbits(follows | follows.T, axis=1, bitorder="little")
    meets = [int.from_bytes(row.tobytes(), "little") for row in bits]
    by_start = sorted(range(len(buses)), key=lambda i: round((spans[i][0] + ALIKE) % (2 * pi), DIGITS))
    best = _fill([[bus] for bus in by_start], meets)
    if max(best) >= above:
        by_length = sorted(range(len(buses)), key=lambda i: round(spans[i][0] - spans[i][1], DIGITS))
        best = min(best, _fill([[bus] for bus in by_length], meets), key=max)
    if period is not None:
        alike: dict[tuple[int, int], list[int]] = {}
        for bus in by_start:
            start, stop = spans[bus]
            alike.setdefault((round(1e6 * ((start + 1e-7) % period)), round(1e6 * (stop - start))), []).append(bus)
        orders = (sorted(alike.values(), key=rank) for rank in (len, lambda members: -len(members)))
        tidy = min((_fill(groups, meets) for groups in orders), key=max)
        best = tidy if max(tidy) <= max(best) + 1 else best
    return tuple(best), max(best) + 1


def _fill(groups: list[list[int]], meets: list[int]) -> list[int]:
    """A channel for every bus: one for all of a group, further ones only where its members meet."""
    channels: list[int] = []
    chosen = [0] * len(meets)
    for group in groups:
        rest = group
        while rest:
            together, taken, met = [], 0, 0
            for bus in rest:
                if not meets[bus] & taken:
                    together.append(bus)
                    taken |= 1 << bus
                    met |= meets[bus]
            rest = [bus for bus in rest if not taken >> bus & 1]
            number = next((i for i, members in enumerate(channels) if not members & met), len(channels))
            if number == len(channels):
                channels.append(0)
            channels[number] |= taken
            for bus in together:
                chosen[bus] = number
    return chosen


@dataclass(frozen=True)
class ConnectionRingSizes:
    """What sets the radii of the connection ring [m]: widths, gap, pads; ``edge`` is the radius it may not pass,
    ``side`` +1 where it lies outside the coils, -1 inside.

    jumper_pad: of the holes for tile jumpers, 0 without; beside_cut: of copper from the middle of a cut, 0 without.
    """

    edge: float
    side: int
    coil_width: float
    interconnect_width: float
    gap: float
    pad: float
    terminal_pad: float
    jumper_pad: float = 0.0
    beside_cut: float = 0.0

    @property
    def jumper_middle(self) -> float:
        """Distance [m] of a hole beside a cut from the middle of the cut."""
        return self.beside_cut + max(self.jumper_pad, self.interconnect_width) / 2

    @property
    def beside_jumpers(self) -> float:
        """Distance [m] from the middle of a cut at which other copper is clear of the holes beside it."""
        return self.jumper_middle + max(self.jumper_pad, self.interconnect_width) / 2 + self.gap

    @property
    def transition_pad(self) -> float:
        """Diameter [m] of the copper where tracks meet at a via: its pad, or the round end of a wider track."""
        return max(self.pad, self.coil_width, self.interconnect_width)

    @property
    def terminal(self) -> float:
        """Diameter [m] of the copper at a terminal: its pad, or the round end of a wider lead."""
        return max(self.terminal_pad, self.interconnect_width)


@dataclass(frozen=True)
class ConnectionRing:
    """Radii [m] of coils, layer-transition vias, arcs (per channel) and terminals; stepped: whether each arc has a
    radius of its own, else a layer of its own.
    """

    stepped: bool
    coil_radius: float
    transition_radius: float
    arc_radii: tuple[float, ...]
    terminal_radius: float


def chord_angle(chord: float, radius: float) -> float:
    """Angle [rad] between places on a circle that are ``chord`` [m] apart in a straight line; pi where it is too small.

    >>> round(chord_angle(1.0, 1.0), 4)  # a regular hexagon
    1.0472
    """
    return 2 * asin(min(chord / (2 * radius), 1.0))


def layered_ring(sizes: ConnectionRingSizes, channels: int) -> ConnectionRing:
    """Radii with all arcs at one radius."""
    terminal = sizes.edge - sizes.side * sizes.terminal / 2
    arc = terminal - sizes.side * (sizes.terminal / 2 + sizes.gap + sizes.interconnect_width / 2)
    transition = arc - sizes.side * (sizes.interconnect_width / 2 + sizes.gap + sizes.transition_pad / 2)
    coil = transition - sizes.side * (sizes.transition_pad / 2 + sizes.gap + sizes.coil_width / 2)
    return ConnectionRing(False, coil, transition, (arc,) * channels, terminal)


def stepped_ring(sizes: ConnectionRingSizes, channels: int) -> ConnectionRing:
    """Radii with one step for every channel."""
    terminal = sizes.edge - sizes.side * sizes.terminal / 2
    widest = max(sizes.transition_pad, sizes.jumper_pad)  # holes beside a cut stand above each other
    step = sizes.gap + max((sizes.transition_pad + sizes.interconnect_width) / 2, sizes.jumper_pad)
    last = terminal - sizes.side * (sizes.terminal / 2 + sizes.gap + widest / 2)
    arcs = tuple(last - sizes.side * step * (channels - 1 - index) for index in range(channels))
    transition = arcs[0] - sizes.side * max(
        sizes.transition_pad + sizes.gap, (sizes.jumper_pad + sizes.transition_pad) / 2 + sizes.gap
    )
    coil = transition - sizes.side * (sizes.transition_pad / 2 + sizes.gap + sizes.coil_width / 2)
    return ConnectionRing(True, coil, transition, arcs, terminal)
