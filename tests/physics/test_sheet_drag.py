"""Eddies in thin copper: rings by hand, the energy of ring currents by coaxial circles, the thin-sheet model."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.sheet_drag import disc_eddy_loss, sheet_drag
from pcbstator.physics.inductance.closed_forms import circle_mutual_inductance

T, RHO, B = 70e-6, 1.7241e-8, 0.05


def test_a_disc_as_rings_each_with_the_voltage_of_its_flux():
    """P = Σ (w·B·pi·r²)²/2 over 2·pi·r·rho/(t·dr)."""
    edges = np.linspace(1e-3, 4e-3, 20001)
    r, dr = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    f = 1.0
    wanted = ((2 * pi * f * B * pi * r**2) ** 2 / 2 / (2 * pi * r * RHO / (T * dr))).sum()
    got = disc_eddy_loss(np.array(f), np.array(B), 1e-3, 4e-3, T, RHO)
    assert float(got) == pytest.approx(wanted, rel=1e-6)


def test_a_disc_at_high_speed_loses_no_more():
    """Twice the energy of a current that grows as r over its loss is tau: the energy by mutual inductances of coaxial
    circles (Maxwell), a circle's own at the mean distance within a flat strip, e^(−3/2) of its width (Grover).
    """
    a, rings = 4e-3, 200
    dr = a / rings
    r = (np.arange(rings) + 0.5) * dr
    current = r / a * dr
    mutual = circle_mutual_inductance(r[:, None], r, np.where(np.eye(rings) > 0, np.exp(-1.5) * dr, 1e-6 * a))
    wanted = float(current @ mutual @ current / (current**2 * 2 * pi * r * RHO / (T * dr)).sum())
    low, high = 1.0, 1e9
    slow, fast = disc_eddy_loss(np.array([low, high]), np.array(B), 0.0, a, T, RHO)
    assert fast / slow == pytest.approx(1.0 / (2 * pi * low * wanted) ** 2, rel=0.01)


def test_drag_of_a_wide_sheet_rises_peaks_and_falls():
    """Reitz 1970 (memory): largest at v = 2/(mu_0·sigma·t), there B²/(2·mu_0); v·sigma·t·B²/2 far below; 1/v beyond."""
    peak = 2 * RHO / (MU_0 * T)
    speeds = peak * np.geomspace(1e-4, 1e4, 801)
    drag = sheet_drag(speeds, np.array(B), T, RHO)
    assert speeds[np.argmax(drag)] == pytest.approx(peak, rel=1e-9)
    assert drag.max() == pytest.approx(B**2 / (2 * MU_0), rel=1e-9)
    assert drag[0] == pytest.approx(T / RHO * speeds[0] * B**2 / 2, rel=1e-6)
    assert drag[-1] / drag[-101] == pytest.approx(speeds[-101] / speeds[-1], rel=1e-4)


def test_what_is_no_sheet_is_refused():
    with pytest.raises(LawRangeError):
        disc_eddy_loss(np.array(1e3), np.array(B), 2e-3, 1e-3, T, RHO)
    with pytest.raises(LawRangeError):
        sheet_drag(np.array(1.0), np.array(B), 0.0, RHO)
