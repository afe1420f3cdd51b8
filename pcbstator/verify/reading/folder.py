"""The files of a folder, within bounds: no file outside is read, whatever a link or a name in a file says."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pcbstator.errors import Complaint, FilesError
from pcbstator.verify.reading.limits import MOST_BYTES, MOST_BYTES_IN_ALL, MOST_FILES

MOST_DEPTH = 3  # folders within folders


@dataclass(frozen=True)
class FolderFile:
    """A file by its path from the folder, with / between folders, and its text (bytes that are no UTF-8 replaced)."""

    name: str
    text: str


def folder_texts(folder: Path, endings_left_out: frozenset[str] = frozenset()) -> dict[str, str]:
    """The text of every file in ``folder`` and the folders within, by its path from there.

    endings_left_out: endings (".pdf") of files that are not read. FilesError with every file that cannot be taken.
    """
    if not folder.is_dir():
        came = ("a file", "unpack it first and give the folder") if folder.exists() else ("a path that is not there",)
        raise FilesError(str(folder), [Complaint("folder", "must be a folder of fabrication files", *came)])
    complaints: list[Complaint] = []
    texts: dict[str, str] = {}
    total = 0
    for number, (name, path) in enumerate(_files(folder, complaints), 1):
        if number > MOST_FILES:
            raise FilesError(str(folder), [Complaint("folder", f"must hold at most {MOST_FILES} files")])
        if Path(name).suffix.lower() in endings_left_out:
            continue
        content = _content(name, path, complaints)
        total += len(content)
        if total > MOST_BYTES_IN_ALL:
            rule = f"its files must have at most {MOST_BYTES_IN_ALL // 1024**2} MB in all"
            raise FilesError(str(folder), [Complaint("folder", rule)])
        if b"\0" not in content[:4096]:
            texts[name] = content.decode("utf-8", errors="replace")
    if complaints:
        raise FilesError(str(folder), complaints)
    return texts


def _files(folder: Path, complaints: list[Complaint], prefix: str = "", depth: int = 0) -> Iterator[tuple[str, Path]]:
    """Name and path of every file, in order; links are followed only to files within their own folder."""
    try:
        entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
    except OSError as error:
        complaints.append(Complaint(prefix or "folder", "must be readable", error.strerror or ""))
        return
    for entry in entries:
        name, path = prefix + entry.name, Path(entry.path)
        if entry.name.startswith("."):
            continue
        if entry.is_symlink():
            if path.resolve().parent != folder.resolve() or not path.is_file():
                remedy = "put the file itself in its place"
                complaints.append(Complaint(name, "must be a file in the folder, no link out of it", remedy=remedy))
                continue
            yield name, path
        elif entry.is_dir():
            if depth < MOST_DEPTH:
                yield from _files(path, complaints, f"{name}/", depth + 1)
        else:
            yield name, path


def _content(name: str, path: Path, complaints: list[Complaint]) -> bytes:
    """The bytes of a file; empty, with a complaint, where it cannot be taken."""
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except OSError as error:
        complaints.append(Complaint(name, "must be readable", error.strerror or ""))
        return b""
    with os.fdopen(handle, "rb") as file:
        about = os.fstat(file.fileno())
        if not stat.S_ISREG(about.st_mode):
            complaints.append(Complaint(name, "must be a plain file"))
            return b""
        if about.st_size > MOST_BYTES:
            rule = f"must have at most {MOST_BYTES // 1024**2} MB"
            complaints.append(Complaint(name, rule, f"{about.st_size / 1024**2:.0f} MB", "leave it out of the folder"))
            return b""
        return file.read(MOST_BYTES)
