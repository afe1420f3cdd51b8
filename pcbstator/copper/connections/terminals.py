"""Where terminals stand around the connection ring: near what they belong to, and apart from each other."""

from __future__ import annotations

from math import pi

import numpy as np
from scipy.optimize import isotonic_regression

from pcbstator.copper.geometry.tracks import FloatArray
from pcbstator.copper.no_room import NoRoomError

PLACES = 2880  # around the circle, where a terminal may be


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
    placed = _row_starts(along, spacing)
    placed = [start + index * spacing for index, start in enumerate(placed)]
    if placed[-1] - placed[0] > 2 * pi - spacing:
        middle = float(np.mean(placed)) - pi * (count - 1) / count
        placed = [middle + 2 * pi * index / count for index in range(count)]
    return [place for _, place in sorted(zip(order, placed, strict=True))]


def paired_terminals(
    homes: dict[str, float], spacing: float, unit: float, passed: list[float], clearance: float
) -> dict[str, float]:
    """Angles for terminals A, A2, B, B2, … so that A2 lies as far after A as B2 after B, by a multiple of ``unit``.

    homes: where each would like to be; spacing: least angle between any two; passed: angles of the coils'
    layer-transition vias, which the leads to terminals pass by ``clearance`` [rad]. NoRoomError where there is no
    place.

    >>> places = paired_terminals({"A": 0.0, "A2": 0.9, "B": 2.0, "B2": 3.1}, 0.1, 0.25, [], 0.0)
    >>> round(places["A2"] - places["A"], 6) == round(places["B2"] - places["B"], 6)
    True
    """
    names = [name for name in homes if f"{name}2" in homes]
    apart = np.array([homes[f"{name}2"] - homes[name] for name in names])
    wish = float(np.angle(np.exp(1j * apart).sum()))
    order = sorted(range(1, round(2 * pi / unit)), key=lambda k: abs(np.angle(np.exp(1j * (k * unit - wish)))))
    places = np.linspace(0, 2 * pi, PLACES, endpoint=False)
    free = np.all(_apart(places[:, None], np.array(passed)[None, :]) >= clearance, axis=1)
    for shift in (k * unit for k in order):
        both = free & np.all(_apart((places + shift)[:, None], np.array(passed)[None, :]) >= clearance, axis=1)
        angles: dict[str, float] = {}
        for name, half in zip(names, np.angle(np.exp(1j * (apart - shift))) / 2, strict=True):
            taken = np.array(list(angles.values()))
            room = both & np.array([abs(shift) >= spacing] * PLACES)
            for moved in (places, places + shift):
                room &= np.all(_apart(moved[:, None], taken[None, :]) >= spacing, axis=1)
            if not room.any():
                break
            away = np.where(room, _apart(places, np.array(homes[name] + half)), np.inf)
            angles[name] = float(places[int(np.argmin(away))])
            angles[f"{name}2"] = angles[name] + shift
        if len(angles) == 2 * len(names):
            return angles
    raise NoRoomError(
        "stack.connection",
        "both ends of each phase need a terminal on the connection ring, so that boards in series meet",
        f"{len(homes)} terminals",
        'use smaller pads, a larger annulus or connection = "parallel"',
    )


def _apart(one: FloatArray, other: FloatArray) -> FloatArray:
    """Angles [rad] between directions, 0 to pi."""
    return np.asarray(np.abs((one - other + pi) % (2 * pi) - pi))


def spread_in_tiles(
    homes: dict[str, float], spacing: float, first_cut: float, tiles: int, aside: float
) -> dict[str, float]:
    """Angles for terminals, each within the tile of its home and ``aside`` from the cuts, moved as little as can be.

    first_cut: the first tile begins this angle before 0 [rad]. NoRoomError where a tile is too short.

    >>> places = spread_in_tiles({"A": 0.05, "B": 0.1, "C": 2.5}, 0.2, 0.1, 4, 0.15)
    >>> {name: round(angle, 3) for name, angle in places.items()}
    {'A': 0.05, 'B': 0.25, 'C': 2.5}
    """
    arc = 2 * pi / tiles
    places: dict[str, float] = {}
    for tile in range(tiles):
        low, high = tile * arc - first_cut, (tile + 1) * arc - first_cut
        own = {name: low + (home - low) % (2 * pi) for name, home in homes.items() if (home - low) % (2 * pi) < arc}
        if not own:
            continue
        room = high - low - 2 * aside - (len(own) - 1) * spacing
        if room < 0:
            raise NoRoomError(
                "board.tiles",
                "a tile must have room for its terminals",
                f"{len(own)} terminals on one of {tiles} tiles",
                "use fewer tiles, smaller pads or a larger annulus",
            )
        order = sorted(own, key=lambda name: own[name])
        starts = _row_starts([own[name] for name in order], spacing)
        least = low + aside
        places |= {
            name: min(max(start, least), least + room) + index * spacing
            for index, (name, start) in enumerate(zip(order, starts, strict=True))
        }
    return places


def _row_starts(along: list[float], spacing: float) -> list[float]:
    """Where the row begins that each of these places belongs to; those that crowd share one, about their mean."""
    return isotonic_regression(np.array(along) - spacing * np.arange(len(along))).x.tolist()
