"""A slow turn: its orders with their names, and the friction around the turn."""

from __future__ import annotations

from math import degrees, pi, radians

import numpy as np
from numpy.typing import NDArray

from pcbstator.bench.logs.known import ERROR_SPREAD, FRICTION_SPREAD, Known, NamedOrder
from pcbstator.bench.logs.result import Found, Line, LogRow, Picture, thinned
from pcbstator.bench.readings import SlowTurn
from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.identification.friction_places import (
    FrictionCurve,
    Spot,
    friction_curve,
    torque_at_places,
)
from pcbstator.physics.drive.identification.motion_fit import one_way_parts
from pcbstator.physics.drive.identification.turn_spectrum import TurnSpectrum, even_speed, turn_spectrum

FloatArray = NDArray[np.float64]
Leg = slice

TURNS_BACK = radians(4.0)  # less is noise or sticking
EVEN = (0.03, 0.06, 0.12, 0.25)  # of the usual speed, the least that holds for most: ends beyond are run-up
MOSTLY = 0.7  # of the blocks
BLOCKS = 200  # of a leg, of which the speed is looked at
SHORTEST = 0.2  # turns, of which friction is told
LINE = 4.0  # standard deviations for an order to be told as there
UNNAMED = 3  # orders without a name that are told
BESIDE = 6  # orders to either side that an unnamed one stands out of
PLACES, ROWS_AT_PLACE = 720, 6
LEAST_ERROR = 0.02  # of the predicted moving error: smaller amplitudes worry nobody
LEAST_UNBALANCE = 0.02  # of the friction, to be told
NEAR = radians(6.0)  # beyond half widths, for a spot to be the assumed one


def slow_turn_found(reading: SlowTurn, known: Known) -> Found:
    """Orders and friction of a recorded slow turn."""
    columns, remarks = reading.table.columns, list[str]()
    seen = columns.get("reference", columns["angle"])
    angles = np.unwrap(seen)
    legs = _legs(columns["time"], angles)
    if not legs:
        far = degrees(float(np.ptp(angles)))
        return Found(remarks=(f"{reading.name}: it turns by {far:.3g} degrees only, too little for a slow turn",))
    longest = max(legs, key=lambda leg: abs(float(angles[leg][-1] - angles[leg][0])))
    rows, pictures = _evenness(reading, known, columns["time"][longest], angles[longest], remarks)
    more, drawn = _friction(reading, known, legs, angles, remarks)
    return Found((*rows, *more), (*pictures, *drawn), remarks=tuple(remarks))


def _legs(times: FloatArray, angles: FloatArray) -> list[Leg]:
    """Parts at an even speed, one way each, run-up and stop left out."""
    found = []
    for low, high in one_way_parts(angles, TURNS_BACK):
        if high - low < 40 or abs(angles[high - 1] - angles[low]) < SHORTEST * 2 * pi:
            continue
        edges = np.unique(np.linspace(low, high - 1, BLOCKS + 1).astype(int))
        speeds = np.abs(np.diff(angles[edges]) / np.diff(times[edges]))
        usual = float(np.median(speeds))
        if usual <= 0:
            continue
        away = np.abs(speeds / usual - 1)
        room = next((each for each in EVEN if (away < each).mean() > MOSTLY), EVEN[-1])
        even = np.flatnonzero(away < room)
        if len(even) < 4:
            continue
        leg = slice(int(edges[even[1]]), int(edges[even[-1]]) + 1)  # a block less at either end
        if abs(angles[leg][-1] - angles[leg][0]) >= SHORTEST * 2 * pi:
            found.append(leg)
    return found


