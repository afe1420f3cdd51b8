"""The whole check of written boards: nets, spacing, resistance, torque, and what differs from the prediction."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pcbstator.errors import FilesError
from pcbstator.findings import Finding
from pcbstator.verify.connected import ConnectedCopper, connected_copper
from pcbstator.verify.differences import difference_findings
from pcbstator.verify.known import Known
from pcbstator.verify.names import attribute_names, netlist_names, terminal_names
from pcbstator.verify.nets import net_findings
from pcbstator.verify.placement import placed
from pcbstator.verify.records import WrittenBoard
from pcbstator.verify.solution import Solution, solved_boards
from pcbstator.verify.spacing import SpacingRules, rules_of_job, spacing_findings

ORDER = {"error": 0, "warning": 1, "note": 2}


@dataclass(frozen=True)
class WrittenNet:
    """A net of a board and how many pieces of joined copper carry its name: one, if it is sound."""

    board: str
    name: str
    pieces: int


@dataclass(frozen=True, eq=False)
class Verification:
    """What the files of a folder say by themselves, beside what was predicted. known: None without a design."""

    folder: str
    boards: tuple[WrittenBoard, ...]
    nets: tuple[WrittenNet, ...]
    solution: Solution | None
    findings: tuple[Finding, ...]
    words: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        """Whether there is no error."""
        return all(finding.severity != "error" for finding in self.findings)

    def to_dict(self) -> dict[str, Any]:
        """The object of ``verify --json``; what does not apply is left out."""
        found: dict[str, Any] = {
            "folder": self.folder,
            "boards": [
                {"name": board.name, "layers": len(board.layers), "holes": len(board.holes)} for board in self.boards
            ],
            "nets": [
                {"name": net.name, "pieces": net.pieces} | ({"board": net.board} if net.board else {})
                for net in self.nets
            ],
        }
        if self.solution is not None:
            found |= solution_dict(self.solution)
        found["left_out"] = list(self.words)
        found["findings"] = [finding.to_dict() for finding in self.findings]
        return found


def verified(folder: str, boards: Sequence[WrittenBoard], known: Known | None, solve: bool = True) -> Verification:
    """All checks of the boards of a folder; solve: resistances and torque too, else nets and distances only."""
    findings: list[Finding] = []
    nets: list[WrittenNet] = []
    words = ["no design: thicknesses and magnets are unknown, so only nets and distances are looked at"]
    if known is not None:
        words = list(known.words)
        boards = [_placed(board, known, words, findings) for board in boards]
    for board in boards:
        copper = connected_copper(board)
        nets += _nets(board, copper)
        own = [*net_findings(board, copper), *spacing_findings(board, _rules(board, known), copper)]
        findings += _of_board(board, own)
    solution, every = None, tuple(boards)
    if known is not None and solve:
        boards = [board for board in boards if _has_its_layers(board, known, findings)]
        solution = solved_boards(boards, known)
        findings += difference_findings(solution)
    findings.sort(key=lambda finding: ORDER[finding.severity])
    return Verification(folder, every, tuple(nets), solution, tuple(findings), tuple(words))


def _has_its_layers(board: WrittenBoard, known: Known, findings: list[Finding]) -> bool:
    """Whether a board has as many layers as the design's; else it cannot be solved, and a finding says so."""
    build = known.builds.get(board.name)
    if build is None or len(build.thicknesses) == len(board.layers):
        return True
    words = f"the files have {len(board.layers)} layers of copper and the design {len(build.thicknesses)}: not solved"
    findings += _of_board(board, [Finding("verify.layer", "error", words)])
    return False


def _placed(board: WrittenBoard, known: Known, words: list[str], findings: list[Finding]) -> WrittenBoard:
    """The board where the design has it, as its terminals tell; what was undone goes into the words."""
    terminals = known.terminals.get(board.name, {})
    if not terminals:
        return board
    try:
        moved, placement = placed(board, terminals)
    except FilesError as reason:
        findings += _of_board(board, [Finding("verify.terminal", "error", str(reason))])
        return board
    if not placement.unmoved:
        name = f"{board.name}: " if board.name else ""
        words.append(
            f"{name}the files lie elsewhere than the design, and places are told as the design has them: "
            f"{placement.words()}"
        )
    return moved


