"""The rim: which coil ends are joined there, and on which layers and radii the links run.

Joins are worked out as angles first: every join is a bus, an arc with taps at the posts of coils and perhaps a
terminal. Two ways lead the arcs past each other:

* *layered*: all arcs at one radius, each on a layer of its own, so that nothing crosses. Takes the least radius.
* *stepped*: all arcs on layer 1, each at a radius of its own; radial leads on the last layer, a via at every tap.
  For boards with fewer layers than arcs that overlap.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import asin, pi
from typing import Literal

import numpy as np

from pcbstator.copper.records import FloatArray
from pcbstator.winding import PHASE_NAMES, Winding

Connection = Literal["star", "delta", "open"]


@dataclass(frozen=True)
class NoRoomError(Exception):
    """Something does not fit: the key that decides, the rule with its numbers, and a way out."""

    key: str
    rule: str
    value: str
    remedy: str


@dataclass(frozen=True)
class Tap:
    """A place on a bus: the angle [rad] and what hangs there, a coil's post (start or finish) or a terminal."""

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


def net_name(connection: str, phase: int) -> str:
    """The electrical net of a phase: star and delta are one piece of copper, open phases are not."""
    return PHASE_NAMES[phase] if connection == "open" else connection.upper()


def joins(winding: Winding, connection: str) -> list[tuple[str, str, list[tuple[int, bool]], str]]:
    """What must be joined: (net, phase, [(coil, at its start)], terminal name or "")."""

    def entry(coil: int) -> tuple[int, bool]:
        return coil, winding.sense[coil] > 0

    def leaving(coil: int) -> tuple[int, bool]:
        return coil, winding.sense[coil] < 0

    result = []
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
    return result


def _arc_order(taps: list[Tap]) -> tuple[Tap, ...]:
    """The taps along the arc that leaves out the largest gap between them."""
    taps = sorted((replace(tap, angle=tap.angle % (2 * pi)) for tap in taps), key=lambda tap: tap.angle)
    gaps = [(taps[(i + 1) % len(taps)].angle - tap.angle) % (2 * pi) for i, tap in enumerate(taps)]
    widest = max(range(len(taps)), key=lambda i: (gaps[i], i)) if len(taps) > 1 else 0
    ordered = taps[widest + 1 :] + [replace(tap, angle=tap.angle + 2 * pi) for tap in taps[: widest + 1]]
    if ordered[0].angle >= 2 * pi:
        ordered = [replace(tap, angle=tap.angle - 2 * pi) for tap in ordered]
    return tuple(ordered)


def spread(angles: list[float], spacing: float) -> list[float]:
    """Angles moved as little as can be, in their order around the circle, so that neighbours are ``spacing`` apart.

    Those that crowd stand evenly about their mean; all of them stand evenly around the circle where nothing less helps.

    >>> [round(angle, 3) for angle in spread([1.0, 1.1, 4.0], 0.3)]
    [0.9, 1.2, 4.0]
    """
    count = len(angles)
    order = sorted(range(count), key=lambda i: angles[i] % (2 * pi))
    turned = [angles[i] % (2 * pi) for i in order]
    gaps = [(turned[i] - turned[i - 1]) % (2 * pi) for i in range(count)]
    cut = max(range(count), key=lambda i: gaps[i])  # the widest gap is before this one
    order = order[cut:] + order[:cut]
    along = turned[cut:] + [angle + 2 * pi for angle in turned[:cut]]
    groups: list[list[float]] = []  # of neighbours that touch: their first places if each had the group to itself
    for index, angle in enumerate(along):
        groups.append([angle - index * spacing])
        while len(groups) > 1 and _mean(groups[-2]) > _mean(groups[-1]):
            groups[-2:] = [groups[-2] + groups[-1]]
    placed = [_mean(group) for group in groups for _ in group]
    placed = [start + index * spacing for index, start in enumerate(placed)]
    if placed[-1] - placed[0] > 2 * pi - spacing:
        middle = _mean(placed) - pi * (count - 1) / count
        placed = [middle + 2 * pi * index / count for index in range(count)]
    return [place for _, place in sorted(zip(order, placed, strict=True))]


