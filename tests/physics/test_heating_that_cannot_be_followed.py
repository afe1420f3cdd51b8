"""A heating that the solver gives up on is refused; one that ends at the hottest temperature is not."""

from types import SimpleNamespace
from unittest.mock import patch

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.thermal import transients
from tests.physics.test_heat_network import lump


def test_a_solver_that_gives_up_is_told() -> None:
    failed = SimpleNamespace(success=False, status=-1, y=np.zeros((1, 2)), t=np.zeros(2))
    with patch("scipy.integrate.solve_ivp", return_value=failed), pytest.raises(LawRangeError, match="followed"):
        transients.stiff_temperatures(lump(), [[10.0, 5.0]], [25.0])
