"""A handful of different designs that do a design's job in its envelope, each the best in something.

The envelope, the board's outline and annulus, the air gap, the load and the drive stay as the design has them; winding,
copper and magnets are open.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import floor, gcd, pi, sin
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pcbstator.analysis.cost import invented_prices
from pcbstator.analysis.pipeline import package_version
from pcbstator.design import DiscMagnet, SectorMagnet
from pcbstator.design.file_text import changed_text
from pcbstator.errors import Complaint, DesignError, PcbstatorError
from pcbstator.study.records import Constraint, Objective, Option, Study, Variable
from pcbstator.study.results import impossible_constraints
from pcbstator.study.run import Watcher, run_study
from pcbstator.study.store import Store, open_store
from pcbstator.study.workforce import local_workforce
from pcbstator.winding import feasible_windings

if TYPE_CHECKING:
    from pcbstator.design import Design

BUDGET = 320
RESERVE = 0.25  # of torque, over what the motion needs (common practice, no source)
LEAST_FACTOR = 0.9
PITCHES = 5e-3, 32e-3  # of poles at the mean radius [m] that a maker can handle
MOST_WINDINGS = 12
MAGNET_EDGE = 1.5e-3  # by which magnets end inside the copper's annulus [m]
DISC_PART = 0.92  # of the distance between neighbours that a disc may take
THICKNESSES = (1.5, 2.0, 3.0, 4.0, 5.0, 6.0)  # mm that are easy to buy (common practice, no source)
STEEL = (0.0, 1.0, 1.5, 2.0, 3.0)  # mm of plate
TRACKS = (0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.8)  # mm
LOSS, HEIGHT, COST = "motion.mean_copper_loss_w", "occupied.height_mm", "cost.total"
RIPPLE = "magnetic.torque_ripple_ratio"
Measure = Callable[[Mapping[str, float]], float]
PICKS: tuple[tuple[str, str, Measure], ...] = (
    ("cheapest", "costs least", lambda r: r[COST]),
    ("coolest", "loses least heat in its copper over the motion", lambda r: r[LOSS]),
    ("thinnest", "takes least height", lambda r: r[HEIGHT]),
    ("smoothest", "ripples least", lambda r: r[RIPPLE]),
)
BALANCED = "balanced", "comes nearest to the best in price, heat and height at once"


@dataclass(frozen=True)
class Suggestion:
    """A design that does the job: its name, why it is offered, what it would set, the file, some results."""

    name: str
    why: str
    values: dict[str, float | str]
    text: str
    results: dict[str, float]
    warnings: int


def suggestions(
    design: Design, text: str, workers: int = 0, watch: Watcher = lambda progress: None
) -> list[Suggestion]:
    """Different designs for the job of a design; text: its file.

    Raises DesignError where the design does not say what the job is, PcbstatorError where nothing does it.
    """
    study = job_study(design, text)
    with (
        tempfile.TemporaryDirectory() as folder,
        local_workforce(workers) as force,
        open_store(Path(folder), study, package_version()) as store,
    ):
        run_study(study, store, force, watch)
        return _picked(study, store)


def job_study(design: Design, text: str) -> Study:
    """The study that looks for such designs."""
    wanted = ("envelope", "load", "motion", "drive")
    missing = [name for name in wanted if getattr(design, name) is None]
    if missing:
        remedy = "add it, so that it is known what the drive must do and where; docs/design-file.md has its keys"
        complaints = [Complaint(name, "this section is needed", "nothing", remedy) for name in missing]
        raise DesignError(design.source, complaints)
    windings = _windings(design)
    if not windings:
        rule = "the ring must be wide enough for poles of 5 to 32 mm"
        complaint = Complaint("board.copper_outer_diameter_mm", rule, "", "choose a larger ring")
        raise DesignError(design.source, [complaint])
    return Study(
        title=design.title,
        design_text=text,
        design_name=design.source,
        folder=str(design.folder or ""),
        variables=(
            Variable("winding and magnets", options=windings, ordered=False),
            _listed("rotor.magnet.thickness_mm", THICKNESSES),
            _listed("rotor.back_iron_mm", STEEL),
            _listed("board.track_width_mm", TRACKS),
            _listed("board.layers", (2, 4, 6)),
            Variable("copper", ordered=False, options=tuple(
                Option(f"{um:g} um", (("board.outer_copper_um", um), ("board.inner_copper_um", um)))
                for um in (35.0, 70.0)
            )),
        ),
        constraints=(
            Constraint("motion.peak_torque_reserve_ratio", "least", RESERVE),
            Constraint("motion.continuous_torque_reserve_ratio", "least", RESERVE),
            Constraint("findings.errors", "most", 0.0),
        ),
        objectives=(Objective(COST, "least"), Objective(LOSS, "least"), Objective(HEIGHT, "least")),
        columns=(RIPPLE, "motion.peak_torque_reserve_ratio", "thermal.board_temperature_c", "findings.warnings"),
        budget=BUDGET,
        prices=tuple(invented_prices().items()),
    )  # fmt: skip


def _listed(key: str, values: tuple[float, ...]) -> Variable:
    return Variable(key, options=tuple(Option(f"{value:g}", ((key, value),)) for value in values))


def _windings(design: Design) -> tuple[Option, ...]:
    """Coils and poles that go together and can be handled on this ring, as spiral and wave, with magnets that fit."""
    board, phases = design.board, design.winding.phases
    mean = (board.copper_inner_diameter + board.copper_outer_diameter) / 4
    poles = [p for p in range(4, 122, 2) if PITCHES[0] <= 2 * pi * mean / p <= PITCHES[1]]
    found = [w for w in feasible_windings(phases, range(phases, 61), poles) if w.factor >= LEAST_FACTOR]
    repeated = [w for w in found if w.coils > phases and gcd(w.coils, w.poles) > 1]  # no unbalanced magnetic pull
    kept = repeated or found
    step = max(len(kept) / MOST_WINDINGS, 1.0)
    options = []
    for winding in [kept[int(n * step)] for n in range(min(len(kept), MOST_WINDINGS))]:
        spiral = {"winding.kind": "spiral", "winding.coils": winding.coils, "winding.turns": "fill"}
        for shape, magnet in _magnets(design, winding.poles):
            label = f"{winding.coils} coils, {winding.poles} poles, {shape}s"
            options.append(Option(label, _settings(spiral, winding.poles, magnet)))
    wave: dict[str, Any] = {"winding.kind": "wave", "winding.coils": None, "winding.turns": "fill"}
    wave |= {"winding.outline": None, "winding.parallel_paths": None}
    for count in poles[:: max(len(poles) // 4, 1)]:
        shape, magnet = _magnets(design, count)[0]
        options.append(Option(f"wave, {count} poles, {shape}s", _settings(wave, count, magnet)))
    return tuple(options)


def _settings(winding: Mapping[str, Any], poles: int, magnet: dict[str, Any]) -> tuple[tuple[str, Any], ...]:
    return (*winding.items(), ("rotor.poles", poles), ("rotor.magnet", magnet))


def _magnets(design: Design, poles: int) -> list[tuple[str, dict[str, Any]]]:
    """Sectors over the annulus, and discs as large as fit, of the design's material."""
    board, own = design.board, design.rotor.magnet
    inner, outer = board.copper_inner_diameter / 2 + MAGNET_EDGE, board.copper_outer_diameter / 2 - MAGNET_EDGE
    if isinstance(own, SectorMagnet):
        inner, outer = own.inner_diameter / 2, own.outer_diameter / 2
    material = {
        name: value
        for name, value in design.document["rotor"]["magnet"].items()
        if name in ("remanence_t", "grade", "temperature_c", "recoil_permeability")
    }
    material["thickness_mm"] = 1e3 * own.thickness
    sector = {"shape": "sector", "inner_diameter_mm": _round(2 * inner), "outer_diameter_mm": _round(2 * outer)}
    found = [("sector", material | sector | {"arc_ratio": 0.8})]
    circle = own.circle_diameter if isinstance(own, DiscMagnet) else inner + outer
    fits = min(DISC_PART * circle * sin(pi / poles), outer - inner)
    diameter = floor(1e3 * fits)
    if diameter >= 3:
        disc = {"shape": "disc", "diameter_mm": float(diameter), "circle_diameter_mm": _round(circle)}
        found.append(("disc", material | disc))
    return found


