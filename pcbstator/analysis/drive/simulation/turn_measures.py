"""A slow constant turn: how even it is, where it is worst, and which orders of a turn are in it."""

from __future__ import annotations

from collections.abc import Sequence
from math import degrees, pi
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.asked_values import WINDOW
from pcbstator.analysis.drive.load_cycle import load_values
from pcbstator.analysis.drive.simulation.run_measures import Reference, errors
from pcbstator.analysis.magnetic.as_built import ORDERS
from pcbstator.physics.drive.orders import GRID, order_amplitudes, phase_torque_order
from pcbstator.physics.drive.simulation import Trace

if TYPE_CHECKING:
    from pcbstator.analysis.drive.simulation.stand import Stand
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

LISTED = 5  # orders with the largest error of angle, and as many with the largest ripple of speed
LEAST = 0.02  # of the largest amplitude, to be listed
BESIDE = 8  # orders to either side that an order is compared with
LINE = 5.0  # times the orders beside it: an order that stands out
UNKNOWN_LINE = 10.0  # times, where nothing is known that would make it: above what noise reaches by chance
BUILT_ORDERS = ORDERS + 1  # times the pole pairs: torque of EMF up to ORDERS, with the current
STANDING = 0.01  # of the time: more is sticking
UNKNOWN = "none of the known causes"
COUNTS = "counts of the sensor"
COUNT_LINES = 8  # lines of the saw-tooth that counts make, which are told
STICKING = "sticking and slipping"
SPOT = "friction spot"


