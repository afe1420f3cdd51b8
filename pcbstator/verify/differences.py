"""Where the files differ from what was predicted: resistance, linkage, order and sense of phases, pieces unlike others.

Notes up to two percent, where the laws of the prediction themselves are simple; warnings beyond, errors from five on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import degrees

import numpy as np

from pcbstator.findings import Finding, Severity
from pcbstator.verify.conduction.sheet import SheetNetwork
from pcbstator.verify.solution import PlacedSolution, Solution
from pcbstator.verify.wording import place, written

CODE = "verify.differs"
TOLD, WARNED, WRONG = 0.01, 0.02, 0.05
SQUARES = 4.0  # of copper: what a few bends and holes that the laws count roughly may make
ANGLE = 5.0  # electrical degrees that a phase may be off
AGAINST = 0.25  # of the largest share of a piece in the linkage: one that works against its phase by so much is named
ONE_COIL = 6.0  # mm; pieces on several layers so near each other are one coil
FARTHER = 2.0  # mm; from the axis, between pieces that are not alike
MOST = 4  # places that are named
FEW = 6  # contacts of a piece that is held against others
Piece = tuple[float, float, float]  # middle [mm] and resistance [ohm]


def difference_findings(found: Solution) -> list[Finding]:
    """All differences between what the files say and what was predicted."""
    missing = sorted({part.board for part in found.known.placed} - set(found.boards))
    findings = [
        written("verify.file", f"the folder has no files of the board {name or 'itself'}", name or None)
        for name in missing
    ]
    findings += [
        written("verify.open", f"no copper joins the terminals {a} and {b}", f"terminals {a} and {b}")
        for a, b in found.apart
    ]
    return findings + _resistances(found) + _linkages(found)


def severity(part: float) -> Severity:
    """How bad a relative difference is.

    >>> [severity(part) for part in (0.015, -0.03, 0.2)]
    ['note', 'warning', 'error']
    """
    return "error" if abs(part) > WRONG else "warning" if abs(part) > WARNED else "note"


def _resistances(found: Solution) -> list[Finding]:
    """One finding for all pairs of terminals whose resistance differs."""
    parts = {
        pair: found.resistances[pair] / expected - 1.0
        for pair, expected in found.known.expected.resistances.items()
        if pair in found.resistances and expected > 0.0
    }
    squares = max((build.resistivity / min(build.thicknesses) for build in found.known.builds.values()), default=0.0)
    little = {pair: SQUARES * squares / found.known.expected.resistances[pair] for pair in parts}
    off = {pair: part for pair, part in parts.items() if abs(part) > max(TOLD, little[pair])}
    if not off:
        return []
    worst = max(off, key=lambda pair: abs(off[pair]))
    told = ", ".join(f"{a}-{b} {100 * part:+.1f} %" for (a, b), part in list(off.items())[:MOST])
    more = f" and {len(off) - MOST} more pairs" if len(off) > MOST else ""
    where = "; ".join(unlike_pieces(found)[:MOST])
    unlike = f"; unlike others: {where}" if where else "; pieces that should be alike are alike"
    words = f"the resistance of the files differs from the prediction: {told}{more}{unlike}"
    return [Finding(CODE, severity(off[worst]), words, round(100 * off[worst], 2), 100 * TOLD, where or None)]


def _linkages(found: Solution) -> list[Finding]:
    """Magnitude, order and sense of the phases."""
    expected = found.known.expected.linkages
    if found.linkages is None or not expected:
        return []
    linkages = dict(zip(found.states, found.linkages[:, 0].tolist(), strict=True))
    findings = [*_order(linkages, expected), *_against(found)]
    parts = {name: abs(value) / abs(expected[name]) - 1.0 for name, value in linkages.items() if name in expected}
    off = {name: part for name, part in parts.items() if abs(part) > TOLD}
    if off:
        worst = max(off.values(), key=abs)
        told = ", ".join(f"{name} {100 * part:+.1f} %" for name, part in off.items())
        words = f"the flux linkage of the files differs from the prediction: phase {told}"
        findings.append(Finding(CODE, severity(worst), words, round(100 * worst, 2), 100 * TOLD, f"phase {min(off)}"))
    return findings


def _order(linkages: Mapping[str, complex], expected: Mapping[str, complex]) -> Iterator[Finding]:
    """Phases whose EMF comes at the time of another one's, or the other way round."""
    for name, value in linkages.items():
        if name not in expected or not value:
            continue
        off = {
            (other, sense): abs(degrees(float(np.angle(value / (sense * each)))))
            for other, each in expected.items()
            for sense in (1, -1)
        }
        other, sense = min(off, key=lambda key: (round(off[key]), key != (name, 1)))
        angle = degrees(float(np.angle(value / expected[name])))
        if (other, sense) == (name, 1) and off[name, 1] < ANGLE:
            continue
        if off[other, sense] > ANGLE:
            words = f"the EMF of phase {name} comes {angle:+.1f} electrical degrees off what was predicted"
        elif other == name:
            words = f"phase {name} is reversed: its EMF has the other sign"
        else:
            reverse = " with the other sign" if sense < 0 else ""
            words = f"phase {name} has the EMF of phase {other}{reverse}: the phases are exchanged"
        yield Finding(CODE, "error", words, round(angle, 1), ANGLE, f"phase {name}")


