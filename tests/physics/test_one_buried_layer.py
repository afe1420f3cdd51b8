"""All loss in one flat layer within a slab that warms up evenly (slab equation by hand)."""

import pytest

from pcbstator.physics.thermal.plate import buried_layer_rise


@pytest.mark.parametrize("place", [0.0, 0.3, 0.5, 1.0])
def test_one_layer_anywhere_in_the_slab(place: float) -> None:
    """T = source − (z² + (1 − z)²)/2-shaped: the lead over the mean is L/k·(1/3 − z(1 − z)) at the layer's place z."""
    thickness, k = 1.6e-3, 0.343
    expected = thickness / k * (1 / 3 - place * (1 - place))
    assert buried_layer_rise([1.0], [place * thickness], thickness, k) == pytest.approx(expected, rel=1e-9)
