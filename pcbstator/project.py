"""The one facade: the whole job as functions, for scripts, for the command line and for a page.

Results are records, text or bytes; ``write_files`` and ``save_design`` put them on disk, whole or not at all. Heavy
libraries are imported on the first call that needs them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pcbstator.analysis.drive.simulation.scenarios import Simulation
    from pcbstator.analysis.kept import Kept
    from pcbstator.analysis.prediction import Prediction
    from pcbstator.bench.result import Comparison
    from pcbstator.check.side_by_side import SideBySide
    from pcbstator.copper import Copper
    from pcbstator.copper.plain_board import PlainBoard
    from pcbstator.design import Design, SizedDesign
    from pcbstator.findings import Finding
    from pcbstator.study.records import Study
    from pcbstator.study.results import Found
    from pcbstator.study.run import Progress, Watcher
    from pcbstator.study.suggestion.suggest import Suggestions
    from pcbstator.study.take import Taken
    from pcbstator.verify.verified import Verification

    FoundWatcher = Callable[[Progress, Callable[[], Found]], None]

Place = str | PathLike[str]
Files = dict[str, str | bytes]


def load_design(path: Place) -> Design:
    """Read and check a design file.

    Raises DesignError with every complaint at once.
    """
    from pcbstator.design import Design
    from pcbstator.design import load_design as load

    Design.drawing = draw  # what a notebook shows; the design itself knows nothing of this file
    return load(path)


def save_design(design: Design, path: Place) -> None:
    """Write a design as a file that gives it again, with the comments of the file it came from.

    Raises OutputError where the file cannot be written.
    """
    from pcbstator.design.file_text import design_file
    from pcbstator.output.files import write_file

    write_file(Path(path), design_file(design).decode("utf-8-sig"), (".toml",))


def design_of_text(text: str, source: str = "design", folder: Path | None = None) -> Design:
    """The design in the text of a design file; source: its name in messages; folder: of a recorded motion.

    Raises DesignError with every complaint at once.
    """
    from pcbstator.design import design_from_text

    return design_from_text(text, source, folder)


def change_text(text: str, settings: Mapping[str, object]) -> str:
    """The text of a design file with the values of dotted keys set, None: taken away; its comments stay.

    Raises DesignError where the text is no TOML, or a key has no place in it.
    """
    from pcbstator.design.file_text import checked_change

    return checked_change(text, settings)


def save_text(text: str, path: Place) -> None:
    """Write the text of a design file, whole or not at all.

    Raises OutputError where the file cannot be written.
    """
    from pcbstator.output.files import write_file

    write_file(Path(path), text, (".toml",))


def size_design(design: Design) -> SizedDesign:
    """The design with numbers where it says "fill".

    Raises DesignError where nothing fits.
    """
    from pcbstator.copper import size_design as sized

    return sized(design)


def lay_copper(design: Design) -> Copper:
    """The real geometry: tracks, vias and terminals.

    Raises DesignError where the winding cannot be balanced or the copper does not fit, with what would.
    """
    from pcbstator.copper import lay_copper as lay

    return lay(design)


def lay_slip_ring(design: Design) -> PlainBoard | None:
    """The slip-ring board with the vias and leads that its current needs; None where the design asks for none.

    Raises DesignError where it does not fit, with what would.
    """
    from pcbstator.analysis.electrical.slip_ring import lay_slip_ring_board

    return lay_slip_ring_board(size_design(design))


def predict(design: Design, copper: Copper | None = None, kept: Kept | None = None, whole: bool = True) -> Prediction:
    """All results of a design with the findings about it; ``predict(design).to_dict()`` is plain data.

    kept: what designs before it left (``keep_stages``), which makes it quicker and changes no result. whole: also the
    motor as built and the ways out, which take most of the time.
    Raises DesignError where winding or copper cannot be laid.
    """
    from pcbstator.check import checked_prediction

    return checked_prediction(design, copper, whole, whole, kept)


def keep_stages() -> Kept:
    """A place for the copper, fields and inductances of the last designs, for ``predict`` of the next ones."""
    from pcbstator.analysis.kept import Kept

    return Kept()


def check(design: Design) -> tuple[Finding, ...]:
    """What a board manufacturer, the mechanics or the job would object to, worst first."""
    return predict(design).findings


def centrelines(design: Design) -> dict[str, Any]:
    """The conductors' centre-lines with the current in each path, as plain data."""
    from pcbstator.analysis.electrical.conductors import conductors_of
    from pcbstator.output.drawing.centrelines import centrelines as lines

    sized = size_design(design)
    copper = lay_copper(sized)
    return lines(copper, conductors_of(sized, copper).path_shares)


