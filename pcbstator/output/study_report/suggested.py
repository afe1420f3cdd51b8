"""Suggested designs as text for a terminal and as a folder of design files."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pcbstator.analysis.pipeline import package_version
from pcbstator.output.files import MANIFEST, json_text
from pcbstator.output.study_report.words import key_words
from pcbstator.output.words import figures
from pcbstator.study.keys import words_of
from pcbstator.study.suggest import COST, HEIGHT, LOSS, RIPPLE, Suggestion

if TYPE_CHECKING:
    from pcbstator.design import Design

SHOWN = (
    COST, HEIGHT, LOSS, RIPPLE, "motion.peak_torque_reserve_ratio", "motion.continuous_torque_reserve_ratio",
    "electrical.phase_resistance_ohm",
)  # fmt: skip


def suggested_text(design: Design, found: Sequence[Suggestion], folder: Path | None) -> str:
    """Each suggestion with why, what it sets and what it reaches."""
    lines = [f"{design.title}: {len(found)} different designs that do the job; prices are invented"]
    for one in found:
        sets = ", ".join(_set_words(name, value) for name, value in one.values.items())
        lines += ["", f"{one.name}: {one.why}", *textwrap.wrap(sets, 110, initial_indent="  ", subsequent_indent="  ")]
        lines += [f"    {words_of(key):<42}{figures(one.results[key], 4)}" for key in SHOWN if key in one.results]
        if one.warnings:
            lines.append(f"    warnings: {one.warnings}; pcbstator check names them")
    if folder is None:
        lines += ["", "to have them as design files: add -o FOLDER"]
    else:
        lines += ["", f"{folder}: {len(found)} design files written, each to be looked at with pcbstator predict"]
    return "\n".join(lines) + "\n"


def _set_words(name: str, value: float | str) -> str:
    """What a suggestion sets.

    >>> _set_words("rotor.magnet.thickness_mm", 3.0), _set_words("board.layers", 4), _set_words("copper", "35 um")
    ('magnet thickness 3 mm', 'layers 4', 'copper 35 um')
    """
    if isinstance(value, str):
        return f"{name} {value}" if len(name.split()) == 1 else value
    words, _, unit = key_words(name).partition(", ")
    return f"{words} {value:g} {unit}".strip()


def suggested_files(design: Design, found: Sequence[Suggestion]) -> dict[str, str]:
    """Name and content of every file, manifest included, and of the recorded motion that the designs name."""
    files = {f"{one.name}.toml": one.text for one in found}
    roles = dict.fromkeys(files, "design")
    if design.folder is not None and design.motion is not None and design.motion.table:
        name = design.motion.table
        files[name], roles[name] = (design.folder / name).read_text(encoding="utf-8-sig"), "motion"
    manifest = {
        "title": design.title,
        "version": package_version(),
        "design_sha256": design.digest,
        "files": [{"name": name, "role": role} for name, role in roles.items()],
    }
    return files | {MANIFEST: json_text(manifest)}
