"""A field's table gives its own values at its nodes, and between two nodes what lies between them."""

import numpy as np
import pytest

from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
from pcbstator.physics.magnetics.magnet_ring import ring_field


def test_table_passes_through_its_nodes() -> None:
    ring = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12)
    field = ring_field(ring, 6, MagnetLayers(0.003, 1.3), 0.018, 0.037, np.array([0.002, 0.004]))
    nodes = np.linspace(field.inner, field.outer, field.values.shape[-1])
    for index in (0, 1):
        values = field.values[:, index]
        assert field.at(nodes, index) == pytest.approx(values, abs=1e-9 * np.abs(values).max())
        middles = field.at((nodes[1:] + nodes[:-1]) / 2, index)
        assert middles == pytest.approx((values[:, 1:] + values[:, :-1]) / 2, abs=1e-9 * np.abs(values).max())
