"""Compares copper and results with limits; returns findings."""

from pcbstator.check.run import check_design, checked_prediction

__all__ = ["check_design", "checked_prediction"]