def _against(found: Solution) -> Iterator[Finding]:
    """Coils that work against their phase: one finding for each, with its layers."""
    assert found.linkages is not None
    for part in found.placed:
        coils: list[tuple[float, float, set[int], str]] = []
        for index, state, x, y in _opposing(found, part):
            near = [coil for coil in coils if coil[3] == state and np.hypot(x - coil[0], y - coil[1]) < ONE_COIL]
            if near:
                near[0][2].add(index)
            else:
                coils.append((x, y, {index}, state))
        for x, y, layers, state in coils:
            on = ", ".join(map(str, sorted(layers)))
            words = f"copper at {place(x, y)} works against its phase {state} on layer {on}: a coil is reversed"
            yield written(CODE, words, _where(part, place(x, y)))


def _opposing(found: Solution, part: PlacedSolution) -> Iterator[tuple[int, str, float, float]]:
    """Layer, phase and place of pieces that work against their phase."""
    assert found.linkages is not None
    expected = found.known.expected.linkages
    toward = [expected.get(name, own) for name, own in zip(found.states, found.linkages[:, 0].tolist(), strict=True)]
    unit = np.conj(np.array(toward) / np.abs(toward))
    # A phase that is reversed or exchanged as a whole is told as such; its coils are held against itself then.
    own = found.linkages[:, 0] * unit
    unit = np.where(own.real < 0.5 * np.abs(own), np.conj(found.linkages[:, 0]) / np.abs(found.linkages[:, 0]), unit)
    shares = [(piece.each[:, :, 0] * unit).real for piece in part.pieces]
    largest = max((float(np.abs(share).max()) for share in shares if share.size), default=0.0)
    for index, share in enumerate(shares, 1):
        for number in np.flatnonzero((share < -AGAINST * largest).any(axis=1)).tolist():
            state = int(np.argmin(share[number]))
            x, y = part.pieces[index - 1].places[number].tolist()
            yield index, found.states[state], x, y


def unlike_pieces(found: Solution) -> list[str]:
    """Places of pieces between a few holes whose resistance is unlike that of most others that lie as far from the axis
    on their layer, first what makes the largest difference in ohms.
    """
    told: list[tuple[float, str]] = []
    for name, network in found.boards.items():
        for index, sheet in enumerate(network.sheets, 1):
            ended = [(*_middle(sheet, piece), resistance) for piece, resistance in _resistances_of(sheet)]
            for members in _as_far_out(ended):
                resistances = np.array([resistance for _, _, resistance in members])
                parts = resistances / np.median(resistances) - 1.0
                if len(members) < 3 or np.median(np.abs(parts)) > TOLD:
                    continue
                for (x, y, resistance), part in zip(members, parts.tolist(), strict=True):
                    if abs(part) > TOLD:
                        folder = f"{name}: " if name else ""
                        told.append((-abs(part) * resistance, f"{folder}{place(x, y, index)} ({100 * part:+.1f} %)"))
    return [words for _, words in sorted(told)]


def _as_far_out(pieces: list[Piece]) -> Iterator[list[Piece]]:
    """Pieces in groups whose middles lie about as far from the axis."""
    group: list[Piece] = []
    for piece in sorted(pieces, key=lambda each: np.hypot(each[0], each[1])):
        if group and np.hypot(piece[0], piece[1]) - np.hypot(group[-1][0], group[-1][1]) > FARTHER:
            yield group
            group = []
        group.append(piece)
    if group:
        yield group


def _middle(sheet: SheetNetwork, piece: int) -> tuple[float, float]:
    """Middle of a piece [mm]."""
    mesh = sheet.elements.mesh
    own = sheet.piece[mesh.corners[:, 0]] == piece
    x, y = np.average(mesh.points[mesh.corners[own]].mean(axis=1), axis=0, weights=mesh.areas[own]).tolist()
    return x, y


def _resistances_of(sheet: SheetNetwork) -> Iterator[tuple[int, float]]:
    """Number of every piece with a few contacts, and the resistance [ohm] between those farthest from each other."""
    for pieces in sheet.solved:
        if pieces.contacts.shape[1] > FEW:
            continue
        number = np.zeros(len(pieces.contacts), np.int64)
        number[pieces.row] = sheet.piece[pieces.nodes]
        inverse = np.linalg.pinv(pieces.conductances)
        own = np.diagonal(inverse, axis1=1, axis2=2)
        between = own[:, :, None] + own[:, None, :] - inverse - inverse.swapaxes(1, 2)
        yield from zip(number.tolist(), between.max(axis=(1, 2)).tolist(), strict=True)


def _where(part: PlacedSolution, spot: str) -> str:
    return f"{part.placed.board}: {spot}" if part.placed.board else spot
