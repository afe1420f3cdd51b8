"""Opens, shorts, stray copper and holes on small boards whose faults are known."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
import shapely

from pcbstator.findings import Finding
from pcbstator.verify.connected import connected_copper, loops
from pcbstator.verify.nets import net_findings
from pcbstator.verify.records import NetPoint, Pin, WrittenBoard
from tests.verify.boards import BOTTOM, ENDS, PADS, TOP, disc, hole, layer, pair, track

NETLIST = tuple(NetPoint("A" if y == 0 else "B", x, y, None, 0.3) for x, y in ENDS)


def told(board: WrittenBoard) -> list[tuple[str, str | None]]:
    return [(finding.code, finding.where) for finding in net_findings(board)]


def spot(finding: Finding) -> tuple[float, ...]:
    """Layer, x and y of a finding."""
    return tuple(float(number) for number in re.findall(r"-?[\d.]+", str(finding.where)))


def only(board: WrittenBoard) -> Finding:
    (finding,) = net_findings(board)
    return finding


@pytest.mark.parametrize("netlist", [(), NETLIST])
def test_a_good_board_has_no_finding(netlist: tuple[NetPoint, ...]) -> None:
    assert told(pair(netlist=netlist, terminals={"a": (0, 0), "b": (20, 5)})) == []


def test_a_cut_track_is_open_where_it_is_cut() -> None:
    cut = TOP | {"A": [track([(0, 0), (5, 0)]), track([(5.5, 0), (10, 0)]), *PADS[:3]]}
    finding = only(pair(cut))
    assert finding.code == "verify.open"
    assert spot(finding) == pytest.approx((1, 5.25, 0.0), abs=0.02)
    assert finding.value == pytest.approx(0.2, rel=0.05)


def test_the_place_of_a_cut_is_not_the_nearest_gap() -> None:
    """Another part of the net runs closer by than the cut is wide."""
    parts = [track([(0, 0), (5, 0)]), track([(5.6, 0), (10, 0)]), *PADS[:3], track([(0, 0), (0, 0.4), (9, 0.4)])]
    pads = [*ENDS, (9.0, 0.4)]
    board = pair(TOP | {"A": parts})
    top = replace(layer(1, TOP | {"A": parts}, pads))
    finding = only(replace(board, layers=(top, board.layers[1])))
    assert spot(finding) == pytest.approx((1, 5.3, 0.0), abs=0.02)


@pytest.mark.parametrize("named", [True, False])
def test_a_bridge_between_nets_is_a_short_at_its_place(named: bool) -> None:
    bridge = track([(4, 0), (4, 5)], 0.1)
    joined = {"A": [*TOP["A"], bridge], "B": TOP["B"]} if named else TOP | {"": [bridge]}
    found = [finding for finding in net_findings(pair(joined)) if "A and B" in finding.message]
    assert [finding.code for finding in found] == ["verify.short"]
    assert "layer 1, x 4.0" in str(found[0].where) or not named


def test_the_netlist_decides_where_nets_are_one() -> None:
    """Two nets that share a star point are one to a netlist that gives both one name."""
    star = [track([(0, 0), (0, 5)])]
    board = pair({"S": [*TOP["A"], *TOP["B"], *star]}, {"S": [*BOTTOM["A"], *BOTTOM["B"]]})
    assert told(replace(board, netlist=tuple(replace(p, net="S") for p in NETLIST))) == []
    found = net_findings(replace(board, netlist=NETLIST))
    assert [finding.code for finding in found] == ["verify.short"]


def test_without_a_via_the_net_is_open_there() -> None:
    holes = [hole(x, y) for x, y in ENDS if (x, y) != (10.0, 0.0)]
    found = net_findings(pair(holes=holes, netlist=NETLIST))
    assert {finding.code for finding in found} == {"verify.open", "verify.hole"}
    assert {finding.where for finding in found if finding.code == "verify.hole"} == {"x 10.000 mm, y 0.000 mm"}
    found = net_findings(pair(holes=holes))
    assert [(f.code, f.where) for f in found] == [("verify.open", "x 10.000 mm, y 0.000 mm")]


def test_stray_copper_and_copper_without_a_net() -> None:
    board = pair(TOP | {"": [disc(5, 8), disc(5, 0.3)]})
    found = net_findings(board)
    assert [f.code for f in found] == ["verify.stray", "verify.short"]
    assert "no net touches net A" in found[1].message


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (hole(5, 8), "meets no copper on any layer"),
        (hole(5, 0.15), "breaks out of its copper"),
        (hole(5, 0, 0.2, plated=False), "goes through copper"),
        (hole(40, 0), "beyond the board"),
    ],
)
def test_holes_that_miss_their_copper(change: object, words: str) -> None:
    board = pair()
    found = net_findings(replace(board, holes=(*board.holes, change)))  # type: ignore[arg-type]
    assert any(finding.code == "verify.hole" and words in finding.message for finding in found)


def test_an_unplated_hole_parts_the_track_that_it_cuts() -> None:
    board = pair()
    found = net_findings(replace(board, holes=(*board.holes, hole(5, 0, 0.8, plated=False))))
    assert {finding.code for finding in found} == {"verify.hole", "verify.open"}


def test_holes_of_unknown_plating_join_where_they_meet_copper() -> None:
    board = pair(holes=[hole(x, y, plated=None) for x, y in [*ENDS, (24.0, 9.0)]])
    assert told(board) == []


def test_terminals_alone_tell_opens() -> None:
    def bare(board: WrittenBoard) -> WrittenBoard:
        layers = tuple(replace(each, nets={}) for each in board.layers)
        return replace(board, layers=layers, terminals={"P": (0, 0), "Q": (20, 0), "R": (0, 5), "S": (20, 5)})

    assert told(bare(pair())) == []
    cut = TOP | {"A": [track([(0, 0), (5, 0)]), track([(5.5, 0), (10, 0)]), *PADS[:3]]}
    found = net_findings(bare(pair(cut)))
    assert [finding.code for finding in found] == ["verify.open", "verify.open"]
    assert "terminal P" in found[0].message


def test_a_terminal_without_copper_and_one_of_another_name() -> None:
    found = net_findings(pair(terminals={"a": (3, 8)}))
    assert [(f.code, f.where) for f in found] == [("verify.open", "x 3.000 mm, y 8.000 mm")]
    pins = (Pin("J1", "1", "a", 0, 0), Pin("J1", "2", "b", 20, 0))
    found = net_findings(replace(pair(terminals={"a": (20, 0), "b": (0, 0)}), pins=pins))
    assert [finding.code for finding in found] == ["verify.terminal", "verify.terminal"]


def turns(extra: list[shapely.Geometry], width: float = 0.3) -> WrittenBoard:
    """A spiral of three turns on the top between two pads."""
    angle = np.linspace(0, 6 * np.pi, 400)
    radius = 6 - angle * 0.5 / (2 * np.pi)
    points = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    ends = [(float(points[0, 0]), float(points[0, 1])), (float(points[-1, 0]), float(points[-1, 1]))]
    shapes = [track(points.tolist(), width), *(disc(*end) for end in ends), *extra]
    top = layer(1, {"W": shapes}, ends)
    bottom = layer(2, {"W": [disc(*end) for end in ends]}, ends)
    return WrittenBoard("", (top, bottom), tuple(hole(*end) for end in ends), rules={"MinLineWidth": 0.3})


def test_a_bridge_between_turns_of_one_net_is_a_short() -> None:
    assert told(turns([])) == []
    angle = 1.0
    ray = [(r * np.cos(angle), r * np.sin(angle)) for r in (5.9, 5.4)]
    finding = only(turns([track(ray, 0.1)]))
    assert finding.code == "verify.short"
    assert "a bridge of 0.0997 mm shorts tracks of one net" in finding.message
    assert spot(finding) == pytest.approx((1, 5.67 * np.cos(angle), 5.67 * np.sin(angle)), abs=0.05)


def test_loops_are_counted() -> None:
    """One ring on a layer, and one more through two holes."""
    assert loops(connected_copper(turns([]))).tolist() == [0]
    ring = disc(0, 0, 4).difference(disc(0, 0, 3))
    bar = track([(-1.75, 0), (1.75, 0)], 0.3)
    board = WrittenBoard("", (layer(1, {"R": [ring]}), layer(2, {"R": [bar]})), (hole(-1.75, 0), hole(1.75, 0)))
    assert loops(connected_copper(board)).tolist() == [2]


def moved_layer(board: WrittenBoard, matrix: list[list[float]], shift: tuple[float, float]) -> WrittenBoard:
    def move(points: np.ndarray) -> np.ndarray:
        return points @ np.array(matrix).T + np.array(shift)

    below = board.layers[1]
    nets = {name: shapely.transform(area, move) for name, area in below.nets.items()}
    pads = np.column_stack([move(below.pads[:, :2]), below.pads[:, 2]])
    return replace(
        board,
        layers=(board.layers[0], replace(below, copper=shapely.transform(below.copper, move), nets=nets, pads=pads)),
    )


def test_a_layer_that_lies_off_or_mirrored_is_named() -> None:
    odd = [hole(x, y) for x, y in [*ENDS[:-1], (18.0, 5.0)]]
    ends = [(each.path[0, 0], each.path[0, 1]) for each in odd]
    pads = [disc(*end) for end in ends]
    nets = {"A": [track([(0, 0), (20, 0)]), *pads[:3]], "B": [track([(0, 5), (18, 5)]), *pads[3:]]}
    board = replace(pair(holes=odd), layers=(layer(1, nets, ends), layer(2, nets, ends)))
    assert told(board) == []
    shifted = net_findings(moved_layer(board, [[1, 0], [0, 1]], (0.06, 0.08)))
    assert shifted[0].code == "verify.layer"
    assert "layer 2 (copper-2.gbr) lies 0.1 mm off the holes: +0.060 mm in x, +0.080 mm in y" in shifted[0].message
    mirrored = net_findings(moved_layer(board, [[-1, 0], [0, 1]], (20, 0)))
    assert mirrored[0].code == "verify.layer"
    assert "mirrored left to right" in mirrored[0].message
    empty = net_findings(replace(board, layers=(board.layers[0], layer(2, {}))))
    assert "has no copper" in empty[0].message


def test_many_findings_of_a_kind_are_counted() -> None:
    board = pair()
    found = net_findings(replace(board, holes=(*board.holes, *(hole(x, 8) for x in range(20)))))
    assert len(found) == 9
    assert found[-1].message == "13 more of the same kind"  # one says that most of the file's holes meet no copper
