"""The requirement and what is predicted for it: lines for a terminal, and a table for a page."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

from pcbstator.findings import Verdict
from pcbstator.output.words import figures, unbroken

NAMES = {
    "position_error_deg": "Error at rest, anywhere, from either side",
    "repeatability_deg": "Spread of stops at one place, from one side",
    "direction_offset_deg": "Offset between the two sides",
    "settling_time_s": "Settling time",
    "slow_speed_rpm": "Slow speed",
    "speed_ripple_percent": "Ripple of the slow speed",
    "smallest_step_deg": "Smallest step, in one direction",
    "step_error_percent": "Error of the smallest step, in one direction",
    "move_time_s": "Time of a move",
    "torque_reserve_percent": "Torque in reserve",
    "board_temperature_c": "Hottest place of the board",
    "touch_temperature_c": "Hottest face that a hand reaches",
    "supply_current_a": "Current from the supply",
    "price": "Price",
    "push_deg": "Push by hand that is told",
}
UNITS = {"deg": "°", "s": " s", "rpm": " rpm", "percent": " %", "c": " °C", "a": " A"}
COLUMNS = ("verdict", "requirement", "limit", "predicted")
STYLE = """
.verdict { border-collapse: collapse; width: 100%; }
.verdict th, .verdict td { text-align: left; vertical-align: top; padding: .2rem .8rem .2rem 0;
  border-bottom: 1px solid #ccc; font-weight: normal; width: auto; font-size: .9rem; line-height: 1.35; }
.verdict thead th { font-size: .8rem; color: #444; }
.verdict .said, .verdict td[data-label] { white-space: nowrap; }
.verdict .said { font-weight: bold; }
.verdict .met .said { color: #1c6b2a; }
.verdict .not-met .said { color: #a3161a; }
.verdict .why { display: block; font-size: .8rem; line-height: 1.3; color: #444; }
@media screen and (max-width: 46rem) {
  .verdict thead { display: none; }
  .verdict tr { display: block; border-bottom: 2px solid #ccc; padding: .3rem 0; }
  .verdict th, .verdict td { display: block; border: 0; padding: .1rem 0; }
  .verdict td:empty { display: none; }
  .verdict td[data-label]::before { content: attr(data-label) ": "; color: #444; }
}
""".strip()


@dataclass(frozen=True)
class VerdictRow:
    """A requirement in words."""

    requirement: str
    limit: str
    predicted: str
    margin: str
    verdict: str
    decided_by: str
    way_out: str

    @property
    def reasons(self) -> list[tuple[str, str]]:
        """What decides it and the way out, each with its name, where there is one."""
        said = (("decided by" if self.predicted else "because", self.decided_by), ("way out", self.way_out))
        return [(name, words) for name, words in said if words]


def verdict_rows(found: Iterable[Verdict]) -> list[VerdictRow]:
    """The rows of the table."""
    return [_row(one) for one in found]


def _row(one: Verdict) -> VerdictRow:
    unit = UNITS.get(one.name.rpartition("_")[2], "")
    margin = ""
    if one.value is not None:
        left = one.limit - one.value if one.most else one.value - one.limit
        side = "to spare" if left >= 0 else "too much" if one.most else "too little"
        forbidden = left >= 0 and one.verdict == "not met"  # by something else: nothing is to spare then
        margin = "" if forbidden else f"{figures(abs(left), 2)}{' points' if unit == ' %' else unit} {side}"
    return VerdictRow(
        requirement=NAMES.get(one.name, one.name),
        limit=f"{'≤' if one.most else '≥'} {figures(one.limit)}{unit}",
        predicted="" if one.value is None else f"{_apart(one.value, one.limit)}{unit}",
        margin=margin,
        verdict=one.verdict,
        decided_by=one.decided_by,
        way_out=one.way_out,
    )


def _apart(value: float, limit: float) -> str:
    """A value with as few figures as tell it from its limit, at least three, so that the margin is seen in it.

    >>> _apart(0.40412, 0.1), _apart(0.10042, 0.1), _apart(0.1, 0.1)
    ('0.404', '0.1004', '0.1')
    """
    words = (figures(value, digits) for digits in range(3, 6))
    return next((said for said in words if said != figures(limit, 6)), figures(value, 5))


def verdict_table(found: Iterable[Verdict]) -> str:
    """The table as HTML, for a page with ``STYLE``; every row a block of lines where the page is narrow."""
    head = "".join(f'<th scope="col">{name}</th>' for name in COLUMNS)
    lines = [f'<table class="verdict">\n<thead><tr>{head}</tr></thead>\n<tbody>', *map(_line, verdict_rows(found))]
    return "\n".join([*lines, "</tbody>\n</table>"])


def _line(row: VerdictRow) -> str:
    def words(text: str) -> str:
        return escape(unbroken(text))

    why = "".join(f'<span class="why">{name}: {words(said)}</span>' for name, said in row.reasons)
    margin = f' <span class="why">{words(row.margin)}</span>' if row.margin else ""
    return (
        f'<tr class="{row.verdict.replace(" ", "-")}"><td class="said">{row.verdict}</td>'
        f'<th scope="row">{words(row.requirement)}{why}</th><td data-label="limit">{words(row.limit)}</td>'
        + (
            f'<td data-label="predicted">{words(row.predicted)}{margin}</td></tr>'
            if row.predicted
            else "<td></td></tr>"
        )
    )


def verdict_lines(found: Iterable[Verdict]) -> list[str]:
    """The rows for a terminal: what is asked and predicted, then what decides it and the way out."""
    lines = []
    for row in verdict_rows(found):
        said = [f"predicted {row.predicted}", row.margin] if row.predicted else []
        predicted = "".join(f", {words}" for words in said if words)
        lines.append(f"  {row.verdict.upper():<16}{row.requirement} {row.limit}{predicted}")
        lines += [f"{'':18}{name}: {said}" for name, said in row.reasons]
    return lines
