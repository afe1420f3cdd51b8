"""A comparison in words: the verdict, what contradicts itself, every reading beside its prediction."""

from __future__ import annotations

from pcbstator.bench.result import Comparison, Row
from pcbstator.errors import printable
from pcbstator.output.bench_report.logs.words import logs_lines

PREFIXES = ((1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"))
MILLIMETRES = ("gap", "thickness")


def amount(value: float, unit: str, kind: str = "") -> str:
    """A value with its unit, in numbers that people read.

    >>> amount(0.000268, "H"), amount(36.61, "ohm"), amount(0.0008, "m", "gap")
    ('268 µH', '36.6 ohm', '0.8 mm')
    """
    if kind in MILLIMETRES:
        return f"{1e3 * value:.3g} mm"
    scale, prefix = next((each for each in PREFIXES if abs(value) >= each[0]), PREFIXES[-1])
    return f"{value / scale:.4g} {prefix}{unit}" if value / scale >= 1000 else f"{value / scale:.3g} {prefix}{unit}"


def difference(row: Row) -> str:
    """How far the reading is from the prediction: in percent, or how many times where that says more."""
    quotient = row.measured / row.predicted
    return f"{row.percent:+.3g} %" if 0.5 < quotient < 2.0 else f"x {quotient:.3g}"


def row_words(row: Row) -> str:
    """One line: name, measured, predicted, difference in percent and in standard deviations, what is to be said."""
    said = row.slip and f"likely slip, {row.slip}"
    said = said or ("contradicts another reading" if row.doubtful else "far off" if row.far else "")
    whose = f"{row.name}" + (f" (board {row.board}, rotor {row.rotor})" if (row.board, row.rotor) != ("1", "1") else "")
    cells = (
        f"{printable(whose):<28}",
        f"{amount(row.measured, row.unit, row.kind):>12}",
        f"{amount(row.predicted, row.unit, row.kind):>12}",
        f"{difference(row):>11}",
        f"{row.deviation:>+8.2g}",
    )
    return (" ".join(cells) + f"   {said}").rstrip()


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
    for number, cause in enumerate(found.causes):
        also = f"; not told apart from {', '.join(cause.not_told_apart_from)}" if cause.not_told_apart_from else ""
        lines += ["", "causes, by weight of evidence"] if number == 0 else []
        lines += [f"  {cause.name:<28}{cause.evidence:>8.3g}   {printable(cause.words)}{also}"]
    if found.next:
        lines += ["", f"next: {printable(found.next)}"]
    if found.logs is not None:
        lines += [*([""] if found.rows else []), *logs_lines(found.logs)]
    if found.remarks:
        lines += ["", *map(printable, found.remarks)]
    if found.rows:
        lines += ["", "sigma: difference in standard deviations of reading and of what the tolerances allow, together"]
    return "\n".join(lines) + "\n"
