"""A comparison in words: the verdict, what contradicts itself, every reading beside its prediction."""

from __future__ import annotations

from pcbstator.bench.amounts import amount
from pcbstator.bench.result import Cause, Comparison, Row
from pcbstator.errors import printable
from pcbstator.output.bench_report.built.words import built_lines
from pcbstator.output.bench_report.logs.words import logs_lines


def difference(row: Row) -> str:
    """How far the reading is from the prediction: in percent, or how many times where that says more."""
    quotient = row.measured / row.predicted
    return f"{row.percent:+.1f} %" if 0.5 < quotient < 2.0 else f"x {quotient:.3g}"


def remark_on(row: Row) -> str:
    """What is to be said about a reading, if anything."""
    if row.slip:
        return f"likely slip, {row.slip}"
    return "contradicts another reading" if row.doubtful else "far off" if row.far else ""


def row_words(row: Row) -> str:
    """One line: name, measured, predicted, difference in percent and in standard deviations, what is to be said."""
    whose = f"{row.name}" + (f" (board {row.board}, rotor {row.rotor})" if (row.board, row.rotor) != ("1", "1") else "")
    cells = (
        f"{printable(whose):<28}",
        f"{amount(row.measured, row.unit, row.kind):>12}",
        f"{amount(row.predicted, row.unit, row.kind):>12}",
        f"{difference(row):>11}",
        f"{row.deviation:>+8.1f}",
    )
    return (" ".join(cells) + f"   {remark_on(row)}").rstrip()


def _worse(first: Cause, other: Cause) -> str:
    """How many times worse than the first one it explains the readings."""
    return f"{float(f'{10 ** (first.evidence - other.evidence):.1g}'):g} times worse than the first"


def cause_groups(found: Comparison) -> list[tuple[str, list[tuple[Cause, str]]]]:
    """Causes under their headings, each with how well it explains the readings: of each motor those that lead, then
    those that are less likely, which are held against the first.
    """
    groups = []
    for motor in dict.fromkeys(cause.motor for cause in found.causes):
        own = [cause for cause in found.causes if cause.motor == motor]
        tie = [cause for cause in own if cause is own[0] or cause.name in own[0].not_told_apart_from]
        rest = [cause for cause in own if cause not in tie]
        head = "what it may be; these readings cannot tell them apart" if len(tie) > 1 else "what it most likely is"
        of = f"{motor}: " if motor else ""
        groups.append((of + head, [(cause, f"better by {cause.better}") for cause in tie]))
        if rest:
            groups.append((of + "less likely", [(cause, _worse(own[0], cause)) for cause in rest]))
    return groups


HIDDEN = "not told from a motor within its tolerances by these readings, if it were there"


def hidden_words(found: Comparison) -> list[str]:
    """Faults that the readings would not show, where they show none."""
    return [] if found.causes else [str(each["words"]) for each in found.extra.get("not_shown", [])]


def comparison_text(found: Comparison) -> str:
    """The whole comparison for a terminal."""
    lines = [f"{printable(found.title)}  ({printable(found.design_file)}, {printable(found.bench_file)})", ""]
    lines += [printable(found.verdict), ""]
    if found.contradictions:
        lines += ["readings that contradict each other: take them again before looking for a fault of the motor"]
        lines += [
            f"  {printable(each.words)} ({abs(each.sigma):.1f} standard deviations)" for each in found.contradictions
        ]
        lines += [""]
    if found.rows:
        lines += [f"{'reading':<28} {'measured':>12} {'predicted':>12} {'difference':>11} {'sigma':>8}"]
        lines += [row_words(row) for row in found.rows]
    for heading, causes in cause_groups(found):
        lines += ["", printable(heading)]
        lines += [f"  {cause.name:<22} {how:>32}   {printable(cause.words)}" for cause, how in causes]
    if found.causes:
        lines += ["", "better: than a motor within its tolerances explains the readings"]
    if found.next:
        lines += ["", f"next: {printable(found.next)}"]
    hidden = hidden_words(found)
    if hidden:
        lines += ["", f"{HIDDEN}:", *(f"  {printable(each)}" for each in hidden)]
    lines += built_lines(found)
    if found.logs is not None:
        lines += [*([""] if found.rows else []), *logs_lines(found.logs)]
    if found.remarks:
        lines += ["", *map(printable, found.remarks)]
    if found.rows:
        lines += ["", "sigma: difference in standard deviations of reading and of what the tolerances allow, together"]
    return "\n".join(lines) + "\n"
