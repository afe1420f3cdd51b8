"""Wires against printed values, losses of a bridge against sums over time, and the voltage that it takes, by hand."""

import tomllib
from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.wires import gauge_number, wire_resistance
from pcbstator.physics.drive.bridge_loss import DIODE_DROP, drop_loss, resistive_loss, switching_loss
from pcbstator.physics.drive.supply import current_at_voltage_limit, voltage_needed
from pcbstator.physics.thermal.balance import current_at_temperature, steady_temperature
from pcbstator.physics.thermal.network import HeatNetwork
from pcbstator.physics.thermal.transients import held_network

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "wires.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("case", PUBLISHED["iec_60228"]["cases"], ids=str)
def test_wires_have_the_resistance_of_the_standard(case):
    assert wire_resistance(1000.0, case["section_mm2"] * 1e-6) == pytest.approx(case["ohm_per_km"], rel=0.02)


@pytest.mark.parametrize("case", PUBLISHED["astm_b258"]["cases"], ids=str)
def test_gauges_are_those_of_the_standard(case):
    section = pi / 4 * (case["diameter_mm"] * 1e-3) ** 2
    assert gauge_number(section) == pytest.approx(case["gauge"], abs=0.005)  # four digits printed


def test_losses_of_a_leg_are_sums_over_a_turn():
    """A leg followed for a turn of its sine, in 3600 periods of switching."""
    peak, supply, time, frequency, dead = 3.0, 24.0, 60e-9, 40e3, 200e-9
    current = np.abs(peak * np.sin((np.arange(3600) + 0.5) * 2 * pi / 3600))
    assert resistive_loss(peak, 0.05) == pytest.approx(0.05 * (current**2).mean(), rel=1e-9)
    energy = 2 * 0.5 * supply * current * time  # the switch that carries the current turns on and off once a period
    assert switching_loss(peak, supply, time, frequency) == pytest.approx((energy * frequency).mean(), rel=1e-5)
    diode = DIODE_DROP * current * 2 * dead * frequency
    assert drop_loss(peak, 0.1, dead, frequency) == pytest.approx((0.1 * current + diode).mean(), rel=1e-5)


def test_dead_time_beyond_half_a_period_is_refused():
    with pytest.raises(LawRangeError, match="dead time"):
        drop_loss(1.0, 0.1, 10e-6, 40e3)


def test_voltage_limit_with_resistance_and_lost_voltage_by_hand():
    """12 V on 2 ohm of winding, 0.4 ohm before it and 1 V lost: (12 - 1) / 2.4 at rest. At speed 3 V of EMF and a
    reactance of 1 ohm: (2.4 i + 4)² + i² = 144, so 6.76 i² + 19.2 i - 128 = 0."""
    assert float(current_at_voltage_limit(0.0, 12.0, 2.4, 0.01, 4, 0.03, 1.0)) == pytest.approx(11 / 2.4, rel=1e-12)
    root = (-19.2 + sqrt(19.2**2 + 4 * 6.76 * 128)) / (2 * 6.76)
    assert float(current_at_voltage_limit(25.0, 12.0, 2.4, 0.01, 4, 0.03, 1.0)) == pytest.approx(root, rel=1e-12)
    assert float(voltage_needed(25.0, root, 2.4, 0.01, 4, 0.03, 1.0)) == pytest.approx(12.0, rel=1e-12)


def test_lost_voltage_helps_where_it_brakes():
    """The drop is always against the current: 3 V of EMF, 2 A braking through 1 ohm, 0.5 V lost: 3 - 2 - 0.5."""
    assert float(voltage_needed(25.0, -2.0, 1.0, 0.0, 4, 0.03, 0.5)) == pytest.approx(0.5, rel=1e-12)


def network(given):
    """A node with 0.5 W/K to the air, heated by 0.2 ohm and by what is given; a second one that it touches."""
    conduction = np.array([[0.8, -0.3], [-0.3, 0.5]])
    return HeatNetwork(
        25.0, conduction, np.array([0.2, 0.0]), np.zeros(2), np.ones(2), np.zeros(2), np.zeros((2, 1)),
        np.zeros((1, 2)), 400.0, given=np.array(given),
    )  # fmt: skip


def test_given_heat_goes_where_the_conductances_say():
    """Two nodes by hand: the second, 0.2 W/K to the air and 0.3 W/K to the first, gets 2 W; no current flows."""
    rise = np.linalg.solve([[0.8, -0.3], [-0.3, 0.5]], [0.0, 2.0])
    found = steady_temperature(network([0.0, 2.0]), [0], 0.0)
    assert found.temperature_c[0] == pytest.approx(25.0 + rise, rel=1e-9)
    assert found.heat[0] == 0  # of the copper alone


def test_current_beside_given_heat():
    """1 W and the current's heat take the first node to 65 C: 0.2 s (1 + 0.00393 x 45) + 1 = 0.8 x 40 - 0.3 x 24."""
    found = current_at_temperature(network([1.0, 0.0]), ([0],), [65.0])
    square = (0.8 * 40 - 0.3 * 24 - 1.0) / (0.2 * (1 + 0.00393 * 45))
    assert found.squared_current.item() == pytest.approx(square, rel=1e-9)


def test_held_network_keeps_given_heat():
    assert held_network(network([1.0, 2.0]), [60.0, 50.0]).eddy == pytest.approx([1.0, 2.0], rel=1e-12)