def _evenness(
    reading: SlowTurn, known: Known, times: FloatArray, angles: FloatArray, remarks: list[str]
) -> tuple[list[LogRow], list[Picture]]:
    """Orders of the angle's deviation from an even turn."""
    own = "reference" not in reading.table.columns
    try:
        slope = even_speed(times, angles)
        wanted = angles.mean() + slope * (times - times.mean())
        spectrum = turn_spectrum(wanted, angles - wanted)
    except LawRangeError as error:
        remarks.append(f"{reading.name}: {error}; record a turn and a quarter or more, 300 rows a turn at the least")
        return [], []
    if spectrum.turns == 1:
        remarks.append(
            f"{reading.name}: one whole turn only: what repeats with the turn and what drifts cannot be told apart; "
            "three turns tell them"
        )
    if own:
        remarks.append(
            f"{reading.name}: the angle is that of the drive's own sensor, which the loops follow: its own errors stay "
            "hidden here; a column reference_deg shows them"
        )
    named = known.orders(abs(slope), own)
    rows = [_order_row(reading, known, spectrum, order, names, abs(slope)) for order, names in named.items()
            if order <= len(spectrum.vectors)]  # fmt: skip
    rows += _unnamed(reading, spectrum, set(named))
    beyond = sorted(order for order in named if order > len(spectrum.vectors))
    if beyond:
        remarks.append(f"{reading.name}: too few rows in a turn for the orders {', '.join(map(str, beyond))}")
    return rows, [_spectrum_picture(reading, spectrum, named), _error_picture(reading, spectrum)]


def _order_row(
    reading: SlowTurn, known: Known, spectrum: TurnSpectrum, order: int, names: list[NamedOrder], speed: float
) -> LogRow:
    size, sigma = float(spectrum.amplitudes[order - 1]), float(spectrum.deviations[order - 1])
    sizes = [name.predicted for name in names]
    predicted = None if any(each is None for each in sizes) else sum(each for each in sizes if each is not None)
    room = None if predicted is None else ERROR_SPREAD * predicted + LEAST_ERROR * known.moving_error
    words = " or ".join(dict.fromkeys(name.words for name in names))
    told = f"shakes the speed by {100 * order * size:.2g} %" if size > LINE * sigma else "not above the noise"
    return _row(
        reading, "_or_".join(dict.fromkeys(name.key for name in names)), f"{order} per turn: {words}", degrees(size),
        degrees(sigma), "deg", None if predicted is None else degrees(predicted), degrees(room or 0.0), True, told,
    )  # fmt: skip


def _unnamed(reading: SlowTurn, spectrum: TurnSpectrum, named: set[int]) -> list[LogRow]:
    """The largest orders that stand out of the noise and of their neighbours, and have no name."""
    sizes = spectrum.amplitudes
    found = []
    for at in np.argsort(-sizes):
        order = int(at) + 1
        near = np.delete(sizes[max(0, at - BESIDE) : at + BESIDE + 1], min(at, BESIDE))
        if order in named or sizes[at] < 2 * LINE * spectrum.deviations[at] or sizes[at] < LINE * np.median(near):
            continue
        words = f"shakes the speed by {100 * order * sizes[at]:.2g} %"
        found.append(_row(reading, "unnamed_order", f"{order} per turn: no known cause", degrees(float(sizes[at])),
                          degrees(float(spectrum.deviations[at])), "deg", words=words))  # fmt: skip
        if len(found) == UNNAMED:
            break
    return [row for row in found if row.value > 0.1 * degrees(float(sizes.max()))]