def paired_terminals(
    homes: dict[str, float], spacing: float, unit: float, foreign: Mapping[str, list[float]], beside: float
) -> dict[str, float]:
    """Angles for terminals A, A2, B, B2, … so that A2 lies as far after A as B2 after B, by a multiple of ``unit``.

    homes: where each would like to be; spacing: least angle between any two [rad]. foreign: the posts that a terminal's
    lead may not run into, ``beside`` [rad] being the least angle; where that cannot be, it is left to the gap's check.
    NoRoomError where there is no such place.

    >>> places = paired_terminals({"A": 0.0, "A2": 0.9, "B": 2.0, "B2": 3.1}, 0.1, 0.25, {}, 0.0)
    >>> round(places["A2"] - places["A"], 6) == round(places["B2"] - places["B"], 6)
    True
    """
    names = [name for name in homes if f"{name}2" in homes]
    apart = np.array([homes[f"{name}2"] - homes[name] for name in names])
    wish = float(np.angle(np.exp(1j * apart).sum()))
    steps = round(2 * pi / unit)
    order = sorted(range(1, steps), key=lambda k: abs(np.angle(np.exp(1j * (k * unit - wish)))))
    for shift in (k * unit for k in order):
        lag = np.angle(np.exp(1j * (apart - shift))) / 2
        firsts = spread([homes[name] + float(half) for name, half in zip(names, lag, strict=True)], spacing)
        angles = dict(zip(names, firsts, strict=True))
        angles |= {f"{name}2": angle + shift for name, angle in zip(names, firsts, strict=True)}
        around = np.sort(np.array(list(angles.values())) % (2 * pi))
        if np.diff(np.append(around, around[0] + 2 * pi)).min() >= spacing - 1e-12:
            return _moved_clear(angles, foreign, beside)
    raise NoRoomError(
        "stack.connection",
        "both ends of each phase need a terminal on the rim, so that boards in series meet",
        f"{len(homes)} terminals",
        'use smaller pads, a larger annulus or connection = "parallel"',
    )


def _moved_clear(angles: dict[str, float], foreign: Mapping[str, list[float]], beside: float) -> dict[str, float]:
    """The terminals turned together, as little as can be, until none is within ``beside`` of a foreign post."""

    def clear(turn: float) -> bool:
        return all(
            np.abs(np.angle(np.exp(1j * (np.array(foreign[name]) - angle - turn)))).min(initial=pi) >= beside - 1e-9
            for name, angle in angles.items()
            if name in foreign
        )

    turns = sorted((k * beside / 4 for k in range(-32, 33)), key=lambda turn: (abs(turn), turn))
    turn = next((turn for turn in turns if clear(turn)), 0.0)
    return {name: angle + turn for name, angle in angles.items()}


def _mean(values: list[float]) -> float:
    return sum(values) / len(values)


def lay_buses(
    winding: Winding,
    connection: str,
    coil_angles: FloatArray,
    start_angle: float,
    finish_angle: float,
    terminal_spacing: float,
    pairing: float | None = None,
    post_spacing: float = 0.0,
) -> tuple[Bus, ...]:
    """The buses with their angles.

    coil_angles: of the coils' axes [rad]; start_angle, finish_angle: of a coil's first and last post from its axis
    [rad]; terminal_spacing, post_spacing: least angle between terminals and between posts; pairing: where given,
    both ends of a phase are a multiple of
    this angle apart, the same for all phases (see ``copper.stack``).
    """
    wanted = joins(winding, connection)

    def angle(post: tuple[int, bool]) -> float:
        return float(coil_angles[post[0]]) + (start_angle if post[1] else finish_angle)

    homes = {name: angle(posts[-2 if name == "N" else 0]) for _, _, posts, name in wanted if name}
    if pairing is None:
        places = dict(zip(homes, spread(list(homes.values()), terminal_spacing), strict=True))
    else:
        foreign = {
            name: [angle(post) for _, _, others, other in wanted if other != name or not other for post in others]
            for _, _, _, name in wanted
            if name
        }
        places = paired_terminals(homes, terminal_spacing, pairing, foreign, post_spacing)
    buses = []
    for net, phase, posts, name in wanted:
        taps = [Tap(angle(post), coil=post[0], at_start=post[1]) for post in posts]
        if name:
            taps.append(Tap(places[name], terminal=name))
        buses.append(Bus(net, phase, _arc_order(taps)))
    return tuple(buses)


