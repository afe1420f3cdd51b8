"""Voltage limits, fault currents and ripple, against printed values, closed forms and a switched simulation."""

import tomllib
from itertools import pairwise
from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.supply import (
    current_at_voltage_limit,
    equivalent_star_factor,
    hexagon_voltage,
    no_load_speed,
    pulse_ripple,
    short_circuit_current,
    space_vector_ripple,
    star_voltage_limit,
    voltage_needed,
)

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "control.toml").read_text(encoding="utf-8"))


def switched(supply, inductance, frequency, modulation, resistance=0.0, angle=0.4, parts=20_000):
    """Peak-to-peak current of phase A, a bridge switched by comparison with a triangle, in tiny steps of time.

    An independent route to the ripple: three legs, duties by the usual min-max zero sequence, forward Euler on the
    phase.
    """
    duties = modulation / sqrt(3) * np.cos(angle - np.array([0, 2 * pi / 3, 4 * pi / 3]))
    duties = 0.5 + duties - (duties.max() + duties.min()) / 2
    time = (np.arange(parts) + 0.5) / parts
    triangle = 2 * np.abs(time - 0.5)  # centred pulses: high in the middle of the period
    legs = (triangle[None, :] < duties[:, None]).astype(float)
    voltage = supply * (legs[0] - legs.mean(axis=0))
    step = 1 / frequency / parts
    excess = voltage - voltage.mean()
    if resistance == 0:
        return np.ptp(np.concatenate([[0.0], np.cumsum(excess)])) * step / inductance
    current, course = 0.0, []
    for turn in range(30):
        for value in excess:
            current += step / inductance * (value - resistance * current)
            if turn == 29:
                course.append(current)
    return max(course) - min(course)


@pytest.mark.parametrize("case", PUBLISHED["current_ripple"]["cases"], ids=str)
def test_ripple_to_all_printed_digits(case):
    table = PUBLISHED["current_ripple"]
    found = space_vector_ripple(table["bus_v"], table["inductance_uh"] * 1e-6, case["frequency_khz"] * 1e3)
    assert found == pytest.approx(case["peak_to_peak_a"], rel=1e-12)


def test_worst_ripple_is_the_largest_of_a_switched_bridge():
    """The closed form against the switched bridge over all angles and modulations."""
    levels = [
        switched(24.0, 20e-6, 50e3, part, angle=angle)
        for part in (0.25, 0.5, 0.75, 1.0)
        for angle in np.arange(0, 2 * pi, pi / 36)
    ]
    assert max(levels) == pytest.approx(space_vector_ripple(24.0, 20e-6, 50e3), rel=1e-3)


@pytest.mark.parametrize("modulation", [0.1, 0.4, 0.8, 1.0])
def test_ripple_at_a_modulation_against_a_switched_bridge(modulation):
    angles = np.arange(0, 2 * pi, 2 * pi / 72)
    found = max(switched(24.0, 20e-6, 50e3, modulation, angle=angle) for angle in angles)
    assert pulse_ripple(24.0, 20e-6, 50e3, modulation)[0] == pytest.approx(found, rel=2e-3)


def test_ripple_with_a_resistance_that_counts():
    """L/R of 7 us beside a period of 25 us: the steady state of a switched bridge in tiny steps."""
    found = max(switched(24.0, 130e-6, 40e3, 0.6, 18.0, angle, 2000) for angle in np.arange(0, pi, pi / 18))
    assert pulse_ripple(24.0, 130e-6, 40e3, 0.6, resistance=18.0)[0] == pytest.approx(found, rel=5e-3)
    tiny = pulse_ripple(24.0, 130e-6, 40e3, 0.6, resistance=1e-4)
    assert tiny == pytest.approx(pulse_ripple(24.0, 130e-6, 40e3, 0.6), rel=1e-3)


def test_ripple_of_a_full_bridge():
    """Textbook: two legs in opposition double the frequency; at half modulation V/(8 L f) peak to peak at most."""
    assert pulse_ripple(24.0, 20e-6, 50e3, 1.0, h_bridges=True)[0] == pytest.approx(24 / (8 * 20e-6 * 50e3), rel=1e-4)


def test_kv_times_kt():
    """Printed product for three phases: rpm per line-peak volt times torque per peak phase ampere."""
    pairs, psi = 7, 0.0123
    speed = no_load_speed(star_voltage_limit(1.0, 3), pairs, psi) * 30 / pi
    assert speed * 1.5 * pairs * psi == pytest.approx(PUBLISHED["machine_constants"]["kv_line_peak_times_kt"], rel=1e-4)


@pytest.mark.parametrize("phases", [2, 3, 5, 7])
def test_star_limit_by_search(phases):
    """The largest sine whose leg-to-leg voltages all stay within the supply."""
    delays = 2 * pi * np.arange(phases) / phases if phases != 2 else np.array([0, pi / 2])
    waves = np.cos(np.linspace(0, 2 * pi, 7201) - delays[:, None])
    if phases == 2:
        waves = np.concatenate([waves, np.zeros((1, 7201))])
    assert star_voltage_limit(10.0, phases) == pytest.approx(10.0 / np.ptp(waves, axis=0).max(), rel=1e-6)


def test_hexagon_by_the_eight_states():
    """The edge between neighbouring active states; its inner circle is the limit for sines."""
    states = [np.array([a, b, c], float) for a in (0, 1) for b in (0, 1) for c in (0, 1)]
    turn = np.exp(2j * pi * np.arange(3) / 3)
    corners = sorted({complex(np.round(2 / 3 * 24 * (state @ turn), 9)) for state in states if 0 < state.sum() < 3},
                     key=np.angle)  # fmt: skip
    for one, other in pairwise(corners):
        for part in (0.0, 0.3, 0.5):
            point = one + part * (other - one)
            assert abs(point) == pytest.approx(float(hexagon_voltage(24.0, np.angle(point))), rel=1e-9)
    angles = np.linspace(0, 2 * pi, 3601)
    assert hexagon_voltage(24.0, angles).min() == pytest.approx(star_voltage_limit(24.0, 3), rel=1e-6)


def test_current_at_the_voltage_limit_uses_it_up():
    machine = (0.5, 1e-3, 6, 0.02)
    speeds = np.linspace(0.0, 90.0, 10)
    currents = current_at_voltage_limit(speeds, 12.0, *machine)
    assert voltage_needed(speeds, currents, *machine) == pytest.approx(np.full(10, 12.0), rel=1e-9)
    assert float(current_at_voltage_limit(100.0, 12.0, 0.5, 0.0, 6, 0.02)) == pytest.approx(0.0, abs=1e-12)
    assert no_load_speed(12.0, 6, 0.02) == pytest.approx(100.0, rel=1e-12)
    assert current_at_voltage_limit(1e5, 12.0, *machine) == -np.inf


def test_short_circuit_current_far_up_is_psi_over_l():
    assert short_circuit_current(1e7, 0.5, 1e-3, 6, 0.02) == pytest.approx(20.0, rel=1e-6)


def test_a_delta_is_a_star_of_a_third():
    assert equivalent_star_factor(3) ** 2 == pytest.approx(3.0, rel=1e-12)


def test_nonsense_is_refused():
    for call in (lambda: star_voltage_limit(-1.0, 3), lambda: pulse_ripple(24.0, 1e-5, 1e4, 1.2),
                 lambda: space_vector_ripple(24.0, 0.0, 1e4)):  # fmt: skip
        with pytest.raises(LawRangeError):
            call()
