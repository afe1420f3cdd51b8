"""An older angle turns the loops' phase back by its age, and changes no amplitude of the open speed loop."""

import numpy as np
import pytest

from pcbstator.physics.drive.control import motion_open_loops, shaft_response, speed_gains


@pytest.mark.parametrize("delay", [2e-5, 1e-4])
def test_delay_turns_the_speed_loop_back(delay: float) -> None:
    frequencies, period = np.array([2.0, 20.0, 200.0]), 1e-4
    shaft, gains = shaft_response(frequencies, period, 1e-3), (*speed_gains(1e-3, 10.0), 10.0)
    now, late = (
        motion_open_loops(frequencies, period, shaft, np.ones(3), gains, 1e3, age) for age in (0.0, delay)
    )  # fmt: skip
    turned = np.exp(-2j * np.pi * frequencies * delay)
    assert late[0] / now[0] == pytest.approx(turned, rel=1e-12)
    # The position loop lies around the closed speed loop: angle over speed is what the delay turns too.
    assert late[1] * (1 + late[0]) / (now[1] * (1 + now[0])) == pytest.approx(turned, rel=1e-12)
