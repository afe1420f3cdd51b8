"""The folder that goes to the board manufacturer, to the workshop and to the bench."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pcbstator.analysis.drive.parameters import drive_parameters
from pcbstator.analysis.electrical.slip_ring import lay_slip_ring_boards
from pcbstator.analysis.mechanical.rotor_plan import plates
from pcbstator.analysis.pipeline import package_version
from pcbstator.analysis.prediction import Prediction
from pcbstator.copper import Copper
from pcbstator.copper.connections.slip_ring import slip_ring_gaps
from pcbstator.copper.connections.tiles import TileKind, lay_tiles, tile_folder
from pcbstator.copper.connections.via_transitions import with_teardrops
from pcbstator.copper.plain_board import BoardCopper, PlainBoard
from pcbstator.design.file_text import design_file
from pcbstator.errors import OutputError
from pcbstator.output.drawing.section import section_svg
from pcbstator.output.drawing.slip_ring import slip_ring_svg
from pcbstator.output.drawing.stator import stator_svg
from pcbstator.output.fabrication.attributes import PROFILE_FUNCTION, copper_function, drill_function, side_function
from pcbstator.output.fabrication.drill import drill_xnc
from pcbstator.output.fabrication.gerber import copper_gerber, legend_gerber, mask_gerber, profile_gerber
from pcbstator.output.fabrication.job_file import BoardFacts, JobEntry, job_file
from pcbstator.output.fabrication.netlist import netlist_ipc356
from pcbstator.output.fabrication.upload import zip_bytes
from pcbstator.output.files import MANIFEST, json_text
from pcbstator.output.parts_list.stator_parts import UPLOAD
from pcbstator.output.parts_list.table import parts_csv
from pcbstator.output.report.drive_files import drive_header, drive_json
from pcbstator.output.report.report import report_html
from pcbstator.output.rotor.assembly import assembly_sheet_pdf, assembly_sheet_svg, assembly_tiles_pdf
from pcbstator.output.rotor.dxf import rotor_dxf

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

SLIP_RING_FOLDER = "slip-ring"


@dataclass(frozen=True)
class OutputFile:
    """One file: name, role and, for copper, layer; the X2 function and polarity where the job file lists it."""

    name: str
    role: str
    content: str | bytes
    layer: int | None = None
    function: str = ""
    polarity: str | None = "Positive"


def package_files(design: SizedDesign, copper: Copper, prediction: Prediction) -> dict[str, str | bytes]:
    """Name and content of every file of ``make``, manifests and those in folders within included."""
    board = drawn_board(design, copper)
    ordered, folders = ordered_files(design, board)
    files = [
        *ordered,
        OutputFile("stator.svg", "drawing", stator_svg(design, board)),
        OutputFile("section.svg", "drawing", section_svg(design, prediction)),
        *_rotor_files(design),
        OutputFile("report.html", "report", report_html(design, copper, prediction)),
        OutputFile("parts.csv", "parts", parts_csv(design, copper, prediction)),
        OutputFile("prediction.json", "prediction", json_text(prediction.to_dict())),
        *_design_files(design),
    ]
    files += _drive_files(design, prediction)
    names = [file.name.casefold() for file in files]
    if doubled := [name for name in names if names.count(name) > 1]:
        raise OutputError(f"motion.table_csv: {doubled[0]} is a file that make writes itself; rename the recording")
    count = {"count": design.boards} if design.boards > 1 else None
    return folder_files(design, board, files, folders, count)


def drawn_board(design: SizedDesign, copper: Copper) -> Copper:
    """The stator's board as its files draw it; the boards of a stack are equal."""
    return with_teardrops(copper.board, design.board.track_gap)


def ordered_files(design: SizedDesign, board: Copper) -> tuple[list[OutputFile], dict[str, dict[str, str | bytes]]]:
    """What the board manufacturer needs: the files of the stator's board, none where it comes in tiles, and the folders
    of tiles and slip-ring boards with theirs."""
    facts = BoardFacts(design.board.thickness, board.track_width, design.board.track_gap, design.board.finish)
    coils = f"coils {len(board.coil_angles)}" if board.alike else "wave winding"
    notes = [coils, f"poles {design.rotor.poles}"]
    kinds = lay_tiles(design, board)
    folders = {tile_folder(kind): tile_files(design, kind, board.tiles, facts, notes) for kind in kinds}
    for name, other in lay_slip_ring_boards(design).items():
        folders[slip_ring_folder(name)] = folder_files(design, other, slip_ring_files(design, name, other))
    return [] if kinds else fabrication_set(board, design.title, facts, notes), folders


def folder_files(
    design: SizedDesign,
    board: BoardCopper,
    files: Sequence[OutputFile],
    folders: Mapping[str, Mapping[str, str | bytes]] | None = None,
    more: Mapping[str, object] | None = None,
) -> dict[str, str | bytes]:
    """A folder's files with its manifest, and the files of ``folders`` within, by the path from this folder.

    more: what else the manifest says.
    """
    content = {file.name: file.content for file in files}
    content[MANIFEST] = json_text(_manifest(design, board, files, list(folders or ())) | dict(more or {}))
    for folder, inside in (folders or {}).items():
        content |= {f"{folder}/{name}": each for name, each in inside.items()}
    return content


