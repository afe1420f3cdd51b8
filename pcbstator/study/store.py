"""Every design of a study in one SQLite file, written as soon as it is known.

The rows are numbered in the order in which the study asks for them, which the seed alone decides. A study that goes on
after a stop asks again in the same order and finds its earlier answers here.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import asdict, astuple
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import OutputError
from pcbstator.study.confirm import Confirmation
from pcbstator.study.records import Option, Outcome, Point, Study, Variable

FILE = "designs.sqlite"
TABLES = """
CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE designs (
    id INTEGER PRIMARY KEY,
    point TEXT NOT NULL,
    ruled_out TEXT NOT NULL,
    detail TEXT NOT NULL,
    shortage REAL NOT NULL,
    results TEXT NOT NULL
);
CREATE TABLE confirmations (
    id INTEGER PRIMARY KEY,
    errors TEXT NOT NULL,
    warnings INTEGER NOT NULL,
    difference REAL NOT NULL,
    differs TEXT NOT NULL
);
CREATE INDEX by_point ON designs (point);
CREATE INDEX by_reason ON designs (ruled_out);
"""


class Store:
    """The file of a study that runs or has run; use it in a ``with``."""

    def __init__(self, base: sqlite3.Connection, path: Path) -> None:
        self.base = base
        self.path = path

    def add(self, first: int, points: Sequence[Point], outcomes: Sequence[Outcome]) -> None:
        """Keeps some designs in a row, from number ``first`` on, at once and for good."""
        rows = [
            (first + n, point_text(point), o.ruled_out, o.detail, o.shortage, json.dumps(o.results))
            for n, (point, o) in enumerate(zip(points, outcomes, strict=True))
        ]
        with self.base:
            self.base.executemany("INSERT OR REPLACE INTO designs VALUES (?, ?, ?, ?, ?, ?)", rows)

    def stored(self, first: int, points: Sequence[Point]) -> list[Outcome] | None:
        """The outcomes of these designs if all of them are there."""
        rows = self.base.execute(
            "SELECT point, ruled_out, detail, shortage, results FROM designs WHERE id >= ? AND id < ? ORDER BY id",
            (first, first + len(points)),
        ).fetchall()
        if [row[0] for row in rows] != [point_text(point) for point in points]:
            return None
        return [Outcome(json.loads(row[4]), row[1], row[2], row[3]) for row in rows]

    def number_of(self, point: Point, before: int) -> int | None:
        """The number, below ``before``, of an equal design."""
        row = self.base.execute(
            "SELECT id FROM designs WHERE point = ? AND id < ? LIMIT 1", (point_text(point), before)
        ).fetchone()
        return None if row is None else int(row[0])

    def outcome(self, number: int) -> tuple[Point, Outcome] | None:
        """One design by its number."""
        row = self.base.execute(
            "SELECT point, ruled_out, detail, shortage, results FROM designs WHERE id = ?", (number,)
        ).fetchone()
        return None if row is None else (point_of(row[0]), Outcome(json.loads(row[4]), row[1], row[2], row[3]))

    def known(self, number: int) -> tuple[Point, Outcome]:
        """One design that must be there; KeyError where it is not."""
        found = self.outcome(number)
        if found is None:
            raise KeyError(number)
        return found

    def rows(self, feasible_only: bool = False) -> Iterator[tuple[int, Point, Outcome]]:
        """Every design in the order of its number, one at a time."""
        which = "WHERE ruled_out = ''" if feasible_only else ""
        for row in self.base.execute(
            f"SELECT id, point, ruled_out, detail, shortage, results FROM designs {which} ORDER BY id"
        ):
            yield row[0], point_of(row[1]), Outcome(json.loads(row[5]), row[2], row[3], row[4])

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

    def settings(self, point: Point) -> dict[str, Any]:
        """Values by key of the design at a point, without the study's file."""
        found: dict[str, Any] = {}
        for plain, place in zip(json.loads(self.about("variables") or "[]"), point, strict=True):
            options = tuple(Option(o["label"], tuple(map(tuple, o["settings"]))) for o in plain["options"])
            also = tuple((key, offset) for key, offset in plain["also"])
            found |= Variable(**(plain | {"options": options, "also": also})).settings(place)
        return found

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
        with self.base:
            self.base.execute(
                "INSERT OR REPLACE INTO confirmations VALUES (?, ?, ?, ?, ?)", (number, *astuple(found))
            )

    def confirmation(self, number: int) -> Confirmation | None:
        """What the full prediction of a design says; None where there was none."""
        row = self.base.execute(
            "SELECT errors, warnings, difference, differs FROM confirmations WHERE id = ?", (number,)
        ).fetchone()
        return None if row is None else Confirmation(*row)

    def unfit(self) -> list[int]:
        """Numbers of the designs that the full prediction forbids to make."""
        return [row[0] for row in self.base.execute("SELECT id FROM confirmations WHERE errors != '' ORDER BY id")]

    def about(self, name: str) -> str | None:
        """A remark about the whole study."""
        row = self.base.execute("SELECT value FROM about WHERE name = ?", (name,)).fetchone()
        return None if row is None else str(row[0])

    def tell(self, name: str, value: str) -> None:
        """Keeps a remark about the whole study."""
        with self.base:
            self.base.execute("INSERT OR REPLACE INTO about VALUES (?, ?)", (name, value))


def point_text(point: Point) -> str:
    """A point as text that is equal for equal designs."""
    return json.dumps(point)


def point_of(text: str) -> Point:
    """The point of that text."""
    return tuple(json.loads(text))


@contextmanager
def open_store(folder: Path, study: Study | None = None, version: str = "") -> Iterator[Store]:
    """The store in a folder; with a study it is made where there is none, and must be of this study where there is.

    Raises OutputError for another study's or another version's store, for one in use, and for what is none.
    """
    path = folder / FILE
    if study is None and not path.is_file():
        raise OutputError(f"{folder}: holds no study; name the folder that pcbstator explore wrote")
    with ExitStack() as held:
        try:
            if study is not None:
                folder.mkdir(parents=True, exist_ok=True)
                held.enter_context(_alone(folder))
            base = held.enter_context(closing(sqlite3.connect(path)))
            store = Store(base, path)
            if study is not None:
                _claim(store, study, version)
            yield store
        except sqlite3.DatabaseError as error:
            raise OutputError(f"{path}: cannot be used: {error}; choose another folder") from None
        except OSError as error:
            raise OutputError(f"{folder}: cannot be written: {error.strerror}; choose another place") from None


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


def _claim(store: Store, study: Study, version: str) -> None:
    """Makes the tables, or sees to it that they are this study's."""
    base = store.base
    base.execute("PRAGMA journal_mode = WAL")
    base.execute("PRAGMA synchronous = NORMAL")  # a power cut may cost the last designs, never the file
    if not base.execute("SELECT name FROM sqlite_master WHERE name = 'about'").fetchone():
        base.executescript("BEGIN;" + TABLES + "COMMIT;")
        for name, value in (
            ("digest", study.digest),
            ("version", version),
            ("title", study.title),
            ("design", study.design_text),
            ("folder", study.folder),
            ("variables", json.dumps([asdict(variable) for variable in study.variables])),
        ):
            store.tell(name, value)
    for name, value, what in (("digest", study.digest, "another study"), ("version", version, "another version")):
        if store.about(name) != value:
            raise OutputError(f"{store.path}: holds designs of {what}; choose another folder, or move this one away")
