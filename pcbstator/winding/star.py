"""The star of slots for concentrated coils, one coil per coil position.

Coil i sits at the mechanical angle 2·pi·i/coils, so at the electrical angle pole_pairs times that. A phase takes the
coils whose phasors lie in the sector around its axis (positive sense) or around the opposite direction (negative
sense). All angles are kept as whole numbers of 1/(2·coils) turn, so ties fall the same way for every phase.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from math import gcd, pi, sin
from string import ascii_uppercase

import numpy as np

from pcbstator.errors import Complaint, DesignError

PHASE_NAMES = ascii_uppercase.replace("N", "")  # N is the star point
HIGHEST_ORDER = 25


@dataclass(frozen=True)
class Winding:
    """A balanced winding. The coils of a wave winding are its laps around the machine.

    phase_of, sense: per coil, the phase index and +1 or -1. paths: per phase, per parallel path, the coils in order.
    factors: (order, factor) of the ideal coils for odd orders. path_counts: every parallel_paths that would balance.
    """

    phases: int
    coils: int
    poles: int
    phase_of: tuple[int, ...]
    sense: tuple[int, ...]
    paths: tuple[tuple[tuple[int, ...], ...], ...]
    factors: tuple[tuple[int, float], ...]
    path_counts: tuple[int, ...]

    @property
    def layout(self) -> tuple[str, ...]:
        """Phase and sense of every coil, like ``A+``."""
        return tuple(
            f"{PHASE_NAMES[phase]}{'+' if sense > 0 else '-'}"
            for phase, sense in zip(self.phase_of, self.sense, strict=True)
        )

    @property
    def factor(self) -> float:
        """Winding factor of the fundamental, ideal coils."""
        return self.factors[0][1]

    @property
    def coils_in_series(self) -> int:
        """Coils in series in each path of a phase."""
        return len(self.paths[0][0])


def _phasor_steps(coils: int, poles: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Electrical angle of every coil in steps of 1/coils turn, shape (coils,)."""
    return np.arange(coils, dtype=np.int64) * (poles // 2) % coils


def is_balanced(phases: int, coils: int, poles: int) -> bool:
    """Whether the phases of this winding are equal and evenly spread.

    Turning the star of phasors by one phase step, with senses free, must map it onto itself: coils / gcd(coils, pole
    pairs) must be a multiple of the phases (odd number of phases) or of twice the phases (two phases).

    >>> is_balanced(3, 12, 10), is_balanced(3, 6, 6), is_balanced(2, 8, 6)
    (True, False, True)
    """
    if phases < 2 or coils < 1 or poles < 2 or poles % 2 or (phases % 2 == 0 and phases != 2):
        return False
    distinct = coils // gcd(coils, poles // 2)
    return distinct % (phases if phases % 2 else 2 * phases) == 0


def pitch_factor(coils: int, poles: int, order: int = 1) -> float:
    """Flux of a coil one coil pitch wide over that of a full-pitch coil, by harmonic: sin(n·pi·P/(2·Q)), magnitude.

    >>> round(pitch_factor(12, 10), 4)
    0.9659
    """
    return abs(sin(order * pi * poles / (2 * coils)))


def distribution_factor(coils: int, poles: int, members: tuple[tuple[int, int], ...], order: int = 1) -> float:
    """Length of the sum of a phase's phasors over their count; members are (coil, sense)."""
    index = np.array([coil for coil, _ in members])
    sense = np.array([sense for _, sense in members])
    phasors = sense * np.exp(1j * order * (poles // 2) * 2 * pi * index / coils)
    return float(abs(phasors.sum()) / len(members))


def assign_coils(phases: int, coils: int, poles: int) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Phase index and sense of every coil."""
    sectors = 2 * phases
    sector = (2 * sectors * _phasor_steps(coils, poles) + coils) // (2 * coils) % sectors
    # Phase axes stand 2·pi/phases apart (a quarter turn for two phases): every second sector, or the next one.
    stride = 2 if phases % 2 else 1
    phase, sense = np.zeros(coils, dtype=int), np.zeros(coils, dtype=int)
    for index in range(phases):
        for sign, at in ((1, stride * index), (-1, stride * index + phases)):
            chosen = sector == at % sectors
            phase[chosen], sense[chosen] = index, sign
    return tuple(phase.tolist()), tuple(sense.tolist())


def parallel_groups(
    coils: int, poles: int, members: list[int], sense: tuple[int, ...], count: int
) -> tuple[tuple[int, ...], ...]:
    """The coils of one phase dealt into ``count`` parallel paths of equal EMF; () if that cannot be done.

    members: the coils of the phase; sense: of every coil, 1 or -1 where it is connected the other way round.
    """
    steps = _phasor_steps(coils, poles)
    keys = {coil: int(2 * steps[coil] + (coils if sense[coil] < 0 else 0)) % (2 * coils) for coil in members}
    share = {key: number // count for key, number in Counter(keys.values()).items()}
    if any(number % count for number in Counter(keys.values()).values()):
        return ()
    groups: list[list[int]] = [[] for _ in range(count)]
    seen: Counter[int] = Counter()
    for coil in members:
        groups[seen[keys[coil]] // share[keys[coil]]].append(coil)
        seen[keys[coil]] += 1
    return tuple(tuple(group) for group in groups)


def winding_factor(phases: int, coils: int, poles: int, order: int = 1) -> float:
    """Winding factor of a balanced concentrated winding with ideal coils, for one harmonic.

    >>> round(winding_factor(3, 12, 10), 4)
    0.933
    """
    return dict(wind(phases, coils, poles).factors)[order] if order <= HIGHEST_ORDER else 0.0


def wind(phases: int, coils: int, poles: int, parallel_paths: int = 1, source: str = "winding") -> Winding:
    """The balanced winding of these numbers.

    Raises DesignError where the phases would not be equal, with the nearest balanced pairs, or where the parallel
    paths would not have equal EMF, with the counts that do.
    """
    if not is_balanced(phases, coils, poles):
        pairs = nearest_balanced(phases, coils, poles)
        near = ", ".join(f"{q} coils / {p} poles" for q, p in pairs)
        ways: tuple[dict[str, object], ...] = tuple({"winding.coils": q, "rotor.poles": p} for q, p in pairs)
        rule = (
            f"{coils} coils and {poles} poles give no balanced {phases}-phase winding: "
            f"coils / gcd(coils, poles/2) must be a multiple of {phases if phases % 2 else 2 * phases}"
        )
        got = f"{coils // gcd(coils, poles // 2)}"
        raise DesignError(source, [Complaint("winding.coils", rule, got, f"nearest that work: {near}", ways)])
    phase_of, sense = assign_coils(phases, coils, poles)
    members = [[coil for coil in range(coils) if phase_of[coil] == phase] for phase in range(phases)]
    multiplicity = len(members[0])
    counts = tuple(
        count
        for count in range(1, multiplicity + 1)
        if multiplicity % count == 0 and parallel_groups(coils, poles, members[0], sense, count)
    )
    if parallel_paths not in counts:
        raise DesignError(
            source,
            [
                Complaint(
                    "winding.parallel_paths",
                    "the paths of a phase must have equal EMF",
                    str(parallel_paths),
                    f"{coils} coils / {poles} poles allow {', '.join(map(str, counts))}",
                    tuple({"winding.parallel_paths": count} for count in counts),
                )
            ],
        )
    paths = tuple(parallel_groups(coils, poles, group, sense, parallel_paths) for group in members)
    first = tuple((coil, sense[coil]) for coil in members[0])
    factors = tuple(
        (order, distribution_factor(coils, poles, first, order) * pitch_factor(coils, poles, order))
        for order in range(1, HIGHEST_ORDER + 1, 2)
    )
    return Winding(phases, coils, poles, phase_of, sense, paths, factors, counts)


def nearest_balanced(phases: int, coils: int, poles: int, count: int = 4) -> list[tuple[int, int]]:
    """Balanced (coils, poles) pairs nearest to the asked one, with a usable winding factor, nearest first."""
    span = max(2 * phases, 6)
    pairs = [
        (q, p)
        for q in range(max(phases, coils - span), coils + span + 1)
        for p in range(max(2, poles - 2 * span), poles + 2 * span + 1)
        if p % 2 == 0 and is_balanced(phases, q, p) and 2 / 3 <= q / p * 3 / phases <= 3
    ]
    pairs.sort(key=lambda pair: (abs(pair[0] - coils) + abs(pair[1] - poles), -pitch_factor(*pair)))
    return pairs[:count]


def feasible_windings(phases: int, coils: Iterable[int], poles: Iterable[int]) -> list[Winding]:
    """Every balanced winding of these numbers, in order of coils and then of falling factor."""
    even = [p for p in poles if p % 2 == 0]
    found = [wind(phases, q, p) for q in coils for p in even if is_balanced(phases, q, p)]
    return sorted(found, key=lambda winding: (winding.coils, -round(winding.factor, 9), winding.poles))
