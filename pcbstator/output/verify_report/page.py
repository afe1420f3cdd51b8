"""A verification as one self-contained page: the verdict, what differs, values beside the prediction, pictures."""

from __future__ import annotations

from pathlib import Path

from pcbstator.errors import printable
from pcbstator.output.files import json_text
from pcbstator.output.measured_page import measured_page
from pcbstator.output.verify_report.pictures import loss_svg, vias_svg
from pcbstator.output.verify_report.words import (
    heat_lines,
    resistance_rows,
    torque_rows,
    verdict,
    verification_text,
)
from pcbstator.output.words import figures
from pcbstator.verify.solution import PlacedSolution
from pcbstator.verify.verified import Verification

PAGE = "verify.html"


def verification_files(found: Verification) -> dict[str, str | bytes]:
    """The page, the words and the plain values, by the names of the files in their folder."""
    files: dict[str, str | bytes] = {
        PAGE: verification_html(found),
        "verify.txt": verification_text(found),
        "verify.json": json_text(found.to_dict()),
    }
    listed = [{"name": name, "role": "report"} for name in files]
    files["manifest.json"] = json_text({"files": listed})
    return files


def verification_html(found: Verification) -> str:
    """The page as the text of one HTML file without outside resources."""
    from markupsafe import Markup

    solution = found.solution
    parts = [] if solution is None else list({part.placed.board: part for part in reversed(solution.placed)}.values())
    return measured_page(
        Path(__file__).with_name("verify.html"),
        found=found, verdict=verdict(found), folder=printable(found.folder),
        findings=[(finding.label, printable(finding.message), finding.code) for finding in found.findings],
        resistances=[] if solution is None else resistance_rows(solution),
        torque=[] if solution is None else torque_rows(solution),
        lines=[] if solution is None else list(heat_lines(solution)),
        boards=[
            (printable(part.placed.board), hot_cells(part), [(title, Markup(svg)) for title, svg in _pictures(part, n)])
            for n, part in enumerate(reversed(parts))
        ],
        nets=[(printable(net.board), printable(net.name), net.pieces) for net in found.nets],
    )  # fmt: skip


def hot_cells(part: PlacedSolution) -> list[tuple[str, ...]]:
    """Rows of the table of hot places."""

    def told(value: float | None) -> str:
        return "" if value is None else f"{figures(value)} A"

    return [
        (
            str(number), str(place.layer), f"{place.x:.2f}, {place.y:.2f}", f"{1e3 * place.width:.3g} mm",
            f"{figures(place.current)} A", f"{place.loss_density / 1e3:.3g} kW/m²",
            told(place.ipc2221), told(place.ipc2152),
        )
        for number, place in enumerate(part.hot, 1)
    ]  # fmt: skip


def _pictures(part: PlacedSolution, number: int) -> list[tuple[str, str]]:
    """Title and SVG of the pictures of a board."""
    if not part.losses:
        return []
    found = [
        (f"Loss over layer {index + 1}", loss_svg(part, index, f"loss-{number}-{index + 1}"))
        for index in range(len(part.losses))
        if part.losses[index].density.size
    ]
    return [*found, ("Current of the vias", vias_svg(part, f"vias-{number}"))] if part.vias else found