def assign_channels(buses: tuple[Bus, ...], clearance: float) -> tuple[tuple[int, ...], int]:
    """A channel for every bus, so that those in one channel keep ``clearance`` [rad] apart; and their number."""
    spans = [bus.span for bus in buses]

    def meet(a: int, b: int) -> bool:
        (a0, a1), (b0, b1) = spans[a], spans[b]
        return (b0 - a0) % (2 * pi) < a1 - a0 + clearance or (a0 - b0) % (2 * pi) < b1 - b0 + clearance

    def fill(order: list[int]) -> list[int]:
        channels: list[list[int]] = []
        chosen = [0] * len(buses)
        for bus in order:
            free = (i for i, members in enumerate(channels) if not any(meet(bus, other) for other in members))
            chosen[bus] = next(free, len(channels))
            if chosen[bus] == len(channels):
                channels.append([])
            channels[chosen[bus]].append(bus)
        return chosen

    by_start = sorted(range(len(buses)), key=lambda i: spans[i][0] % (2 * pi))
    by_length = sorted(range(len(buses)), key=lambda i: spans[i][0] - spans[i][1])
    best = min((fill(order) for order in (by_start, by_length)), key=max)
    return tuple(best), max(best) + 1


@dataclass(frozen=True)
class RimSizes:
    """What sets the radii of the rim [m]: widths, gap, pads; ``edge`` is the radius it may not pass, ``side`` ±1."""

    edge: float
    side: int
    coil_width: float
    link_width: float
    gap: float
    pad: float
    terminal_pad: float

    @property
    def joint(self) -> float:
        """Diameter [m] of the copper where tracks meet at a via: its pad, or the round end of a wider track."""
        return max(self.pad, self.coil_width, self.link_width)

    @property
    def terminal(self) -> float:
        """Diameter [m] of the copper at a terminal: its pad, or the round end of a wider lead."""
        return max(self.terminal_pad, self.link_width)


@dataclass(frozen=True)
class RimPlan:
    """Where the rim's parts lie: radii [m] of posts, arcs (per channel) and terminals; layers of arcs and leads."""

    stepped: bool
    coil_radius: float
    post_radius: float
    arc_radii: tuple[float, ...]
    terminal_radius: float


def chord_angle(chord: float, radius: float) -> float:
    """Angle [rad] between places on a circle that are ``chord`` [m] apart in a straight line; pi where it is too small.

    >>> round(chord_angle(1.0, 1.0), 4)  # a regular hexagon
    1.0472
    """
    return 2 * asin(min(chord / (2 * radius), 1.0))


def layered_rim(sizes: RimSizes, channels: int) -> RimPlan:
    """Radii with all arcs at one radius."""
    terminal = sizes.edge - sizes.side * sizes.terminal / 2
    arc = terminal - sizes.side * (sizes.terminal / 2 + sizes.gap + sizes.link_width / 2)
    post = arc - sizes.side * (sizes.link_width / 2 + sizes.gap + sizes.joint / 2)
    coil = post - sizes.side * (sizes.joint / 2 + sizes.gap + sizes.coil_width / 2)
    return RimPlan(False, coil, post, (arc,) * channels, terminal)


def stepped_rim(sizes: RimSizes, channels: int) -> RimPlan:
    """Radii with one step for every channel."""
    terminal = sizes.edge - sizes.side * sizes.terminal / 2
    step = sizes.joint / 2 + sizes.gap + sizes.link_width / 2
    last = terminal - sizes.side * (sizes.terminal / 2 + sizes.gap + sizes.joint / 2)
    arcs = tuple(last - sizes.side * step * (channels - 1 - index) for index in range(channels))
    post = arcs[0] - sizes.side * (sizes.joint + sizes.gap)
    coil = post - sizes.side * (sizes.joint / 2 + sizes.gap + sizes.coil_width / 2)
    return RimPlan(True, coil, post, arcs, terminal)