def tile_files(
    design: SizedDesign, kind: TileKind, tiles: int, facts: BoardFacts, notes: Sequence[str]
) -> dict[str, str | bytes]:
    """Everything to order one kind of tile; the manifest says how many, and which tiles of the ring they are."""
    title = f"{design.title}: {tile_folder(kind)}"
    files = fabrication_set(kind.board, title, facts, [f"{len(kind.tiles)} of {tiles} tiles", *notes])
    return folder_files(design, kind.board, files, more=tile_facts(kind))


def tile_facts(kind: TileKind) -> dict[str, object]:
    """What the manifest of a kind of tile says: how many, and which tiles of the ring with what terminals."""
    tiles_of = [{"tile": tile, "terminals": names} for tile, names in zip(kind.tiles, kind.names, strict=True)]
    return {"count": len(kind.tiles), "tiles": tiles_of}


def slip_ring_folder(name: str) -> str:
    """Folder of the slip-ring board of a name, which is empty where there is one only."""
    return f"{SLIP_RING_FOLDER}/{name}" if name else SLIP_RING_FOLDER


def slip_ring_files(design: SizedDesign, name: str, board: PlainBoard) -> list[OutputFile]:
    """Everything to order the slip-ring board of a name."""
    if design.slip_ring is None:
        return []
    section = design.slip_ring.boards[name]
    title = f"{design.title}: slip rings" + (f", {name} board" if name else "")
    gaps = slip_ring_gaps(board)
    least = min((gap.distance for gap in (gaps.rings, gaps.terminals, gaps.leads) if gap), default=section.spacing)
    narrowest = min(track.width for track in board.tracks)
    facts = BoardFacts(section.thickness, narrowest, least, section.finish)
    notes = [f"{section.current:g} A, {section.voltage:g} V"]
    drawing = OutputFile("slip-ring.svg", "drawing", slip_ring_svg(title, section, board))
    return [*fabrication_set(board, title, facts, notes), drawing]


def fabrication_set(board: BoardCopper, title: str, facts: BoardFacts, notes: Sequence[str] = ()) -> list[OutputFile]:
    """What the board manufacturer needs for one board, a stator or a plain one, and all of it in a zip file; ``notes``
    go into the legend."""
    files = _board_files(board, title, notes)
    entries = [JobEntry(file.name, file.function, file.polarity) for file in files if file.function]
    files.append(OutputFile("board.gbrjob", "job", job_file(board, title, entries, facts)))
    return [*files, OutputFile(UPLOAD, "upload", zip_bytes({file.name: file.content for file in files}))]


def _board_files(copper: BoardCopper, title: str, notes: Sequence[str]) -> list[OutputFile]:
    """All files of a board but the one that lists them."""
    last = len(copper.layers)
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


def _rotor_files(design: SizedDesign) -> list[OutputFile]:
    """What the workshop needs: plates to mill or laser, sheets to glue the magnets by."""
    files = [OutputFile("assembly.pdf", "drawing", assembly_sheet_pdf(design))]
    if (tiles := assembly_tiles_pdf(design)) is not None:
        files.append(OutputFile("assembly-a4.pdf", "drawing", tiles))
    for plate in plates(design):
        ending = f"-{plate.name}" if plate.name else ""
        files += [
            OutputFile(f"rotor{ending}.dxf", "drawing", rotor_dxf(design, plate)),
            OutputFile(f"assembly{ending}.svg", "drawing", assembly_sheet_svg(design, plate)),
        ]
    return files


def _design_files(design: SizedDesign) -> list[OutputFile]:
    """The design itself and the recorded motion that it names, so that the folder can be made again from them."""
    files = [OutputFile("design.toml", "design", design_file(design))]
    if design.folder is not None and design.motion is not None and design.motion.table:
        name = design.motion.table
        files.append(OutputFile(name, "motion", (design.folder / name).read_bytes()))
    return files


def _drive_files(design: SizedDesign, prediction: Prediction) -> list[OutputFile]:
    """What is typed into the drive."""
    parameters = drive_parameters(design, prediction)
    if parameters is None:
        return []
    return [
        OutputFile("drive.json", "prediction", drive_json(parameters, design.title, prediction.version)),
        OutputFile("drive.h", "prediction", drive_header(parameters, design.title, prediction.version)),
    ]


def _manifest(
    design: SizedDesign, copper: BoardCopper, files: Sequence[OutputFile], folders: list[str]
) -> dict[str, object]:
    """What a folder holds; ``folders`` within it have manifests of their own."""
    listed: dict[str, object] = {"folders": folders} if folders else {}
    return {
        "title": design.title,
        "version": package_version(),
        "design_sha256": design.digest,
        "files": [
            {"name": file.name, "role": file.role} | ({} if file.layer is None else {"layer": file.layer})
            for file in files
        ],
        **listed,
        "terminals": {
            terminal.name: {
                "x_mm": round(1e3 * terminal.x, 6),
                "y_mm": round(1e3 * terminal.y, 6),
                "layer": terminal.layer,
            }
            for terminal in copper.terminals
        },
    }
