"""The search: all kinds on a coarse grid, the best of each kind on a fine one, the very best predicted in full."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass
from math import log
from typing import Any

from pcbstator.analysis.cost import invented_prices
from pcbstator.analysis.pipeline import worked
from pcbstator.analysis.shared import Shared
from pcbstator.analysis.stages import STAGES, Work, at_other_job, run_stage
from pcbstator.check.accepted import with_acceptances
from pcbstator.check.run import checked_work
from pcbstator.design import Design
from pcbstator.design.file_text import changed_text
from pcbstator.design.load import changed_design
from pcbstator.design.sections.requirement import Acceptance
from pcbstator.errors import PcbstatorError
from pcbstator.findings import Finding, Verdict
from pcbstator.study.evaluate import bench, evaluate
from pcbstator.study.keys import UNMET, WORST, flat_results
from pcbstator.study.records import Option, Outcome, Point, Study, Variable
from pcbstator.study.results import evenly
from pcbstator.study.run import Progress, Watcher
from pcbstator.study.suggestion.fill import Asked
from pcbstator.study.suggestion.kinds import APART, Build, Kind, apart
from pcbstator.study.suggestion.parts import Parts
from pcbstator.study.workforce import Workforce

MOST_COARSE = 400  # designs of the coarse grid
FINE_BUILDS = 12  # that are tried with many tracks and every copper
JUDGED = 4  # variants of each build that are judged on every line of the requirement
QUICK_LINES = ("torque_reserve_percent", "move_time_s", "price", "supply_current_a")
CONFIRMED = 10  # that are predicted in full
WANTED = 6
CHUNK = 12
STEEL_PART = 0.2  # thickness of steel over the width of a magnet that carries its flux with some 1.5 T, about
COARSE_TRACKS = (0.2, 0.4)  # mm
FINE_TRACKS = 8
HEAVY = 60.0  # um from which a board manufacturer's limits are wider
HEAVY_LIMITS = {"rules": "2oz-standard", "via_pad_mm": 0.7}
PRICE, HEAT, HEIGHT, RIPPLE = (
    "cost.total", "motion.mean_copper_loss_w", "occupied.height_mm", "magnetic.torque_ripple_ratio",
)  # fmt: skip
STEEL, STEEL_WANTED = "mechanical.back_iron_flux_density_t", "mechanical.back_iron_for_1p5_t_mm"
WORKING, KNEE = "mechanical.magnet_working_flux_density_t", "mechanical.magnet_knee_flux_density_t"
COLUMNS = (
    PRICE, HEAT, HEIGHT, RIPPLE, WORST, UNMET, STEEL, STEEL_WANTED, "motion.peak_torque_reserve_ratio",
    "motion.continuous_torque_reserve_ratio", WORKING, KNEE,
)  # fmt: skip
CURRENT_RIPPLE, MOST_RIPPLE = "drive.terminal_ripple_at_job_ratio", 0.2  # as check.job has it
SATURATED, KNEE_RESERVE = 1.5, 0.066  # T, as check.mechanical has them; the reserve for the strongest grades
UNLAID = 1e6  # stands for what a design lacks that cannot even be laid
SAME_PRICE = 1.03  # factor within which a price is the same


BOW = "board.bow"
HELD_FLAT = "glued or screwed flat to its base all over"
CHOKES = (10.0, 15.0, 22.0, 33.0, 47.0, 68.0, 100.0, 150.0, 220.0, 330.0, 470.0, 680.0, 1000.0)  # uH, the E6 series
Found = tuple[dict[str, Any], dict[str, float], tuple[Verdict, ...], tuple[Finding, ...]]


@dataclass(frozen=True)
class Look:
    """A design that was looked at: its place in the study, its build, what became of it."""

    point: Point
    build: Build
    outcome: Outcome

    @property
    def rank(self) -> tuple[float, float, float, float]:
        """Those that meet everything first, of these those whose current does not ripple much, as far as that is known,
        the cheapest first, of equal price the coolest; else the nearest first, of equally near ones those that miss
        least.
        """
        results, lack = self.outcome.results, self.lack
        if lack > 0:
            return lack, results.get(UNMET, 0.0), results.get(PRICE, 0.0), 0.0
        rippling = float(results.get(CURRENT_RIPPLE, 0.0) > MOST_RIPPLE)
        return 0.0, rippling, round(log(results[PRICE]) / log(SAME_PRICE)), results.get(HEAT, 0.0)

    @property
    def lack(self) -> float:
        """By how much the requirement that is kept least is missed; 0 where all are met and no steel is saturated."""
        results = self.outcome.results
        if WORST not in results:
            return UNLAID + self.outcome.shortage
        near_knee = results.get(KNEE, -1.0) + KNEE_RESERVE - results.get(WORKING, 1.0)
        saturated = results.get(STEEL, 0.0) - SATURATED
        return max(-results[WORST], 0.0) + max(saturated, 0.0) + max(near_knee, 0.0)


@dataclass(frozen=True)
class Confirmed:
    """A design predicted in full; text: its design file."""

    look: Look
    settings: dict[str, Any]
    results: dict[str, float]
    verdicts: tuple[Verdict, ...]
    findings: tuple[Finding, ...]

    @property
    def warnings(self) -> tuple[Finding, ...]:
        """Those that were not accepted."""
        return tuple(f for f in self.findings if f.severity == "warning" and f.accepted is None)

    @property
    def sound(self) -> bool:
        """Whether it can be made and meets all that is asked."""
        met = all(verdict.verdict == "met" for verdict in self.verdicts)
        return met and not any(finding.severity == "error" for finding in self.findings)


def study_of_kinds(asked: Asked, parts: Parts, every_line: bool = True) -> Study:
    """The study whose points are all designs that may be looked at. every_line: of the requirement; else those that are
    quick to judge.
    """
    design = asked.design
    document = tomllib.loads(asked.text)
    lines = [name for name in document.get("requirement", {}) if every_line or name in QUICK_LINES]
    left_out = {f"requirement.{name}": None for name in document.get("requirement", {}) if name not in lines}
    board = document.get("board", {})
    return Study(
        title=design.title,
        design_text=changed_text(asked.text_whole, left_out) if left_out else asked.text_whole,
        design_name=design.source,
        folder=str(design.folder or ""),
        variables=(
            Variable("kind", options=tuple(_option(kind) for kind in asked.kinds), ordered=False),
            _listed("rotor.back_iron_mm", (0.0, *parts.steel)),
            _listed("board.layers", parts.layers),
            Variable("copper", options=tuple(_copper(um, board) for um in parts.copper), ordered=False),
            _listed("board.track_width_mm", parts.tracks),
        ),
        columns=(*COLUMNS, *([CURRENT_RIPPLE] if every_line else []), *(f"requirement.{name}" for name in lines)),
        prices=tuple((invented_prices() if design.prices is None else design.prices.model_dump()).items()),
    )


def _option(kind: Kind) -> Option:
    return Option(kind.label, tuple(kind.settings.items()))


def _copper(um: float, board: Mapping[str, Any]) -> Option:
    """Copper of one weight, with the limits that go with it unless the board has its own."""
    keys: tuple[tuple[str, Any], ...] = (("board.outer_copper_um", um), ("board.inner_copper_um", um))
    if um > HEAVY:
        keys += tuple((f"board.{name}", value) for name, value in HEAVY_LIMITS.items() if name not in board)
    return Option(f"{um:g} um", keys)


def _listed(key: str, values: Sequence[float]) -> Variable:
    return Variable(key, options=tuple(Option(f"{value:g}", ((key, value),)) for value in values))


class Search:
    """One search under way."""

    def __init__(self, asked: Asked, parts: Parts, force: Workforce, watch: Watcher) -> None:
        self.asked, self.parts, self.force, self.watch = asked, parts, force, watch
        self.study, self.quick = study_of_kinds(asked, parts), study_of_kinds(asked, parts, every_line=False)
        self.progress = Progress(0)
        self.looks: list[Look] = []
        self.judged: list[Look] = []  # on every line
        self.steels = (0.0, *parts.steel)

    def run(self) -> list[Confirmed]:
        """Every design that was predicted in full, best first."""
        coarse = self.coarse_points()
        self.progress.budget = len(coarse)
        self.looks += self.look(coarse, self.quick)
        fine = [point for look in widely(self.looks, FINE_BUILDS) for point in self.finer(look)]
        self.progress.budget += len(fine)
        self.looks += self.look(fine, self.quick)
        self.looks += self.look(self.stronger_steel(), self.quick)
        self.judged = self.looks
        if self.quick.wanted != self.study.wanted:
            best = [look.point for each in widely(self.looks, FINE_BUILDS) for look in self.variants(each)]
            self.progress.stage, self.progress.budget = "judging the best", self.progress.budget + len(best)
            self.judged = self.look(best, self.study)
        self.progress.stage = "confirming the best"
        return self.confirmed([look for look in spread(self.judged, CONFIRMED) if look.lack < UNLAID])

    def variants(self, look: Look) -> list[Look]:
        """The best designs that differ from one in numbers only: the cheapest of them with tracks from narrow to wide,
        since few turns are cool and many turns ripple little.
        """
        alike = [other for other in self.looks if other.build == look.build and other.lack < UNLAID]
        best = [each for each in alike if each.rank[:3] == min(other.rank[:3] for other in alike)]
        if len(best) < JUDGED:
            return sorted(alike, key=lambda each: (each.rank, each.point))[:JUDGED]
        best.sort(key=lambda each: (each.point[-1], each.point))
        return [best[round(place * (len(best) - 1) / (JUDGED - 1))] for place in range(JUDGED)]

    def coarse_points(self) -> list[Point]:
        """All kinds, without steel and with as much as their flux needs, all numbers of layers, two widths of track;
        fewer layers and thicknesses where that is too much.
        """
        tracks = sorted({_nearest(self.parts.tracks, width) for width in COARSE_TRACKS})
        kinds, layers = list(range(len(self.asked.kinds))), list(range(len(self.parts.layers)))
        points = self._grid(kinds, layers, tracks)
        if len(points) > MOST_COARSE and len(layers) > 2:
            points = self._grid(kinds, layers[:2], tracks)
        if len(points) > MOST_COARSE:
            step = -(-len(points) // MOST_COARSE)
            points = self._grid(kinds[::step], layers[:2], tracks)
        return points

    def _grid(self, kinds: Sequence[int], layers: Sequence[int], tracks: Sequence[int]) -> list[Point]:
        return [
            (kind, steel, layer, 0, track)
            for kind in kinds
            for layer in layers
            for track in tracks
            for steel in self.steel_places(self.asked.kinds[kind])
        ]

    def steel_places(self, kind: Kind) -> list[int]:
        """No steel, and the thinnest that is likely to do, where the height allows it."""
        across = kind.magnet.length if kind.magnet.width is None else kind.magnet.width
        enough = [n for n, steel in enumerate(self.steels) if steel >= STEEL_PART * across]
        return [0, enough[0]] if enough else [0, len(self.steels) - 1]

    def finer(self, look: Look) -> list[Point]:
        """The same with steel that carries the flux, tracks from narrow to wide and every copper."""
        kind, steel, layers, _, _ = map(int, look.point)
        wanted = look.outcome.results.get(STEEL_WANTED)
        if steel and wanted is not None:
            steel = next((n for n, thick in enumerate(self.steels) if thick >= wanted), steel)
        tracks = evenly(len(self.parts.tracks), FINE_TRACKS)
        known = {each.point for each in self.looks}
        points = [
            (kind, steel, layers, copper, track)
            for copper in range(len(self.parts.copper))
            for track in (tracks if copper == 0 else tracks[::2])
        ]
        return [point for point in points if point not in known]

    def stronger_steel(self) -> list[Point]:
        """The best of each build once more with the next steel where the one that was tried saturates."""
        known, points = {look.point for look in self.looks}, []
        for look in widely(self.looks, CONFIRMED):
            kind, steel, *rest = look.point
            wanted = look.outcome.results.get(STEEL_WANTED, 0.0)
            thicker = next((n for n, thick in enumerate(self.steels) if thick >= wanted), len(self.steels) - 1)
            if steel and look.outcome.results.get(STEEL, 0.0) > SATURATED and thicker > steel:
                points.append((kind, thicker, *rest))
        return [point for point in points if point not in known]

    def build(self, point: Point) -> Build:
        """What a point is made of."""
        kind, steel, layers, _, _ = map(int, point)
        return Build(self.asked.kinds[kind], self.parts.layers[layers], steel > 0)

    def look(self, points: Sequence[Point], study: Study) -> list[Look]:
        """What becomes of designs, those of one kind at a time, which have much in common."""
        chunks = [tuple(points[first : first + CHUNK]) for first in range(0, len(points), CHUNK)]
        work = [(chunk, self.force.submit(evaluate, study, chunk)) for chunk in chunks]
        found = []
        for chunk, future in work:
            for point, outcome in zip(chunk, future.result(), strict=True):
                look = Look(point, self.build(point), outcome)
                found.append(look)
                self.progress.computed += 1
                self.progress.feasible += look.lack == 0
            self.watch(self.progress)
        return found

    def confirmed(self, looks: Sequence[Look]) -> list[Confirmed]:
        """Designs predicted in full; those that cannot be laid after all are left out."""
        pending: dict[Future[Any], Look] = {self.force.submit(confirm, self.study, look.point): look for look in looks}
        found: dict[Point, Confirmed] = {}
        while pending:
            done, _ = wait(pending, return_when=FIRST_COMPLETED)
            for future in done:
                look, result = pending.pop(future), future.result()
                if result is not None:
                    found[look.point] = confirmed_of(look, result)
            self.watch(self.progress)
        return [found[look.point] for look in looks if look.point in found]


def confirm(study: Study, point: Point, eased: Mapping[str, Any] | None = None) -> Found | None:
    """Settings, results, verdicts and findings of a design in full; None where it cannot be laid. Where the current
    would ripple too much, a choke of a usual size comes into each wire. eased: settings that ask less of it.
    """
    settings = dict(study.settings(point)) | dict(eased or {})
    design = changed_design(bench(study).base, settings)
    try:
        work = worked(design)
        choke = _choke(work)
        if choke is not None:  # the driver does not see the copper: no more than its job is done again
            settings["drive.choke_uh"] = choke
            work = at_other_job(work, changed_design(bench(study).base, settings), full=True)
            run_stage(STAGES[-1], [work], Shared(alone=True))
            if work.refusal is not None:
                return None
        prediction = checked_work(work, ways_out=False)
    except PcbstatorError:
        return None
    accepted, findings = held_flat(design, prediction.findings)
    return settings | accepted, flat_results(prediction), prediction.requirement, findings


def held_flat(design: Design, findings: tuple[Finding, ...]) -> tuple[dict[str, Any], tuple[Finding, ...]]:
    """A board that may bow into the gap has to be held flat: the design file says so, and the finding is accepted."""
    stated = design.document.get("accepted") or {}
    bow = next((f.value for f in findings if f.code == BOW and f.severity == "warning"), None)
    if not isinstance(bow, float) or BOW in stated:
        return {}, findings
    acceptance = {"reason": HELD_FLAT, "value": bow}
    settled = with_acceptances(findings, {BOW: Acceptance.model_validate(acceptance)})
    return {"accepted": {**stated, BOW: acceptance}}, tuple(settled)


def confirmed_of(look: Look, found: Found) -> Confirmed:
    """A design predicted in full, with what only the search knows of it, such as its price."""
    settings, results, verdicts, findings = found
    return Confirmed(look, settings, look.outcome.results | results, verdicts, findings)


def _choke(work: Work) -> float | None:
    """The least usual choke [uH] that keeps the ripple down; None where none is needed or none is large enough."""
    drive, fit = work.design.drive, work.drive
    if drive is None or fit is None or not fit.added_inductance:
        return None
    wanted = 1e6 * (drive.choke + fit.added_inductance)
    return next((choke for choke in CHOKES if choke >= wanted), None)


def spread(looks: Iterable[Look], count: int, least: int = APART) -> list[Look]:
    """The best designs of which no two are near in kind; those of one build stand in for each other."""
    chosen: list[Look] = []
    for look in sorted(looks, key=lambda each: (each.rank, each.point)):
        if all(apart(look.build, other.build) >= least for other in chosen):
            chosen.append(look)
            if len(chosen) == count:
                break
    return chosen


def widely(looks: Sequence[Look], count: int) -> list[Look]:
    """The best of each kind, and as far as the count allows the best of the builds that are left."""
    chosen = spread(looks, count)
    builds = [look.build for look in chosen]
    for look in sorted(looks, key=lambda each: (each.rank, each.point)):
        if len(chosen) < count and look.build not in builds:
            chosen.append(look)
            builds.append(look.build)
    return chosen


def _nearest(values: Sequence[float], wanted: float) -> int:
    return min(range(len(values)), key=lambda place: abs(values[place] - wanted))
