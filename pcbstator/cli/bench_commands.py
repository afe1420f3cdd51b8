"""The commands about a motor that is built: the sheet to measure it by, its readings against its design."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from pcbstator.output.terminal import tell


@click.command()
@click.argument("design", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="Folder to write.")
def bench(design: Path, output: Path) -> None:
    """Write the sheet to measure the built motor of DESIGN by, and the file that takes the readings."""
    import pcbstator
    from pcbstator.output.bench_report.sheet_files import require_no_readings
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


@click.command()
@click.argument("design", type=click.Path(path_type=Path))
@click.argument("bench", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Folder for page, picture, text and JSON.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
def compare(design: Path, bench: Path, output: Path | None, as_json: bool) -> None:
    """Set the readings in BENCH beside what DESIGN predicts. Leaves with 1 where something is not as predicted."""
    import pcbstator
    from pcbstator.output.bench_report.sheet_files import require_no_readings
    from pcbstator.output.bench_report.words import comparison_text
    from pcbstator.output.files import json_text, write_folder
    from pcbstator.project import compare as compared
    from pcbstator.project import comparison_files

    if output is not None:
        require_no_readings(output)
    found = compared(pcbstator.load_design(design), bench)
    if output is not None:
        files = comparison_files(found)
        write_folder(output, files)
        click.echo(f"{output}: {len(files)} files written", err=as_json)
    if as_json:
        click.echo(json_text(found.to_dict()), nl=False)
    else:
        tell(comparison_text(found))
    if not found.as_predicted:
        sys.exit(1)
