"""What is asked for, as frozen records in SI.

An attribute has the name of its key in the file without the unit. The second part of each annotation says what the file
may hold and in which unit; defaults stand here as they would stand in a file and go through the same door.
Temperatures stay in degrees Celsius.
"""

from __future__ import annotations

import copy
import hashlib
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, PrivateAttr

from pcbstator.design.quantities import (
    LARGEST,
    Count,
    CountList,
    QuantityList,
    Record,
    Text,
    WordOr,
    celsius,
    degrees,
    key,
    micrometres,
    millimetres,
)
from pcbstator.design.recorded_motion import Recording
from pcbstator.design.rules import RuleSet, rules_as_table
from pcbstator.design.sections.bearing import Bearing
from pcbstator.design.sections.build import Build
from pcbstator.design.sections.job import Drive, Load, Motion
from pcbstator.design.sections.mechanical_features import Hole, Keepout, Slot, Tab, Thermistor
from pcbstator.design.sections.prices import Prices
from pcbstator.design.sections.requirement import Acceptance, Acceptances, Requirement
from pcbstator.design.sections.rotor import Rotor
from pcbstator.design.sections.slip_ring import SlipRing
from pcbstator.design.sections.work import Cooling, Operation, Tolerance

LEAST_EDGE = 0.5e-3  # m; copper to board edge where the file gives no outline
LEAST_BORE = 1e-3  # m
BY_EDGE = "the copper with an edge of 0.5 mm, or of rules.edge_mm if that is more"


class Envelope(Record):
    """The envelope that the machine leaves for the drive; None where it sets no limit."""

    bore_diameter: Annotated[float, millimetres(0, LARGEST)] | None = key(
        "bore_diameter_mm", "kept free in the middle, for a bearing or cable", None, example=36.0, otherwise="no limit"
    )
    outer_diameter: Annotated[float, millimetres(1, LARGEST)] | None = key(
        "outer_diameter_mm", "nothing reaches beyond it", None, example=90.0, otherwise="no limit"
    )
    bearing_inner_diameter: Annotated[float, millimetres(1, LARGEST)] | None = key(
        "bearing_inner_diameter_mm", "of a bearing that the machine may lie within or around", None, example=60.0,
        otherwise="the bearing lies in the bore, or beyond the outline",
    )  # fmt: skip
    bearing_outer_diameter: Annotated[float, millimetres(2, LARGEST)] | None = key(
        "bearing_outer_diameter_mm", "of that bearing", None, example=75.0,
        otherwise="the bearing lies in the bore, or beyond the outline",
    )  # fmt: skip
    height: Annotated[float, millimetres(0.1, 1000)] | None = key(
        "height_mm", "for board, gap, magnets and iron together", None, example=12.0, otherwise="no limit"
    )


class Winding(Record):
    """Coils, their order and connection."""

    kind: Literal["spiral", "wave"] = key(
        "kind",
        "spiral: one coil at each coil position; wave: distributed, active conductors with end windings",
        "spiral",
    )
    outline: Literal["sector", "round", "parallel"] = key(
        "outline", "sector fills the circle, round suits discs, parallel has straight sides", "sector"
    )
    phases: Annotated[int, Count((2, 3, 5, 7, 9, 11, 13, 15))] = key("phases", "phases of the drive", 3)
    coils: Annotated[int, Count(range(2, 361))] | None = key(
        "coils", "of a spiral winding, a multiple of the phases", None, example=12, otherwise="wave only: has no coils"
    )
    turns: Annotated[int | Literal["fill"], Count(range(1, 501), word="fill")] = key(
        "turns", 'per coil and layer; wave: active conductors per pole and phase; "fill" for as many as fit', example=8
    )
    connection: Literal["star", "delta", "open"] = key("connection", "how the phases meet", "star")
    parallel_paths: Annotated[int, Count(range(1, 61))] = key(
        "parallel_paths", "equal paths that share the phase current", 1
    )
    layer_connection: Literal["series", "parallel"] = key(
        "layer_connection", "how the pairs of layers of a wave winding are joined", "series"
    )
    skew: Annotated[float, degrees(-30, 30)] = key(
        "skew_deg", "turn of the copper between its inner and its outer end, against torque ripple", 0.0
    )
    connection_ring: Literal["outer", "inner"] = key(
        "connection_ring", "edge of the copper ring with the inter-coil connections and terminals", "outer"
    )
    corner_radius: Annotated[float, millimetres(0, 50)] | None = key(
        "corner_radius_mm", "least radius of the coil's corners", None, example=0.5, otherwise="chosen by the program"
    )