def _round(length: float) -> float:
    """A length [m] in mm as it would be drawn."""
    return round(1e3 * length, 2)


def _distance(results: list[dict[str, float]]) -> Measure:
    """How far a design is from the best in every objective, each as a part of the way from best to worst."""
    ends = {key: (min(r[key] for r in results), max(r[key] for r in results)) for key in (COST, LOSS, HEIGHT)}
    return lambda r: sum(((r[key] - low) / max(high - low, 1e-12)) ** 2 for key, (low, high) in ends.items())


def _picked(study: Study, store: Store) -> list[Suggestion]:
    """The best in each respect, each design once."""
    needed, unfit = {COST, LOSS, HEIGHT, RIPPLE}, set(store.unfit())
    rows = [row for row in store.rows(feasible_only=True) if row[0] not in unfit and needed <= row[2].results.keys()]
    if not rows:
        lines = "\n".join(impossible_constraints(study, store)) or "no winding could be laid"
        raise PcbstatorError(f"{study.design_name}: none of {store.last()} designs does this job\n{lines}")
    found: list[Suggestion] = []
    taken: set[int] = set()
    for name, what, measure in (*PICKS, (*BALANCED, _distance([row[2].results for row in rows]))):
        left = [row for row in rows if row[0] not in taken]
        if not left:
            break
        number, point, outcome = min(left, key=lambda row: (measure(row[2].results), row[0]))
        taken.add(number)
        settings = {"title": f"{study.title[:100]}, {name}"} | study.settings(point)
        head = f"# Suggested: of {store.last()} designs looked at the one that {what}.\n"
        results = outcome.results
        others = "" if len(left) == len(rows) else ", those above left out"
        found.append(
            Suggestion(
                name,
                f"{what} of the {len(rows)} that do the job{others}",
                study.shown(point),
                head + changed_text(study.design_text, settings),
                results,
                int(results["findings.warnings"]),
            )
        )
    return found
