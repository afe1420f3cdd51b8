"""Parallel sides at an inner radius narrower than the gap: the sides have crossed, which is no error of maths."""

from pcbstator.copper.spiral.outlines import parallel_family


def test_gap_wider_than_the_inner_radius() -> None:
    family = parallel_family(30e-3, 2e-3, 6, 2.4e-3, 0.7e-3)
    assert family.tilt == 0.0 and family.side > 0  # the sides cross: beyond the axis