class Board(Record):
    """The printed circuit board that carries the coils."""

    layers: Annotated[int, Count(range(2, 17))] = key("layers", "copper layers", example=4)
    coil_layers: Annotated[tuple[int, ...], CountList(Count(range(1, 17)))] | None = key(
        "coil_layers", "layers that the winding uses, an even number of them", None, example=[1, 2, 3, 4],
        otherwise="all",
    )  # fmt: skip
    thickness: Annotated[float, millimetres(0.1, 10)] = key("thickness_mm", "thickness of the laminate", 1.6)
    outer_copper: Annotated[float, micrometres(5, 500)] = key(
        "outer_copper_um", "copper of both faces (1 oz = 35)", 35.0
    )
    inner_copper: Annotated[float, micrometres(5, 500)] = key("inner_copper_um", "copper of the layers inside", 35.0)
    layer_copper: Annotated[tuple[float, ...], QuantityList(micrometres(5, 500), 16)] | None = key(
        "layer_copper_um", "copper of each layer, from layer 1", None, example=[35.0, 70.0, 70.0, 35.0],
        otherwise="outer_copper_um and inner_copper_um",
    )  # fmt: skip
    stated_track_width: Annotated[float | Literal["fill"], WordOr(millimetres(0.05, 20), "fill")] = key(
        "track_width_mm", 'width of the coils\' tracks, "fill" for the widest that fits', example=0.3
    )
    track_profile: Literal["even", "tapered"] = key(
        "track_profile", "tapered tracks widen with the radius from track_width_mm on, so that gaps stay even", "even"
    )
    track_gap: Annotated[float, millimetres(0.05, 20)] = key(
        "track_gap_mm", "gap between neighbouring tracks", example=0.2
    )
    copper_inner_diameter: Annotated[float, millimetres(4, LARGEST)] = key(
        "copper_inner_diameter_mm",
        "inner diameter of the copper ring, end windings and connections included",
        example=40.0,
    )
    copper_outer_diameter: Annotated[float, millimetres(6, LARGEST)] = key(
        "copper_outer_diameter_mm", "outer diameter of that ring", example=80.0
    )
    via_drill: Annotated[float, millimetres(0.05, 3)] = key("via_drill_mm", "drill of the vias", 0.3)
    via_pad: Annotated[float, millimetres(0.1, 6)] = key("via_pad_mm", "copper around a via", 0.6)
    via_plating: Annotated[float, micrometres(5, 100)] = key("via_plating_um", "copper on the wall of a via", 20.0)
    vias_per_transition: Annotated[int, Count(range(1, 8))] | None = key(
        "vias_per_transition", "vias side by side wherever layers meet", None, example=1,
        otherwise="as many as the track needs, as far as they fit",
    )  # fmt: skip
    layer_depths: Annotated[tuple[float, ...], QuantityList(millimetres(0, 10), 16)] | None = key(
        "layer_depths_mm", "depth of each layer below layer 1, rising from 0", None,
        example=[0.0, 0.2, 1.4, 1.6], otherwise="evenly spaced",
    )  # fmt: skip
    stated_inner_diameter: Annotated[float, millimetres(1, LARGEST)] | None = key(
        "inner_diameter_mm", "bore of the board", None, example=38.0, otherwise=BY_EDGE
    )
    stated_outer_diameter: Annotated[float, millimetres(5, LARGEST + 100)] | None = key(
        "outer_diameter_mm", "outline of the board", None, example=82.0, otherwise=BY_EDGE
    )
    terminal_drill: Annotated[float, millimetres(0.3, 6)] = key("terminal_drill_mm", "holes for the wires", 1.0)
    terminal_pad: Annotated[float, millimetres(0.5, 10)] = key("terminal_pad_mm", "copper around those holes", 1.6)
    stated_interconnect_width: Annotated[float, millimetres(0.05, 20)] | None = key(
        "interconnect_width_mm", "width of the inter-coil connections", None, example=0.3, otherwise="track_width_mm"
    )
    finish: Annotated[str, Text(40)] = key("finish", "surface finish, a word for the board manufacturer", "ENIG")
    tiles: Annotated[int, Count(range(1, 61))] = key(
        "tiles", "equal arcs into which the ring is cut, each a board of its own", 1
    )
    tile_gap: Annotated[float, millimetres(0, 5)] = key("tile_gap_mm", "between neighbouring tiles", 0.2)
    stated_panel_width: Annotated[float, millimetres(10, LARGEST)] | None = key(
        "panel_width_mm", "largest board that is made: each tile must fit it, turned as may be", None, example=100.0,
        otherwise="panel_height_mm, or no limit",
    )  # fmt: skip
    stated_panel_height: Annotated[float, millimetres(10, LARGEST)] | None = key(
        "panel_height_mm", "its other side", None, example=100.0, otherwise="panel_width_mm, or no limit"
    )
    stated_jumper_drill: Annotated[float, millimetres(0.3, 6)] | None = key(
        "jumper_drill_mm", "holes beside a cut for the wires across it", None, example=0.8,
        otherwise="terminal_drill_mm",
    )  # fmt: skip
    stated_jumper_pad: Annotated[float, millimetres(0.5, 10)] | None = key(
        "jumper_pad_mm", "copper around those holes", None, example=1.4, otherwise="terminal_pad_mm"
    )
    laminate_tg_c: Annotated[float, celsius(80, 300)] = key(
        "laminate_tg_c", "glass transition temperature of the laminate", 150.0
    )
    rules: Annotated[RuleSet, BeforeValidator(rules_as_table)] = key(
        "rules", "a named rule set, or a table of limits", "1oz-standard"
    )
    holes: tuple[Hole, ...] = key("holes", "holes for screws", ())
    slots: tuple[Slot, ...] = key("slots", "routed slots", ())
    tabs: tuple[Tab, ...] = key("tabs", "mounting tabs on the outer edge", ())
    keepouts: tuple[Keepout, ...] = key("keepouts", "areas without copper", ())
    thermistor: Thermistor | None = key("thermistor", "lands for a chip thermistor", None)

    @property
    def edge(self) -> float:
        """Distance of copper to the board's edge [m] where the file gives no outline."""
        return max(LEAST_EDGE, self.rules.edge)

    @property
    def inner_diameter(self) -> float:
        """Bore of the board [m]."""
        if self.stated_inner_diameter is not None:
            return self.stated_inner_diameter
        return max(LEAST_BORE, self.copper_inner_diameter - 2 * self.edge)

    @property
    def outer_diameter(self) -> float:
        """Outline of the board [m]."""
        if self.stated_outer_diameter is not None:
            return self.stated_outer_diameter
        return self.copper_outer_diameter + 2 * self.edge

    @property
    def panel(self) -> tuple[float, float] | None:
        """Sides of the largest board that is made [m]; None without a limit."""
        width, height = self.stated_panel_width, self.stated_panel_height
        sides = [side for side in (width, height) if side is not None]
        return (sides[0], sides[-1]) if sides else None

    @property
    def jumper_drill(self) -> float:
        """Holes beside a cut for the wires across it [m]."""
        return self.stated_jumper_drill or self.terminal_drill

    @property
    def jumper_pad(self) -> float:
        """Copper around those holes [m]."""
        return self.stated_jumper_pad or self.terminal_pad

    @property
    def beside_cut(self) -> float:
        """Least distance of copper from the middle of a cut between tiles [m]; 0 where there is none."""
        if self.tiles == 1:
            return 0.0
        return max(self.rules.edge + self.tile_gap / 2, self.track_gap / 2)

    @property
    def track_width(self) -> float:
        """Width of the tracks [m]; of a design with "fill" only once ``size_design`` has solved for it."""
        if self.stated_track_width == "fill":
            raise ValueError("the width is still to be solved for")
        return self.stated_track_width

    @property
    def used_layers(self) -> tuple[int, ...]:
        """Numbers of the layers that the winding uses."""
        return self.coil_layers or tuple(range(1, self.layers + 1))

    @property
    def layer_thicknesses(self) -> tuple[float, ...]:
        """Copper of each layer [m], from layer 1."""
        inside = (self.inner_copper,) * (self.layers - 2)
        return self.layer_copper or (self.outer_copper, *inside, self.outer_copper)

    @property
    def interconnect_width(self) -> float:
        """Width of the inter-coil connections [m]."""
        return self.track_width if self.stated_interconnect_width is None else self.stated_interconnect_width

    @property
    def layer_z(self) -> tuple[float, ...]:
        """Mid-plane of each copper layer [m], from layer 1 at 0 down to the other face."""
        if self.layer_depths is not None:
            return tuple(0.0 - depth for depth in self.layer_depths)
        return tuple(0.0 - self.thickness * layer / (self.layers - 1) for layer in range(self.layers))


