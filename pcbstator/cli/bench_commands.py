"""The commands about a motor that was built: bench."""

from __future__ import annotations

import sys
from pathlib import Path

import click


@click.command()
@click.argument("design", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="Folder to write.")
def bench(design: Path, output: Path) -> None:
    """Write the sheet to measure the built motor of DESIGN by, and the file that takes the readings."""
    import pcbstator
    from pcbstator.output.bench_report.files import require_no_readings
    from pcbstator.output.files import write_folder
    from pcbstator.project import bench_sheet

    require_no_readings(output)
    asked = pcbstator.load_design(design)
    prediction = pcbstator.predict(asked)
    files = bench_sheet(asked, prediction)
    write_folder(output, files)
    click.echo(f"{output}: {len(files)} files written; print bench-sheet.pdf and fill in bench.toml")
    if any(finding.severity == "error" for finding in prediction.findings):
        sys.exit(1)
