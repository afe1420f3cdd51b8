"""The strip law of eddy loss is refused exactly where the skin depth falls below half the width."""

from math import pi, sqrt

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.eddy import strip_eddy_loss_density

MU_0 = 4e-7 * pi  # H/m, to 1e-9
RHO = 1.7241e-8  # ohm m, annealed copper (IEC 60028, from memory)


def skin_depth(frequency: float) -> float:
    """sqrt(rho/(pi f mu_0)) [m], handbook."""
    return sqrt(RHO / (pi * frequency * MU_0))


@pytest.mark.parametrize("frequency", [50.0, 400.0, 20e3])
def test_half_the_width_is_the_skin_depth(frequency: float) -> None:
    limit = 2 * skin_depth(frequency)
    assert strip_eddy_loss_density(frequency, 0.1, 0.999 * limit, RHO) > 0
    with pytest.raises(LawRangeError, match="skin depth"):
        strip_eddy_loss_density(frequency, 0.1, 1.001 * limit, RHO)


def test_one_strip_too_wide_among_many_is_refused() -> None:
    limit = 2 * skin_depth(400.0)
    with pytest.raises(LawRangeError, match="skin depth"):
        strip_eddy_loss_density(400.0, 0.1, np.array([0.1, 0.5, 1.01]) * limit, RHO)
