"""The folder of a bench sheet: the page, the same to print, the file to fill in."""

from __future__ import annotations

from pathlib import Path

from pcbstator.bench.sheet import Sheet
from pcbstator.errors import OutputError
from pcbstator.output.bench_report.bench_file import bench_file
from pcbstator.output.bench_report.pages import sheet_pdf
from pcbstator.output.bench_report.parts import how_to_read, left_out, parts, terminal_names
from pcbstator.output.bench_report.wiring import sketch_svg
from pcbstator.output.files import MANIFEST, json_text

BENCH = "bench.toml"


def sheet_files(sheet: Sheet) -> dict[str, str | bytes]:
    """Name and content of every file, manifest included."""
    files: dict[str, tuple[str, str | bytes]] = {
        "bench-sheet.html": ("report", sheet_html(sheet)),
        "bench-sheet.pdf": ("report", sheet_pdf(sheet)),
        BENCH: ("readings", bench_file(sheet, tuple(test for part in parts(sheet) for test in part.tests))),
    }
    manifest = {
        "title": sheet.design.title,
        "version": sheet.prediction.version,
        "design_sha256": sheet.design.digest,
        "files": [{"name": name, "role": role} for name, (role, _) in files.items()],
    }
    return {name: content for name, (_, content) in files.items()} | {MANIFEST: json_text(manifest)}


def sheet_html(sheet: Sheet) -> str:
    """One self-contained page."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    template = Path(__file__).with_name("sheet.html").read_text(encoding="utf-8")
    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    names, found = terminal_names(sheet), parts(sheet)
    kinds = {test.sketch: test.title for part in found for test in part.tests}
    return page.from_string(template).render(
        title=sheet.design.title, source=sheet.design.source, digest=sheet.design.digest,
        version=sheet.prediction.version, how=how_to_read(sheet), parts=found, left_out=left_out(sheet),
        # Sketches are escaped by their maker.
        sketches={kind: Markup(sketch_svg(kind, names, f"wiring: {words}")) for kind, words in kinds.items()},
    ) + "\n"  # fmt: skip


def require_no_readings(folder: Path) -> None:
    """Raises OutputError where a bench file in the folder has been filled in: another run would write over it."""
    place = folder / BENCH
    if not place.is_file():
        return
    lines = place.read_bytes().splitlines()
    if any(line.strip() and not line.strip().startswith(b"#") for line in lines):
        raise OutputError(f"{place}: it holds readings, which would be written over; choose another folder")
