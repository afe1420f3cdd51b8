"""Suggested designs as text for a terminal, as a folder of design files, and as a page that shows them."""

from __future__ import annotations

import base64
import textwrap
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pcbstator.analysis.pipeline import package_version
from pcbstator.output.files import MANIFEST, json_text
from pcbstator.output.report.verdict import STYLE as VERDICT_STYLE
from pcbstator.output.report.verdict import verdict_lines, verdict_table
from pcbstator.output.study_report.words import number_words

if TYPE_CHECKING:
    from pcbstator.study.suggestion.compare import Less, Measure
    from pcbstator.study.suggestion.suggest import Suggestion, Suggestions

WIDTH = 96
PAGE = "suggestions.html"
INVENTED = "Prices are invented and only tell designs apart; put your own under [prices] in the design file."
CAUTION = (
    "Nothing here has been measured. Magnets pinch, hot copper burns, rotors throw things: read the cautions in the "
    "report of the design that you take."
)
FACTS: tuple[tuple[str, str, str, float], ...] = (  # key, words, unit, scale
    ("cost.total", "price of board, magnets and steel", "currency", 1.0),
    ("occupied.height_mm", "height", "mm", 1.0),
    ("motion.required_peak_torque_n_m", "torque that the motion needs", "mN·m", 1e3),
    ("motion.available_peak_torque_n_m", "torque that there is", "mN·m", 1e3),
    ("motion.mean_copper_loss_w", "heat in the copper over the motion", "W", 1.0),
    ("electrical.phase_resistance_ohm", "resistance of a phase", "Ω", 1.0),
)


def suggested_text(found: Suggestions, folder: Path | None) -> str:
    """Each suggestion with its verdict, what it is best in and what it gives up."""
    lines = [f"{found.title}: {len(found.found)} designs that meet all that is asked, {order_words(found)}"]
    came = f"{found.meeting} of the {found.judged} that came near meet it"
    lines.append(f"{found.looked} looked at, {came}; those shown differ in kind")
    lines += [f"taken for granted: {words}" for words in found.filled]
    for number, one in enumerate(found.found, start=1):
        lines += ["", *_wrapped(f"{number}. {one.words}", "   ")]
        lines += [f"   {words:<40}{value}" for words, value in fact_rows(found, one)]
        for words in verdict_lines(one.verdicts):
            lines += _wrapped(words.lstrip(), " " * 25, " " * (len(words) - len(words.lstrip()) + 1))
        for words in (*best_words(one), *less_words(found, one), *(f"warning: {w.message}" for w in one.warnings)):
            lines += _wrapped(words, "   ", "   ")
    lines += [""] + [line for f in found.common for line in _wrapped(f"each of them: warning: {f.message}", "  ")]
    if found.invented:
        lines.append(INVENTED)
    if folder is None:
        lines.append("to have them as design files with a page that shows them: add -o FOLDER")
    else:
        lines.append(f"{folder / PAGE}: shows them; the design files lie beside it")
    return "\n".join(lines) + "\n"


def _wrapped(words: str, later: str, first: str = "") -> list[str]:
    return textwrap.wrap(words, WIDTH, initial_indent=first, subsequent_indent=later)


def order_words(found: Suggestions) -> str:
    """By what they are ordered."""
    from pcbstator.study.suggestion.suggest import ORDER

    return f"best first ({ORDER})"


def fact_rows(found: Suggestions, one: Suggestion) -> list[tuple[str, str]]:
    """What a buyer asks first, as name and value."""
    rows = []
    for key, words, unit, scale in FACTS:
        if key in one.results:
            rows.append((words, f"{number_words(scale * one.results[key], 3)} {_unit(found, unit)}"))
    return rows


def _unit(found: Suggestions, unit: str) -> str:
    return found.currency if unit == "currency" else unit


def best_words(one: Suggestion) -> list[str]:
    """What a suggestion is best in."""
    names = [measure.name for measure in one.standing.best]
    return [f"best in: {', '.join(names)}"] if names else []


def less_words(found: Suggestions, one: Suggestion) -> list[str]:
    """What a suggestion gives up against the best in each respect."""
    return [f"gives up: {'; '.join(_less(found, each) for each in one.standing.less)}"] if one.standing.less else []


def _less(found: Suggestions, less: Less) -> str:
    measure: Measure = less.measure
    unit = _unit(found, measure.unit)
    return f"{measure.name} {_quantity(less.value, unit)} (number {less.whose}: {_quantity(less.best, unit)})"


def _quantity(value: float, unit: str) -> str:
    """A value with its unit.

    >>> _quantity(0.01737, "°"), _quantity(1387.79227, "%"), _quantity(3.0, "")
    ('0.0174°', '1388 %', '3')
    """
    return f"{number_words(value, 3)}{'' if unit in ('', '°') else ' '}{unit}"


def suggested_files(found: Suggestions, pictures: Mapping[str, str]) -> dict[str, str]:
    """Name and content of every file, manifest included, and of the recorded motion that the designs name; pictures:
    SVG by the name of the design.
    """
    files = {PAGE: suggested_html(found, pictures)}
    roles = {PAGE: "report"}
    for one in found.found:
        files |= {f"{one.name}.toml": one.text, f"{one.name}.svg": pictures[one.name]}
        roles |= {f"{one.name}.toml": "design", f"{one.name}.svg": "drawing"}
    design = found.found[0].design
    if design.folder is not None and design.motion is not None and design.motion.table:
        name = design.motion.table
        files[name], roles[name] = (design.folder / name).read_text(encoding="utf-8-sig"), "motion"
    manifest = {
        "title": found.title,
        "version": package_version(),
        "design_sha256": design.digest,
        "files": [{"name": name, "role": role} for name, role in roles.items()],
    }
    return files | {MANIFEST: json_text(manifest)}


def suggested_html(found: Suggestions, pictures: Mapping[str, str]) -> str:
    """The page, complete in itself."""
    from jinja2 import Environment, StrictUndefined

    template = Path(__file__).with_name("suggested.html").read_text(encoding="utf-8")
    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return page.from_string(template).render(
        title=found.title,
        source=found.source,
        order=order_words(found),
        looked=found.looked,
        judged=found.judged,
        meeting=found.meeting,
        style=VERDICT_STYLE,
        lacking=found.lacking,
        filled=found.filled,
        common=[finding.message for finding in found.common],
        prices=INVENTED if found.invented else "",
        caution=CAUTION,
        columns=[words for words, _ in fact_rows(found, found.found[0])],
        designs=[_design(found, number, one, pictures[one.name]) for number, one in enumerate(found.found, start=1)],
    ) + "\n"  # fmt: skip


def _design(found: Suggestions, number: int, one: Suggestion, picture: str) -> dict[str, Any]:
    """All that the page says of one suggestion."""
    from markupsafe import Markup

    return {
        "number": number,
        "words": one.words,
        "name": one.name,
        "picture": "data:image/svg+xml;base64," + base64.b64encode(picture.encode()).decode(),
        "facts": fact_rows(found, one),
        "verdict": Markup(verdict_table(one.verdicts)),
        "best": [measure.name for measure in one.standing.best],
        "less": [_less(found, each) for each in one.standing.less],
        "instead": one.instead,
        "warnings": [finding.message for finding in one.warnings],
    }
