"""The loop of a delta: linkage harmonics that all phases have in common, on the phases' resistance and inductance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.electrical.inductance import zero_sequence_inductance
from pcbstator.physics.conductors.delta_loop import DeltaLoop, loop_currents
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT

LEAST_INDUCTANCE = 1e-3  # of a phase's own; what is left of large numbers that cancel may come out as nothing at all


def delta_loop(
    connection: str,
    linkages: NDArray[np.complex128],
    orders: NDArray[np.integer],
    pole_pairs: int,
    inductances: Sequence[Sequence[float]],
    resistance: float,
) -> DeltaLoop | None:
    """The loop at the temperature of ``resistance`` [ohm], of a phase to a current that is alike in all; None where the
    phases do not close one.

    linkages: (phases, orders) [Wb]; inductances: (phases, phases) [H].
    """
    if connection != "delta":
        return None
    matrix = np.array(inductances)
    least = LEAST_INDUCTANCE * float(np.trace(matrix)) / len(matrix)
    electrical = pole_pairs * np.asarray(orders, dtype=float)
    return DeltaLoop(
        phases=len(linkages),
        orders=electrical,
        emf=electrical * np.abs(linkages.mean(axis=0)),
        resistance=resistance,
        inductance=max(zero_sequence_inductance(matrix), least),
    )


def warm_loop(loop: DeltaLoop, temperature_c: float) -> DeltaLoop:
    """A loop that is given at 20 C, with its copper at another temperature [C]."""
    return replace(loop, resistance=loop.resistance * (1 + COPPER_TEMPERATURE_COEFFICIENT * (temperature_c - 20.0)))


def loop_current_rms(loop: DeltaLoop, speed: float) -> float:
    """Rms current [A] around the delta at a speed [rad/s]."""
    return sqrt(float((loop_currents(loop, speed) ** 2).sum()) / 2)