def turn_numbers(
    design: SizedDesign, trace: Trace, reference: Reference, stand: Stand, speed: float, run_in: float
) -> tuple[dict[str, Any], dict[str, FloatArray]]:
    """Evenness once it has run in, and its curves over the angle and over the order.

    speed: [rad/s]; run_in: what is left out at the begin [s].
    """
    seen, believed = errors(trace, reference, stand)
    later = trace.times >= run_in
    times, angles, wanted = trace.times[later], trace.angles[later], trace.wanted[later]
    apart = max(1, round(WINDOW / float(times[1] - times[0])))
    mean = (angles[apart:] - angles[:-apart]) / (times[apart:] - times[:-apart]) / speed
    middle = wanted[apart // 2 : apart // 2 + len(mean)]
    error, told = seen[later], believed[later]
    standing = float((np.abs(trace.speeds[later]) < 0.01 * speed).mean())
    spots = load_values(design.load, design.bearing).spots
    numbers: dict[str, Any] = {
        "speed_rpm": speed * 30 / pi,
        "turned_deg": degrees(float(wanted[-1] - wanted[0])),
        "speed_ripple_rms_ratio": float(np.std(mean)),
        "speed_ripple_peak_ratio": float(np.ptp(mean)) / 2,
        "speed_ripple_peak_to_peak_ratio": float(np.ptp(mean)),
        "least_speed_ratio": float(mean.min()),
        "least_speed_at_deg": degrees(float(middle[mean.argmin()])) % 360,
        "position_ripple_peak_to_peak_deg": degrees(float(np.ptp(error))),
        "largest_error_deg": degrees(float(np.abs(error).max())),
        "largest_error_at_deg": degrees(float(wanted[np.abs(error).argmax()])) % 360,
        "believed_largest_error_deg": degrees(float(np.abs(told).max())),
        "rms_error_deg": degrees(float(np.sqrt(np.mean(error**2)))),
        "believed_rms_error_deg": degrees(float(np.sqrt(np.mean(told**2)))),
        "standing_still_ratio": standing,
    }
    if spots:
        numbers["friction_spots"] = [_at_spot(middle, mean, spot) for spot in spots]
    curves = {
        "angle_deg": np.degrees(wanted), "error_deg": np.degrees(error), "believed_error_deg": np.degrees(told),
        "speed_angle_deg": np.degrees(middle), "speed_rpm": mean * speed * 30 / pi, "current_a": trace.current[later],
    }  # fmt: skip
    if wanted[-1] - wanted[0] >= 2 * pi:
        amplitudes = order_amplitudes(wanted, error)
        counts = count_orders(stand, 2 * pi / speed / float(times[1] - times[0]))
        numbers["orders"] = listed_orders(amplitudes, _causes(design, stand), _spot_orders(design), standing, counts)
        order = np.arange(len(amplitudes), dtype=float)
        curves |= {"order": order[1:], "order_ripple_ratio": (order * amplitudes)[1:]}
    return numbers, curves


def listed_orders(
    amplitudes: FloatArray,
    causes: list[tuple[float, str]],
    spots: float,
    standing: float,
    counts: Sequence[tuple[float, float]] = (),
) -> list[dict[str, Any]]:
    """The largest orders of an error of angle [rad] with what makes them, by order; noise has none.

    causes: order and cause; spots: highest order that friction spots make, 0 without; standing: part of the time;
    counts: lowest and highest order of each line that the sensor's counts make.
    """
    ripple = np.arange(len(amplitudes)) * amplitudes
    level = float(np.median(ripple[int(spots) + 1 :]))  # of noise
    over = ripple[: len(ripple) - BESIDE] / _beside(ripple)
    large = over > min(LINE, UNKNOWN_LINE)
    large[: int(spots) + 1] |= ripple[: int(spots) + 1][: len(large)] > LINE * level
    named: dict[int, str] = {}
    for k in map(int, np.flatnonzero(large[1:]) + 1):
        names = list(dict.fromkeys(cause for order, cause in causes if abs(order - k) <= 0.5))
        if names and over[k] > LINE:
            named[k] = ", ".join(names)
        elif k <= spots and ripple[k] > LINE * level:
            named[k] = SPOT
        elif over[k] > UNKNOWN_LINE:
            counted = any(low <= k <= high for low, high in counts)
            named[k] = COUNTS if counted else STICKING if standing > STANDING else UNKNOWN
    chosen: set[int] = set()
    for values in (amplitudes, ripple):
        largest = sorted(named, key=lambda k: -values[k])
        of_spots = [k for k in largest if named[k] == SPOT]  # many, of which the first tells enough
        kept = [k for k in largest if k not in of_spots[1:]][:LISTED]
        chosen |= {k for k in kept if values[k] > LEAST * values[kept[0]]}
    return [
        {
            "order": k,
            "speed_ripple_ratio": float(ripple[k]),
            "angle_error_deg": degrees(float(amplitudes[k])),
            "cause": named[k],
        }
        for k in sorted(chosen)
    ]


def count_orders(stand: Stand, samples: float) -> list[tuple[float, float]]:
    """Lowest and highest order of the lines that the sensor's counts make, as a trace with so many samples in a turn
    shows them; an eccentric sensor gives out its counts now faster, now slower, which spreads each line.
    """
    per_turn, errors = 2 * pi / stand.sensor.count, np.array(stand.sensor.errors)
    slope = float(np.abs(np.diff(errors)).max()) * len(errors) / (2 * pi) if errors.size else 0.0
    found = []
    for line in per_turn * np.arange(1, COUNT_LINES + 1):
        middle = _alias(_alias(float(line), samples), GRID)
        wide = slope * float(line) + 1
        found.append((middle - wide, middle + wide))
    return found


def _alias(order: float, samples: float) -> float:
    """The order that is seen at so many samples in a turn."""
    return abs((order + samples / 2) % samples - samples / 2)


def _beside(values: FloatArray) -> FloatArray:
    """The level beside each order but the last few: a cause that repeats makes a line, spots and noise spread over the
    orders. Order 0 is beside none.
    """
    around = np.concatenate([np.full(BESIDE, np.nan), [np.nan], values[1:]])
    windows = np.lib.stride_tricks.sliding_window_view(around, 2 * BESIDE + 1)
    neighbours = np.delete(windows, BESIDE, axis=1)
    first, rest = neighbours[: BESIDE + 1], neighbours[BESIDE + 1 :]
    level: FloatArray = np.concatenate([np.nanmedian(first, axis=1), np.median(rest, axis=1)])
    return level.clip(1e-300)


def _at_spot(angles: FloatArray, speeds: FloatArray, spot: tuple[float, float, float]) -> dict[str, float]:
    """Least and largest speed over its mean on a friction spot, and as far again behind it."""
    middle, width, _ = spot
    past = np.mod(angles - middle + width / 2, 2 * pi)
    there = speeds[past < 2 * width]
    found = {"angle_deg": degrees(middle)}
    if there.size:
        found |= {"least_speed_ratio": float(there.min()), "largest_speed_ratio": float(there.max())}
    return found


def _spot_orders(design: SizedDesign) -> float:
    """Highest order that friction spots make: a squared cosine has next to nothing above twice 2 pi/width."""
    spots = load_values(design.load, design.bearing).spots
    return max((4 * pi / width for _, width, _ in spots), default=0.0)


def _causes(design: SizedDesign, stand: Stand) -> list[tuple[float, str]]:
    """Orders of a turn of the load that the parts of this drive make."""
    drive, plant = design.drive, stand.plant
    if drive is None:
        return []
    found: list[tuple[float, str]] = []
    if drive.sensor_offset > 0:
        once = 1.0 if drive.sensor_radius is not None else 2.0
        found += [(stand.sensor.turns * once * part, "sensor eccentricity") for part in (1, 2)]
    if stand.surroundings is not None:
        turns, cogging = stand.sensor.turns, stand.surroundings.cogging_order
        found += [(order * turns, "stray field at the sensor") for order, _ in stand.surroundings.sensor_orders]
        found += [] if cogging is None else [(part * cogging * turns, "cogging of steel screws") for part in (1, 2)]
    if plant.unbalance:
        found.append((1.0, "unbalance"))
    electrical, phases = plant.pole_pairs, plant.phases
    if drive.current_offset:
        found.append((electrical, "offset of the current sensors"))
    if drive.current_gain_error:
        found.append((2 * electrical, "unequal gains of the current sensors"))
    alike = ["EMF harmonics"]
    if drive.dead_time:
        alike.append("dead time")
    if drive.voltage_drop:
        alike.append("voltage drop of the switches")
    order = phase_torque_order(phases) * electrical
    found += [(part * order, cause) for part in (1, 2, 3) for cause in alike]
    if plant.electrical_turns == 1:
        return found
    # Magnets that differ make any order of the rotor's turn; where something else makes one, that is named.
    others, turn = {round(made) for made, _ in found}, electrical / plant.electrical_turns
    orders = [number * turn for number in range(1, BUILT_ORDERS * plant.electrical_turns + 1)]
    return found + [(order, "magnets unlike each other") for order in orders if round(order) not in others]
