"""What takes longer than an answer, each a function that tells how it goes on; run in a process of its own."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pcbstator import project
from pcbstator.errors import OutputError, PcbstatorError

if TYPE_CHECKING:
    from pcbstator.design import Design
    from pcbstator.study.results import Found
    from pcbstator.study.run import Progress

Tell = Callable[[dict[str, Any]], None]
BETWEEN_WORDS, BETWEEN_PICTURES = 0.2, 2.0  # s
MOST_CHOICES = 30  # of a Pareto front in the list


@dataclass(frozen=True)
class Asked:
    """What is asked: the design's text, its file's name and folder, the folder or file that the user names below that
    one, and what else the task needs.
    """

    text: str
    source: str
    home: Path
    place: str
    more: dict[str, Any]

    @property
    def design(self) -> Design:
        """The design."""
        return project.design_of_text(self.text, self.source, self.home)

    @property
    def folder(self) -> Path:
        """The folder, or file, that the user names; OutputError where it does not lie below the design's."""
        place = self.home / self.place
        named = bool(self.place.strip()) and self.place.isprintable()
        if not named or self.home.resolve() not in place.resolve().parents:
            raise OutputError(f"{self.place!r}: name a place below the folder of the design, {self.home}")
        return place

    def written(self, files: project.Files, first: str, tell: Tell) -> dict[str, Any]:
        """Writes the folder that the user names, and shows the page in it that is to be opened first."""
        tell({"words": "writing"})
        project.write_files(self.folder, files)
        page = files[first]
        return {"words": f"{self.place}: {len(files)} files written; open {first} first",
                "html": page.decode() if isinstance(page, bytes) else page}  # fmt: skip


def make(asked: Asked, tell: Tell) -> dict[str, Any]:
    """Everything to order and build."""
    folder, design = asked.folder, asked.design
    tell({"words": f"predicting, for {folder.name}"})
    prediction = project.predict(design)
    tell({"words": "drawing boards, rotor and report"})
    return asked.written(project.make(design, prediction), "report.html", tell)


def bench(asked: Asked, tell: Tell) -> dict[str, Any]:
    """The sheet to measure the built motor by."""
    folder, design = asked.folder, asked.design
    if (folder / "bench.toml").exists():
        raise OutputError(f"{asked.place}: holds a bench.toml, perhaps with readings; choose another folder")
    tell({"words": "predicting what to expect"})
    return asked.written(project.bench_sheet(design), "bench-sheet.html", tell)


def simulate(asked: Asked, tell: Tell) -> dict[str, Any]:
    """The drive in time against its load."""
    folder, design = asked.folder, asked.design
    tell({"words": f"running the drive, for {folder.name}; the first run of all compiles for some seconds"})
    found = project.simulate(design)
    return asked.written(project.simulation_files(design, found), "simulation.html", tell)


def compare(asked: Asked, tell: Tell) -> dict[str, Any]:
    """Readings of the built motor beside what is predicted."""
    place, design = asked.folder, asked.design
    tell({"words": f"setting {place.name} beside the prediction"})
    files = project.comparison_files(project.compare(design, place))
    page = files["comparison.html"]
    return {"words": "compared", "html": page.decode() if isinstance(page, bytes) else page}


def verify(asked: Asked, tell: Tell) -> dict[str, Any]:
    """The written files read back and solved."""
    tell({"words": f"reading {asked.folder.name} back"})
    found = project.verify(asked.folder, asked.design)
    page = project.verification_files(found)["verify.html"]
    words = f"{asked.place}: {len(found.findings)} findings"
    return {"words": words, "html": page.decode() if isinstance(page, bytes) else page}


def details(asked: Asked, tell: Tell) -> dict[str, Any]:
    """The report, with all its figures."""
    tell({"words": "drawing the figures of the report"})
    return {"words": "the report of the design as it stands", "html": project.report(asked.design)}


def beside(asked: Asked, tell: Tell) -> dict[str, Any]:
    """The design beside a second one, whose text the user gives."""
    other = project.design_of_text(str(asked.more.get("other", "")), str(asked.more.get("name", "other")), asked.home)
    tell({"words": "predicting both"})
    found = project.side_by_side(asked.design, other)
    return {"words": f"{asked.source} beside {other.source}", "html": project.side_by_side_page(found)}


def suggest(asked: Asked, tell: Tell) -> dict[str, Any]:
    """Some designs that do what is asked and differ in kind."""
    from pcbstator.design.keys import sections

    last = [0.0]

    def watch(progress: Progress) -> None:
        if time.monotonic() - last[0] > BETWEEN_WORDS:
            last[0] = time.monotonic()
            tell(progress_data(progress))

    design = asked.design if "winding" in sections() and "[winding]" in asked.text else None
    if design is None:
        raise OutputError("this text states no machine; run: pcbstator suggest " + asked.source)
    found = project.suggest(design, watch=watch)
    page = project.suggestion_files(found)["suggestions.html"]
    return {
        "words": f"{len(found.found)} designs of {found.looked} that were looked at",
        "html": page.decode() if isinstance(page, bytes) else page,
        "choices": [{"name": one.name, "words": one.words, "text": one.text} for one in found.found],
    }


def explore(asked: Asked, tell: Tell) -> dict[str, Any]:
    """A study of the design as it stands: the user says what is varied and what is wanted."""
    folder, shown = asked.folder, [0.0, 0.0]
    study = project.study_of(asked.design, dict(asked.more.get("study", {})))

    def watch(progress: Progress, gather: Callable[[], Found]) -> None:
        now = time.monotonic()
        if now - shown[0] < BETWEEN_WORDS:
            return
        shown[0], event = now, progress_data(progress)
        if progress.feasible and now - shown[1] > BETWEEN_PICTURES:
            shown[1] = now
            event["picture"] = project.pareto_picture(gather())
        tell(event)

    found = project.explore(study, folder, watch=watch)
    keys = [objective.key for objective in study.objectives]
    choices = [
        {
            "number": best.number,
            "name": f"design {best.number}",
            "words": ", ".join(f"{key.rpartition('.')[2]} {best.results[key]:.4g}" for key in keys),
        }
        for best in found.pareto_front[:MOST_CHOICES]
    ]
    words = f"{found.designs} designs, {found.feasible} meet everything, all kept in {asked.place}"
    return {"words": words, "picture": project.pareto_picture(found), "choices": choices, "place": asked.place}


def progress_data(progress: Progress) -> dict[str, Any]:
    """Where a search stands."""
    words = f"{progress.stage}, {progress.feasible} meet everything"
    left = progress.seconds_left
    if left is not None and progress.done < progress.budget:
        words += f", {left:.0f} s left"
    return {"words": words, "done": progress.done, "of": progress.budget}


TASKS: dict[str, Callable[[Asked, Tell], dict[str, Any]]] = {
    "make": make, "bench": bench, "simulate": simulate, "compare": compare, "verify": verify, "details": details,
    "beside": beside, "suggest": suggest, "explore": explore,
}  # fmt: skip


def carry_out(name: str, asked: Asked, tell: Tell) -> None:
    """Runs a task and tells its end: what came of it, or why nothing did."""
    try:
        tell({"end": "done", **TASKS[name](asked, tell)})
    except PcbstatorError as error:
        tell({"end": "failed", "words": str(error)})
    except OSError as error:
        tell({"end": "failed", "words": f"{error.filename or 'the output'}: {error.strerror}"})
    except KeyboardInterrupt:
        tell({"end": "stopped", "words": "stopped"})
