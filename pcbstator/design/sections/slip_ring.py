"""A second board with concentric rings, on which brushes slide or balls roll: what is asked for, in SI."""

from __future__ import annotations

from typing import Annotated, Literal

from pcbstator.design.quantities import LARGEST, Count, Quantity, Record, Text, amperes, key, micrometres, millimetres
from pcbstator.design.sections.mechanical_features import HoleCircle

MOST_RINGS = 32
MOST_VIAS = 64
MOST_BALLS = 200
BALL = 3e-3  # m, where no gap is stated
FROM_EDGE = "copper with an edge of 0.5 mm, or rules.edge_mm if that is more"


class SlipRing(Record):
    """A board of concentric rings; ring R1 is the innermost. Its limits are those of ``board.rules``."""

    rings: Annotated[int, Count(range(1, MOST_RINGS + 1))] = key("rings", "rings, R1 is the innermost", example=4)
    inner_diameter: Annotated[float, millimetres(2, LARGEST)] = key(
        "inner_diameter_mm", "inner edge of the innermost ring", example=30.0
    )
    width: Annotated[float, millimetres(0.3, 10)] = key("width_mm", "width of a ring", 2.0)
    spacing: Annotated[float, millimetres(0.05, 50)] = key(
        "spacing_mm", "bare laminate between rings, and from rings to terminals", 1.0
    )
    current: Annotated[float, amperes(0.001, 30)] = key("current_rms_a", "rms current of each ring", example=2.0)
    voltage: Annotated[float, Quantity("V", 1.0, 0, 1000)] = key(
        "voltage_v", "peak working voltage between any two rings", example=24.0
    )
    temperature_rise: Annotated[float, Quantity("K", 1.0, 10, 100)] = key(
        "temperature_rise_k", "rise that the current may cause", 20.0
    )
    lead_edge: Literal["outer", "inner"] = key("lead_edge", "edge of the slip-ring board with the terminals", "outer")
    thickness: Annotated[float, millimetres(0.1, 10)] = key("thickness_mm", "thickness of its laminate", 1.6)
    copper: Annotated[float, micrometres(5, 500)] = key("copper_um", "copper of its two faces (1 oz = 35)", 35.0)
    stated_bore: Annotated[float, millimetres(1, LARGEST)] | None = key(
        "bore_diameter_mm", "bore of the slip-ring board", None, example=20.0, otherwise=FROM_EDGE
    )
    stated_outer: Annotated[float, millimetres(5, LARGEST)] | None = key(
        "outer_diameter_mm", "outline of the slip-ring board", None, example=70.0, otherwise=FROM_EDGE
    )
    stated_lead_width: Annotated[float, millimetres(0.05, 10)] | None = key(
        "lead_width_mm", "width of the leads below the rings", None, example=1.0, otherwise="as the current needs"
    )
    stated_vias: Annotated[int, Count(range(1, MOST_VIAS + 1))] | None = key(
        "vias", "vias of each ring", None, example=4, otherwise="as the current needs"
    )
    via_drill: Annotated[float, millimetres(0.05, 3)] = key("via_drill_mm", "drill of the rings' vias", 0.3)
    via_pad: Annotated[float, millimetres(0.1, 6)] = key("via_pad_mm", "copper around a ring's via", 0.6)
    via_plating: Annotated[float, micrometres(5, 100)] = key(
        "via_plating_um", "copper on the wall of a ring's via", 20.0
    )
    terminal_drill: Annotated[float, millimetres(0.3, 6)] = key(
        "terminal_drill_mm", "holes for the wires to the rings", 1.0
    )
    terminal_pad: Annotated[float, millimetres(0.5, 9)] = key(
        "terminal_pad_mm", "copper around the holes of these wires", 2.0
    )
    finish: Annotated[str, Text(40)] = key("finish", "finish of the rings: hard gold wears least", "hard gold")
    contact: Literal["brushes", "balls"] = key(
        "contact", "brushes on one board, or balls between two boards, which are then the bearing as well", "brushes"
    )
    shaft_diameter: Annotated[float, millimetres(0.5, LARGEST)] | None = key(
        "shaft_diameter_mm", "shaft that goes through the bore", None, example=18.0, otherwise="not checked"
    )
    housing_diameter: Annotated[float, millimetres(5, LARGEST)] | None = key(
        "housing_diameter_mm", "bore of the part in which the board lies", None, example=72.0, otherwise="not checked"
    )
    stated_turning_edge: Literal["outer", "inner"] | None = key(
        "turning_lead_edge", "balls: edge of the turning board with its terminals", None, example="inner",
        otherwise="lead_edge",
    )  # fmt: skip
    stated_gap: Annotated[float, millimetres(0.3, 30)] | None = key(
        "board_gap_mm", "balls: between the laminates of both boards; it sets the size of the balls", None,
        example=3.07, otherwise="balls of 3 mm and the copper of both boards",
    )  # fmt: skip
    stated_balls: Annotated[int, Count(range(3, MOST_BALLS + 1))] | None = key(
        "balls", "balls of each ring", None, example=16, otherwise="as a cage holds on the innermost ring"
    )
    ball_material: Literal["steel", "stainless", "brass"] = key(
        "ball_material", "balls: bearing steel or other", "steel"
    )
    ball_grade: Literal["G3", "G5", "G10", "G16", "G20", "G28", "G40", "G60", "G100", "G200"] = key(
        "ball_grade", "balls: grade by ISO 3290, all of one lot", "G100"
    )
    flatness: Annotated[float, micrometres(0, 2000)] = key(
        "flatness_um", "balls: of each board under its raceways, as it is fixed (common practice, no source)", 50.0
    )
    board_stiffness: Annotated[float, Quantity("N/mm", 1e-3, 1e-3, 1e6)] | None = key(
        "board_stiffness_n_per_mm", "balls: force per shift of what a board lies on, under one ball, felt or rubber",
        None, example=2.0, otherwise="rigid",
    )  # fmt: skip
    preload: Annotated[float, Quantity("N", 1.0, 0, 1e4)] = key(
        "preload_n", "balls: force of a spring that presses both boards together", 0.0
    )
    holes: tuple[HoleCircle, ...] = key("holes", "fixing holes of the slip-ring board", ())

    @property
    def ball_diameter(self) -> float:
        """Diameter of the balls [m]: what is left between the copper of both boards."""
        return BALL if self.stated_gap is None else self.stated_gap - 2 * self.copper

    @property
    def turning_edge(self) -> Literal["outer", "inner"]:
        """Edge of the turning board with its terminals."""
        return self.stated_turning_edge or self.lead_edge

    @property
    def boards(self) -> dict[str, SlipRing]:
        """The boards to order, by name: each has the section as it is seen from there, with the edge of its terminals;
        the only one has no name.
        """
        if self.contact == "brushes":
            return {"": self}
        edges = {"lead_edge": self.turning_edge, "stated_turning_edge": self.lead_edge}
        return {"still": self, "turning": self.model_copy(update=edges)}
