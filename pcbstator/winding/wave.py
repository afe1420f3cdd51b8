"""The distributed wave winding: full-pitch active conductors, side by side in phase belts, one per pole and phase.

The conductors of a phase form laps: each goes once around the machine, out on one pole and back on the next. Lap j
begins one active conductor after lap j − 1; 2·phases·turns of them fill two poles. In the star of phasors they are the
coils of a two-pole machine, so the same rules deal them to phases and paths.
"""

from __future__ import annotations

from pcbstator.errors import Complaint, DesignError
from pcbstator.winding.star import HIGHEST_ORDER, Winding, assign_coils, distribution_factor, parallel_groups


def wind_wave(phases: int, turns: int, poles: int, parallel_paths: int = 1, source: str = "winding") -> Winding:
    """The wave winding with ``turns`` active conductors side by side per pole and phase; its coils are the laps.

    Raises DesignError where the parallel paths would not have equal EMF.

    >>> round(wind_wave(3, 2, 16).factor, 4)  # handbook, two slots per pole and phase
    0.9659
    """
    laps = 2 * phases * turns
    phase_of, sense = assign_coils(phases, laps, 2)
    members = [[index for index in range(laps) if phase_of[index] == phase] for phase in range(phases)]
    counts = tuple(n for n in range(1, 2 * turns + 1) if parallel_groups(laps, 2, members[0], sense, n))
    if parallel_paths not in counts:
        rule = "the paths of a phase must have equal EMF"
        remedy = f"a wave winding allows {', '.join(map(str, counts))}; more through winding.layer_connection"
        raise DesignError(source, [Complaint("winding.parallel_paths", rule, str(parallel_paths), remedy)])
    paths = tuple(parallel_groups(laps, 2, group, sense, parallel_paths) for group in members)
    first = tuple((index, sense[index]) for index in members[0])
    factors = tuple((order, distribution_factor(laps, 2, first, order)) for order in range(1, HIGHEST_ORDER + 1, 2))
    return Winding(phases, laps, poles, phase_of, sense, paths, factors, counts)
