"""What the page to design on shows of a prediction: plain data whose numbers are in words already, and the drawings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pcbstator.analysis.fields import rows
from pcbstator.analysis.prediction import Prediction
from pcbstator.output.key_numbers import NOT_STATED, key_numbers, results_by_key
from pcbstator.output.quantities import shown, told_apart
from pcbstator.output.report.verdict import verdict_rows
from pcbstator.output.tables import besides_the_verdict
from pcbstator.output.words import Row, figures

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign


def page_answer(prediction: Prediction, saved: Prediction | None = None) -> dict[str, Any]:
    """The eight numbers, verdict, findings, waves, drawings and all results; saved: what changes are told against."""
    answer: dict[str, Any] = {
        "title": prediction.title,
        "numbers": changed_numbers(prediction, saved),
        "requirement": [
            vars(row) | {"key": verdict.name, "settings": dict(verdict.settings)}
            for verdict, row in zip(prediction.requirement, verdict_rows(prediction.requirement), strict=True)
        ],
        "not_stated": "" if prediction.requirement else NOT_STATED,
        "findings": [finding.to_dict() | {"label": finding.label} for finding in besides_the_verdict(prediction)],
        "settled": _settled(prediction.design),
        "pictures": page_pictures(prediction),
        "results": all_results(prediction),
    }
    if prediction.magnetic is not None:
        waves = prediction.magnetic.waves.to_dict()
        answer["emf"] = {
            "angle_deg": waves["electrical_angle_deg"],
            "v_s_per_rad": waves["phase_emf_v_s_per_rad"],
            "pole_pairs": prediction.winding.poles // 2,
        }
    return answer


def changed_numbers(prediction: Prediction, saved: Prediction | None) -> list[dict[str, str]]:
    """The eight numbers in words, each with what it was and by how much it changed, where it did."""
    found = []
    before = {row.name: row for row in key_numbers(saved)} if saved is not None else {}
    values, earlier = results_by_key(prediction), results_by_key(saved) if saved is not None else {}
    for row in key_numbers(prediction):
        line = {"name": row.name, "value": row.value, "meaning": row.meaning, "key": row.key}
        old = before.get(row.name)
        if old is not None and old.key == row.key:
            line |= _change(row, old, values.get(row.key), earlier.get(row.key))
        found.append(line)
    return found


def _change(row: Row, old: Row, value: Any, earlier: Any) -> dict[str, str]:
    if not isinstance(value, int | float) or not isinstance(earlier, int | float):
        return {"before": old.value} if old.value != row.value else {}
    was, now = told_apart(row.key, earlier, value)
    if was == now:
        return {}
    if earlier <= 0 or row.key.endswith("_c"):
        return {"before": was}
    percent = 100 * (value / earlier - 1)
    return {"before": was, "change": f"{'+' if percent > 0 else '−'}{figures(abs(percent), 2)} %"}


def all_results(prediction: Prediction) -> list[dict[str, str]]:
    """Every result that is a number or a word, in words, by its dotted key."""
    return [
        {"key": f"{name}.{key}", "value": shown(f"{name}.{key}", value), "meaning": meaning}
        for name, section in prediction.sections()
        for key, meaning, value in rows(section)
        if isinstance(value, int | float | str)
    ]


def page_pictures(prediction: Prediction) -> dict[str, str]:
    """The stator with its magnets, and the section through the gap, as SVG text."""
    from pcbstator.output.drawing.section import section_svg
    from pcbstator.output.drawing.stator import stator_svg

    if prediction.design is None or prediction.laid is None:
        return {}
    return {
        "stator": stator_svg(prediction.design, prediction.laid),
        "section": section_svg(prediction.design, prediction),
    }


def _settled(design: SizedDesign | None) -> dict[str, float]:
    """What "fill" came to, by the key."""
    if design is None or (design.asked.winding.turns != "fill" and design.asked.board.stated_track_width != "fill"):
        return {}
    if design.asked.winding.turns == "fill":
        return {"winding.turns": int(design.winding.turns)}
    return {"board.track_width_mm": round(1e3 * design.board.track_width, 6)}