def _friction(
    reading: SlowTurn, known: Known, legs: list[Leg], angles: FloatArray, remarks: list[str]
) -> tuple[list[LogRow], list[Picture]]:
    """Level and spots of the friction, from the current."""
    columns = reading.table.columns
    if "terminal_peak" not in columns:
        remarks.append(f"{reading.name}: no column terminal_peak_a, so that friction over the angle is not known")
        return [], []
    times, torque = columns["time"], known.torque_constant * columns["terminal_peak"]
    per_turn = min((leg.stop - leg.start) * 2 * pi / abs(angles[leg][-1] - angles[leg][0]) for leg in legs)
    count = int(min(PLACES, per_turn // ROWS_AT_PLACE))
    speed = float(
        np.median([abs((angles[leg][-1] - angles[leg][0]) / (times[leg][-1] - times[leg][0])) for leg in legs])
    )
    ways: dict[int, list[FloatArray]] = {1: [], -1: []}
    try:
        for leg in legs:
            sense = 1 if angles[leg][-1] > angles[leg][0] else -1
            ways[sense].append(sense * torque_at_places(times[leg], angles[leg], torque[leg], known.inertia, count))
        mean = {sense: _mean(each) for sense, each in ways.items() if each}
        friction = (mean[1] + mean[-1]) / 2 if len(mean) == 2 else next(iter(mean.values()))
        curve = friction_curve(friction)
    except LawRangeError as error:
        remarks.append(f"{reading.name}: {error}")
        return [], []
    if curve.level <= 0:
        remarks.append(f"{reading.name}: the torque has the other sign than the turn: reverse the sign of the current")
        return [], []
    rows = [_level_row(reading, known, curve, speed, len(mean) == 2)]
    rows += [_spot_row(reading, known, spot) for spot in curve.spots]
    if len(mean) == 2:
        rows += _unbalance(reading, known, (mean[1] - mean[-1]) / 2, curve.level)
    else:
        remarks.append(f"{reading.name}: one way only: unbalance and magnetic rest torque are still in the friction; "
                       "record both ways")  # fmt: skip
    for middle, width, extra in known.values.spots:
        if not any(_same(spot, middle, width) for spot in curve.spots):
            remarks.append(f"{reading.name}: the assumed friction spot at {degrees(middle):.4g} degrees, "
                           f"{1e3 * extra:.3g} mN·m, does not show")  # fmt: skip
    return rows, [_friction_picture(reading, known, curve, mean, speed)]


def _mean(parts: list[FloatArray]) -> FloatArray:
    """Of several legs, place by place."""
    table = np.array(parts)
    known = np.isfinite(table)
    count = known.sum(axis=0)
    return np.asarray(np.where(known, table, 0.0).sum(axis=0) / np.where(count > 0, count, np.nan))


def _level_row(reading: SlowTurn, known: Known, curve: FrictionCurve, speed: float, both: bool) -> LogRow:
    assumed = known.friction(speed)
    sigma = float(np.hypot(curve.level_sigma, known.torque_sigma * curve.level))
    words = ("from both ways" if both else "from one way") + f", with {known.torque_from}"
    return _row(reading, "running_friction", f"friction at {30 * speed / pi:.3g} rpm, spots left out", curve.level,
                sigma, "N·m", assumed, FRICTION_SPREAD * (assumed or 0.0), False, words)  # fmt: skip


def _spot_row(reading: SlowTurn, known: Known, spot: Spot) -> LogRow:
    same = [each for each in known.values.spots if _same(spot, each[0], each[1])]
    assumed = same[0][2] if same else (0.0 if known.values.running > 0 else None)
    spread = FRICTION_SPREAD * (assumed if same and assumed else known.values.running / 10)
    words = f"{degrees(spot.width):.3g} ± {degrees(spot.width_sigma):.2g} degrees wide"
    words += f"; assumed at {degrees(same[0][0]):.4g}, {degrees(same[0][1]):.3g} wide" if same else "; none was assumed"
    sigma = float(np.hypot(spot.extra_sigma, known.torque_sigma * spot.extra))
    about = f"friction spot at {degrees(spot.middle):.1f} ± {degrees(spot.middle_sigma):.1g} degrees"
    return _row(reading, "friction_spot", about, spot.extra, sigma, "N·m", assumed, spread, False, words)


def _same(spot: Spot, middle: float, width: float) -> bool:
    away = abs((spot.middle - middle + pi) % (2 * pi) - pi)
    return away < (spot.width + width) / 2 + NEAR


def _unbalance(reading: SlowTurn, known: Known, load: FloatArray, level: float) -> list[LogRow]:
    """Torque that is the same both ways and comes once a turn, where the whole turn is known."""
    if not np.isfinite(load).all():
        return []
    spectrum = np.fft.rfft(load)[1:] * 2 / len(load)
    sizes = np.abs(spectrum)
    sigma = float(np.median(sizes[1:25])) / 1.177
    if sizes[0] < max(LINE * sigma, LEAST_UNBALANCE * level) and known.values.unbalance == 0:
        return []
    at = degrees(float(-np.angle(spectrum[0]) + pi / len(load))) % 360
    assumed = known.values.unbalance
    spread = max(0.1 * assumed, 0.1 * known.values.running)
    return [_row(reading, "unbalance", "torque once a turn, the same both ways: unbalance", float(sizes[0]),
                 float(np.hypot(sigma, known.torque_sigma * sizes[0])), "N·m", assumed, spread, False,
                 f"the drive holds most against it at {at:.0f} degrees")]  # fmt: skip


def _row(
    reading: SlowTurn, key: str, about: str, value: float, sigma: float, unit: str, assumed: float | None = None,
    spread: float = 0.0, at_most: bool = False, words: str = "",
) -> LogRow:  # fmt: skip
    return LogRow(key, reading.name, about, value, sigma, unit, assumed, spread, at_most, words,
                  reading.board, reading.rotor)  # fmt: skip


def _spectrum_picture(reading: SlowTurn, spectrum: TurnSpectrum, named: dict[int, list[NamedOrder]]) -> Picture:
    top = min(len(spectrum.vectors), max(60, int(1.3 * max(named, default=60))))
    orders = spectrum.orders[:top].astype(float)
    predicted = [
        (order, sum(name.predicted or 0.0 for name in names)) for order, names in named.items() if order <= top
    ]
    shown = [(order, degrees(size)) for order, size in predicted if size > 0]
    lines = [
        Line("measured", orders, np.degrees(spectrum.amplitudes[:top])),
        Line("noise, one standard deviation", orders, np.degrees(spectrum.deviations[:top])),
    ]
    if shown:
        x, y = np.array(shown).T
        lines.append(Line("predicted at most", x, y, dots=True))
    marks = tuple((float(order), str(order)) for order in named if order <= top)
    return Picture("spectrum", f"{reading.name}: deviation from an even turn, by its order", "times per turn",
                   "amplitude, degrees", tuple(lines), marks, logarithmic=True)  # fmt: skip


def _error_picture(reading: SlowTurn, spectrum: TurnSpectrum) -> Picture:
    x, y = np.degrees(spectrum.places), np.degrees(spectrum.curve)
    return Picture("turn", f"{reading.name}: deviation from an even turn, mean of {spectrum.turns} turns" if
                   spectrum.turns > 1 else f"{reading.name}: deviation from an even turn", "angle, degrees",
                   "degrees", (Line("", thinned(x), thinned(y)),))  # fmt: skip


def _friction_picture(
    reading: SlowTurn, known: Known, curve: FrictionCurve, mean: dict[int, FloatArray], speed: float
) -> Picture:
    from pcbstator.physics.drive.friction import spot_friction

    count = len(next(iter(mean.values())))
    places = (np.arange(count) + 0.5) * 360 / count
    lines = [Line("upwards" if sense > 0 else "downwards", places, 1e3 * values) for sense, values in mean.items()]
    x = np.degrees(curve.places)
    lines += [Line("friction", x, 1e3 * curve.friction, dots=True), Line("level and spots", x, 1e3 * curve.fitted)]
    assumed = known.friction(speed)
    if assumed is not None:
        there = assumed + spot_friction(np.radians(places), known.values.spots)
        lines.append(Line("assumed", places, 1e3 * there))
    marks = tuple((degrees(spot.middle), f"{degrees(spot.middle):.0f}°") for spot in curve.spots)
    return Picture("friction", f"{reading.name}: friction around the turn", "angle of the log, degrees", "mN·m",
                   tuple(lines), marks)  # fmt: skip