class Stack(Record):
    """Several equal boards on top of each other."""

    boards: Annotated[int, Count(range(1, 9))] = key("boards", "equal boards on top of each other", example=2)
    spacing: Annotated[float, millimetres(0, 20)] = key("spacing_mm", "between the laminates of neighbours", 0.2)
    connection: Literal["series", "parallel"] = key("connection", "how each phase goes through the boards", "series")


class Design(Record):
    """A design as it was asked for: checked, in SI, frozen. Made by ``load_design`` and ``design_from_document``."""

    drawing: ClassVar[Callable[[Design], str] | None] = None  # as a notebook shows it

    title: Annotated[str, Text(120)] = key("title", "name on drawings and reports", example="My motor")
    requirement: Requirement | None = key("requirement", "what is asked of the built motor", None)
    envelope: Envelope | None = key("envelope", "envelope that the machine leaves", None)
    winding: Winding = key("winding", "coils and their connection")
    board: Board = key("board", "the printed circuit board")
    stack: Stack | None = key("stack", "several boards", None)
    rotor: Rotor = key("rotor", "plate and magnets")
    operation: Operation | None = key("operation", "working points for losses", None)
    cooling: Cooling | None = key("cooling", "where the heat goes", None)
    tolerance: Tolerance | None = key("tolerance", "ranges of the built motor", None)
    build: Build | None = key("build", "spreads of the built motor", None)
    slip_ring: SlipRing | None = key("slip_ring", "a board of slip rings", None)
    load: Load | None = key("load", "what the drive turns", None)
    bearing: Bearing | None = key("bearing", "what it all turns on", None)
    motion: Motion | None = key("motion", "how it shall move", None)
    drive: Drive | None = key("drive", "supply, driver and sensor", None)
    prices: Prices | None = key("prices", "what boards and magnets cost", None)
    accepted: Annotated[dict[str, Acceptance], Acceptances()] | None = key(
        "accepted", "findings that are no concern, each code with the reason", None,
        example={"board.bow": "six tabs hold it"}, otherwise="none",
    )  # fmt: skip

    _document: dict[str, Any] = PrivateAttr(default_factory=dict)
    _source: str = PrivateAttr(default="")
    _file_digest: str = PrivateAttr(default="")
    _file: bytes = PrivateAttr(default=b"")
    _folder: Path | None = PrivateAttr(default=None)
    _recording: Recording | None = PrivateAttr(default=None)
    _door: Callable[[Design, Mapping[str, object]], Design] = PrivateAttr()  # that checks copies

    @property
    def rules(self) -> RuleSet:
        """What the board manufacturer can make."""
        return self.board.rules

    @property
    def boards(self) -> int:
        """Boards on top of each other."""
        return self.stack.boards if self.stack else 1

    @property
    def board_pitch(self) -> float:
        """From one board of a stack to the next [m]."""
        return self.board.thickness + (self.stack.spacing if self.stack else 0.0)

    @property
    def stator_thickness(self) -> float:
        """Of all boards and the spaces between them [m]."""
        return self.board.thickness + (self.boards - 1) * self.board_pitch

    @property
    def layer_z(self) -> tuple[float, ...]:
        """Mid-plane of every copper layer of every board [m], from layer 1 of the first board at 0 down."""
        return tuple(z - board * self.board_pitch for board in range(self.boards) for z in self.board.layer_z)

    @property
    def boards_in_series(self) -> bool:
        """Whether each phase goes through one board after the other."""
        return self.boards > 1 and self.stack is not None and self.stack.connection == "series"

    @property
    def board_connection(self) -> str:
        """How the phases meet on each board: where boards are in series, only beyond the last one."""
        return "open" if self.boards_in_series else self.winding.connection

    @property
    def source(self) -> str:
        """Name of the file that the design came from."""
        return self._source

    @property
    def folder(self) -> Path | None:
        """Where that file lies, and with it a recorded motion."""
        return self._folder

    @property
    def recording(self) -> Recording | None:
        """The recorded motion that ``motion.table_csv`` names."""
        return self._recording

    @property
    def document(self) -> dict[str, Any]:
        """A copy of the tables as they stand in the file, defaults left out."""
        return copy.deepcopy(self._document)

    @property
    def digest(self) -> str:
        """SHA-256 of the file as it was read; of the document, keys in order, where there is no file."""
        if self._file_digest:
            return self._file_digest
        canonical = json.dumps(self._document, sort_keys=True, separators=(",", ":"), allow_nan=False)
        return hashlib.sha256(canonical.encode()).hexdigest()

    def with_values(self, values: Mapping[str, object]) -> Design:
        """A changed and checked copy: ``design.with_values({"winding.turns": 10})``; None takes a key away."""
        return self._door(self, values)

    def _repr_svg_(self) -> str | None:
        return None if Design.drawing is None else Design.drawing(self)


class SizedDesign(Design):
    """A design whose turns and track width are numbers: what "fill" asks for has been solved. Made by
    ``copper.size_design``; all that comes after takes no other. A changed copy is a design as asked again.
    """

    _asked: Design = PrivateAttr()

    @property
    def asked(self) -> Design:
        """The design as it was asked for."""
        return self._asked

    @classmethod
    def of(cls, design: Design, asked: Design) -> SizedDesign:
        """A design with numbers, in place of the one that was asked for; its file stays that one's."""
        values = {name: getattr(design, name) for name in Design.model_fields}
        sized = cls.model_construct(design.model_fields_set, **values)
        object.__setattr__(sized, "__pydantic_private__", {**(design.__pydantic_private__ or {}), "_asked": asked})
        sized._file_digest = asked.digest
        return sized
