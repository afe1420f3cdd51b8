"""The IPC-D-356A netlist, read back by gerbonara."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pcbstator.copper import Copper, Terminal
from pcbstator.errors import OutputError
from pcbstator.output.fabrication.netlist import net_aliases, netlist_ipc356
from tests.output import readback


def read(text: str):  # type: ignore[no-untyped-def]
    """gerbonara's netlist."""
    from gerbonara.ipc356 import Netlist

    return Netlist.from_string(text, "stator.ipc")


def renamed(copper: Copper, nets: tuple[str, str, str]) -> Copper:
    """``copper`` with other net names."""
    names = dict(zip(copper.coil_nets, nets, strict=True))
    terminals = tuple(Terminal(t.name, t.x, t.y, t.drill, t.pad, t.layer, names[t.net]) for t in copper.terminals)
    return replace(copper, coil_nets=nets, terminals=terminals)


def test_holes_read_back() -> None:
    copper = readback.small_stator()
    netlist = read(netlist_ipc356(copper, "Scan stage"))
    found = sorted(
        (r.net_name, round(r.x, 3), round(r.y, 3), r.hole_dia, r.w, r.h, r.is_via) for r in netlist.test_records
    )
    meant = [(v.net, round(v.x * 1e3, 3), round(v.y * 1e3, 3), 0.3, 0.6, 0.6, True) for v in copper.vias]
    meant += [(t.net, round(t.x * 1e3, 3), round(t.y * 1e3, 3), 1.0, 1.6, 1.6, False) for t in copper.terminals]
    assert found == sorted(meant)
    assert all(r.is_plated and r.access_layer == 0 and r.pad_type.name == "THROUGH_HOLE" for r in netlist.test_records)
    assert {r.solder_mask.name for r in netlist.test_records if r.is_via} == {"BOTH"}
    assert [r.pin for r in netlist.test_records if not r.is_via] == ["1", "2", "3", "4", "5", "6"]
    assert netlist.params["JOB"] == "Scan stage"


@pytest.mark.parametrize("title", ["Scan stage", readback.ODD_TITLE, "", "x" * 300])
def test_records_are_eighty_columns_of_ascii(title: str) -> None:
    text = netlist_ipc356(readback.small_stator(), title)
    assert text.isascii()
    lines = text.splitlines()
    assert {len(line) for line in lines} == {80}
    assert lines[-1].rstrip() == "999"
    assert text == netlist_ipc356(readback.small_stator(), title)
    assert len(read(text).test_records) == 15


def test_columns() -> None:
    """One record column by column (IPC-D-356A, from memory; columns count from 1)."""
    line = next(x for x in netlist_ipc356(readback.small_stator(), "t").splitlines() if "J1    -2" in x)
    columns = {
        (1, 3): "317",
        (4, 17): "PHASE_A       ",
        (21, 26): "J1    ",
        (27, 27): "-",
        (28, 31): "2   ",
        (32, 32): " ",
        (33, 37): "D1000",
        (38, 38): "P",
        (39, 41): "A00",
        (42, 49): "X+039093",
        (50, 57): "Y-005250",
        (58, 62): "X1600",
        (63, 67): "Y1600",
        (68, 71): "R000",
        (73, 74): "S0",
    }
    assert {key: line[key[0] - 1 : key[1]] for key in columns} == columns


def test_long_and_odd_net_names() -> None:
    nets = ("PHASE_A_OF_THE_FIRST_PATH", "PHASE_A_OF_THE_OTHER_PATH", "NNAME1")
    netlist = read(netlist_ipc356(renamed(readback.small_stator(), nets), "t"))
    assert netlist.net_names() == set(nets)
    aliases = net_aliases(["A", "ü", "two words", "N/C", ""])
    assert aliases["A"] == "A"
    assert len(set(aliases.values())) == 5
    assert all(name.startswith("NNAME") for net, name in aliases.items() if net != "A")


def test_what_the_format_cannot_hold() -> None:
    copper = readback.small_stator()
    first = copper.terminals[0]
    for x, pad in ((1.2, first.pad), (first.x, 10e-3)):
        terminal = Terminal(first.name, x, first.y, first.drill, pad, first.layer, first.net)
        with pytest.raises(OutputError, match="no place in a netlist"):
            netlist_ipc356(replace(copper, terminals=(terminal,)), "t")
