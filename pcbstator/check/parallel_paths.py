"""What parallel paths cost: the same coils in series, laid as they would be then, to compare with."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.analysis.prediction import Prediction
from pcbstator.analysis.shared import Shared
from pcbstator.analysis.stages import Work, run_stage
from pcbstator.check.limits import at_most
from pcbstator.errors import PcbstatorError
from pcbstator.findings import Finding

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

WORTH_TELLING = 0.05  # of the motor constant (common practice, no source)


def path_findings(design: SizedDesign, prediction: Prediction) -> list[Finding]:
    """A warning where the buses of parallel paths, or paths that share the current unequally, cost much of the motor
    constant, which series and parallel would else have in common.
    """
    if design.winding.parallel_paths < 2 or prediction.magnetic is None:
        return []
    series = series_motor_constant(design)
    if series is None or series <= 0:
        return []
    shares = prediction.electrical.path_shares or ()
    spread = max((max(own) / min(own) for own in shares if min(own) > 0), default=1.0)
    unequal = f"; the current of its paths differs by a factor of {spread:.3g}" if spread > 1.05 else ""
    return at_most(
        "winding.parallel_paths", 1 - prediction.magnetic.motor_constant / series, WORTH_TELLING,
        "parallel_paths costs {value} of the motor constant that the same coils have in series, above {limit}: the "
        f"buses between the paths take room from the coils, and resistance{unequal}; parallel_paths = 1 with fewer "
        "turns suits the same voltage", "warning", "winding.parallel_paths",
    )  # fmt: skip


def series_motor_constant(design: SizedDesign) -> float | None:
    """Motor constant [N m/sqrt(W)] of the design with all coils of a phase in series; None where that is not to be
    had."""
    try:
        work, shared = Work(design.with_values({"winding.parallel_paths": 1})), Shared(alone=True)
    except PcbstatorError:
        return None
    for stage in ("copper", "magnetics"):
        run_stage(stage, [work], shared)
    return None if work.refusal is not None or work.magnetic is None else work.magnetic.motor_constant
