"""One of the motors of a bench, by its serial numbers."""

from __future__ import annotations

from collections.abc import Sequence

from pcbstator.bench.built.result import BuiltMotor
from pcbstator.errors import OutputError


def chosen_motor(motors: Sequence[BuiltMotor], board: str | None, rotor: str | None) -> BuiltMotor:
    """The motor whose design as built is asked for. board, rotor: None where any will do.

    Raises OutputError where none or several fit, or where there is no design of it, with the reason.
    """
    found = [each for each in motors if board in (None, each.board) and rotor in (None, each.rotor)]
    if len(found) != 1:
        known = "; ".join(each.name for each in motors) or "none"
        told = "no such motor" if not found else f"readings of {len(found)} motors"
        raise OutputError(f"--built: {told}; name one of them with --board and --rotor: {known}")
    if found[0].refused:
        raise OutputError(f"--built: no design is written of {found[0].name}: {found[0].refused}")
    return found[0]
