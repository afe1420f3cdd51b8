"""The errors a user can meet. Each carries text that says what to do; none is shown as a traceback."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


def printable(text: str) -> str:
    """Text without control characters, so that it cannot steer a terminal, and without bytes that are no UTF-8.

    >>> printable("a\\x1b[2J.toml"), printable("a\\udcff.toml")
    ('a?[2J.toml', 'a?.toml')
    """
    return "".join(character if character.isprintable() else "?" for character in text)


class PcbstatorError(Exception):
    """Any mistake that the user can mend."""


@dataclass(frozen=True)
class Complaint:
    """One thing that is wrong in a design: the key, what must hold, what came and the way out.

    ways: values of keys, each by itself a way out.
    """

    key: str
    rule: str
    value: str = ""
    remedy: str = ""
    ways: tuple[Mapping[str, object], ...] = field(default=(), compare=False)

    def __str__(self) -> str:
        """One line: ``key: rule; got value; remedy``."""
        parts = [self.rule]
        if self.value:
            parts.append(f"got {self.value}")
        if self.remedy:
            parts.append(self.remedy)
        return f"{self.key}: " + "; ".join(parts)


class DesignError(PcbstatorError):
    """A design that cannot be taken, with every complaint at once.

    ``source`` is the file name (or another name for where the design came from).
    """

    def __init__(self, source: str, complaints: list[Complaint] | tuple[Complaint, ...]) -> None:
        source = printable(source)
        self.source = source
        self.complaints = tuple(complaints)
        super().__init__("\n".join(f"{source}: {complaint}" for complaint in self.complaints))


class FilesError(PcbstatorError):
    """Fabrication files that cannot be read, with every complaint; ``source`` is the file or folder."""

    def __init__(self, source: str, complaints: list[Complaint] | tuple[Complaint, ...]) -> None:
        source = printable(source)
        self.source = source
        self.complaints = tuple(complaints)
        super().__init__("\n".join(f"{source}: {printable(str(complaint))}" for complaint in self.complaints))


class LawRangeError(PcbstatorError, ValueError):
    """A law was asked for something outside the range it holds for."""


class OutputError(PcbstatorError):
    """A file or folder that cannot be written as asked."""


class FindingsError(PcbstatorError):
    """A design with findings that are errors: it cannot be built, or would do harm."""

    def __init__(self, source: str, messages: list[str]) -> None:
        self.messages = tuple(messages)
        super().__init__("\n".join(f"{printable(source)}: error: {message}" for message in messages))


class MissingLibraryError(PcbstatorError):
    """An optional library that a command needs is not there."""


def install_words(extra: str) -> str:
    """How an optional part of the program is installed: as README.md and docs/studies.md say it."""
    return f"in the clone of pcbstator, .venv/bin/pip install '.[{extra}]'"
