"""Numbers that are solved for: as many turns as fit, the widest track, and what would fit where a design does not."""

from __future__ import annotations

from collections.abc import Callable
from math import floor
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.copper.no_room import NoRoomError
from pcbstator.copper.plan import StatorPlan, plan_stator
from pcbstator.copper.spiral.coil import CoilPlan
from pcbstator.copper.wave.plan import WavePlan
from pcbstator.design import SizedDesign
from pcbstator.errors import Complaint, DesignError
from pcbstator.winding import Winding, lay_winding, wind_wave

if TYPE_CHECKING:
    from pcbstator.design import Design

MOST_TURNS = 500
STEP = 1e-5  # of solved track widths [m]
MOST_STEPS = 4095  # of the widest track, 41 mm


def _try(design: Design, turns: int, track_width: float) -> StatorPlan | None:
    try:
        return plan_stator(design, _winding(design, turns), turns, track_width)
    except NoRoomError:
        return None


def _winding(design: Design, turns: int) -> Winding:
    """The winding with this many turns; only of a wave winding do they change it."""
    asked = design.winding
    if asked.kind == "wave":
        return wind_wave(asked.phases, turns, design.rotor.poles, asked.parallel_paths, design.source)
    return lay_winding(design)


def _largest(fits: Callable[[int], bool], most: int) -> int:
    """The largest number up to ``most`` that fits, where smaller ones do too; 0 if none does.

    By doubling, then by halving: the library's root finders know real numbers only.
    """
    low, high = 0, 1
    while high <= most and fits(high):
        low, high = high, 2 * high
    high = min(high, most + 1)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def most_turns(design: Design, track_width: float | None = None) -> int:
    """The largest number of turns per coil and layer that fits the design's annulus; 0 if none does.

    track_width: [m], instead of the design's.
    """
    width = design.board.track_width if track_width is None else track_width
    return _largest(lambda turns: _try(design, turns, width) is not None, MOST_TURNS)


def widest_track(design: Design, turns: int) -> float:
    """The widest track [m], to 0.01 mm, with which ``turns`` fit; 0 if none does."""
    return _largest(lambda steps: _try(design, turns, steps * STEP) is not None, MOST_STEPS) * STEP


def best_wave_track(design: Design, turns: int) -> float:
    """The width [m], to 0.01 mm, with the most linkage per root of resistance; 0 if none fits.

    Wider tracks need longer end windings, which leave shorter active conductors; linkage is taken as the area that the
    active conductors sweep.
    """
    widest = widest_track(design, turns)
    least = min(widest, max(design.rules.track_width, STEP))
    if widest == 0:
        return 0.0
    widths = (np.unique(np.round(np.geomspace(least, widest, 40) / STEP)) * STEP).tolist()
    merits = {width: _merit(plan.coil) for width in widths if (plan := _try(design, turns, width))}
    return max(merits, key=lambda width: merits[width], default=0.0)


def _merit(plan: CoilPlan | WavePlan) -> float:
    assert isinstance(plan, WavePlan)
    near, far = plan.active_ends
    end_windings = (plan.ring_ends[0], plan.far_ends[0])
    ends = sum(
        float((np.hypot(np.diff(a.radii), a.radii[1:] * np.diff(a.angles)) * 2 / (a.widths[1:] + a.widths[:-1])).sum())
        for a in end_windings
    )
    active = abs(far - near) / np.sqrt(end_windings[0].widths[0] * end_windings[1].widths[0])
    return float((far**2 - near**2) ** 2 / (ends + active))


def size_design(design: Design) -> SizedDesign:
    """The design with numbers where it says "fill".

    Raises DesignError where nothing fits.
    """
    if isinstance(design, SizedDesign):
        return design
    found = design
    if design.winding.turns == "fill":
        found = design.with_values({"winding.turns": max(most_turns(design), 1)})
    elif design.board.stated_track_width == "fill":
        solve = best_wave_track if design.winding.kind == "wave" else widest_track
        width = solve(design, int(design.winding.turns))
        found = design.with_values({"board.track_width_mm": max(round(1e3 * width, 2), 0.05)})
    return SizedDesign.of(found, design)


def settle_plan(design: Design, winding: Winding) -> StatorPlan:
    """The plan of a settled design; DesignError with the number that would fit."""
    turns, width = int(design.winding.turns), design.board.track_width
    try:
        return plan_stator(design, winding, turns, width)
    except NoRoomError as lack:
        complaint = Complaint(lack.key, lack.rule, lack.value, lack.remedy)
        if lack.key == "winding.turns" and not lack.remedy:
            complaint = _too_many_turns(design, turns, lack)
        raise DesignError(design.source, [complaint]) from None


def quick_plan(design: Design, winding: Winding) -> StatorPlan:
    """As ``settle_plan``, without the search for the number that would fit: for designs that come by the thousand."""
    try:
        return plan_stator(design, winding, int(design.winding.turns), design.board.track_width)
    except NoRoomError as lack:
        remedy = lack.remedy or "use fewer turns, narrower tracks or a wider annulus"
        raise DesignError(design.source, [Complaint(lack.key, lack.rule, lack.value, remedy)]) from None


def _turns(count: int) -> str:
    return f"{count} turn" if count == 1 else f"{count} turns"


def _too_many_turns(design: Design, turns: int, lack: NoRoomError) -> Complaint:
    """What would fit instead."""
    part, widest = most_turns(design), widest_track(design, turns)
    most = (
        "at most " if part < turns else ""
    )  # fewer need not fit where more do: the laps of a wave winding then begin elsewhere
    offers = [f"use {most}{_turns(part)} with this track_width_mm"] if part else []
    ways: list[dict[str, object]] = [{"winding.turns": part}] if part else []
    if widest >= 5e-5:
        width = floor(1e5 * widest + 0.5) / 100
        offers.append(f"for {_turns(turns)} a track_width_mm of at most {width:.2f}")
        ways.append({"board.track_width_mm": width})
    if not offers:
        offers.append("use fewer coils, poles or layers, smaller via_pad_mm or a wider annulus")
    return Complaint(lack.key, lack.rule, lack.value, " or ".join(offers), tuple(ways))
