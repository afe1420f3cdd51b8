"""Where a magnet that pulls comes to rest against a spring, and from which gap on nothing holds it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from math import inf

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq, minimize_scalar

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

Pull = Callable[[float], float]


@dataclass(frozen=True, eq=False)
class PullCurve:
    """Magnetic force over the gap, between a few gaps at which it is known: a smooth curve of its logarithm.

    gaps: rising [m]; forces: falling, above 0 [N].
    """

    gaps: tuple[float, ...]
    forces: tuple[float, ...]

    @cached_property
    def _log(self) -> CubicSpline:
        return CubicSpline(self.gaps, np.log(self.forces))

    def force(self, gap: float) -> float:
        """At a gap within the table [m]; returns [N]."""
        return float(np.exp(self._log(gap)))

    def stiffness(self, gap: float) -> float:
        """Growth of the force as the gap closes [N/m]."""
        return -self.force(gap) * float(self._log(gap, 1))


def gap_at_rest(free_gap: float, force: Pull, stiffness: float) -> float | None:
    """Gap at which a spring holds what is drawn towards an attracting face.

    free_gap: without the magnetic force [m]; force: at a gap [m], falling and ever more slowly [N]; stiffness: of the
    spring [N/m]. Returns [m]; None where the force wins at every gap, so that nothing holds. Range: free gap and
    stiffness above 0, else LawRangeError. Source: derived here: stiffness · (free gap − gap) = force(gap), the wider of
    both solutions, where the spring is stiffer than the force.

    >>> from math import exp
    >>> round(1e3 * gap_at_rest(1e-3, lambda gap: 100 * exp(-gap / 1e-3), 200e3), 4)  # x = 0.5e-3·exp(x/1e-3 − 1)
    0.768
    >>> gap_at_rest(1e-3, lambda gap: 100 * exp(-gap / 1e-3), 90e3) is None  # holds from 100 N/1 mm on
    True
    """
    require_positive(free_gap=free_gap, stiffness=stiffness)

    def left(gap: float) -> float:
        return stiffness * (free_gap - gap) - force(gap)

    best = minimize_scalar(lambda gap: -left(gap), bounds=(0.0, free_gap), method="bounded", options={"xatol": 1e-10})
    top = float(best.x) if left(float(best.x)) > left(0.0) else 0.0
    if left(top) < 0:
        return None
    return float(brentq(left, top, free_gap, xtol=1e-12))


def safe_free_gap(
    pull: PullCurve, stiffness: float, least: float, reserve: float, most_growth: float = inf
) -> float | None:
    """Free gap from which on a spring holds, with a reserve.

    pull: force over the gap [m, N]; stiffness: of the spring [N/m]; least: gap that must be left [m]; reserve: by which
    the spring must be stiffer than the force [-]; most_growth: of the force that is allowed for another reason, with
    the same reserve [N/m]. Returns [m]; None where no gap of the table does. Range: stiffness above 0, else
    LawRangeError. Source: derived here: the gap at rest at which stiffness = reserve · growth of the force, plus what
    the force then closes.

    >>> from math import exp
    >>> table = PullCurve((0.0, 1e-3, 2e-3, 4e-3), tuple(100 * exp(-1e3 * gap) for gap in (0.0, 1e-3, 2e-3, 4e-3)))
    >>> round(1e3 * safe_free_gap(table, 50e3, 0.0, 1.0), 4)  # 1 mm · (1 + ln(100 N/(1 mm · 50 N/mm)))
    1.6931
    """
    require_positive(stiffness=stiffness)
    if not (0 <= least <= pull.gaps[-1]):
        return None

    def short(gap: float) -> float:
        return reserve * pull.stiffness(gap) - min(stiffness, most_growth)

    rest = least
    if short(least) > 0:
        if short(pull.gaps[-1]) > 0:
            return None
        rest = float(brentq(short, least, pull.gaps[-1], xtol=1e-12))
    return rest + pull.force(rest) / stiffness


def magnetic_tilt_stiffness(axial_stiffness: float, gyration: float) -> float:
    """Moment by which unequal attraction of a tilted ring of magnets grows with its tilt.

    axial_stiffness: growth of the axial force as the gap closes [N/m]; gyration: root of the mean square radius of the
    magnets [m]. Returns [N m/rad]. Range: not negative, else LawRangeError. Source: derived here, k/(2 pi) per radian
    of the ring times r² cos² around it: k r²/2.

    >>> round(magnetic_tilt_stiffness(2e5, 0.05), 6)
    250.0
    """
    if axial_stiffness < 0 or gyration < 0:
        raise LawRangeError("stiffness and radius of gyration must not be negative")
    return axial_stiffness * gyration**2 / 2


def axial_stiffness_of_tilt(tilt_stiffness: float, gyration: float) -> float:
    """Growth of the axial force of a ring of magnets at which its tilt is held no longer.

    tilt_stiffness: of the bearing [N m/rad]; gyration: root of the mean square radius of the magnets [m]. Returns
    [N/m]. Range: above 0, else LawRangeError. Source: ``magnetic_tilt_stiffness`` the other way round.

    >>> round(axial_stiffness_of_tilt(250.0, 0.05))
    200000
    """
    require_positive(tilt_stiffness=tilt_stiffness, gyration=gyration)
    return 2 * tilt_stiffness / gyration**2
