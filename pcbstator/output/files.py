"""Files and folders appear whole or not at all: they are written beside their place and then renamed."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path

from pcbstator.errors import OutputError
from pcbstator.output.leftovers import OLD, clear_leftovers, unfinished

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
        if not path.absolute().parent.is_dir():
            raise OutputError(f"{path}: the folder {path.parent} does not exist; make it first")
        prefix = _prefix(path)
        clear_leftovers(path.parent, prefix, path)
        with unfinished(partial(_new_file, path.parent, prefix)) as fresh:
            with fresh.open("w", encoding="utf-8", newline="\n") as file:
                file.writelines([content] if isinstance(content, str) else content)
            _open_up(fresh, 0o666)
            fresh.replace(path)


def write_folder(folder: Path, files: Mapping[str, str | bytes]) -> None:
    """Write a folder of files in one step, replacing only a folder that an earlier run made. Text becomes UTF-8.

    A name may lie in a folder within: ``slip-ring/profile.gbr``. A folder counts as made by an earlier run if its
    manifest names every file in it as well as every folder in it (``folders``), each of which has such a manifest.
    Folders above it that are missing are made.
    """
    with _told(folder):
        place = Path(os.path.abspath(folder))  # noqa: PTH100  Path.absolute keeps "." and ".."
        if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
            raise OutputError(f"{folder}: there is a file of this name; choose another folder")
        stays = place.is_dir() and (place.is_mount() or place.samefile(Path.cwd()))
        home, prefix = place if stays else place.parent, _prefix(place)
        for near in (place.parent, place):  # a run of another working folder may have written at the other one
            if near.is_dir():
                clear_leftovers(near, prefix, place)
        _require_ours(folder)
        with _made(home), unfinished(lambda: Path(tempfile.mkdtemp(dir=home, prefix=prefix))) as fresh:
            for name, content in files.items():
                (fresh / name).parent.mkdir(parents=True, exist_ok=True)
                (fresh / name).write_bytes(content if isinstance(content, bytes) else content.encode())
            _open_up(fresh, 0o777)
            (_fill if stays else _swap)(fresh, place)


@contextmanager
def _told(place: Path) -> Iterator[None]:
    """What the system refuses becomes a message to the user."""
    try:
        yield
    except OSError as error:
        raise OutputError(f"{place}: cannot be written: {error.strerror}; choose another place") from None


def _prefix(place: Path) -> str:
    """How the names of what is not yet in ``place`` begin; nothing of the user's has such a name."""
    return f".{place.name}.pcbstator-"


def _new_file(home: Path, prefix: str) -> Path:
    handle, name = tempfile.mkstemp(dir=home, prefix=prefix)
    os.close(handle)
    return Path(name)


@contextmanager
def _made(home: Path) -> Iterator[None]:
    """The folders down to this one, made where they are missing, and taken away again where nothing comes of it."""
    missing = [folder for folder in (home, *home.parents) if not folder.exists()]
    home.mkdir(parents=True, exist_ok=True)
    try:
        yield
    except BaseException:
        with suppress(OSError):  # what else has come there meanwhile stays
            for folder in missing:
                folder.rmdir()
        raise


def _swap(fresh: Path, folder: Path) -> None:
    """Put ``fresh`` in the place of ``folder``; the old one is only dropped when the new one stands."""
    if not folder.exists():
        fresh.rename(folder)
        return
    old = fresh.with_name(f"{fresh.name}{OLD}")
    folder.rename(old)
    try:
        fresh.rename(folder)
    except OSError:
        old.rename(folder)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _fill(fresh: Path, folder: Path) -> None:
    """Put what is in ``fresh`` into a folder that keeps its own place: the working folder, or a mount.

    All the while a manifest stands there that names every file, so that what a killed run leaves can be replaced.
    """
    old, manifest = fresh.with_name(f"{fresh.name}{OLD}"), folder / MANIFEST
    earlier = [entry for entry in folder.iterdir() if entry not in (fresh, manifest)]
    old.mkdir()
    back: list[tuple[Path, Path]] = []
    try:
        for entry in earlier:
            back.append((entry.rename(old / entry.name), entry))
        if manifest.exists():
            back.append((Path(shutil.copy2(manifest, old / MANIFEST)), manifest))
        for entry in sorted(fresh.iterdir(), key=lambda entry: entry.name != MANIFEST):
            back.append((entry.replace(folder / entry.name), entry))
    except BaseException:
        for moved, entry in reversed(back):
            moved.replace(entry)
        old.rmdir()
        raise
    shutil.rmtree(old, ignore_errors=True)


def _open_up(path: Path, mode: int) -> None:
    """Temporary names are private; give the file the mode that any new file would have."""
    mask = os.umask(0)
    os.umask(mask)
    path.chmod(mode & ~mask)


def _require_ours(folder: Path) -> None:
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
