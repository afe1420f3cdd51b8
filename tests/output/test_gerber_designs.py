"""Files of the real designs: read back, each net is one piece and no two touch."""

from __future__ import annotations

from pathlib import Path

import pytest
import shapely

from pcbstator.copper import Copper, lay_copper
from pcbstator.design import load_design
from pcbstator.output.fabrication.drill import drill_xnc
from pcbstator.output.fabrication.gerber import copper_gerber, legend_gerber
from pcbstator.output.fabrication.netlist import netlist_ipc356
from tests.output import readback

DESIGNS = sorted(Path("designs").glob("*.toml"))
LARGE = "sky-tracker", "photogrammetry-stage"  # read back in the slow run
EVERY = [pytest.param(path, marks=[pytest.mark.slow] if path.stem in LARGE else []) for path in DESIGNS]
NETS = {"open": [{"A"}, {"B"}, {"C"}], "star": [{"STAR"}], "delta": [{"DELTA"}]}


def laid(path: Path, connection: str) -> Copper:
    """The copper of a design with its phases connected as named."""
    return lay_copper(load_design(path).with_values({"winding.connection": connection}))


def test_there_are_designs() -> None:
    assert DESIGNS


@pytest.mark.parametrize("path", EVERY, ids=lambda path: path.stem)
@pytest.mark.parametrize("connection", NETS)
def test_nets_are_one_piece_each_and_never_touch(path: Path, connection: str) -> None:
    """Phases left open are three nets that must stay apart; star and delta are one, and must hang together."""
    copper = laid(path, connection)
    layers = [readback.net_shapes(copper_gerber(copper, layer.number, "t")) for layer in copper.layers]
    holes = [hole[:3] for hole in readback.read_holes(drill_xnc(copper, plated=True))]
    others = [{land.net} for land in copper.non_winding.lands if land.pin and land.part == "RT1"]
    assert sorted(readback.pieces(layers, holes), key=sorted) == sorted(NETS[connection] + others, key=sorted)


@pytest.mark.parametrize("path", EVERY, ids=lambda path: path.stem)
def test_files_of_a_design(path: Path) -> None:
    """Copper area by gerbonara, holes in drill file and netlist, legend off the terminals."""
    from gerbonara.ipc356 import Netlist

    copper = laid(path, "star")
    read = shapely.union_all(readback.read_shapes(copper_gerber(copper, len(copper.layers), "t")))
    lands = [shapely.transform(land.area(), lambda xy: 1e3 * xy) for land in copper.non_winding.lands]
    leads = [shapely.LineString(1e3 * lead.points).buffer(500 * lead.width) for lead in copper.non_winding.tracks]
    meant = shapely.union_all([readback.layer_shape(copper, len(copper.layers)), *lands, *leads])
    assert read.area == pytest.approx(meant.area, rel=1e-4)
    count = len(copper.vias) + len(copper.terminals) + sum(hole.plated for hole in copper.shape.drilled)
    assert len(readback.read_holes(drill_xnc(copper, plated=True))) == count
    unplated = sum(not hole.plated for hole in copper.shape.drilled)
    assert len(readback.read_holes(drill_xnc(copper, plated=False))) == unplated
    records = Netlist.from_string(netlist_ipc356(copper, "t"), "stator.ipc").test_records
    assert len(records) == count + len(copper.non_winding.lands)
    ink = shapely.union_all(readback.read_shapes(legend_gerber(copper, "top", load_design(path).title)))
    for terminal in copper.terminals:
        place = shapely.Point(terminal.x * 1e3, terminal.y * 1e3)
        assert terminal.pad * 500 + 0.2 < ink.distance(place) < terminal.pad * 500 + 2.0
