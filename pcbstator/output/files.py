"""Files and folders appear whole or not at all: they are written beside their place and then renamed."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from pcbstator.errors import OutputError

MANIFEST = "manifest.json"


def json_text(data: object) -> str:
    """Plain data as JSON text."""
    return json.dumps(data, indent=1, allow_nan=False, ensure_ascii=False) + "\n"


def write_file(path: Path, content: str | Iterable[str], suffixes: tuple[str, ...]) -> None:
    """Write a text file in one step, replacing an older one; the name must end in one of ``suffixes``.

    content: the text, or its parts one after the other.
    """
    if path.suffix.lower() not in suffixes:
        raise OutputError(f"{path}: the file must end in {' or '.join(suffixes)}; choose such a name")
    with _told(path):
        if path.is_dir():
            raise OutputError(f"{path}: this is a folder; name a file in it")
        _require_place(path)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
                file.writelines([content] if isinstance(content, str) else content)
            _open_up(Path(name), 0o666)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise


def write_folder(folder: Path, files: Mapping[str, str | bytes]) -> None:
    """Write a folder of files in one step, replacing only a folder that an earlier run made. Text becomes UTF-8.

    A name may lie in a folder within: ``slip-ring/profile.gbr``. A folder counts as made by an earlier run if its
    manifest names every file in it as well as every folder in it (``folders``), each of which has such a manifest.
    """
    with _told(folder):
        _require_ours(folder)
        _require_place(folder)
        fresh = Path(tempfile.mkdtemp(dir=folder.absolute().parent, prefix=f".{folder.name}."))
        try:
            for name, content in files.items():
                (fresh / name).parent.mkdir(parents=True, exist_ok=True)
                (fresh / name).write_bytes(content if isinstance(content, bytes) else content.encode())
            _open_up(fresh, 0o777)
            _swap(fresh, folder)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)


@contextmanager
def _told(place: Path) -> Iterator[None]:
    """What the system refuses becomes a message to the user."""
    try:
        yield
    except OSError as error:
        raise OutputError(f"{place}: cannot be written: {error.strerror}; choose another place") from None


def _require_place(path: Path) -> None:
    if not path.absolute().parent.is_dir():
        raise OutputError(f"{path}: the folder {path.parent} does not exist; make it first")


def _swap(fresh: Path, folder: Path) -> None:
    """Put ``fresh`` in the place of ``folder``; the old one is only dropped when the new one stands."""
    if not folder.exists():
        fresh.rename(folder)
        return
    old = fresh.with_name(f"{fresh.name}.old")
    folder.rename(old)
    try:
        fresh.rename(folder)
    except OSError:
        old.rename(folder)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _open_up(path: Path, mode: int) -> None:
    """Temporary names are private; give the file the mode that any new file would have."""
    mask = os.umask(0)
    os.umask(mask)
    path.chmod(mode & ~mask)


def _require_ours(folder: Path) -> None:
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise OutputError(f"{folder}: there is a file of this name; choose another folder")
    if not folder.exists() or not any(folder.iterdir()):
        return
    try:
        manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        known = {entry["name"] for entry in manifest["files"]} | {MANIFEST}
        folders = {str(name) for name in manifest.get("folders", [])}
    except (OSError, ValueError, KeyError, TypeError):
        raise OutputError(
            f"{folder}: this folder was not made by pcbstator and is left alone; choose another one"
        ) from None
    within = {entry.name for entry in folder.iterdir() if entry.is_dir() and not entry.is_symlink()} & folders
    foreign = sorted(
        entry.name
        for entry in folder.iterdir()
        if entry.name not in within and (entry.name not in known or entry.is_dir())
    )
    if foreign:
        raise OutputError(
            f"{folder}: it holds {foreign[0]}, which pcbstator did not make; move that or choose another folder"
        )
    for name in sorted(within):
        _require_ours(folder / name)
