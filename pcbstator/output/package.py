"""The folder that goes to the board house, to the workshop and to the bench."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pcbstator.copper import Copper
from pcbstator.output.assembly import assembly_sheet_pdf, assembly_sheet_svg
from pcbstator.output.attributes import PROFILE_FUNCTION, copper_function, drill_function, side_function
from pcbstator.output.drawing import stator_svg
from pcbstator.output.drill import drill_xnc
from pcbstator.output.drive_files import drive_header, drive_json
from pcbstator.output.files import MANIFEST, json_text
from pcbstator.output.gerber import copper_gerber, legend_gerber, mask_gerber, profile_gerber
from pcbstator.output.job import BoardFacts, JobEntry, job_file
from pcbstator.output.netlist import netlist_ipc356
from pcbstator.output.report import report_html
from pcbstator.output.rotor_dxf import rotor_dxf
from pcbstator.output.rotor_plan import plates
from pcbstator.predict.drive_parameters import drive_parameters
from pcbstator.predict.records import Prediction

if TYPE_CHECKING:
    from pcbstator.design import Design


@dataclass(frozen=True)
class OutputFile:
    """One file: name, role and, for copper, layer; the X2 function and polarity where the job file lists it."""

    name: str
    role: str
    content: str | bytes
    layer: int | None = None
    function: str = ""
    polarity: str | None = "Positive"


def package_files(design: Design, copper: Copper, prediction: Prediction) -> dict[str, str | bytes]:
    """Name and content of every file of ``make``, manifest included."""
    files = _board_files(design, copper)
    entries = [JobEntry(file.name, file.function, file.polarity) for file in files if file.function]
    facts = BoardFacts(design.board.thickness, design.board.track_width, design.board.track_gap, design.board.finish)
    files += [
        OutputFile("board.gbrjob", "job", job_file(copper, design.title, entries, facts)),
        OutputFile("stator.svg", "drawing", stator_svg(design, copper)),
        *_rotor_files(design),
        OutputFile("report.html", "report", report_html(design, copper, prediction)),
        OutputFile("prediction.json", "prediction", json_text(prediction.to_dict())),
    ]
    files += _drive_files(design, prediction)
    return {file.name: file.content for file in files} | {
        MANIFEST: json_text(_manifest(design, copper, prediction, files))
    }


def _board_files(design: Design, copper: Copper) -> list[OutputFile]:
    """What the board house needs."""
    title, last = design.title, len(copper.layers)
    notes = [
        f"{prefix} {value}" for prefix, value in (("coils", len(copper.coil_angles)), ("poles", design.rotor.poles))
    ]
    files = [
        OutputFile(
            f"copper-{number}.gbr",
            "copper",
            copper_gerber(copper, number, title),
            number,
            copper_function(number, last),
        )
        for number in range(1, last + 1)
    ]
    for side in ("top", "bottom"):
        files.append(
            OutputFile(
                f"mask-{side}.gbr",
                "mask",
                mask_gerber(copper, side, title),
                function=side_function("Soldermask", side),
                polarity="Negative",
            )
        )
        files.append(
            OutputFile(
                f"legend-{side}.gbr",
                "legend",
                legend_gerber(copper, side, title, notes),
                function=side_function("Legend", side),
            )
        )
    files.append(OutputFile("profile.gbr", "profile", profile_gerber(copper, title), function=PROFILE_FUNCTION))
    for plated, word in ((True, "plated"), (False, "unplated")):
        files.append(
            OutputFile(
                f"drill-{word}.drl",
                f"drill-{word}",
                drill_xnc(copper, plated, title),
                function=drill_function(plated, last),
                polarity=None,
            )
        )
    return [*files, OutputFile("netlist.ipc", "netlist", netlist_ipc356(copper, title))]


def _rotor_files(design: Design) -> list[OutputFile]:
    """What the workshop needs: plates to mill or laser, sheets to glue the magnets by."""
    files = [OutputFile("assembly.pdf", "drawing", assembly_sheet_pdf(design))]
    for plate in plates(design):
        ending = f"-{plate.name}" if plate.name else ""
        files += [
            OutputFile(f"rotor{ending}.dxf", "drawing", rotor_dxf(design, plate)),
            OutputFile(f"assembly{ending}.svg", "drawing", assembly_sheet_svg(design, plate)),
        ]
    return files


def _drive_files(design: Design, prediction: Prediction) -> list[OutputFile]:
    """What is typed into the drive."""
    parameters = drive_parameters(design, prediction)
    if parameters is None:
        return []
    return [
        OutputFile("drive.json", "prediction", drive_json(parameters, design.title, prediction.version)),
        OutputFile("drive.h", "prediction", drive_header(parameters, design.title, prediction.version)),
    ]


def _manifest(design: Design, copper: Copper, prediction: Prediction, files: list[OutputFile]) -> dict[str, object]:
    return {
        "title": design.title,
        "version": prediction.version,
        "design_sha256": design.digest,
        "files": [
            {"name": file.name, "role": file.role} | ({} if file.layer is None else {"layer": file.layer})
            for file in files
        ],
        "terminals": {
            terminal.name: {
                "x_mm": round(1e3 * terminal.x, 6),
                "y_mm": round(1e3 * terminal.y, 6),
                "layer": terminal.layer,
            }
            for terminal in copper.terminals
        },
    }
