"""The commands that look at many designs: explore, take, suggest."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pcbstator.errors import printable
from pcbstator.interrupts import INTERRUPTED
from pcbstator.output.terminal import tell

if TYPE_CHECKING:
    from pcbstator.study.records import Study
    from pcbstator.study.run import Progress, Watcher
    from pcbstator.study.workforce import Workforce

SECONDS_BETWEEN_LINES = 10.0  # of progress where no terminal shows a bar


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="Folder to fill.")
@click.option("--workers", type=click.IntRange(1, 256), help="Processes; as the study says, or one per core.")
@click.option("--scheduler", metavar="ADDRESS", help="A scheduler of dask.distributed, whose workers do the work.")
def explore(study: Path, output: Path, workers: int | None, scheduler: str | None) -> None:
    """Look at many designs as STUDY asks, and keep the best. The same command goes on after a stop."""
    if scheduler is not None:
        from pcbstator.study.cluster import require_scheduler

        require_scheduler(scheduler)  # before the rest is imported, so that a mistake is told at once
    from pcbstator.analysis.pipeline import package_version
    from pcbstator.output.files import write_file
    from pcbstator.output.study_report.csv_table import designs_csv
    from pcbstator.output.study_report.page import explore_text, study_files
    from pcbstator.study.load import load_study
    from pcbstator.study.results import gather, impossible_constraints
    from pcbstator.study.run import needs_search, run_study
    from pcbstator.study.search import require_library
    from pcbstator.study.store import open_store

    asked, stopped = load_study(study), False
    if needs_search(asked):
        require_library()  # before anything is written
    with _workforce(asked, workers, scheduler) as force, open_store(output, asked, package_version()) as store:
        try:
            with _shown_progress() as watch:
                run_study(asked, store, force, watch)
        except KeyboardInterrupt:
            stopped = True
        found = gather(asked, store)
        reasons = [] if found.feasible else impossible_constraints(asked, store)
        for name, text in study_files(found, printable(str(output.absolute()))).items():
            write_file(output / name, text, (".svg", ".html"))
        write_file(output / "designs.csv", designs_csv(asked, store), (".csv",))
    tell(explore_text(found, printable(str(output))))
    if stopped:
        click.echo(f"stopped after {found.designs} designs, all kept; the same command goes on", err=True)
        sys.exit(INTERRUPTED)
    if not found.feasible:
        click.echo("no design meets everything", err=True)
        for line in reasons:
            tell(f"  {line}\n", err=True)
        sys.exit(1)


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.argument("number", type=click.IntRange(1))
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="Design file to write.")
def take(folder: Path, number: int, output: Path) -> None:
    """Write design NUMBER of the study in FOLDER as a design file, and predict it."""
    from pcbstator.output.files import write_file
    from pcbstator.study.store import open_store
    from pcbstator.study.take import taken_design

    with open_store(folder) as store:
        taken = taken_design(store, number)
    write_file(output, taken.text, (".toml",))
    click.echo(f"{output}: written")
    tell(taken.words)
    if taken.recording and not (output.parent / taken.recording).is_file():
        click.echo(f"note: copy {taken.recording}, the recorded motion, into the folder of {output}")
    if taken.errors:
        sys.exit(1)


@click.command()
@click.argument("design", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Folder for a page and the design files.")
@click.option("--parts", type=click.Path(path_type=Path), help="A file of the magnets, plates and tracks to be had.")
@click.option("--workers", type=click.IntRange(1, 256), help="Processes; one per core without it.")
def suggest(design: Path, output: Path | None, parts: Path | None, workers: int | None) -> None:
    """Look for about six different designs that do what DESIGN asks: an envelope and a wish are enough."""
    from pcbstator.output.files import write_folder
    from pcbstator.output.study_report.suggested import PAGE, suggested_text
    from pcbstator.project import suggestion_files
    from pcbstator.study.suggestion.suggest import NothingMeetsError, suggestions

    try:
        with _shown_progress() as watch:
            found = suggestions(design, parts, workers or 0, watch)
    except KeyboardInterrupt:
        click.echo("stopped; nothing is kept of a suggestion", err=True)
        sys.exit(INTERRUPTED)
    except NothingMeetsError as nothing:
        tell(f"{nothing}\n", err=True)
        if output is not None and nothing.found is not None:
            write_folder(output, suggestion_files(nothing.found))
            click.echo(f"{output / PAGE}: shows the designs that would do", err=True)
        sys.exit(1)
    if output is not None:
        write_folder(output, suggestion_files(found))
    tell(suggested_text(found, output))


def _workforce(study: Study, workers: int | None, scheduler: str | None) -> AbstractContextManager[Workforce]:
    if scheduler is not None:
        from pcbstator.study.cluster import cluster_workforce

        return cluster_workforce(scheduler)
    from pcbstator.study.workforce import local_workforce

    return local_workforce(workers or study.workers)


@contextmanager
def _shown_progress() -> Iterator[Watcher]:
    """A bar on a terminal, else a line now and then; on the error output, so that results can be piped."""
    import time

    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn
    from rich.progress import Progress as Bar

    console = Console(stderr=True)
    if not console.is_terminal:
        last = [time.monotonic()]

        def line(progress: Progress) -> None:
            if time.monotonic() - last[0] >= SECONDS_BETWEEN_LINES:
                last[0] = time.monotonic()
                words = progress_words(progress)
                click.echo(f"{progress.stage}: {progress.done} of {progress.budget}, {words}", err=True)

        yield line
        return
    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TextColumn("{task.fields[words]}")
    with Bar(*columns, console=console, transient=True) as bar:
        task = bar.add_task("", total=None, words="")

        def show(progress: Progress) -> None:
            words = progress_words(progress)
            bar.update(task, description=progress.stage, completed=progress.done, total=progress.budget, words=words)

        yield show


def progress_words(progress: Progress) -> str:
    """Rate, time left, how many meet everything, and the best so far."""
    words = f"{progress.rate:.0f}/s" if progress.computed else "from the store"
    left = progress.seconds_left
    if left is not None and progress.done < progress.budget:
        words += f", {left / 60:.0f} min left" if left > 90 else f", {left:.0f} s left"
    words += f", {progress.feasible} meet all"
    for key, (number, value) in progress.best.items():
        words += f"; {key.rpartition('.')[2]} {value:.4g} ({number})"
    return words
