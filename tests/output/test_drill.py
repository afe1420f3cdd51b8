"""Drill files, read back by gerbonara."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pcbstator.copper import Via
from pcbstator.errors import OutputError
from pcbstator.output.fabrication.drill import drill_xnc
from tests.output import readback


def test_plated_holes_read_back() -> None:
    copper = readback.small_stator()
    holes = readback.read_holes(drill_xnc(copper, plated=True, title=readback.ODD_TITLE))
    meant = sorted((h.x * 1e3, h.y * 1e3, h.drill * 1e3) for h in (*copper.vias, *copper.terminals))
    assert len(holes) == len(meant) == 9 + 6
    assert np.abs(np.array(sorted(hole[:3] for hole in holes)) - meant).max() <= 0.5e-3 + 1e-9  # whole micrometres
    assert all(plated is True for *_, plated in holes)


def test_unplated_file_is_whole_and_empty() -> None:
    text = drill_xnc(readback.small_stator(), plated=False)
    assert readback.read_holes(text) == []
    assert text.startswith("M48\n") and text.endswith("%\nG05\nM30\n")
    assert "; #@! TF.FileFunction,NonPlated,1,4,NPTH\n;TYPE=NON_PLATED\nMETRIC\n" in text


def test_head_and_tools() -> None:
    """Attributes as comments ``; #@! ``: The Gerber Layer Format Specification, XNC section (from memory)."""
    lines = drill_xnc(readback.small_stator(), plated=True).splitlines()
    assert "; #@! TF.FileFunction,Plated,1,4,PTH" in lines
    tools = lines[lines.index("METRIC") + 1 : lines.index("%")]
    assert tools == [
        "; #@! TA.AperFunction,Plated,PTH,ViaDrill",
        "T01C0.300",
        "; #@! TA.AperFunction,Plated,PTH,ComponentDrill",
        "T02C1.000",
    ]


def test_same_bytes_twice_in_ascii() -> None:
    text = drill_xnc(readback.small_stator(), True, readback.ODD_TITLE)
    assert text == drill_xnc(readback.small_stator(), True, readback.ODD_TITLE)
    assert text.isascii()


def test_a_blind_via_is_refused() -> None:
    copper = replace(readback.small_stator(), interconnect_vias=(Via(0.02, 0.0, 0.3e-3, 0.6e-3, "X", 2, 3),))
    with pytest.raises(OutputError, match="from layer 2 to 3 of 4"):
        drill_xnc(copper, plated=True)
