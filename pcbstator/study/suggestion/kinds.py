"""Kinds of machine: where it lies, which winding, which magnets from the list, how many poles; and how far two kinds of
design are apart, which is not a matter of numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from math import asin, atan2, gcd, hypot, log, pi
from typing import Any

from pcbstator.study.suggestion.parts import Parts, StockMagnet
from pcbstator.study.suggestion.room import Ring, value_of
from pcbstator.winding import feasible_windings

LEAST_FACTOR = 0.9  # of a spiral winding
MOST_COILS, MOST_POLES = 60, 120
MOST_SPAN = 1.5  # pole pitches that a coil spans: more is end winding
BETWEEN = 0.5  # mm between neighbouring magnets, for glue and tolerance (common practice, no source)
LEAST_FILL = 0.7  # of the poles that would fit: fewer waste the ring
CONNECTIONS = 3.0  # mm at the outer edge of the ring for inter-coil connections
SHORTEST = 0.45  # of the ring along the radius, which a magnet must face
POLES_APART = 1.3  # factor between the pole counts of two sizes of magnets that are both tried
SIZES = 3  # of magnets of one shape on one ring
THICKNESSES = 3
LEAST_PITCH = 4.0  # mm from pole to pole
GAP, BOARD = 1.0, 1.6  # mm, where the file says nothing

PLACE, WINDING, SHAPE, LAYERS, STEEL, POLES = 3, 2, 2, 1, 1, 1  # what a difference in each counts
APART = 2  # by which any two suggestions differ at least
OTHER_POLES = 1.4  # factor between pole counts that makes another kind


@dataclass(frozen=True)
class Kind:
    """A machine but for its copper and steel: place in words, winding, magnets, poles, and the keys that it sets."""

    ring: Ring
    winding: str
    coils: int
    poles: int
    magnet: StockMagnet
    settings: dict[str, Any]

    @property
    def label(self) -> str:
        """In words, as a choice among others."""
        coils = f"{self.coils} coils" if self.winding == "spiral" else "a wave winding"
        where = f", {self.ring.place}" if self.ring.place else ""
        return f"{coils} on {self.poles} poles, {self.magnet.label}{where}"


@dataclass(frozen=True)
class Build:
    """A kind with what is chosen last."""

    kind: Kind
    layers: int
    steel: bool

    @property
    def group(self) -> tuple[object, ...]:
        """All but the numbers: designs of one group are variants of one kind."""
        kind = self.kind
        return kind.ring.place, kind.winding, kind.magnet.shape, round(log(kind.poles) / log(OTHER_POLES)), self.layers


def apart(one: Build, other: Build) -> int:
    """How far two designs are apart in kind; numbers such as widths and thicknesses count nothing.

    The place counts 3, spiral or wave 2, discs or blocks 2; other layers, steel or none, and a number of poles that
    differs by a factor of 1.4 or more count 1 each.
    """
    a, b = one.kind, other.kind
    poles = max(a.poles, b.poles) >= OTHER_POLES * min(a.poles, b.poles)
    return (
        PLACE * (a.ring.place != b.ring.place)
        + WINDING * (a.winding != b.winding)
        + SHAPE * (a.magnet.shape != b.magnet.shape)
        + LAYERS * (one.layers != other.layers)
        + STEEL * (one.steel != other.steel)
        + POLES * poles
    )


def kinds_of(tables: Mapping[str, Any], rings: Sequence[Ring], parts: Parts) -> list[Kind]:
    """Every kind that fits the rings and the height of a design file."""
    phases = int(value_of(tables, "winding.phases") or 3)
    gap, board = (value_of(tables, path) for path in ("rotor.air_gap_mm", "board.thickness_mm"))
    height, double = value_of(tables, "envelope.height_mm"), _double(tables)
    room = None if height is None else (height - (board or BOARD)) / (2 if double else 1) - (gap or GAP)
    found = []
    for ring in rings:
        fitting = [m for m in parts.magnets if room is None or m.thickness <= room + 1e-9]
        for magnet, poles in _chosen(ring, fitting):
            for winding, coils, count in _windings(phases, poles):
                settings = _settings(ring, winding, coils, count, magnet, parts.grade)
                found.append(Kind(ring, winding, coils, count, magnet, settings))
    return found


def _double(tables: Mapping[str, Any]) -> bool:
    rotor = tables.get("rotor")
    return isinstance(rotor, Mapping) and rotor.get("arrangement") == "double"


def _span(ring: Ring) -> tuple[float, float]:
    """Radii [mm] between which magnets face coils."""
    return ring.inner / 2 + BETWEEN, ring.outer / 2 - CONNECTIONS


def _chosen(ring: Ring, magnets: Iterable[StockMagnet]) -> list[tuple[StockMagnet, int]]:
    """Magnets for a ring with the most poles that they allow: of each shape some sizes whose poles differ, the longest
    of equal poles, in a few thicknesses.
    """
    near, far = _span(ring)
    sizes: dict[tuple[str, float, float | None], list[StockMagnet]] = {}
    for magnet in magnets:
        if SHORTEST * (far - near) <= magnet.length <= far - near + 1.0:
            sizes.setdefault((magnet.shape, magnet.length, magnet.width), []).append(magnet)
    found: list[tuple[StockMagnet, int]] = []
    for shape in ("disc", "block"):
        taken: list[int] = []
        asked = [(most_poles(ring, each[0]), each) for key, each in sizes.items() if key[0] == shape]
        for poles, each in sorted(asked, key=lambda pair: (-pair[1][0].length, -pair[0])):
            if poles < 4 or any(max(poles, other) < POLES_APART * min(poles, other) for other in taken):
                continue
            taken.append(poles)
            found += [(magnet, poles) for magnet in _spread(each, THICKNESSES)]
            if len(taken) == SIZES:
                break
    return found


def _spread(magnets: list[StockMagnet], count: int) -> list[StockMagnet]:
    """A few of them, the thinnest and the thickest among these."""
    rising = sorted(magnets, key=lambda magnet: magnet.thickness)
    if len(rising) <= count:
        return rising
    return [rising[round(place * (len(rising) - 1) / (count - 1))] for place in range(count)]


def most_poles(ring: Ring, magnet: StockMagnet) -> int:
    """The largest even number of these magnets on the circle in the middle of a ring, with room between them."""
    near, far = _span(ring)
    middle = (near + far) / 2
    if magnet.width is None:
        half = asin(min((magnet.length + BETWEEN) / (2 * middle), 1.0))
    else:
        corner = max(middle - magnet.length / 2, 0.1)
        half = atan2(magnet.width / 2, corner) + BETWEEN / 2 / hypot(corner, magnet.width / 2)
    most = min(int(pi / half + 1e-9), MOST_POLES, int(2 * pi * middle / LEAST_PITCH))
    return most - most % 2


@cache
def _windings(phases: int, most: int) -> tuple[tuple[str, int, int], ...]:
    """Kind of winding, coils and poles: the spiral winding that uses the ring best, and a wave winding."""
    least = max(4, int(LEAST_FILL * most))
    found = feasible_windings(phases, range(phases, MOST_COILS + 1), range(least + least % 2, most + 1, 2))
    good = [w for w in found if w.factor >= LEAST_FACTOR and w.poles <= MOST_SPAN * w.coils]
    balanced = [w for w in good if gcd(w.coils, w.poles) > 1 and w.coils > phases]  # no unbalanced magnetic pull
    chosen: list[tuple[str, int, int]] = []
    if good:
        best = max(balanced or good, key=lambda w: (round(w.factor * w.poles, 6), -w.coils))
        chosen.append(("spiral", best.coils, best.poles))
    if phases > 2:
        chosen.append(("wave", 0, most))
    return tuple(chosen)


def _settings(ring: Ring, winding: str, coils: int, poles: int, magnet: StockMagnet, grade: str) -> dict[str, Any]:
    """The keys of a kind; None: taken away."""
    near, far = _span(ring)
    piece: dict[str, Any] = {"shape": magnet.shape}
    if magnet.width is None:
        piece |= {"diameter_mm": magnet.length}
    else:
        piece |= {"length_mm": magnet.length, "width_mm": magnet.width}
    piece |= {"circle_diameter_mm": round(near + far, 1), "thickness_mm": magnet.thickness, "grade": grade}
    found: dict[str, Any] = {
        "winding.kind": winding,
        "winding.coils": coils if winding == "spiral" else None,
        "winding.turns": "fill",
        "winding.outline": None,
        "winding.parallel_paths": None,
        "winding.layer_connection": None,
        "winding.skew_deg": None,
        "rotor.poles": poles,
        "rotor.magnet": piece,
        "rotor.iron_inner_diameter_mm": None,
        "rotor.iron_outer_diameter_mm": None,
    }
    if not ring.kept:
        found |= {"board.copper_inner_diameter_mm": ring.inner, "board.copper_outer_diameter_mm": ring.outer}
    return found | dict.fromkeys(COPPER) | {"board.layers": 2, "board.track_width_mm": 0.3, "board.track_gap_mm": 0.2}


COPPER = (  # keys of a board that say more about its layers than a suggestion does
    "board.coil_layers", "board.layer_copper_um", "board.layer_depths_mm", "board.track_profile",
    "board.interconnect_width_mm",
)  # fmt: skip
