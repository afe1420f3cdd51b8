"""Everything that is known before a board is ordered, as one record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any

from pcbstator.analysis.drive.records import DriveResult, MotionResult
from pcbstator.analysis.electrical.records import CopperResult, ElectricalResult, SlipRingResult, WindingResult
from pcbstator.analysis.fields import inside, rows
from pcbstator.analysis.magnetic.records import MagneticResult
from pcbstator.analysis.magnetic.surroundings import SurroundingsResult
from pcbstator.analysis.mechanical.ball_contact import BallResult
from pcbstator.analysis.mechanical.built_results import BuildResult
from pcbstator.analysis.mechanical.records import MechanicalResult
from pcbstator.analysis.order_result import OrderResult
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.copper import Copper
from pcbstator.design import SizedDesign
from pcbstator.findings import Finding, Verdict


@dataclass(frozen=True, kw_only=True)
class Prediction:
    """Everything that is known before a board is ordered."""

    title: str
    design_file: str
    version: str
    winding: WindingResult
    copper: CopperResult
    electrical: ElectricalResult
    magnetic: MagneticResult | None  # None where the field law does not hold, as ``out_of_range`` says
    thermal: ThermalResult
    mechanical: MechanicalResult | None = None
    build: BuildResult | None = None
    surroundings: SurroundingsResult | None = None
    slip_ring: SlipRingResult | None = None
    slip_ring_balls: BallResult | None = None
    motion: MotionResult | None = None
    drive: DriveResult | None = None
    order: OrderResult | None = None
    losses: tuple[dict[str, Any], ...] = ()
    tolerance: dict[str, dict[str, float]] | None = None
    requirement: tuple[Verdict, ...] = ()
    findings: tuple[Finding, ...] = ()
    out_of_range: str = ""
    design: SizedDesign | None = inside()  # with its sizes settled
    laid: Copper | None = inside()  # its copper

    def sections(self) -> Iterator[tuple[str, Any]]:
        """Name and record of every group of results."""
        for item in fields(self):
            value = getattr(self, item.name)
            if hasattr(value, "__dataclass_fields__") and "inside" not in item.metadata and any(rows(value)):
                yield item.name, value

    def to_dict(self) -> dict[str, Any]:
        """The object of ``predict --json``: numbers in the unit of their key, nothing that does not apply."""
        head: dict[str, Any] = {"title": self.title, "design_file": self.design_file, "version": self.version}
        for name, section in self.sections():
            head[name] = {key: value for key, _, value in rows(section)}
        if self.losses:
            head["losses"] = list(self.losses)
        if self.tolerance:
            head["tolerance"] = self.tolerance
        if self.magnetic is not None:
            head["waves"] = self.magnetic.waves.to_dict()
        if self.requirement:
            head["requirement"] = [verdict.to_dict() for verdict in self.requirement]
        head["findings"] = [finding.to_dict() for finding in self.findings]
        return head

    def _repr_html_(self) -> str:
        from html import escape

        lines = []
        for name, section in self.sections():
            lines += [f"<tr><th colspan=2>{escape(name)}</th></tr>"] + [
                f"<tr><td title='{escape(meaning, quote=True)}'>{escape(key)}</td><td>{value:.5g}</td></tr>"
                for key, meaning, value in rows(section)
                if isinstance(value, (int, float))
            ]
        return f"<table><caption>{escape(self.title)}</caption>{''.join(lines)}</table>"
