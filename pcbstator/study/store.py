"""Every design of a study in one SQLite file, written as soon as it is known.

The rows are numbered in the order in which the study asks for them, which the seed alone decides. A study that goes on
after a stop asks again in the same order and finds its earlier answers here. Every row carries a seal, a sum over what
it holds and over the study that it belongs to, so that a damaged row or another study's is never taken for an answer.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import astuple, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import OutputError
from pcbstator.study.confirm import Confirmation
from pcbstator.study.records import Outcome, Point, Study, study_of, study_text

FILE = "designs.sqlite"
LOG = FILE + "-wal"  # what SQLite has not yet put into the file itself
OURS = 0x70636273  # tells our files from other programs' databases, in SQLite's own place for it
WAY_OUT = "choose another folder, or move this file away"
TABLES = f"""
PRAGMA application_id = {OURS};
CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL, seal TEXT NOT NULL);
CREATE TABLE designs (
    id INTEGER PRIMARY KEY,
    point TEXT NOT NULL,
    ruled_out TEXT NOT NULL,
    detail TEXT NOT NULL,
    shortage REAL NOT NULL,
    results TEXT NOT NULL,
    seal TEXT NOT NULL
);
CREATE TABLE confirmations (
    id INTEGER PRIMARY KEY,
    errors TEXT NOT NULL,
    warnings INTEGER NOT NULL,
    difference REAL NOT NULL,
    differs TEXT NOT NULL,
    seal TEXT NOT NULL
);
CREATE INDEX by_point ON designs (point);
CREATE INDEX by_reason ON designs (ruled_out);
"""


class Store:
    """The file of a study that runs or has run; use it in a ``with``."""

    def __init__(self, base: sqlite3.Connection, path: Path, study: Study) -> None:
        self.base = base
        self.path = path
        self.study = study

    def add(self, first: int, points: Sequence[Point], outcomes: Sequence[Outcome]) -> None:
        """Keeps some designs in a row, from number ``first`` on, at once and for good."""
        self.keep("designs", [
            (first + n, point_text(point), o.ruled_out, o.detail, float(o.shortage), json.dumps(o.results))
            for n, (point, o) in enumerate(zip(points, outcomes, strict=True))
        ])  # fmt: skip

    def keep(self, table: str, rows: Sequence[tuple[Any, ...]]) -> None:
        """Writes rows of a table with their seals; the first column tells them apart."""
        sealed = [(*row, self._seal(table, row)) for row in rows]
        places = ", ".join("?" * len(sealed[0]))
        with self.base:
            self.base.executemany(f"INSERT OR REPLACE INTO {table} VALUES ({places})", sealed)

    def _read(self, table: str, which: str = "", arguments: Sequence[Any] = ()) -> Iterator[tuple[Any, ...]]:
        """Rows of a table as they were written; OutputError for one that is not."""
        for *row, seal in self.base.execute(f"SELECT * FROM {table} {which}", arguments):
            if seal != self._seal(table, row):
                what = f"row {str(row[0])[:20]!r} of its table {table}"
                raise OutputError(f"{self.path}: {what} is damaged or of another study; {WAY_OUT}")
            yield tuple(row)

    def _seal(self, table: str, row: Sequence[Any]) -> str:
        told = repr((self.study.digest, table, *row)).encode(errors="backslashreplace")
        return hashlib.sha256(told).hexdigest()[:16]

    def verify(self) -> None:
        """Reads everything once; OutputError for what is damaged, of another study, or beyond the study's budgets."""
        for (found,) in self.base.execute("PRAGMA quick_check(1)"):
            if found != "ok":
                raise OutputError(f"{self.path}: is damaged: {' '.join(str(found).split())}; {WAY_OUT}")
        most = self.budgets()[-1]
        for table in ("about", "confirmations", "designs"):
            for row in self._read(table):
                if table == "designs" and not 1 <= row[0] <= most:
                    raise OutputError(f"{self.path}: holds a design {row[0]}, which nobody asked for; {WAY_OUT}")

    def stored(self, first: int, points: Sequence[Point]) -> list[Outcome] | None:
        """The outcomes of these designs if all of them are there."""
        rows = list(self._read("designs", "WHERE id >= ? AND id < ? ORDER BY id", (first, first + len(points))))
        if [row[1] for row in rows] != [point_text(point) for point in points]:
            return None
        return [_outcome(row) for row in rows]

    def number_of(self, point: Point, before: int) -> int | None:
        """The number, below ``before``, of an equal design."""
        row = self.base.execute(
            "SELECT id FROM designs WHERE point = ? AND id < ? LIMIT 1", (point_text(point), before)
        ).fetchone()
        return None if row is None else int(row[0])

    def outcome(self, number: int) -> tuple[Point, Outcome] | None:
        """One design by its number."""
        row = next(self._read("designs", "WHERE id = ?", (number,)), None)
        return None if row is None else (point_of(row[1]), _outcome(row))

    def known(self, number: int) -> tuple[Point, Outcome]:
        """One design that must be there; KeyError where it is not."""
        found = self.outcome(number)
        if found is None:
            raise KeyError(number)
        return found

    def rows(self, feasible_only: bool = False) -> Iterator[tuple[int, Point, Outcome]]:
        """Every design in the order of its number, one at a time."""
        which = "WHERE ruled_out = '' ORDER BY id" if feasible_only else "ORDER BY id"
        for row in self._read("designs", which):
            yield row[0], point_of(row[1]), _outcome(row)

    def reasons(self) -> dict[str, int]:
        """How many designs each reason ruled out, most first; "" stands for those that meet everything."""
        found = self.base.execute(
            "SELECT ruled_out, count(*) FROM designs GROUP BY ruled_out ORDER BY count(*) DESC, ruled_out"
        )
        return dict(found.fetchall())

    def detail_of(self, reason: str) -> str:
        """The words of the design that came nearest to what ruled it out."""
        row = self.base.execute(
            "SELECT detail FROM designs WHERE ruled_out = ? ORDER BY shortage, id LIMIT 1", (reason,)
        ).fetchone()
        return "" if row is None else str(row[0])

    def last(self) -> int:
        """The highest number."""
        return int(self.base.execute("SELECT coalesce(max(id), 0) FROM designs").fetchone()[0])

    def furthest(self) -> tuple[int, Outcome] | None:
        """Of the designs that were ruled out, the one that lacks least."""
        row = self.base.execute("SELECT id FROM designs WHERE ruled_out != '' ORDER BY shortage, id LIMIT 1").fetchone()
        found = None if row is None else self.outcome(row[0])
        return None if row is None or found is None else (int(row[0]), found[1])

    def columns(self, keys: Sequence[str]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Numbers (n,) of the designs that meet everything, and these results of theirs (n, keys); NaN for none."""
        numbers, values = [], []
        for number, _, outcome in self.rows(feasible_only=True):
            numbers.append(number)
            values.append([outcome.results.get(key, float("nan")) for key in keys])
        return np.array(numbers, dtype=np.int64), np.array(values, dtype=float).reshape(len(numbers), len(keys))

    def confirm(self, number: int, found: Confirmation) -> None:
        """Keeps what the full prediction of a design says."""
        self.keep("confirmations", [(number, *astuple(found))])

    def confirmation(self, number: int) -> Confirmation | None:
        """What the full prediction of a design says; None where there was none."""
        row = next(self._read("confirmations", "WHERE id = ?", (number,)), None)
        return None if row is None else Confirmation(*row[1:])

    def unfit(self) -> list[int]:
        """Numbers of the designs that the full prediction forbids to make."""
        return [row[0] for row in self.base.execute("SELECT id FROM confirmations WHERE errors != '' ORDER BY id")]

    def about(self, name: str) -> str | None:
        """A remark about the whole study."""
        row = next(self._read("about", "WHERE name = ?", (name,)), None)
        return None if row is None else str(row[1])

    def tell(self, name: str, value: str) -> None:
        """Keeps a remark about the whole study."""
        self.keep("about", [(name, value)])

    def budgets(self) -> list[int]:
        """The study's budgets, from the one that it began with to the present one, which is the largest."""
        return [int(budget) for budget in json.loads(self.about("budgets") or "[]")]

    def carry_further(self, budget: int) -> None:
        """Gives the study a larger budget."""
        with self.base:
            self.base.execute("DELETE FROM about WHERE name = 'finished'")
        self.tell("budgets", json.dumps([*self.budgets(), budget]))


def _outcome(row: Sequence[Any]) -> Outcome:
    """What became of the design in a row of the store."""
    return Outcome(json.loads(row[5]), row[2], row[3], row[4])


def point_text(point: Point) -> str:
    """A point as text that is equal for equal designs."""
    return json.dumps(point)


def point_of(text: str) -> Point:
    """The point of that text."""
    return tuple(json.loads(text))


@contextmanager
def open_store(folder: Path, study: Study | None = None, version: str = "") -> Iterator[Store]:
    """The store in a folder; with a study it is made where there is none, and must be of this study where there is.

    A study's budget may have grown since; what is then done goes on from what was. Raises OutputError for another
    study's or another version's store, for one in use, for one that is damaged, and for what is none.
    """
    path = folder / FILE
    if study is None and not path.is_file():
        raise OutputError(f"{folder}: holds no study; name the folder that pcbstator explore wrote")
    with ExitStack() as held:
        try:
            if study is None:
                base = held.enter_context(closing(_opened_to_read(path, held)))
                yield Store(base, path, _stored_study(base, path))
            else:
                folder.mkdir(parents=True, exist_ok=True)
                held.enter_context(_alone(folder))
                base = held.enter_context(closing(sqlite3.connect(path)))
                yield _claimed(base, path, study, version)
        except sqlite3.DatabaseError as error:
            raise OutputError(f"{path}: cannot be used: {error}; {WAY_OUT}") from None
        except OSError as error:
            raise OutputError(f"{folder}: cannot be written: {error.strerror}; choose another place") from None


def _opened_to_read(path: Path, held: ExitStack) -> sqlite3.Connection:
    """The file of a study that has run, also where nothing can be written beside it, as SQLite else would."""
    if os.access(path, os.W_OK) and os.access(path.parent, os.W_OK):
        return sqlite3.connect(path)
    log = path.with_name(LOG)
    if not (log.is_file() and log.stat().st_size):
        return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
    copies = Path(held.enter_context(tempfile.TemporaryDirectory()))  # left by a run that was killed
    for each in (path, log):
        shutil.copyfile(each, copies / each.name)
    return sqlite3.connect(copies / path.name)


def _require_ours(base: sqlite3.Connection, path: Path) -> None:
    if base.execute("PRAGMA application_id").fetchone()[0] != OURS:
        raise OutputError(f"{path}: is no study of this version of pcbstator and is left alone; {WAY_OUT}")


def _stored_study(base: sqlite3.Connection, path: Path) -> Study:
    """The study that a file is about, with the last of its budgets."""
    _require_ours(base, path)
    row = base.execute("SELECT value FROM about WHERE name = 'study'").fetchone()
    try:
        study = study_of(row[0])
        store = Store(base, path, study)
        store.about("study")  # whose seal is over what it says itself
        return replace(study, budget=store.budgets()[-1])
    except (LookupError, TypeError, ValueError, AttributeError):
        raise OutputError(f"{path}: what it says about its study is damaged; {WAY_OUT}") from None


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Keeps the folder from a second run; the system lets go of it even where a run is killed."""
    try:
        import fcntl
    except ImportError:  # systems without such locks go without
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    except BlockingIOError:
        raise OutputError(f"{folder}: another run is at work there; wait for it, or stop it") from None
    finally:
        os.close(handle)


def _claimed(base: sqlite3.Connection, path: Path, study: Study, version: str) -> Store:
    """A store for a run of a study: made where there is nothing, else seen to be sound and of this study."""
    store = Store(base, path, study)
    if base.execute("SELECT name FROM sqlite_master LIMIT 1").fetchone():
        _require_ours(base, path)
        known = _stored_study(base, path)
        if known.digest != study.digest:
            raise OutputError(f"{path}: holds designs of another study; {WAY_OUT}")
        store.verify()
        if store.about("version") != version:
            raise OutputError(f"{path}: holds designs of another version; {WAY_OUT}")
        if study.budget < known.budget:
            rule = f"the study there has a budget of {known.budget}, more than {study.budget}"
            raise OutputError(f"{path}: {rule}; write budget = {known.budget} or more, or choose another folder")
        base.execute("PRAGMA synchronous = NORMAL")
        if known != study:
            store.tell("study", study_text(study))
        if study.budget > known.budget:
            store.carry_further(study.budget)
        return store
    base.execute("PRAGMA journal_mode = WAL")
    base.execute("PRAGMA synchronous = NORMAL")  # a power cut may cost the last designs, never the file
    base.executescript("BEGIN;" + TABLES)  # ended with the rows, so that a file has all of this or nothing
    about = ("version", version), ("study", study_text(study)), ("budgets", json.dumps([study.budget]))
    store.keep("about", about)
    return store
