"""A rule set of your own, from the table of limits of the board manufacturer that you order from.

    python docs/examples/rule_set.py [FOLDER]

First what a design breaks of it, then the same stator laid out as finely as the rules allow.
"""

import sys
from pathlib import Path

from pcbstator import project
from pcbstator.design import Design
from pcbstator.findings import Finding

DESIGN = Path(__file__).parents[2] / "designs" / "filter-wheel.toml"
RULES = {  # what is left out is taken from 1oz-standard
    "name": "low-cost two-layer process",
    "track_width_mm": 0.25,
    "track_gap_mm": 0.25,
    "drill_mm": 0.4,
    "annular_ring_mm": 0.2,
    "edge_mm": 0.5,
}


def broken(design: Design) -> list[Finding]:
    """What the rule set objects to: findings about the board."""
    return [finding for finding in project.check(design) if finding.code.startswith("board.")]


def finest(design: Design) -> Design:
    """As many turns as fit with the narrowest tracks, gaps and vias that the rules of the design allow."""
    rules = design.rules
    return project.size_design(
        design.with_values(
            {
                "winding.turns": "fill",
                "board.track_width_mm": 1e3 * rules.track_width,
                "board.track_gap_mm": 1e3 * rules.track_gap,
                "board.via_drill_mm": 1e3 * rules.drill,
                "board.via_pad_mm": 1e3 * (rules.drill + 2 * rules.annular_ring),
            }
        )
    )


if __name__ == "__main__":
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".")
    design = project.load_design(DESIGN).with_values({"board.rules": RULES})
    for finding in broken(design):
        print(finding.severity, finding.code, finding.message)
    fitted = finest(design)
    print(f"{fitted.winding.turns} turns fit; findings about the board: {len(broken(fitted))}")
    project.save_design(fitted, folder / "filter-wheel-low-cost.toml")
    (folder / "filter-wheel-low-cost.svg").write_text(project.draw(fitted), encoding="utf-8")
