"""Measures of a slow turn against a motion known in closed form."""

from types import SimpleNamespace

import numpy as np
import pytest

from pcbstator.analysis.drive.simulation import turn_measures


@pytest.mark.parametrize(("step", "window"), [(1e-4, 0.02), (5e-4, 0.02), (5e-3, 0.02), (0.05, 0.05)])
def test_speed_of_a_slow_turn_is_the_mean_of_20_ms(monkeypatch, step, window):
    """Of angle = s·t + a·t²/2 the mean speed over any time is s + a·t in its middle; never less than one sample."""
    times = step * np.arange(6000 if step < 1e-3 else 400)
    speed, growth = 0.15, 0.01  # rad/s, rad/s2
    wanted, angles = speed * times, speed * times + growth * times**2 / 2
    off = angles - wanted
    monkeypatch.setattr(turn_measures, "errors", lambda *_: (off, 2 * off))
    trace = SimpleNamespace(times=times, angles=angles, wanted=wanted, speeds=speed + growth * times, current=times)
    design = SimpleNamespace(load=None, bearing=None)
    numbers, curves = turn_measures.turn_numbers(design, trace, None, None, speed, 0.5)
    first = times[times >= 0.5][0]
    middle = np.radians(curves["speed_angle_deg"]) / speed
    late = (window / step % 2) * step / 2  # an odd number of samples has no middle one
    assert curves["speed_rpm"] == pytest.approx((speed + growth * (middle + late)) * 60 / (2 * np.pi), rel=1e-9)
    assert len(middle) == (times >= 0.5).sum() - round(window / step)
    assert middle[0] == pytest.approx(first + window / 2 - late)
    assert middle[-1] == pytest.approx(times[-1] - window / 2 - late)
    span = growth * (middle[-1] - middle[0]) / speed
    assert numbers["speed_ripple_peak_to_peak_ratio"] == pytest.approx(span, rel=1e-9)
    assert numbers["speed_ripple_peak_ratio"] == pytest.approx(span / 2, rel=1e-9)
    assert numbers["speed_ripple_rms_ratio"] == pytest.approx(span / 12**0.5, rel=0.01)  # of an even spread
    assert numbers["least_speed_ratio"] == pytest.approx(1 + growth * (first + window / 2) / speed)
    assert numbers["least_speed_at_deg"] == pytest.approx(np.degrees(speed * middle[0]))
    assert numbers["largest_error_deg"] == pytest.approx(np.degrees(growth * times[-1] ** 2 / 2))
    assert numbers["believed_largest_error_deg"] == pytest.approx(np.degrees(growth * times[-1] ** 2))
    fifth = growth**2 / 4 * (times[-1] ** 5 - first**5) / 5 / (times[-1] - first)
    assert numbers["rms_error_deg"] == pytest.approx(np.degrees(fifth**0.5), rel=0.01)  # by the integral
