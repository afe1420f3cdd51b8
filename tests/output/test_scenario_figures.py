"""Curves of simulated scenarios, read off what is drawn and compared with motions known in closed form."""

from types import SimpleNamespace

import numpy as np
import pytest

from pcbstator.output.report import job_figures


class Pen:
    """Axes that keep what is plotted on them."""

    def __init__(self):
        self.curves, self.levels = {}, []

    def plot(self, x, y, *_, label="", **__):
        self.curves[label] = np.asarray(x), np.asarray(y)

    def axhline(self, y, **_):
        self.levels.append(y)

    def get_legend_handles_labels(self):
        return [], []

    def __getattr__(self, name):
        return lambda *_, **__: None


@pytest.mark.parametrize("step", [1e-4, 5e-4, 3e-3, 0.05])
def test_speed_of_a_slow_turn_is_the_mean_of_20_ms(step):
    """Of angle = s·t + a·t²/2 the mean speed over the time d before t is s + a·(t - d/2)."""
    times = step * np.arange(6000)
    speed, growth = 0.15, 0.02  # rad/s, rad/s2
    angles = speed * times + growth * times**2 / 2
    trace = SimpleNamespace(times=times, angles=angles, wanted=speed * times, current=np.sin(times))
    pens = [Pen(), Pen(), Pen()]
    job_figures._draw_slow(SimpleNamespace(trace=trace, numbers={"speed_rpm": 1.5}))(pens)
    drawn, rpm = pens[0].curves["mean of 20 ms"]
    apart = {1e-4: 0.02, 5e-4: 0.02, 3e-3: 0.021, 0.05: 0.05}[step]  # the nearest number of samples
    assert rpm == pytest.approx((speed + growth * (drawn - apart / 2)) * 60 / (2 * np.pi), rel=1e-6)
    assert drawn[0] == pytest.approx(apart) and len(drawn) > 1000
    assert pens[0].levels == [1.5]
    drawn, error = pens[1].curves[""]
    assert error == pytest.approx(growth * drawn**2 / 2 * 180 / np.pi, abs=1e-9)