def centrelines_dxf(design: Design) -> str:
    """The same centre-lines with their widths as the text of a DXF file in mm, a layer for each copper layer."""
    from pcbstator.output.outlines.centrelines_dxf import centrelines_dxf as drawn

    return drawn(centrelines(design))


def outlines(design: Design, tolerance_mm: float | None = None) -> Files:
    """The copper of every layer as polygons by net, edge, holes and the free room, as SVG, DXF and JSON, by the names
    of the files in their folder. tolerance_mm: within which edges of copper are kept, 0.002 without it.

    Raises DesignError where the copper does not fit, OutputError for a tolerance that nets are too near each other for.
    """
    from pcbstator.output.outlines.folder import outline_files

    sized = size_design(design)
    return outline_files(sized, lay_copper(sized), None if tolerance_mm is None else 1e-3 * tolerance_mm)


def draw(design: Design) -> str:
    """The stator with the magnets over it, as SVG text."""
    from pcbstator.output.drawing.stator import stator_svg

    sized = size_design(design)
    return stator_svg(sized, lay_copper(sized))


def page_answer(prediction: Prediction, saved: Prediction | None = None) -> dict[str, Any]:
    """What the page to design on shows of a prediction, drawings included, as plain data; saved: what its changes are
    told against.
    """
    from pcbstator.output.page_answer import page_answer as answer

    return answer(prediction, saved)


def report(design: Design, prediction: Prediction | None = None) -> str:
    """One self-contained page about a design, as HTML text."""
    from pcbstator.output.report.report import report_html

    prediction = prediction or predict(design)
    sized = size_design(design)
    return report_html(sized, prediction.laid or lay_copper(sized), prediction)


def side_by_side(design: Design, other: Design) -> SideBySide:
    """Two designs predicted and compared: keys that differ, every result with its change, verdicts, findings;
    ``side_by_side(design, other).to_dict()`` is plain data.

    Raises DesignError where winding or copper of one cannot be laid.
    """
    from pcbstator.check.side_by_side import side_by_side as compared

    return compared(design, other)


def side_by_side_page(found: SideBySide) -> str:
    """One self-contained page about two designs, as HTML text."""
    from pcbstator.output.report.side_by_side import side_by_side_html

    return side_by_side_html(found)


def make(design: Design, prediction: Prediction | None = None) -> Files:
    """Everything to order and build a design, by the names of the files in their folder.

    Raises FindingsError where a finding is an error: such a motor cannot be built, or would do harm.
    """
    from pcbstator.errors import FindingsError
    from pcbstator.output.fabrication.package import package_files

    prediction = prediction or predict(design)
    errors = [finding.message for finding in prediction.findings if finding.severity == "error"]
    if errors:
        raise FindingsError(design.source, errors)
    sized = size_design(design)
    return package_files(sized, prediction.laid or lay_copper(sized), prediction)


