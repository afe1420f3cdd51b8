"""The figures of docs/wave-and-spiral.md: one annulus and rotor, a spiral and a wave of the same turns per phase."""

from __future__ import annotations

from typing import Any

import pcbstator
from pcbstator.copper import size_design
from pcbstator.design import Design, design_from_document

TURNS = 48  # per phase
WINDINGS: dict[str, dict[str, Any]] = {
    "spiral": {"kind": "spiral", "coils": 12, "turns": TURNS // 8},
    "wave": {"kind": "wave", "turns": TURNS // 16},
}


def design_of(kind: str, profile: str, width: float | str = "fill") -> Design:
    """16 poles, double rotor, two layers of 70 um on a board of 1 mm, gaps of 1 mm."""
    return design_from_document(
        {
            "title": f"{kind}, {profile}",
            "winding": WINDINGS[kind],
            "board": {
                "layers": 2, "thickness_mm": 1.0, "outer_copper_um": 70.0, "track_width_mm": width,
                "track_gap_mm": 0.2, "track_profile": profile, "copper_inner_diameter_mm": 80.0,
                "copper_outer_diameter_mm": 160.0, "rules": "2oz-standard", "via_pad_mm": 0.7,
            },
            "rotor": {
                "poles": 16, "arrangement": "double", "air_gap_mm": 1.0,
                "magnet": {
                    "shape": "sector", "inner_diameter_mm": 90.0, "outer_diameter_mm": 150.0, "arc_ratio": 0.8,
                    "thickness_mm": 4.0, "remanence_t": 1.3,
                },
            },
        },
        f"{kind}.toml",
    )  # fmt: skip


def figures(kind: str, profile: str, width: float | str = "fill") -> dict[str, float]:
    """What the page shows of one winding."""
    design = size_design(design_of(kind, profile, width))
    result = pcbstator.predict(design)
    assert result.magnetic is not None
    return {
        "width": design.board.track_width * 1e3,
        "turns": result.winding.series_turns,
        "resistance": result.electrical.phase_resistance,
        "psi": result.magnetic.flux_linkage_peak * 1e3,
        "constant": result.magnetic.motor_constant,
    }


def rows() -> list[str]:
    """The rows of the page's table."""
    asked: list[tuple[str, str, float | str]] = [
        (kind, profile, "fill") for kind in WINDINGS for profile in ("even", "tapered")
    ]
    asked.append(("wave", "even", 0.60))
    first, written = 0.0, []
    for kind, profile, width in asked:
        found = figures(kind, profile, width)
        loss = 1 / found["constant"] ** 2
        first = first or loss
        written.append(
            f"| {kind}, {profile} | {found['turns']:.0f} | {found['width']:.2f} | {found['resistance']:.3f} "
            f"| {found['psi']:.2f} | {found['constant']:.4f} | {100 * loss / first:.0f} % |"
        )
    return written


if __name__ == "__main__":
    print("\n".join(rows()))
