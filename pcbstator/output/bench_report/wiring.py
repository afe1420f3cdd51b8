"""Sketches of the wiring: the motor as a ring with its terminals, instruments as boxes, wires between them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import cos, pi, sin

from pcbstator.output.canvas.colours import INK, QUIET, phase_colour
from pcbstator.output.canvas.page import Disc, Item, Line, Page, Place, Words, page_svg

WIDTH, HEIGHT = 60.0, 36.0  # mm
TEXT = 2.5
MOTOR = (15.0, 18.0)
OUTER, BORE = 12.0, 5.0
PLUS, MINUS = "#a3161a", "#1c3f94"
Items = list[Item]


def sketch_items(name: str, terminals: Sequence[str]) -> Items:
    """What is on a sketch, in its own millimetres.

    terminals: names in the order that they have on the board, as far as there is room.
    """
    return _SKETCHES[name](list(terminals))


def sketch_svg(name: str, terminals: Sequence[str], label: str) -> str:
    """A sketch as SVG text."""
    return page_svg(Page(WIDTH, HEIGHT, label, tuple(sketch_items(name, terminals))))


def _motor(terminals: list[str], words: str = "") -> tuple[Items, dict[str, Place]]:
    """The board as a ring, its terminals as dots at the right; where each is."""
    items: Items = [Disc(MOTOR, OUTER, 0.4), Disc(MOTOR, BORE, 0.3)]
    names = terminals[:6]
    span, places = 1.05 if len(names) < 5 else 1.3, {}
    for k, name in enumerate(names):
        angle = span * (k / max(len(names) - 1, 1) - 0.5) * 2 if len(names) > 1 else 0.0
        places[name] = (MOTOR[0] + OUTER * cos(angle), MOTOR[1] + OUTER * sin(angle))
        at = (MOTOR[0] + (OUTER - 2.6) * cos(angle), MOTOR[1] + (OUTER - 2.6) * sin(angle))
        items += [
            Disc(places[name], 0.8, 0.2, phase_colour(name[:1])),
            Words(name, (at[0], at[1] + 0.9), TEXT, "middle"),
        ]
    if words:
        items.append(Words(words, (MOTOR[0], MOTOR[1] + OUTER + 4.0), TEXT, "middle"))
    return items, places


def _box(x: float, y: float, width: float, height: float, *lines: str) -> Items:
    """An instrument, its name in its middle."""
    corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    first = y + height / 2 - (len(lines) - 1) * 1.6 + 0.9
    return [
        Line(corners, 0.35, closed=True),
        *(Words(line, (x + width / 2, first + 3.2 * k), TEXT, "middle") for k, line in enumerate(lines)),
    ]


def _wire(*points: Place, colour: str = INK) -> Items:
    return [Line(points, 0.4, colour=colour)]


def _pair(terminals: list[str]) -> tuple[str, str]:
    return terminals[0], terminals[1]


def _two_wires(terminals: list[str], *lines: str, words: str = "") -> Items:
    """The motor with an instrument between its first two terminals."""
    items, places = _motor(terminals, words)
    one, two = (places[name] for name in _pair(terminals))
    low = max(two[1], one[1] + 6.0)
    items += _box(40.0, min(one[1], 12.0) - 3.0, 17.0, max(low - one[1], 8.0) + 8.0, *lines)
    items += _wire(one, (34.0, one[1]), (34.0, one[1]), (40.0, one[1]), colour=PLUS)
    return items + _wire(two, (31.0, two[1]), (31.0, low), (40.0, low), colour=MINUS)


def _ohms(terminals: list[str]) -> Items:
    return _two_wires(terminals, "Ω")


def _lcr(terminals: list[str]) -> Items:
    return _two_wires(terminals, "LCR")


def _insulation(terminals: list[str]) -> Items:
    items, places = _motor(terminals)
    one = places[terminals[0]]
    base = ((1.0, 32.5), (31.0, 32.5), (31.0, 34.5), (1.0, 34.5))
    items += [Line(base, 0.35, closed=True), Words("plate, thermistor", (33.0, 34.4), TEXT)]
    items += _box(40.0, 6.0, 17.0, 12.0, "MΩ")
    items += _wire(one, (34.0, one[1]), (40.0, one[1]), colour=PLUS)
    return items + _wire((48.5, 18.0), (48.5, 26.0), (28.0, 26.0), (28.0, 32.5), colour=MINUS)


def _compass(terminals: list[str]) -> Items:
    del terminals
    items: Items = [Disc(MOTOR, OUTER, 0.4), Disc(MOTOR, BORE, 0.3)]
    for k in range(8):
        angle, letter = 2 * pi * k / 8, "NS"[k % 2]
        items.append(
            Words(letter, (MOTOR[0] + 8.5 * cos(angle), MOTOR[1] - 8.5 * sin(angle) + 0.9), TEXT, "middle", True)
        )
    needle = ((44.0, 18.0), (47.0, 16.8), (50.0, 18.0), (47.0, 19.2))
    items += [Disc((47.0, 18.0), 5.0, 0.35), Line(needle, 0.2, closed=True, fill="#d4d4d4")]
    items += [Words("from afar, slowly", (47.0, 28.0), TEXT, "middle"), *_arrow((40.0, 18.0), (30.0, 18.0))]
    return items


def _stack(lower: str, words: str) -> Items:
    """Side view: magnets on their plate above, something below."""
    items: Items = [Line(((6, 5), (36, 5), (36, 9), (6, 9)), 0.35, closed=True, fill="#d4d4d4")]
    for k in range(5):
        x = 7.0 + 6 * k
        items += [Line(((x, 9), (x + 5, 9), (x + 5, 14), (x, 14)), 0.35, closed=True),
                  Words("NS"[k % 2], (x + 2.5, 12.4), TEXT, "middle")]  # fmt: skip
    return [*items, Words("plate", (38.0, 7.9), TEXT), Words("magnets", (38.0, 12.4), TEXT),
            Words(lower, (38.0, 26.4), TEXT), Words(words, (38.0, 19.4), TEXT)]  # fmt: skip


def _probe(terminals: list[str]) -> Items:
    del terminals
    items = _stack("probe", "distance")
    items += [Line(((18, 24), (36, 24), (36, 26.5), (18, 26.5)), 0.35, closed=True), Disc((21.5, 25.2), 0.7, 0.2, INK)]
    return items + _measure((21.5, 14.0), (21.5, 25.2))


def _gap(terminals: list[str]) -> Items:
    del terminals
    items = _stack("board", "gap, feeler")
    items += [Line(((6, 22), (36, 22), (36, 27), (6, 27)), 0.35, closed=True, fill="#cfe3d6")]
    return [*items, Line(((2, 15.0), (26, 15.0), (26, 21.0), (2, 21.0)), 0.2, closed=True, fill="#eeeeee")]


def _thickness(terminals: list[str]) -> Items:
    del terminals
    items: Items = [Line(((14, 16), (58, 16), (58, 20), (14, 20)), 0.35, closed=True, fill="#cfe3d6")]
    items += [
        Line(((20, 8), (22, 8), (22, 16), (20, 16)), 0.35, closed=True),
        Line(((20, 20), (22, 20), (22, 28), (20, 28)), 0.35, closed=True),
    ]
    return [*items, *_measure((10.0, 16.0), (10.0, 20.0)), Words("bare edge of the board", (58.0, 14.5), TEXT, "end")]


def _hand(terminals: list[str]) -> Items:
    items, _ = _motor(terminals)
    arc = tuple((MOTOR[0] + 13.8 * cos(a), MOTOR[1] - 13.8 * sin(a)) for a in [1.8 + 0.1 * k for k in range(13)])
    return [*items, Line(arc, 0.4), *_head(arc[-1], (arc[-1][0] - arc[-2][0], arc[-1][1] - arc[-2][1])),
            Words("turn by hand,", (38.0, 16.5), TEXT), Words("both ways", (38.0, 19.9), TEXT)]  # fmt: skip


def _order(terminals: list[str]) -> Items:
    items, places = _motor(terminals)
    opened = any(len(name) > 1 for name in terminals)
    first, second, common = (terminals[0], terminals[2], terminals[1]) if opened else (*terminals[:2], terminals[-1])
    items += _box(42.0, 4.0, 15.0, 27.0)
    for words, y in (("ch 1", 8.9), ("ch 2", 18.4), ("clips", 27.9)):
        items.append(Words(words, (44.0, y), TEXT))
    items += _wire(places[first], (33.0, places[first][1]), (33.0, 8.0), (42.0, 8.0), colour=PLUS)
    items += _wire(places[second], (36.0, places[second][1]), (36.0, 17.5), (42.0, 17.5), colour=phase_colour("B"))
    items += _wire(places[common], (33.0, places[common][1]), (33.0, 27.0), (42.0, 27.0))
    if opened:
        last = places[terminals[3]]
        items += _wire(last, (30.5, last[1]), (30.5, 27.0), (33.0, 27.0))
    return items


def _emf(terminals: list[str]) -> Items:
    items = _two_wires(terminals, "scope", "Vpp, Hz")
    return [*items, *_box(10.0, 15.5, 10.0, 5.0, "drill")]


def _zero(terminals: list[str]) -> Items:
    items, places = _motor(terminals)
    items += _box(40.0, 6.0, 18.0, 20.0, "supply", "limited")
    others = terminals[1:2] if any(len(name) > 1 for name in terminals) else terminals[1:6]
    first = places[terminals[0]]
    items += _wire(first, (34.0, first[1]), (34.0, 9.0), (40.0, 9.0), colour=PLUS)
    for name in others:
        items += _wire(places[name], (31.5, places[name][1]), (31.5, 23.0), (40.0, 23.0), colour=MINUS)
    return [*items, Words("+", (37.5, 8.3), TEXT), Words("−", (37.5, 26.0), TEXT)]


def _torque(terminals: list[str]) -> Items:
    items = _two_wires(terminals, "supply", "limited")
    lever = ((15.0, 17.4), (15.0, 18.6), (2.0, 31.2), (1.0, 30.4))
    items += [Line(lever, 0.3, closed=True, fill="#d4d4d4")]
    items += _box(0.5, 31.5, 12.0, 4.0, "scale")
    return [*items, Words("lever", (13.5, 34.4), TEXT)]


def _warm(terminals: list[str]) -> Items:
    items, places = _motor(terminals)
    one, two = (places[name] for name in _pair(terminals))
    low = max(two[1], one[1] + 6.0)
    items += _box(45.0, one[1] - 3.5, 14.0, low - one[1] + 7.0, "supply", "+ A")
    items += _wire(one, (45.0, one[1]), colour=PLUS) + _wire(
        two, (30.0, two[1]), (30.0, low), (45.0, low), colour=MINUS
    )
    middle = (one[1] + low) / 2
    items += [Line(((38.0, one[1]), (38.0, low)), 0.25, colour=QUIET), Disc((38.0, middle), 2.4, 0.35, "#ffffff")]
    items += [Words("V", (38.0, middle + 0.9), TEXT, "middle"), Words("V: at the terminals", (31.0, 32.0), TEXT)]
    return items


def _driver(terminals: list[str]) -> Items:
    items, places = _motor(terminals)
    items += _box(41.0, 5.0, 17.0, 20.0, "driver", "logs")
    for name, (x, y) in places.items():
        items += _wire((x, y), (34.0, y), (41.0, min(max(y, 7.0), 23.0)), colour=phase_colour(name[:1]))
    items += [
        Disc(MOTOR, 1.6, 0.3, "#d4d4d4"),
        *_wire((15.0, 19.6), (15.0, 32.5), (49.5, 32.5), (49.5, 25.0), colour=QUIET),
    ]
    return [*items, Words("sensor", (32.0, 31.8), TEXT, "middle")]


def _arrow(tail: Place, tip: Place) -> Items:
    return [Line((tail, tip), 0.3), *_head(tip, (tip[0] - tail[0], tip[1] - tail[1]))]


def _head(tip: Place, along: Place) -> Items:
    size = (along[0] ** 2 + along[1] ** 2) ** 0.5 or 1.0
    x, y = along[0] / size, along[1] / size
    barbs = ((tip[0] - 2 * x - y, tip[1] - 2 * y + x), (tip[0] - 2 * x + y, tip[1] - 2 * y - x))
    return [Line((tip, *barbs), 0.1, closed=True, fill=INK)]


def _measure(one: Place, two: Place) -> Items:
    return [Line((one, two), 0.25), *(Line(((x - 1.2, y), (x + 1.2, y)), 0.25) for x, y in (one, two))]


_SKETCHES: dict[str, Callable[[list[str]], Items]] = {
    "ohms": _ohms, "lcr": _lcr, "insulation": _insulation, "compass": _compass, "probe": _probe, "gap": _gap,
    "thickness": _thickness, "hand": _hand, "order": _order, "emf": _emf, "zero": _zero, "torque": _torque,
    "warm": _warm, "driver": _driver,
}  # fmt: skip