def solids(design: Design, step: bool = True) -> Files:
    """The motor as an assembly of named, coloured solids, rotor at angle 0, by the names of the files in their folder:
    STEP for mechanical design, GLB for a page. step: False leaves out the former, which needs an optional library.

    Raises MissingLibraryError, with the way to install it, where that library is not there.
    """
    from pcbstator.analysis.electrical.slip_ring import lay_slip_ring_boards
    from pcbstator.analysis.mechanical.assembly import assembly
    from pcbstator.analysis.pipeline import package_version
    from pcbstator.output.solids.files import solids_files
    from pcbstator.output.solids.step import require_library

    if step:
        require_library()
    sized = size_design(design)
    whole = assembly(sized, lay_copper(sized), lay_slip_ring_boards(sized))
    return solids_files(sized, whole, package_version(), step)


def simulate(
    design: Design, scenarios: tuple[str, ...] = (), prediction: Prediction | None = None, rotor: int | None = None
) -> Simulation:
    """The drive in time against its load; ``simulate(design).to_dict()`` is plain data. rotor: number of a motor drawn
    by ``[build]``, None for perfect magnets.

    Raises DesignError where the design lacks what a scenario needs.
    """
    from pcbstator.analysis.drive.simulation.scenarios import simulation

    sized = size_design(design)
    return simulation(sized, prediction or predict(sized), scenarios, rotor)


def simulation_files(design: Design, found: Simulation) -> Files:
    """Page, figures, traces and drive parameters of a simulation, by the names of the files in their folder."""
    from pcbstator.output.report.simulation import simulation_files as files

    return dict(files(size_design(design), found))


def explore(study: Place | Study, folder: Place, workers: int = 0, watch: FoundWatcher | None = None) -> Found:
    """Carry a study through, or on from where it stopped; every design is kept in ``folder``.

    workers: processes; 0 for one per core. watch: called as it goes on, with a function that gathers what is found by
    then. Raises StudyError, or WorkerError where work cannot be done.
    """
    from pcbstator.analysis.pipeline import package_version
    from pcbstator.study.load import load_study
    from pcbstator.study.results import gather
    from pcbstator.study.run import run_study
    from pcbstator.study.store import open_store
    from pcbstator.study.workforce import local_workforce

    asked = load_study(Path(study)) if isinstance(study, str | PathLike) else study
    with local_workforce(workers) as force, open_store(Path(folder), asked, package_version()) as store:
        if watch is None:
            run_study(asked, store, force)
        else:
            run_study(asked, store, force, lambda progress: watch(progress, lambda: gather(asked, store)))
        return gather(asked, store)


def study_of(design: Design, tables: Mapping[str, Any]) -> Study:
    """The study of a design in nested tables as a study file has them.

    Raises DesignError with every complaint at once.
    """
    from pcbstator.design.file_text import design_file
    from pcbstator.study.load import study_from_tables

    return study_from_tables(dict(tables), design, design_file(design).decode("utf-8-sig"))


def pareto_picture(found: Found) -> str | None:
    """The designs of a study that meet everything, with the Pareto front, as SVG text; None where there are none."""
    from pcbstator.output.study_report.figures import pareto_svg

    return pareto_svg(found)


def take(folder: Place, number: int) -> Taken:
    """Design ``number`` of the study in a folder as the text of a design file, predicted in full."""
    from pcbstator.study.store import open_store
    from pcbstator.study.take import taken_design

    with open_store(Path(folder)) as store:
        return taken_design(store, number)


def suggest(
    design: Design | Place, parts: Place | None = None, workers: int = 0, watch: Watcher | None = None
) -> Suggestions:
    """About six designs that do what a design file or a design asks and differ in kind; an envelope and a wish are
    enough. parts: a file of parts to be had; workers: processes, 0 for one per core; watch: called as it goes on.

    Raises NothingMeetsError, with what would do, where nothing does it.
    """
    from pcbstator.design.file_text import design_file
    from pcbstator.study.suggestion.fill import asked_of, load_asked
    from pcbstator.study.suggestion.parts import load_parts
    from pcbstator.study.suggestion.suggest import suggested

    known, watch = load_parts(None if parts is None else Path(parts)), watch or (lambda progress: None)
    if isinstance(design, str | PathLike):
        return suggested(load_asked(Path(design), known), known, workers, watch)
    text = design_file(design).decode("utf-8-sig")
    return suggested(asked_of(design.document, text, design.source, design.folder, known), known, workers, watch)


