"""Deflection of discs and rings: closed forms, printed coefficients, and the equations integrated step by step."""

import tomllib
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from pcbstator.errors import LawRangeError
from pcbstator.physics.mechanics.plate import flexural_rigidity, plate_deflection

PRINTED = tomllib.loads((Path(__file__).parents[1] / "published" / "plates.toml").read_text(encoding="utf-8"))
NU = 0.3


def half_unit(value: float) -> float:
    """Half a unit of the last printed digit."""
    return 0.5 * 10.0 ** -len(f"{value}".split(".")[1])


@pytest.mark.parametrize("case", PRINTED["outer_supported_inner_free"]["cases"])
def test_printed_ring_supported_outside(case):
    inner = case["inner_over_outer"]
    (found,) = plate_deflection([inner, 1.0], [1.0], [1.0], NU, 1.0, False, [inner])
    assert abs(found - case["k"]) <= half_unit(case["k"])


@pytest.mark.parametrize("case", PRINTED["inner_clamped_outer_free"]["cases"])
def test_printed_ring_clamped_inside(case):
    inner = 1 / case["outer_over_inner"]
    rigidity = float(flexural_rigidity(1.0, 1.0, NU))
    (found,) = plate_deflection([inner, 1.0], [rigidity], [1.0], NU, inner, True, [1.0])
    assert abs(found - case["k"]) <= half_unit(case["k"])


@pytest.mark.parametrize(("clamped", "numerator"), [(True, 1.0), (False, (5 + NU) / (1 + NU))])
def test_disc_under_even_load(clamped, numerator):
    """q a⁴/(64 D), clamped; (5 + nu)/(1 + nu) times that, supported. However it is cut into rings."""
    edges = [0.0, 0.013, 0.04, 0.05]
    (found,) = plate_deflection(edges, [7.0] * 3, [900.0] * 3, NU, 0.05, clamped, [0.0])
    assert found == pytest.approx(numerator * 900.0 * 0.05**4 / (64 * 7.0), rel=1e-9)


def test_load_on_the_edge_of_a_ring_clamped_inside():
    """A narrow loaded ring at the edge of a wide disc held near its middle tends to a line load: w of the annulus by
    integrating the slope equation with the shear F/(2 pi r) by hand for nu = 1, where the slope's equation is simple.

    With nu = 1 the edge is free of moment where w'' + w'/r = 0, so that the sum of curvatures is K(r) = (F/(2 pi D))
    ln(a/r), zero at the edge; r w' is its integral from b.
    """
    inner, width, force, rigidity = 0.4, 1e-5, 3.0, 2.0
    pressure = force / (np.pi * (1 - (1 - width) ** 2))
    edges = [inner, 1 - width, 1.0]
    (found,) = plate_deflection(edges, [rigidity] * 2, [0.0, pressure], 1.0, inner, True, [1.0])

    def slope(r: np.ndarray) -> np.ndarray:
        upper, lower = (x**2 / 4 - x**2 / 2 * np.log(x) for x in (r, inner))
        return force / (2 * np.pi * rigidity) * (upper - lower) / r

    r = np.linspace(inner, 1.0, 20001)
    assert found == pytest.approx(np.trapezoid(slope(r), r), rel=1e-4)


def integrated(edges, rigidity, pressure, held, radii):
    """The same ring, supported on an inner circle, by shooting: w, slope, moment and shear step by step."""
    edges, rigidity, pressure = map(np.asarray, (edges, rigidity, pressure))

    def ring(r):
        return min(int(np.searchsorted(edges, r, side="right")) - 1, len(rigidity) - 1)

    def run(start, load, jump):
        parts, state = [], np.array(start, dtype=float)
        for begin, end in pairwise(edges):
            state = state + (np.array([0, 0, 0, jump]) if begin == held else 0)
            D, q = rigidity[ring(0.5 * (begin + end))], load * pressure[ring(0.5 * (begin + end))]

            def rates(r, y, D=D, q=q):
                _, slope, moment, shear = y
                bend = -moment / D - NU * slope / r
                across = -D * (slope / r + NU * bend)
                return [slope, bend, shear - (moment - across) / r, -q - shear / r]

            part = solve_ivp(rates, (begin, end), state, rtol=1e-11, atol=1e-14, dense_output=True)
            parts.append((begin, end, part.sol))
            state = part.y[:, -1]
        return state, parts

    def at(parts, r):
        return next(sol(r) for begin, end, sol in parts if begin - 1e-12 <= r <= end + 1e-12)

    runs = [run([0, 0, 0, 0], 1.0, 0.0)] + [run(start, 0.0, jump) for start, jump in (
        ([1, 0, 0, 0], 0.0), ([0, 1, 0, 0], 0.0), ([0, 0, 0, 0], 1.0))]  # fmt: skip
    conditions = [np.array([at(parts, held)[0], end[2], end[3]]) for end, parts in runs]
    parts = np.linalg.solve(np.stack(conditions[1:], axis=1), -conditions[0])
    weights = [1.0, *parts]
    return [sum(weight * at(run_parts, r)[0] for weight, (_, run_parts) in zip(weights, runs, strict=True))
            for r in radii]  # fmt: skip


def test_rings_of_unequal_stiffness_supported_between():
    """Loads and stiffnesses that jump, held on a circle inside: against stepwise integration of the equations."""
    edges, rigidity, pressure = [0.02, 0.03, 0.034, 0.051, 0.06], [20.0, 20.0, 95.0, 20.0], [30.0, 30.0, 9e3, 30.0]
    radii = [0.02, 0.025, 0.034, 0.045, 0.06]
    found = plate_deflection(edges, rigidity, pressure, NU, 0.03, False, radii)
    expected = integrated(edges, rigidity, pressure, 0.03, radii)
    assert found == pytest.approx(np.array(expected), rel=1e-6)


def test_a_clamp_parts_the_plate():
    """What is clamped on a circle bends outside as if there were nothing inside."""
    (whole,) = plate_deflection([0.01, 0.03, 0.06], [5.0, 5.0], [80.0, 80.0], NU, 0.03, True, [0.06])
    (part,) = plate_deflection([0.03, 0.06], [5.0], [80.0], NU, 0.03, True, [0.06])
    assert whole == pytest.approx(part, rel=1e-9)


@pytest.mark.parametrize("held", [0.0, 0.035])
def test_held_nowhere(held):
    with pytest.raises(LawRangeError, match="held on one of its circles"):
        plate_deflection([0.0, 0.03, 0.06], [5.0, 5.0], [80.0, 80.0], NU, held, True, [0.06])
