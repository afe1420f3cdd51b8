"""The requirement and what is predicted for it: rows for a terminal, and a table for a page."""

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
    "smallest_step_deg": "Smallest step",
    "step_error_percent": "Error of the smallest step",
    "move_time_s": "Time of a move",
    "torque_reserve_percent": "Torque in reserve",
    "board_temperature_c": "Hottest place of the board",
    "touch_temperature_c": "Hottest face that a hand reaches",
    "supply_current_a": "Current from the supply",
    "price": "Price",
    "push_deg": "Push by hand that is told",
}
UNITS = {"deg": "°", "s": " s", "rpm": " rpm", "percent": " %", "c": " °C", "a": " A"}
COLUMNS = ("requirement", "limit", "predicted", "margin", "verdict", "decided by", "way out")
BOLD = {"verdict": ' class="said"'}
STYLE = """
.verdict { border-collapse: collapse; width: 100%; }
.verdict th, .verdict td { text-align: left; vertical-align: top; padding: .3rem .6rem .3rem 0;
  border-bottom: 1px solid #ccc; font-weight: normal; overflow-wrap: anywhere; }
.verdict thead th { font-size: .85rem; color: #444; overflow-wrap: normal; }
.verdict .said { font-weight: bold; }
.verdict .not-met .said { color: #a3161a; }
@media (max-width: 46rem) {
  .verdict thead { display: none; }
  .verdict tr { display: block; border-bottom: 2px solid #ccc; padding: .3rem 0; }
  .verdict th, .verdict td { display: block; border: 0; padding: .1rem 0; }
  .verdict th { font-weight: bold; }
  .verdict td:empty { display: none; }
  .verdict td::before { content: attr(data-label) ": "; color: #444; font-weight: normal; }
}
""".strip()


@dataclass(frozen=True)
class VerdictRow:
    """A requirement in words, in the order of the columns."""

    requirement: str
    limit: str
    predicted: str
    margin: str
    verdict: str
    decided_by: str
    way_out: str

    @property
    def cells(self) -> tuple[str, ...]:
        """What stands in the columns."""
        return (
            self.requirement, self.limit, self.predicted, self.margin, self.verdict, self.decided_by, self.way_out
        )  # fmt: skip


def verdict_rows(found: Iterable[Verdict]) -> list[VerdictRow]:
    """The rows of the table."""
    return [_row(one) for one in found]


def _row(one: Verdict) -> VerdictRow:
    unit = UNITS.get(one.name.rpartition("_")[2], "")
    least = not one.most
    margin = ""
    if one.value is not None:
        left = one.value - one.limit if least else one.limit - one.value
        word = "to spare" if left >= 0 else "too little" if least else "too much"
        margin = f"{figures(abs(left), 2)}{unit} {word}"
    return VerdictRow(
        requirement=NAMES.get(one.name, one.name),
        limit=f"at {'least' if least else 'most'} {figures(one.limit, 4)}{unit}",
        predicted="" if one.value is None else f"{figures(one.value, 3)}{unit}",
        margin=margin,
        verdict=one.verdict,
        decided_by=one.decided_by or "",
        way_out=one.way_out or "",
    )


def verdict_table(found: Iterable[Verdict]) -> str:
    """The table as HTML, for a page with ``STYLE``; every row a block of lines where the page is narrow."""
    head = "".join(f'<th scope="col">{name}</th>' for name in COLUMNS)
    lines = [f'<table class="verdict">\n<thead><tr>{head}</tr></thead>\n<tbody>']
    for row in verdict_rows(found):
        first, *others = (escape(unbroken(cell)) for cell in row.cells)
        cells = "".join(
            f'<td data-label="{name}"{BOLD.get(name, "")}>{cell}</td>'
            for name, cell in zip(COLUMNS[1:], others, strict=True)
        )
        lines.append(f'<tr class="{row.verdict.replace(" ", "-")}"><th scope="row">{first}</th>{cells}</tr>')
    return "\n".join([*lines, "</tbody>\n</table>"])


def verdict_lines(found: Iterable[Verdict]) -> list[str]:
    """The rows for a terminal: what is asked and predicted, then what decides it and the way out."""
    lines = []
    for row in verdict_rows(found):
        predicted = f", predicted {row.predicted}: {row.margin}" if row.predicted else ""
        lines.append(f"  {row.verdict:<16}{row.requirement}: {row.limit}{predicted}")
        said = ("decided by", row.decided_by), ("way out", row.way_out)
        lines += [f"    {word}: {text}" for word, text in said if text]
    return lines