def suggestion_files(found: Suggestions) -> Files:
    """The page, pictures and design files of suggestions, by the names of the files in their folder."""
    from pcbstator.output.study_report.suggested import suggested_files

    return dict(suggested_files(found, {one.name: draw(one.design) for one in found.found}))


def bench_sheet(design: Design, prediction: Prediction | None = None) -> Files:
    """The sheet to measure the built motor by, as HTML and PDF, and the file for the readings, by their names."""
    from pcbstator.bench.sheet import bench_sheet as sheet
    from pcbstator.output.bench_report.sheet_files import sheet_files

    return sheet_files(sheet(prediction or predict(design)))


def compare(design: Design, bench: Place) -> Comparison:
    """Readings of a built motor beside what its design predicts; ``compare(design, "bench.toml").to_dict()`` is plain
    data. bench: a file of readings, with its CSV files beside it.

    Raises DesignError with every complaint about the readings at once.
    """
    from pcbstator.bench.judged import judged_comparison

    return judged_comparison(design, Path(bench))


def built_design(found: Comparison, board: str | None = None, rotor: str | None = None) -> str:
    """The design file of the motor as built, with the comments of the design's. board, rotor: its serial numbers, where
    the readings are of several.

    Raises OutputError where it is not told which motor, or where there is no such design, with the reason.
    """
    from pcbstator.bench.built.choice import chosen_motor

    return chosen_motor(found.built, board, rotor).text


def comparison_files(found: Comparison) -> Files:
    """The comparison as a picture, as text and as JSON, by the names of the files in their folder."""
    from pcbstator.output.bench_report.files import comparison_files as files

    return files(found)


def verify(folder: Place, design: Design | Place | None = None, roles: Place | None = None) -> Verification:
    """The fabrication files in a folder read back and solved; ``verify(folder).to_dict()`` is plain data.

    design: what the files leave open and what was predicted comes from it; by default from the folder's own
    ``design.toml``. roles: a file that says what each file is. Raises FilesError where files cannot be read.
    """
    from pcbstator.verify.reading import read_boards
    from pcbstator.verify.verified import verified

    boards = read_boards(Path(folder), None if roles is None else Path(roles))
    own = Path(folder) / "design.toml"
    if design is None and own.is_file():
        design = own
    if design is None:
        return verified(str(folder), boards, None)
    from pcbstator.known import known_of

    asked = load_design(design) if isinstance(design, str | PathLike) else design
    return verified(str(folder), boards, known_of(size_design(asked)))


def read_back(design: Design, files: Mapping[str, str | bytes], copper: Copper | None = None) -> Verification:
    """Files of ``make`` read back before they are written: nets and distances, which takes a second or two."""
    from pcbstator.known import known_of
    from pcbstator.verify.reading import read_texts
    from pcbstator.verify.verified import verified

    texts = {name: content for name, content in files.items() if isinstance(content, str)}
    known = known_of(size_design(design), copper, magnets=False)
    return verified("the files", read_texts(texts, "the files"), known, solve=False)


def verification_files(found: Verification) -> Files:
    """A verification as a page with pictures, in words and as JSON, by the names of the files in their folder."""
    from pcbstator.output.verify_report.page import verification_files as files

    return files(found)


def write_files(folder: Place, files: Mapping[str, str | bytes]) -> None:
    """Write a folder whole or not at all; what another run of this program has left there is replaced.

    Raises OutputError where it cannot be written or holds other things.
    """
    from pcbstator.output.files import write_folder

    write_folder(Path(folder), dict(files))
