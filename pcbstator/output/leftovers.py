"""What is being written, beside the place where it will stand, and what a killed run has left there.

Whoever writes holds a lock on it. The system lets go of the lock of a process that was killed, so what nobody holds is
a leftover.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # systems without such locks go without, and nothing is cleared there
    fcntl = None  # type: ignore[assignment]

OLD = ".old"  # ends the name of what was put aside for what is new


@contextmanager
def unfinished(make: Callable[[], Path]) -> Iterator[Path]:
    """A new file or folder that no other run takes for a leftover; what is still there at the end is dropped."""
    handle, fresh = None, make()
    while fcntl is not None:
        handle = os.open(fresh, os.O_RDONLY)
        with suppress(OSError):  # a file system without locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        if fresh.exists():  # else another run has cleared it in between
            break
        os.close(handle)
        fresh = make()
    try:
        yield fresh
    finally:
        _drop(fresh)
        if handle is not None:
            os.close(handle)


def clear_leftovers(home: Path, prefix: str, place: Path) -> None:
    """Drop what killed runs have left in ``home`` under names with this prefix.

    What they had put aside goes back to its ``place`` where nothing new stands there.
    """
    for left in sorted(entry for entry in home.iterdir() if entry.name.startswith(prefix)):
        with _unowned(left.with_name(left.name.removesuffix(OLD))) as free:
            if not free:
                continue
            if left.name.endswith(OLD) and not place.exists():
                left.rename(place)
            else:
                _drop(left)


@contextmanager
def _unowned(path: Path) -> Iterator[bool]:
    """Whether nobody is at work on this; nobody can begin before the end."""
    if fcntl is None:
        yield False
        return
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError as error:
        yield isinstance(error, FileNotFoundError)
        return
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        free = True
    except OSError:
        free = False
    try:
        yield free
    finally:
        os.close(handle)


def _drop(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        path.unlink(missing_ok=True)
