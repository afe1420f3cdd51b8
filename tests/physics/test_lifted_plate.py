"""A plate lifted in potential, facing ideal iron across gap and magnet: the field between two planes."""

import numpy as np
import pytest

from pcbstator.physics.magnetics.field_layers import MagnetLayers, plate_potential_response


@pytest.mark.parametrize("k", [50.0, 200.0, 800.0])
def test_field_between_the_back_and_a_lifted_plate(k: float) -> None:
    """Laplace between planes h + D apart: B per potential is cosh(k(h + s))/sinh(k(h + D)), s below the magnet."""
    h, D, s = 0.003, 0.004, np.array([0.0, 0.001, 0.004])
    ideal = MagnetLayers(
        h, 1.3, 1.0, back_iron=0.002, back_iron_permeability=np.inf, plate_distance=D, plate_thickness=0.001,
        plate_permeability=np.inf,
    )  # fmt: skip
    expected = np.cosh(k * (h + s)) / np.sinh(k * (h + D))
    assert plate_potential_response(np.array([k]), s, ideal)[:, 0] == pytest.approx(expected, rel=1e-9)
