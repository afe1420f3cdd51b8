"""The reader of netlists in IPC-D-356A."""

from __future__ import annotations

import numpy as np
import pytest

from pcbstator.errors import FilesError
from pcbstator.output.fabrication.netlist import netlist_ipc356
from pcbstator.verify.reading.netlist import read_netlist
from pcbstator.verify.records import NetPoint
from tests.output.readback import small_stator

HEAD = "P  UNITS CUST 1\n"
THROUGH = "317GND              VIA   -     D0300PA00X+001500Y-002250X0600Y0600R000 S3      \n"
SURFACE = "327SENSE            R1    -1          A02X+000100Y+000200X0500Y0400R000 S0      \n"


def test_records_by_their_columns() -> None:
    points = read_netlist(HEAD + THROUGH + SURFACE + "999\n", "a.ipc")
    assert points == (NetPoint("GND", 1.5, -2.25, None, 0.3), NetPoint("SENSE", 0.1, 0.2, 2, None))


def test_inches_are_tenths_of_a_mil() -> None:
    (point,) = read_netlist("P  UNITS CUST 0\n" + THROUGH + "999\n", "a.ipc")
    assert (point.x, point.y, point.hole) == pytest.approx((3.81, -5.715, 0.762))


def test_long_names_and_points_of_no_net() -> None:
    aliased = "P  NNAME1 A_VERY_LONG_NAME\n" + HEAD + THROUGH.replace("GND   ", "NNAME1")
    none = THROUGH.replace("GND", "N/C") + THROUGH.replace("D0300P", "D0300U")
    points = read_netlist(aliased + none + "999\n", "a.ipc")
    assert [point.net for point in points] == ["A_VERY_LONG_NAME"]


def test_every_hole_of_a_stator_comes_back() -> None:
    copper = small_stator()
    points = read_netlist(netlist_ipc356(copper, "a"), "a.ipc")
    read = sorted((point.x, point.y) for point in points)
    laid = sorted((1e3 * hole.x, 1e3 * hole.y) for hole in (*copper.vias, *copper.terminals))
    assert np.array(read) == pytest.approx(np.array(laid), abs=0.51e-3)  # the format holds whole micrometres


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (HEAD + THROUGH, "ends with 999"),
        (THROUGH + "999", "must state its unit"),
        (HEAD + THROUGH[:50] + "\n999", "line 2 is no record"),
        (HEAD + THROUGH.replace("+001500", "+00x500") + "999", "line 2 is no record"),
    ],
)
def test_what_is_no_netlist_is_refused(text: str, says: str) -> None:
    with pytest.raises(FilesError, match=says):
        read_netlist(text, "a.ipc")
