"""Sums over the entries of a working point in the list of losses."""

from __future__ import annotations

from collections.abc import Mapping

INDUCED = "eddy_w", "circulating_w", "delta_loop_w", "stator_iron_eddy_w", "stator_iron_hysteresis_w"


def induced_loss(point: Mapping[str, float]) -> float:
    """All that the field induces, in tracks, paths, delta and steel [W]: the losses beside that of the phase current.

    >>> induced_loss({"copper_w": 3.0, "eddy_w": 0.5, "circulating_w": 0.25})
    0.75
    """
    return sum(point.get(key, 0.0) for key in INDUCED)
