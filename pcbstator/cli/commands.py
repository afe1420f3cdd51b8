"""Words in, calls out. Exit 0 clean, 1 error findings or a failed check, 2 a mistake in the call or the design file,
130 after Ctrl-C.

Heavy imports wait inside the commands, so that help and mistakes answer at once.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pcbstator.cli.bench_commands import bench, compare
from pcbstator.cli.outline_commands import centrelines, outlines
from pcbstator.cli.page_command import page
from pcbstator.cli.solids_command import solids
from pcbstator.cli.study_commands import explore, suggest, take
from pcbstator.cli.verify_commands import verify
from pcbstator.errors import FindingsError, PcbstatorError
from pcbstator.interrupts import INTERRUPTED, STOPPED
from pcbstator.output.terminal import tell

if TYPE_CHECKING:
    from pcbstator.findings import Finding

# How many threads share a sum decides its last digit, so whatever the user has set, it is one: the same design gives
# the same bytes. Every library of linear algebra that numpy may be built on reads one of these when it is loaded.
THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")

DESIGN = click.argument("design", type=click.Path(path_type=Path))
OTHER = click.argument("other", type=click.Path(path_type=Path), required=False)
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")


class Commands(click.Group):
    """Commands that end with 130 after Ctrl-C; left to the library it would be 1, which means error findings."""

    def make_context(self, *args: Any, **named: Any) -> click.Context:
        """Reads the command line."""
        with _interrupts_told():
            return super().make_context(*args, **named)

    def invoke(self, ctx: click.Context) -> Any:
        """Runs what the command line names."""
        with _interrupts_told():
            return super().invoke(ctx)


@contextmanager
def _interrupts_told() -> Iterator[None]:
    try:
        yield
    except (KeyboardInterrupt, click.Abort):
        click.echo(STOPPED, err=True)
        sys.exit(INTERRUPTED)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="pcbstator")
def commands() -> None:
    """Design an axial-flux motor whose stator is a printed circuit board."""


@commands.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--with", "names", metavar="NAMES", help="Sections to give in full, with commas between; or: all.")
def start(file: Path, names: str | None) -> None:
    """Write a small design FILE to edit, never over another one; or add sections to one that is there."""
    from pcbstator.design import add_sections, standing_sections, write_starter

    if names is None or not file.exists():
        write_starter(file, names.split(",") if names else ())
        click.echo(f"{file}: written; edit it, then: pcbstator predict {file}")
    else:
        there, added = standing_sections(file, names.split(",")), add_sections(file, names.split(","))
        for words in there:
            click.echo(f"{file}: {words}")
        click.echo(
            f"{file}: {', '.join(f'[{name}]' for name in added)} added at its end; edit, then: pcbstator predict {file}"
        )


@commands.command()
@DESIGN
@OTHER
@AS_JSON
def predict(design: Path, other: Path | None, as_json: bool) -> None:
    """Print all results of DESIGN; with OTHER what differs between the two."""
    import pcbstator
    from pcbstator.output.files import json_text
    from pcbstator.output.side_by_side_words import side_by_side_text
    from pcbstator.output.tables import prediction_table
    from pcbstator.project import side_by_side

    if other is not None:
        pair = side_by_side(pcbstator.load_design(design), pcbstator.load_design(other))
        told, plain, findings = side_by_side_text(pair), pair.to_dict(), pair.design.findings + pair.other.findings
    else:
        found = pcbstator.predict(pcbstator.load_design(design))
        told, plain, findings = prediction_table(found), found.to_dict(), found.findings
    if as_json:
        click.echo(json_text(plain), nl=False)
    else:
        tell(told)
    _leave(findings)


@commands.command()
@DESIGN
@AS_JSON
@click.option("--requirement", is_flag=True, help="Judge [requirement] only; leave with 1 unless all of it is met.")
def check(design: Path, as_json: bool, requirement: bool) -> None:
    """Print only the findings about DESIGN."""
    import pcbstator
    from pcbstator.output.files import json_text
    from pcbstator.output.tables import findings_text, requirement_text

    prediction = pcbstator.predict(pcbstator.load_design(design))
    if requirement:
        if not prediction.requirement:
            raise click.UsageError(f"{design.name} states no [requirement]; docs/design-file.md has its keys")
        if as_json:
            click.echo(json_text({"requirement": [verdict.to_dict() for verdict in prediction.requirement]}), nl=False)
        else:
            tell(requirement_text(prediction.requirement))
        if any(verdict.verdict != "met" for verdict in prediction.requirement):
            sys.exit(1)
        return
    if as_json:
        click.echo(json_text({"findings": [finding.to_dict() for finding in prediction.findings]}), nl=False)
    else:
        tell(findings_text(prediction.findings))
    _leave(prediction.findings)


class Span(click.ParamType[Any]):
    """A range of whole numbers, written A:B, or one number."""

    name = "A:B"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> range:
        """The range with both ends."""
        if isinstance(value, range):
            return value
        first, _, last = str(value).partition(":")
        try:
            span = range(int(first), int(last or first) + 1)
        except ValueError:
            self.fail(f"{value!r} is not a range; write A:B, for example 6:24", param, ctx)
        if not span or span.start < 1 or span.stop > 401:
            self.fail(f"{value!r} must rise from 1 or more to 400 at the most", param, ctx)
        return span


@commands.command()
@click.option("--phases", type=click.IntRange(2, 15), default=3, show_default=True, help="Phases of the drive.")
@click.option("--coils", type=Span(), default="3:24", show_default=True, help="Coils, from A to B.")
@click.option("--poles", type=Span(), default="2:28", show_default=True, help="Poles, from C to D.")
@AS_JSON
def windings(phases: int, coils: range, poles: range, as_json: bool) -> None:
    """List the pairs of coils and poles that make a balanced winding."""
    from pcbstator.output.files import json_text
    from pcbstator.output.tables import windings_text
    from pcbstator.winding import feasible_windings

    found = feasible_windings(phases, coils, poles)
    if as_json:
        rows = [
            {"coils": w.coils, "poles": w.poles, "factor": w.factor, "parallel_paths": list(w.path_counts)}
            for w in found
        ]
        click.echo(json_text({"phases": phases, "windings": rows}), nl=False)
    else:
        tell(windings_text(phases, found))


@commands.command()
@DESIGN
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="SVG file to write.")
def draw(design: Path, output: Path) -> None:
    """Draw the stator of DESIGN, with the magnets over it."""
    import pcbstator
    from pcbstator.output.files import write_file
    from pcbstator.project import draw as stator_drawing

    write_file(output, stator_drawing(pcbstator.load_design(design)), (".svg",))
    click.echo(f"{output}: written")


@commands.command()
@DESIGN
@OTHER
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="HTML file to write.")
def report(design: Path, other: Path | None, output: Path) -> None:
    """Write one self-contained page about DESIGN; with OTHER about the two side by side."""
    import pcbstator
    from pcbstator.output.files import write_file
    from pcbstator.project import report as report_page
    from pcbstator.project import side_by_side, side_by_side_page

    asked = pcbstator.load_design(design)
    if other is not None:
        pair = side_by_side(asked, pcbstator.load_design(other))
        page, findings = side_by_side_page(pair), pair.design.findings + pair.other.findings
    else:
        prediction = pcbstator.predict(asked)
        page, findings = report_page(asked, prediction), prediction.findings
    write_file(output, page, (".html", ".htm"))
    click.echo(f"{output}: written")
    _leave(findings)


@commands.command()
@DESIGN
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="Folder to write.")
@click.option("--no-verify", is_flag=True, help="Do not read the files back.")
def make(design: Path, output: Path, no_verify: bool) -> None:
    """Write everything to order and build DESIGN into a folder: all or nothing.

    Nets and distances are read back from the files first; verify solves them.
    """
    import pcbstator
    from pcbstator.output.files import write_folder
    from pcbstator.output.tables import findings_text
    from pcbstator.output.verify_report.words import verification_text
    from pcbstator.project import make as folder_of
    from pcbstator.project import read_back

    asked = pcbstator.load_design(design)
    prediction = pcbstator.predict(asked)
    try:
        files = folder_of(asked, prediction)
    except FindingsError:
        tell(findings_text(prediction.findings), err=True)
        tell(f"{output}: not written, because of the errors above\n", err=True)
        sys.exit(1)
    back = None if no_verify else read_back(asked, files, prediction.laid)
    if back is not None and not back.sound:
        tell(verification_text(back), err=True)
        tell(f"{output}: not written, because the files do not say what was designed\n", err=True)
        sys.exit(1)
    write_folder(output, files)
    tell(findings_text(prediction.findings))
    click.echo(f"{output}: {len(files)} files written; open report.html first")
    if back is not None:
        words = f"every net in one piece, distances kept; resistance and torque: pcbstator verify {output}"
        click.echo(f"{output}: verified: {words}")


class Scenarios(click.ParamType[Any]):
    """Names of scenarios, with commas between."""

    name = "NAMES"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, ...]:
        """The names, each known."""
        if isinstance(value, tuple):
            return value
        from pcbstator.analysis.drive.simulation.scenarios import SCENARIOS

        names = tuple(dict.fromkeys(name.strip() for name in str(value).split(",")))
        unknown = [name for name in names if name not in SCENARIOS]
        if unknown:
            self.fail(f"{unknown[0]!r} is not one of {', '.join(SCENARIOS)}", param, ctx)
        return names


@commands.command()
@DESIGN
@click.option("--scenario", "scenarios", type=Scenarios(), help="moves, slow, approach, steps, hold; all by default.")
@click.option("--rotor", type=click.IntRange(min=0), help="Number of a motor drawn by [build]; perfect magnets else.")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Folder for page, figures, traces, parameters.")
@AS_JSON
def simulate(
    design: Path, scenarios: tuple[str, ...] | None, rotor: int | None, output: Path | None, as_json: bool
) -> None:
    """Run the drive of DESIGN against its load: moves, slow turn, repeatability, small steps, a push."""
    import pcbstator
    from pcbstator.output.files import json_text, write_folder
    from pcbstator.output.report.simulation import simulation_text
    from pcbstator.project import simulation_files

    asked = pcbstator.load_design(design)
    found = pcbstator.simulate(asked, scenarios or (), rotor=rotor)
    if output is not None:
        files = simulation_files(asked, found)
        write_folder(output, files)
        click.echo(f"{output}: {len(files)} files written; open simulation.html first", err=as_json)
    if as_json:
        click.echo(json_text(found.to_dict()), nl=False)
    else:
        tell(simulation_text(found))
    _leave(found.prediction.findings)


commands.add_command(centrelines)
commands.add_command(outlines)
commands.add_command(compare)
commands.add_command(explore)
commands.add_command(take)
commands.add_command(suggest)
commands.add_command(bench)
commands.add_command(page)
commands.add_command(verify)
commands.add_command(solids)


def _leave(findings: Iterable[Finding]) -> None:
    """Exit 1 where a finding is an error."""
    if any(finding.severity == "error" for finding in findings):
        sys.exit(1)


def main() -> None:
    """Run a command; a mistake of the user is told in words, with exit 2."""
    os.environ.update(dict.fromkeys(THREADS, "1"))  # the matrices are small: more would only cost
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # names that are no UTF-8, terminals that know few letters
    try:
        commands()
    except PcbstatorError as error:
        tell(f"{error}\n", err=True)
        sys.exit(2)
    except BrokenPipeError:
        _drop_output()
        sys.exit(1)
    except OSError as error:  # a full disk, above all
        _drop_output()
        with suppress(OSError):  # where errors cannot be written either, the exit code has to do
            tell(f"{error.filename or 'the output'}: {error.strerror}\n", err=True)
        sys.exit(2)


def _drop_output() -> None:
    """What still waits to be written would only fail again when the process ends."""
    with suppress(OSError):  # a stream without a file, as tests have it
        output = sys.stdout.fileno()
        os.dup2(os.open(os.devnull, os.O_WRONLY), output)
