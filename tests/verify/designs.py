"""Fabrication files of designs, written in memory: those of the stator's board, of tiles and of slip rings."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pcbstator
from pcbstator.copper import lay_copper
from pcbstator.design import Design
from pcbstator.output.fabrication.package import drawn_board, folder_files, ordered_files
from pcbstator.project import size_design
from tests.verify.faults import Texts, fabrication_texts

DESIGNS = Path(__file__).parents[2] / "designs"
NAMES = ("filter-wheel", "photogrammetry-stage", "sky-tracker", "small-fan")


def ordered_texts(design: Design) -> Texts:
    """The text of every file to order, by its path."""
    sized = size_design(design)
    board = drawn_board(sized, lay_copper(sized))
    files, folders = ordered_files(sized, board)
    return {name: text for name, text in folder_files(sized, board, files, folders).items() if isinstance(text, str)}


@cache
def design_texts(name: str, turns: int | None = None) -> Texts:
    """The files of one of the designs, with fewer turns where asked: small files that are read in no time."""
    design = pcbstator.load_design(DESIGNS / f"{name}.toml")
    if turns is not None:
        design = design.with_values({"winding.turns": turns})
    return fabrication_texts(ordered_texts(design))


def written_folder(name: str, folder: Path) -> Path:
    """A folder with the files to order of one of the designs."""
    for path, text in ordered_texts(pcbstator.load_design(DESIGNS / f"{name}.toml")).items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text, encoding="utf-8")
    return folder