def _rules(board: WrittenBoard, known: Known | None) -> SpacingRules:
    """The rules that are known, else those of the job file."""
    stated = known.rules.get(board.name) if known is not None else None
    return stated or rules_of_job(board.rules)


def _nets(board: WrittenBoard, copper: ConnectedCopper) -> list[WrittenNet]:
    """The nets by the first source that names any: attributes, netlist, terminals."""
    for names in (
        attribute_names(board, copper), netlist_names(board, copper), terminal_names(board.terminals, copper),
    ):  # fmt: skip
        if names.named:
            return [WrittenNet(board.name, name, len(groups)) for name, groups in sorted(names.groups().items())]
    return []


def _of_board(board: WrittenBoard, findings: Iterable[Finding]) -> list[Finding]:
    """Findings with the board named, where the folder holds several."""
    if not board.name:
        return list(findings)
    return [
        replace(
            finding,
            message=f"{board.name}: {finding.message}",
            where=board.name if finding.where is None else f"{board.name}, {finding.where}",
        )
        for finding in findings
    ]


def solution_dict(found: Solution) -> dict[str, Any]:
    """Results as plain values with their units in the keys, what was predicted beside them."""
    expected = found.known.expected
    plain: dict[str, Any] = {"line_resistances_ohm": {a + b: value for (a, b), value in found.resistances.items()}}
    predicted: dict[str, Any] = {
        "line_resistances_ohm": {a + b: value for (a, b), value in expected.resistances.items()}
    }
    if found.flux_linkage is not None and found.torque_constant is not None:
        plain |= {"flux_linkage_peak_wb": found.flux_linkage, "torque_constant_n_m_per_a": found.torque_constant}
        plain["phases"] = phase_rows(found)
    if expected.torque_constant is not None:
        values = [abs(value) for value in expected.linkages.values()]
        predicted["flux_linkage_peak_wb"] = sum(values) / len(values)
        predicted["torque_constant_n_m_per_a"] = expected.torque_constant
    if predicted["line_resistances_ohm"]:
        plain["predicted"] = predicted
    hot = [place for part in found.placed for place in part.hot]
    if hot:
        plain["hot_places"] = hot_rows(found)
        plain["largest_via_current_rms_a"] = max(
            (via.current for part in found.placed for via in part.vias), default=0.0
        )
        for key in ("ipc2221", "ipc2152"):
            allowed = [value for place in hot if (value := getattr(place, key)) is not None]
            if allowed:
                plain[f"{key}_phase_current_rms_a"] = min(allowed)
    if any(part.loose for part in found.placed) and found.known.magnets is not None:
        loss = loose_loss(found)
        plain["other_copper_loss_w"], plain["other_copper_drag_n_m"] = (
            loss * found.known.speed**2,
            loss * found.known.speed,
        )
    return plain


def loose_loss(found: Solution) -> float:
    """Eddy loss of all copper that carries no current of the drive, at one radian per second [W s2]."""
    return sum(piece.loss for part in found.placed for piece in part.loose)


def phase_rows(found: Solution) -> list[dict[str, Any]]:
    """Linkage of every phase, with its electrical angle against phase A."""
    if found.linkages is None:
        return []
    first = found.linkages[0, 0]
    return [
        {
            "name": name,
            "flux_linkage_peak_wb": float(abs(value)),
            "electrical_angle_deg": float(np.degrees(np.angle(value / first)).round(3)),
        }
        for name, value in zip(found.states, found.linkages[:, 0], strict=True)
    ]


def hot_rows(found: Solution) -> list[dict[str, Any]]:
    """The narrow places as plain values, hottest first."""
    rows = []
    for part in found.placed:
        for place in part.hot:
            row: dict[str, Any] = {"board": part.placed.board} if part.placed.board else {}
            row |= {
                "layer": place.layer,
                "x_mm": round(place.x, 3),
                "y_mm": round(place.y, 3),
                "width_mm": round(1e3 * place.width, 4),
                "current_rms_a": place.current,
                "loss_w_per_m2": place.loss_density,
            }
            rows.append(row)
    return sorted(rows, key=lambda row: -row["loss_w_per_m2"])
