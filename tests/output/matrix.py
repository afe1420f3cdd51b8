"""Small stators of every kind, for the tests of the files: each choice of the design file meets every other one.

Kind, layers, connection ring and stack are all combined; a generator with a fixed seed deals the other choices to them.
A further choice (boards cut into tiles, say) is one more entry of ``DEALT`` or one more factor in ``cases``.
"""

from __future__ import annotations

import itertools
import random
from typing import Any

from pcbstator.design import Design, design_from_document

KINDS = {
    "sector": {"winding.kind": "spiral", "winding.outline": "sector"},
    "round": {"winding.kind": "spiral", "winding.outline": "round"},
    "parallel": {"winding.kind": "spiral", "winding.outline": "parallel"},
    "fan": {"winding.kind": "spiral", "winding.outline": "sector", "board.track_profile": "tapered"},
    "wave": {"winding.kind": "wave"},
    "wide-wave": {"winding.kind": "wave", "board.track_profile": "tapered"},
}
LAYERS = {2: None, 4: None, 5: [1, 2, 4, 5], 6: None, 8: None}
STACKS: dict[str, dict[str, Any] | None] = {
    "one": None,
    "series": {"boards": 2, "connection": "series"},
    "parallel": {"boards": 2, "connection": "parallel"},
}
RIMS = ("outer", "inner")
WAVE_RING = {
    "board.copper_inner_diameter_mm": 84.0, "board.copper_outer_diameter_mm": 236.0, "board.track_width_mm": 0.25,
    "rotor.magnet.inner_diameter_mm": 110.0, "rotor.magnet.outer_diameter_mm": 210.0,
}  # fmt: skip
TIMES = 2  # how often combinations come
PHASES = ((3, 6, 8), (2, 4, 6), (3, 12, 8), (5, 10, 8), (3, 6, 4))  # with coils and poles that give two equal paths
WAVES = ((3, 16, 2), (2, 20, 2), (3, 20, 1), (5, 12, 1), (3, 16, 3))  # with poles, and runs beside each other
DEALT: dict[str, tuple[Any, ...]] = {
    "phases": PHASES,
    "wave": WAVES,
    "connection": ("open", "star", "delta"),
    "paths": (1, 2),
    "skew": (0.0, 0.0, 4.0, -3.0),
    "turns": (1, 2, 3),
    "layer_connection": ("series", "parallel"),
}


def document() -> dict[str, Any]:
    """The stator that the choices are made for."""
    return {
        "title": "Matrix stator",
        "winding": {"turns": 2},
        "board": {
            "layers": 2, "track_width_mm": 0.3, "track_gap_mm": 0.2, "thickness_mm": 1.6,
            "copper_inner_diameter_mm": 44.0, "copper_outer_diameter_mm": 96.0,
        },
        "rotor": {
            "poles": 8, "air_gap_mm": 1.0,
            "magnet": {
                "shape": "sector", "inner_diameter_mm": 52.0, "outer_diameter_mm": 86.0, "arc_ratio": 0.8,
                "thickness_mm": 3.0, "remanence_t": 1.3,
            },
        },
    }  # fmt: skip


def cases() -> dict[str, dict[str, Any]]:
    """Values of every design by a name that tells them."""
    found: dict[str, dict[str, Any]] = {}
    dealer = random.Random(1)
    wanted = enumerate(itertools.product(range(TIMES), KINDS, LAYERS, STACKS, RIMS))
    for number, (again, kind, layers, stack, ring) in wanted:
        if again and number % 6:
            continue  # every combination once, a sixth of them with other choices of what is dealt
        dealt = {name: dealer.choice(choices) for name, choices in DEALT.items()}
        phases, coils, poles = dealt["phases"]
        turns = dealt["turns"]
        wave = KINDS[kind]["winding.kind"] == "wave"
        if wave:
            phases, poles, turns = dealt["wave"]
        connection = "star" if dealt["connection"] == "delta" and phases == 2 else dealt["connection"]
        values = KINDS[kind] | {
            "winding.phases": phases,
            "winding.coils": None if wave else coils,
            "winding.turns": turns,
            "winding.connection": connection,
            "winding.parallel_paths": dealt["paths"],
            "winding.skew_deg": dealt["skew"],
            "winding.connection_ring": ring,
            "board.layers": layers,
            "board.coil_layers": LAYERS[layers],
            "rotor.poles": poles,
            "stack": STACKS[stack],
        }
        if wave:
            joined = dealt["layer_connection"]
            if kind == "wide-wave" and turns == 1 and layers > 2:
                joined = "parallel"  # so few wide tracks leave no room for several rows of vias
            values |= WAVE_RING | {"winding.layer_connection": joined}
        name = (
            f"{kind}-{layers}-{ring}-{stack}-{connection}-m{phases}{'' if wave else f'c{coils}'}p{poles}-n{turns}"
            f"-a{dealt['paths']}-s{dealt['skew']:g}" + (f"-{values['winding.layer_connection']}" if wave else "")
        )
        found[name] = values
    return found


def design_of(name: str) -> Design:
    """The design of a case."""
    asked = document()
    for dotted, value in cases()[name].items():
        if value is not None:
            *tables, key = dotted.split(".")
            place = asked
            for table in tables:
                place = place[table]
            place[key] = value
    return design_from_document(asked, f"{name}.toml")
