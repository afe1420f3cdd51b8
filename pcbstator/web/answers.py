"""From the text of a design to what the page shows of it. Stages are kept between requests; nothing else is: each
request brings its whole text, so that two pages cannot mix.
"""

from __future__ import annotations

import contextlib
import hashlib
import tomllib
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pcbstator import project
from pcbstator.design.keys import keys, sections
from pcbstator.design.quantities import Quantity, WordOr
from pcbstator.errors import Complaint, DesignError, OutputError, PcbstatorError
from pcbstator.web.knobs import cure_of

if TYPE_CHECKING:
    from pcbstator.analysis.prediction import Prediction

PREDICTIONS = 4  # that are kept


class Answers:
    """Answers about one design file, in one thread. whole: with the motor as built and the ways out, which take most of
    the time; else at once, without them.
    """

    def __init__(self, path: Path, whole: bool) -> None:
        self.path, self.whole = path.resolve(), whole  # a link stays one when the design is saved
        self.kept = project.keep_stages()
        self.content = self.path.read_bytes()
        self.saved: Prediction | None = None
        self._last: OrderedDict[str, Prediction] = OrderedDict()

    @property
    def text(self) -> str:
        """The file as it was last read or saved, with plain ends of lines."""
        return self.content.decode("utf-8-sig", errors="replace").replace("\r\n", "\n")

    def look(self, content: bytes) -> None:
        """Predicts the saved design: what changes are told against."""
        self.content = content
        try:
            self.saved = self.predicted(self.text)
        except PcbstatorError:
            self.saved = None

    def predicted(self, text: str) -> Prediction:
        """The prediction of a text, kept for a while."""
        name = hashlib.sha256(text.encode(errors="surrogatepass")).hexdigest()
        if name not in self._last:
            design = project.design_of_text(text, self.path.name, self.path.parent)
            self._last[name] = project.predict(design, kept=self.kept, whole=self.whole)
            while len(self._last) > PREDICTIONS:
                self._last.popitem(last=False)
        self._last.move_to_end(name)
        return self._last[name]

    def answer(self, text: str, settings: Mapping[str, Any], drawn: str) -> dict[str, Any]:
        """What the page shows of a text with some keys set.

        drawn: the mark of the drawings that the page has; they are left out where they would be the same.
        """
        found: dict[str, Any] = {"text": text, "whole": self.whole}
        try:
            if settings:
                values = {key: stated(key, value) for key, value in settings.items()}
                found["text"] = text = project.change_text(text, values)
            with contextlib.suppress(ValueError, RecursionError):  # what is no TOML is complained about below
                found["values"] = dict(flat_values(tomllib.loads(text)))
            return found | self._shown(self.predicted(text), drawn)
        except DesignError as error:
            return found | {"complaints": [complaint_data(one) for one in error.complaints]}
        except PcbstatorError as error:
            return found | {"complaints": [complaint_data(Complaint("design", str(error)))]}

    def results(self, text: str) -> list[dict[str, str]]:
        """Every result in words; nothing where there are none."""
        try:
            return list(project.page_answer(self.predicted(text))["results"])
        except PcbstatorError:
            return []

    def _shown(self, prediction: Prediction, drawn: str) -> dict[str, Any]:
        shown = project.page_answer(prediction, self.saved)
        del shown["results"]  # a table that is asked for by itself
        for finding in shown["findings"]:
            finding["key"] = cure_of(finding["code"], finding.get("where"))
        shown["drawn"] = hashlib.sha256("".join(shown["pictures"].values()).encode()).hexdigest()[:16]
        if shown["drawn"] == drawn:
            del shown["pictures"]
        return shown

    def changed_elsewhere(self) -> bool:
        """Whether another program has changed the file since it was read or saved here."""
        try:
            return self.path.read_bytes() != self.content
        except OSError:
            return True

    def save(self, text: str, over: bool) -> bytes:
        """Writes the design file whole or not at all, and returns it; over: also where another program changed it.

        Raises OutputError with the reason where it is not written.
        """
        if not over and self.changed_elsewhere():
            raise OutputError(f"{self.path.name}: was changed by another program since this page read it")
        head = "\ufeff" if self.content.startswith(b"\xef\xbb\xbf") else ""
        ends = "\r\n" if b"\r\n" in self.content else "\n"
        project.save_text(head + text.replace("\r\n", "\n").replace("\n", ends), self.path)
        self.look(self.path.read_bytes())
        return self.content


def stated(key: str, value: Any) -> Any:
    """The value of a key as a file has it: 3 mm is 3.0; Complaint where no such key or value can stand in a file."""
    if key not in keys() and not (key in sections() and value is None):
        raise DesignError("page", [Complaint(key, "is not a known key")])
    if not isinstance(value, bool | int | float | str | None):
        raise DesignError("page", [Complaint(key, "must be a number, a word or yes or no", remedy="edit the text")])
    kind = keys()[key][0].kind if key in keys() else None
    if isinstance(kind, Quantity | WordOr) and isinstance(value, int) and not isinstance(value, bool):
        return float(value) if abs(value) < 1e300 else value
    return value


def flat_values(table: Mapping[str, Any], path: str = "") -> Iterator[tuple[str, Any]]:
    """Plain values by dotted key; how many there are of lists of tables."""
    for name, value in table.items():
        key = f"{path}{name}"
        if isinstance(value, dict):
            yield from flat_values(value, f"{key}.")
        elif isinstance(value, bool | int | float | str):
            yield key, value if isinstance(value, str) or abs(value) < 1e300 else str(value)
        elif isinstance(value, list):
            yield key, f"{len(value)} in the text" if any(isinstance(one, dict) for one in value) else str(value)
        else:
            yield key, str(value)


def complaint_data(one: Complaint) -> dict[str, Any]:
    """A complaint as plain data, with its ways out."""
    return {"key": one.key, "rule": one.rule, "value": one.value, "remedy": one.remedy, "ways": list(one.ways)}
