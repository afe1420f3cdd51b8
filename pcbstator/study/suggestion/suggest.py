"""About six designs that do what a file asks, differ in kind and are made of parts that can be bought, best first."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pcbstator.design import Design, design_from_document
from pcbstator.design.file_text import changed_text
from pcbstator.errors import PcbstatorError
from pcbstator.findings import Finding, Verdict
from pcbstator.study.run import Watcher
from pcbstator.study.suggestion.compare import Standing, standings
from pcbstator.study.suggestion.fill import Asked, load_asked
from pcbstator.study.suggestion.kinds import APART, Build, apart
from pcbstator.study.suggestion.look import (
    HELD_FLAT,
    PRICE,
    UNLAID,
    WANTED,
    Confirmed,
    Look,
    Search,
    confirm,
    confirmed_of,
)
from pcbstator.study.suggestion.parts import Parts, load_parts
from pcbstator.study.suggestion.relax import NEAREST, Relaxed, relaxed, rules_out
from pcbstator.study.workforce import local_workforce

DEAREST = 2.5  # times the price of the cheapest that is worth a look
HELD = (f"board: {HELD_FLAT}, where it might bow into the gap",)
ORDER = "fewest warnings first, then the lowest price"


@dataclass(frozen=True)
class Suggestion:
    """A design that does the job: its name as a file, what it is in words, the file's text, what is predicted of it,
    and how it stands against the others; instead: what is asked of it instead of what nothing meets.
    """

    name: str
    words: str
    text: str
    design: Design
    build: Build
    results: dict[str, float]
    verdicts: tuple[Verdict, ...]
    warnings: tuple[Finding, ...]
    standing: Standing
    instead: str = ""


@dataclass(frozen=True)
class Suggestions:
    """All that a search found. filled: what the file left open, in words; judged: designs that were held against every
    line of the requirement, of those that were looked at; common: warnings that every one raises; lacking: where
    nothing meets what is asked, what rules designs out; those found then meet what is asked of them instead.
    """

    title: str
    source: str
    filled: tuple[str, ...]
    currency: str
    invented: bool
    looked: int
    judged: int
    meeting: int
    found: tuple[Suggestion, ...]
    common: tuple[Finding, ...]
    lacking: tuple[str, ...] = ()


class NothingMeetsError(PcbstatorError):
    """No design does what is asked; relaxed: what could be asked instead; found: the designs that do that."""

    def __init__(self, message: str, relaxed: Sequence[Relaxed] = (), found: Suggestions | None = None) -> None:
        super().__init__(message)
        self.relaxed, self.found = tuple(relaxed), found


def suggestions(
    place: Path, parts: Path | None = None, workers: int = 0, watch: Watcher = lambda progress: None
) -> Suggestions:
    """Designs for what a file asks; parts: a file with other parts than the usual ones.

    Raises DesignError where the file does not say enough, NothingMeetsError with what would do where nothing does.
    """
    known = load_parts(parts)
    return suggested(load_asked(place, known), known, workers, watch)


def suggested(asked: Asked, parts: Parts, workers: int = 0, watch: Watcher = lambda progress: None) -> Suggestions:
    """Designs for what is asked."""
    with local_workforce(workers) as force:
        search = Search(asked, parts, force, watch)
        confirmed = search.run()
    sound = sorted((each for each in confirmed if each.sound), key=lambda each: (len(each.warnings), each.look.rank))
    picked = picks(sound)
    if not picked:
        raise nothing_meets(search, confirmed)
    return _suggestions(search, picked)


def _suggestions(
    search: Search, picked: Sequence[Confirmed], instead: Sequence[str] = (), lacking: Sequence[str] = ()
) -> Suggestions:
    """Designs that were picked, as they are shown; instead: what is asked of each where nothing does what is asked."""
    asked, stand = search.asked, standings([each.results for each in picked])
    common = set.intersection(*({finding.message for finding in each.warnings} for each in picked))
    rows = zip(picked, stand, instead or [""] * len(picked), strict=True)
    return Suggestions(
        title=asked.design.title,
        source=asked.design.source,
        filled=asked.filled + (HELD if any("accepted" in each.settings for each in picked) else ()),
        currency=str(dict(search.study.prices)["currency"]),
        invented=asked.design.prices is None or "prices.currency" in asked.eased,
        looked=len(search.looks),
        judged=len(search.judged),
        meeting=sum(look.lack == 0 for look in search.judged),
        found=tuple(_suggestion(asked, number, *row, common) for number, row in enumerate(rows, start=1)),
        common=tuple(finding for finding in picked[0].warnings if finding.message in common),
        lacking=tuple(lacking),
    )


def picks(sound: Sequence[Confirmed]) -> list[Confirmed]:
    """The best, then again and again what is furthest in kind from all that were picked, as far as it is no near-twin
    and not much dearer than the cheapest; in their order. sound: in their order.
    """
    prices = [each.look.outcome.results[PRICE] for each in sound]
    left = [each for each, price in zip(sound, prices, strict=True) if price <= DEAREST * min(prices)]
    picked = left[:1]
    while left and len(picked) < WANTED:
        distances = [min(apart(each.look.build, other.look.build) for other in picked) for each in left]
        distance = max(distances)
        if distance < APART:
            break
        picked.append(left[distances.index(distance)])
    return [each for each in left if each in picked]


def _suggestion(
    asked: Asked, number: int, each: Confirmed, standing: Standing, instead: str, common: set[str]
) -> Suggestion:
    build = each.look.build
    name = f"{number}-{build.kind.winding}-{build.kind.poles}-poles-{build.kind.magnet.shape}s-{build.layers}-layers"
    settings: dict[str, Any] = {"title": f"{asked.design.title[:90]}, suggestion {number}"} | each.settings
    head = f"# Suggested: {words_of_build(each)}.\n" + (f"# Asked of it instead: {instead}.\n" if instead else "")
    text = head + changed_text(asked.text, settings)
    design = design_from_document(tomllib.loads(text), f"{name}.toml", asked.design.folder)
    return Suggestion(
        name, words_of_build(each), text, design, build, each.results, each.verdicts,
        tuple(finding for finding in each.warnings if finding.message not in common), standing, instead,
    )  # fmt: skip


def words_of_build(each: Confirmed) -> str:
    """A design in words: winding, poles, magnets, place, layers, copper, track, steel."""
    build, settings = each.look.build, each.settings
    steel = settings["rotor.back_iron_mm"]
    behind = f"{steel:g} mm of steel behind them" if steel else "no steel behind them"
    copper, track = settings["board.outer_copper_um"], settings["board.track_width_mm"]
    choke = settings.get("drive.choke_uh")
    wires = f", a choke of {choke:g} µH in each wire" if choke else ""
    return f"{build.kind.label}, {build.layers} layers of {copper:g} µm, tracks of {track:g} mm, {behind}{wires}"


def nothing_meets(search: Search, confirmed: Sequence[Confirmed]) -> NothingMeetsError:
    """What rules designs out, how near the nearest comes, and what would do."""
    name, looks = search.study.design_name, search.judged
    laid = [look for look in looks if look.lack < UNLAID]
    if not laid:
        reasons = Counter(look.outcome.ruled_out for look in looks).most_common(3)
        lines = [f"{count} of {len(looks)} designs: {reason}" for reason, count in reasons]
        return NothingMeetsError(
            "\n".join([f"{name}: none of {len(search.looks)} designs can be laid in this room", *lines])
        )
    lines = [f"{name}: none of {len(search.looks)} designs meets all that is asked"]
    verdicts = confirmed[0].verdicts if confirmed else ()
    for each, count, best in rules_out(looks, verdicts):
        limit = next(verdict for verdict in verdicts if verdict.name == each)
        reached = "" if best is None else f"; the best of them reaches {best:.3g}"
        bound = f"at {'most' if limit.most else 'least'} {limit.limit:g}"
        lines.append(f"{each} {bound} rules out {count} of the {len(laid)} that can be laid{reached}")
    errors = Counter(f.message for each in confirmed for f in each.findings if f.severity == "error").most_common(2)
    lines += [f"error in {count} of the {len(confirmed)} predicted in full: {message}" for message, count in errors]
    nearest = _nearest(looks)
    ways = relaxed(search.study, nearest, search.asked.eased) if nearest else []
    found = _instead(search, ways, lines[1:])
    lines += [f"what would do: {way.words} ({way.label})" for way in ways]
    return NothingMeetsError("\n".join(lines), ways, found)


def _instead(search: Search, ways: Sequence[Relaxed], lacking: Sequence[str]) -> Suggestions | None:
    """The designs that do what could be asked instead."""
    done = [(way, confirm(search.study, way.look.point, way.settings)) for way in ways]
    found = [(way, confirmed_of(way.look, each)) for way, each in done if each is not None]
    found = [(way, each) for way, each in found if all(verdict.verdict == "met" for verdict in each.verdicts)]
    if not found:
        return None
    return _suggestions(search, [each for _, each in found], [way.words for way, _ in found], lacking)


def _nearest(looks: Sequence[Look]) -> list[Look]:
    """The nearest designs of different kinds."""
    chosen: list[Look] = []
    for look in sorted(looks, key=lambda each: (each.rank, each.point)):
        if look.lack < UNLAID and all(apart(look.build, other.build) >= APART for other in chosen):
            chosen.append(look)
    return chosen[:NEAREST]
