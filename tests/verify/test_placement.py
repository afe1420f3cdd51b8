"""Boards that lie elsewhere in their files are brought back by their terminals."""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians, sin

import numpy as np
import pytest

from pcbstator.errors import FilesError
from pcbstator.verify.nets import net_findings
from pcbstator.verify.placement import Placement, placed, undone
from pcbstator.verify.records import Pin, WrittenBoard
from tests.verify.boards import hole, pair

TERMINALS = {"A": (0.0, 0.0), "B": (20.0, 5.0), "C": (10.0, 0.0)}


def board() -> WrittenBoard:
    """Terminals have larger holes than vias, as usual."""
    sizes = {place: 0.4 for place in TERMINALS.values()}
    ends = [(0.0, 0.0), (10.0, 0.0), (20.0, 0.0), (0.0, 5.0), (10.0, 5.0), (20.0, 5.0)]
    return pair(holes=[hole(x, y, sizes.get((x, y), 0.3)) for x, y in ends], terminals=TERMINALS)


def lain(angle: float, mirrored: bool, shift: tuple[float, float]) -> WrittenBoard:
    c, s = cos(radians(angle)), sin(radians(angle))
    matrix = np.array([[c, -s], [s, c]]) @ np.diag([-1.0 if mirrored else 1.0, 1.0])
    return undone(board(), Placement(matrix, np.array(shift), TERMINALS))


@pytest.mark.parametrize("named", ["manifest", "pins", "nothing"])
@pytest.mark.parametrize(
    ("angle", "mirrored", "shift"),
    [(0, False, (0, 0)), (0, False, (100, -40)), (90, False, (3, 4)), (0, True, (0, 0)), (33, True, (-60, 7))],
)
def test_shifted_turned_and_mirrored_files(
    named: str, angle: float, mirrored: bool, shift: tuple[float, float]
) -> None:
    files = lain(angle, mirrored, shift)
    if named == "pins":
        files = replace(files, pins=tuple(Pin("J1", "1", name, *at) for name, at in files.terminals.items()))
    if named != "manifest":
        files = replace(files, terminals={})
    back, placement = placed(files, TERMINALS)
    assert placement.mirrored == mirrored
    assert placement.unmoved == (angle == 0 and not mirrored and shift == (0, 0))
    for name, at in TERMINALS.items():
        assert back.terminals[name] == pytest.approx(at, abs=1e-6)
    assert back.layers[1].copper.symmetric_difference(board().layers[1].copper).area < 1e-6
    assert net_findings(back) == []


def test_names_that_were_exchanged_are_told() -> None:
    files = replace(board(), terminals=TERMINALS | {"A": TERMINALS["C"], "C": TERMINALS["A"]})
    back, placement = placed(files, TERMINALS)
    assert placement.unmoved
    assert [finding.code for finding in back.findings] == ["verify.terminal", "verify.terminal"]
    assert "terminal A is named at x 10.000 mm" in back.findings[0].message


@pytest.mark.parametrize(
    ("terminals", "says"),
    [
        ({"A": (0.0, 0.0)}, "at least two terminals"),
        ({"A": (0.0, 0.0), "B": (7.7, 3.3)}, "no plated holes lie to each other"),
        ({"A": (100.0, 0.0), "B": (110.0, 0.0)}, "in "),
    ],
)
def test_what_cannot_be_told_is_said(terminals: dict[str, tuple[float, float]], says: str) -> None:
    files = replace(pair(), terminals={})
    with pytest.raises(FilesError) as told:
        placed(files, terminals)
    assert says in str(told.value)
    assert "map file" in str(told.value)
