"""The same outlines, written by another library, verify alike."""

from __future__ import annotations

import shapely
from gerbonara import MM, GerberFile
from gerbonara.graphic_objects import Region
from shapely.geometry.base import BaseGeometry

from pcbstator.output.fabrication.gerber import without_holes
from tests.verify.designs import design_texts
from tests.verify.faults import Faults, all_findings, board_of


def by_another_library(area: BaseGeometry) -> str:
    """A Gerber file of older make, in steps of 10 nm, without attributes."""
    file = GerberFile()
    for part in shapely.get_parts(area):
        file.objects += [Region(list(piece.exterior.coords), unit=MM) for piece in without_holes(part)]
    return str(file.write_to_bytes().decode())


def test_files_of_another_library_verify_alike() -> None:
    texts = design_texts("filter-wheel", 2)
    layers = board_of(texts).layers
    plain = {layer.file: by_another_library(layer.copper) for layer in layers}
    assert all("%TO" not in text for text in plain.values())
    again = board_of(texts | plain)
    for ours, theirs in zip(layers, again.layers, strict=True):
        assert ours.copper.symmetric_difference(theirs.copper).area < 5e-5 * ours.copper.area  # steps of 10 nm
    assert all_findings(texts | plain) == []


def test_a_cut_in_files_without_attributes_is_found_by_the_netlist() -> None:
    texts = design_texts("filter-wheel", 2)
    for fault in Faults(texts, seed=5).some({"cut": 1}):
        plain = {layer.file: by_another_library(layer.copper) for layer in board_of(fault.texts).layers}
        assert fault.named_by(all_findings(fault.texts | plain))
