"""From a folder of fabrication files to records of its boards: Gerber, drill files, netlist and job file."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from pcbstator.errors import Complaint, FilesError
from pcbstator.verify.reading.board import MANIFEST, grouped, read_board
from pcbstator.verify.reading.folder import folder_texts
from pcbstator.verify.reading.map_file import MapFile, read_map_file
from pcbstator.verify.records import WrittenBoard

__all__ = ["read_boards", "read_texts"]

_DOCUMENTS = (".pdf", ".html", ".htm", ".csv", ".xls", ".xlsx", ".doc", ".docx", ".odt", ".h", ".toml", ".py")
_PICTURES = (".svg", ".png", ".jpg", ".tif", ".bmp", ".dxf", ".step", ".stp", ".stl", ".gltf", ".glb")
_ARCHIVES = (".zip", ".rar", ".7z", ".gz", ".tar")
NO_FABRICATION = frozenset((*_DOCUMENTS, *_PICTURES, *_ARCHIVES))


def read_boards(folder: str | Path, roles: str | Path | None = None) -> tuple[WrittenBoard, ...]:
    """The boards that fabrication files in a folder say: that of the folder itself, then those in folders within.

    roles: a map file that says which file is what, for the board of the folder itself. FilesError with every complaint
    where the files cannot be read.
    """
    told = MapFile() if roles is None else read_map_file(Path(roles))
    return read_texts(folder_texts(Path(folder), NO_FABRICATION), str(folder), told)


def read_texts(texts: Mapping[str, str], source: str, told: MapFile | None = None) -> tuple[WrittenBoard, ...]:
    """The boards that texts of files say, each by its path from the folder, with / between folders."""
    told = told or MapFile()
    complaints = [
        Complaint(name, "is named in the map file, but is not in the folder")
        for name in told.roles
        if name not in texts
    ]
    if complaints:
        raise FilesError(source, complaints)
    folders = grouped(
        {n: t for n, t in texts.items() if n not in told.roles and (not n.endswith(".json") or n.endswith(MANIFEST))}
    )
    if told.roles or told.terminals:
        outermost = folders.get("", {}) | {name: texts[name] for name in told.roles}
        folders = {"": outermost} | {name: files for name, files in folders.items() if name}
    boards = []
    for name, files in folders.items():
        try:
            board = read_board(name, files, told if not name else MapFile(drill=told.drill))
        except FilesError as error:
            prefix = f"{name}/" if name else ""
            complaints += [Complaint(prefix + c.key, c.rule, c.value, c.remedy) for c in error.complaints]
            continue
        if board is not None:
            boards.append(board)
    if complaints:
        raise FilesError(source, complaints)
    if not boards:
        remedy = "give the folder with the Gerber files, or say in a map file which file is what"
        raise FilesError(source, [Complaint("folder", "must hold at least one copper layer", remedy=remedy)])
    return tuple(boards)
