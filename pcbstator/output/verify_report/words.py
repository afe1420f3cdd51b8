"""A verification in words: the verdict, what differs, resistance and torque beside the prediction."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees
from typing import NamedTuple

import numpy as np

from pcbstator.errors import printable
from pcbstator.output.words import figures, measure
from pcbstator.verify.solution import Solution
from pcbstator.verify.verified import Verification, hot_rows, loose_loss

LITTLE = 1e-3  # W; eddies that nobody would notice
MOST_NETS = 8  # that are told one by one


class Compared(NamedTuple):
    """A value from the files beside the predicted one, with their difference; in words, empty where unknown."""

    name: str
    found: str
    predicted: str
    difference: str


def verdict(found: Verification) -> str:
    """The answer in one line."""
    counts = {
        severity: sum(finding.severity == severity for finding in found.findings) for severity in ("error", "warning")
    }
    if counts["error"]:
        return f"not as designed: {_count(counts['error'], 'error')}"
    if counts["warning"]:
        return f"no errors, {_count(counts['warning'], 'warning')}"
    if any(finding.code == "verify.differs" for finding in found.findings):
        return "no errors; some values are more than 1 % off the prediction"
    return "the files are whole" if found.solution is None else "the files are as predicted"


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def resistance_rows(found: Solution) -> list[Compared]:
    """Resistance between terminals."""
    rows = []
    for (a, b), value in found.resistances.items():
        predicted = found.known.expected.resistances.get((a, b))
        rows.append(_compared(f"resistance {a}-{b}", value, predicted, "Ω", 4))
    return rows


def torque_rows(found: Solution) -> list[Compared]:
    """Linkage of every phase with its angle after phase A, and the torque constant."""
    if found.linkages is None or found.torque_constant is None:
        return []
    expected, rows = found.known.expected, []
    for name, value in zip(found.states, found.linkages[:, 0].tolist(), strict=True):
        predicted = expected.linkages.get(name)
        row = _compared(f"flux linkage {name}", abs(value), None if predicted is None else abs(predicted), "Wb", 4)
        rows.append(row)
        rows.append(Compared(f"  electrical angle {name}", *_angles(found, value, predicted)))
    rows.append(_compared("torque constant", found.torque_constant, expected.torque_constant, "N·m/A", 4))
    return rows


def _angles(found: Solution, value: complex, predicted: complex | None) -> tuple[str, str, str]:
    """Electrical angle of a phase's linkage, as found and as predicted, and their difference."""
    shown = [f"{degrees(float(np.angle(each))) % 360.0:.1f}°" for each in (value, predicted) if each is not None]
    if predicted is None:
        return shown[0], "", ""
    return shown[0], shown[1], f"{degrees(float(np.angle(value / predicted))):+z.1f}°"


def _compared(name: str, value: float, predicted: float | None, unit: str, digits: int) -> Compared:
    if predicted is None:
        return Compared(name, measure(value, unit, digits), "", "")
    part = 100 * (value / predicted - 1)
    return Compared(name, measure(value, unit, digits), measure(predicted, unit, digits), f"{part:+z.2f} %")


def heat_lines(found: Solution) -> Iterator[str]:
    """The hottest narrow place with what standards allow, the vias, and copper that is not winding."""
    rows = hot_rows(found)
    if rows:
        hot = rows[0]
        yield (
            f"hottest narrow place: layer {hot['layer']}, x {hot['x_mm']:.3f} mm, y {hot['y_mm']:.3f} mm, "
            f"{hot['width_mm']:.3g} mm wide, {figures(hot['current_rms_a'])} A there at 1 A rms in every phase"
        )
        places = [place for part in found.placed for place in part.hot]
        allowed = [
            f"{figures(min(values))} A by {name}"
            for name, key in (("IPC-2221", "ipc2221"), ("IPC-2152", "ipc2152"))
            if (values := [value for place in places if (value := getattr(place, key)) is not None])
        ]
        if allowed:
            yield f"  rms phase current for {found.known.rise:g} K there, one isolated trace: {', '.join(allowed)}"
    vias = [via for part in found.placed for via in part.vias]
    if vias:
        most = max(vias, key=lambda via: via.current)
        yield (
            f"vias: at most {figures(most.current)} A in one at 1 A rms in every phase, "
            f"at x {most.x:.3f} mm, y {most.y:.3f} mm"
        )
    loose = [piece for part in found.placed for piece in part.loose]
    if loose and found.known.speed > 0:
        speed, worst = found.known.speed, max(loose, key=lambda piece: piece.loss)
        loss = loose_loss(found) * speed
        told = "none to speak of"
        if loss * speed > LITTLE:
            told = (
                f"{measure(loss * speed, 'W', 2)} and {measure(loss, 'N·m', 2)} of drag, "
                f"most on layer {worst.layer} at x {worst.x:.1f} mm, y {worst.y:.1f} mm"
            )
        yield f"eddies in {len(loose)} pieces of copper that is not winding, at {speed * 30 / np.pi:.0f} rpm: {told}"


def verification_text(found: Verification) -> str:
    """The whole verification for a terminal."""
    lines = [f"{printable(found.folder)}: {verdict(found)}", ""]
    if found.findings:
        lines += [f"{finding.label}: {printable(finding.message)}  [{finding.code}]" for finding in found.findings]
        lines += [""]
    for board in found.boards:
        nets = [net for net in found.nets if net.board == board.name]
        whole = sum(net.pieces == 1 for net in nets)
        name = printable(board.name) or "board"
        counts = (_count(len(board.layers), "layer"), _count(len(board.holes), "hole"), _count(len(nets), "net"))
        lines.append(f"{name}: {', '.join(counts)}, {whole} whole")
        lines += [f"  net {printable(net.name)}: {net.pieces} pieces" for net in nets if net.pieces != 1][:MOST_NETS]
    if found.solution is not None:
        rows = resistance_rows(found.solution) + torque_rows(found.solution)
        if rows:
            lines += ["", f"{'':<24}{'files':>14}{'prediction':>14}{'difference':>12}"]
            lines += [f"{row.name:<24}{row.found:>14}{row.predicted:>14}{row.difference:>12}" for row in rows]
        lines += ["", *heat_lines(found.solution)]
    lines += [f"left out: {words}" for words in found.words]
    return "\n".join(lines).rstrip() + "\n"
