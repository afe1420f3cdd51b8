"""The Gerber job file: what the board is and which file is which layer.

Source: Ucamco, "Gerber Job Format Specification", 2022.02, from memory. The creation date is left out, so that the
same design gives the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass

from pcbstator.copper.plain_board import BoardCopper
from pcbstator.output.fabrication.attributes import PROJECT_REVISION, one_line, project_identifier, software_version


@dataclass(frozen=True)
class BoardFacts:
    """What the copper does not say: thickness, least track width and gap [m]; finish and laminate by name."""

    thickness: float
    track_width: float
    track_gap: float
    finish: str = "ENIG"
    laminate: str = "FR4"


@dataclass(frozen=True)
class JobEntry:
    """A file of the job: its name, X2 file function and polarity (None for a drill file)."""

    name: str
    function: str
    polarity: str | None = "Positive"


def job_file(copper: BoardCopper, title: str, entries: Iterable[JobEntry], facts: BoardFacts) -> str:
    """The job file (JSON)."""
    left, low, right, high = copper.shape.bounds
    job = {
        "Header": {
            "GenerationSoftware": {
                "Vendor": "pcbstator",
                "Application": "pcbstator",
                "Version": software_version(),
            },
        },
        "GeneralSpecs": {
            "ProjectId": {"Name": one_line(title), "GUID": project_identifier(title), "Revision": PROJECT_REVISION},
            "Size": {"X": _millimetres(right - left), "Y": _millimetres(high - low)},
            "LayerNumber": len(copper.layers),
            "BoardThickness": _millimetres(facts.thickness),
            "Finish": finish_name(facts.finish),
        },
        "DesignRules": [
            {
                "Layers": layers,
                "PadToPad": _millimetres(facts.track_gap),
                "PadToTrack": _millimetres(facts.track_gap),
                "TrackToTrack": _millimetres(facts.track_gap),
                "MinLineWidth": _millimetres(facts.track_width),
            }
            for layers in (("Outer", "Inner") if len(copper.layers) > 2 else ("Outer",))
        ],
        "FilesAttributes": [
            {"Path": entry.name, "FileFunction": entry.function}
            | ({} if entry.polarity is None else {"FilePolarity": entry.polarity})
            for entry in entries
        ],
        "MaterialStackup": _stackup(copper, facts),
    }
    return json.dumps(job, indent=2) + "\n"


def finish_name(finish: str) -> str:
    """``finish`` in the words of the job format, where they differ (from memory); any other word stays.

    >>> finish_name("HASL lead-free"), finish_name("ENIG")
    ('HAL lead-free', 'ENIG')
    """
    return {"HASL lead-free": "HAL lead-free", "HASL": "HAL SnPb", "immersion silver": "ImAg"}.get(finish, finish)


def _stackup(copper: BoardCopper, facts: BoardFacts) -> list[dict[str, object]]:
    """The layers of material from the rotor's side down.

    An outer layer lies on the face and an inner one is pressed into the laminate, so the laminate between two
    layers is the distance of their mid-planes less half of each inner layer.
    """
    layers = copper.layers
    inside = [0.0, *(layer.thickness / 2 for layer in layers[1:-1]), 0.0]
    stack: list[dict[str, object]] = [
        {"Type": "Legend", "Name": "Legend top"},
        {"Type": "SolderMask", "Name": "Mask top"},
    ]
    for index, layer in enumerate(layers):
        if index:
            above = layers[index - 1]
            thickness = above.depth - layer.depth - inside[index - 1] - inside[index]
            stack.append(
                {
                    "Type": "Dielectric",
                    "Thickness": _millimetres(thickness),
                    "Material": facts.laminate,
                    "Name": f"L{above.number}/L{layer.number}",
                }
            )
        stack.append({"Type": "Copper", "Thickness": _millimetres(layer.thickness), "Name": f"L{layer.number}"})
    return [*stack, {"Type": "SolderMask", "Name": "Mask bottom"}, {"Type": "Legend", "Name": "Legend bottom"}]


def _millimetres(length: float) -> float:
    """``length`` [m] in millimetres, to the tenth of a micrometre."""
    return round(length * 1e3, 4)
