"""The page about two designs: both pictures, verdicts, keys that differ, results with their change."""

from __future__ import annotations

import re
from pathlib import Path

from pcbstator.analysis.prediction import Prediction
from pcbstator.check.side_by_side import SideBySide
from pcbstator.output.key_numbers import key_numbers
from pcbstator.output.side_by_side_words import (
    SECTIONS,
    finding_lines,
    folded,
    key_rows,
    result_sections,
    verdict_pair_rows,
)


def side_by_side_html(found: SideBySide) -> str:
    """The page as the text of one HTML file without outside resources; the same designs give the same bytes."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    template = Path(__file__).with_name("side_by_side.html").read_text(encoding="utf-8")
    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    sections, small = result_sections(found)
    return page.from_string(template).render(
        found=found,
        sides=[
            ("design", found.design, key_numbers(found.design), Markup(_picture(found.design, "design"))),
            ("other", found.other, key_numbers(found.other), Markup(_picture(found.other, "other"))),
        ],
        verdicts=verdict_pair_rows(found.requirement),
        keys=key_rows(found.keys),
        sections=[(SECTIONS.get(name, name), rows) for name, rows in sections.items()],
        folded=folded(found, small),
        findings=finding_lines(found.findings),
    ) + "\n"  # fmt: skip


def _picture(prediction: Prediction, side: str) -> str:
    """The stator, escaped by its maker; names within it made different from those of the other picture."""
    from pcbstator.output.drawing.stator import stator_svg

    if prediction.design is None or prediction.laid is None:
        return ""
    text = stator_svg(prediction.design, prediction.laid)
    return re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{side}-", text[text.index("<svg") :])
