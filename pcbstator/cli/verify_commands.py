"""The command that reads written boards back and solves them."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from pcbstator.output.terminal import tell


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--design", type=click.Path(path_type=Path), help="Design file; by default FOLDER's own design.toml.")
@click.option("--map", "roles", type=click.Path(path_type=Path), help="File that says what each file is.")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Folder for the page, words and JSON.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
def verify(folder: Path, design: Path | None, roles: Path | None, output: Path | None, as_json: bool) -> None:
    """Read the fabrication files in FOLDER back: nets, resistance, torque, distances, from the copper alone.

    Beside it stands what the design predicts. Leaves with 1 where something is wrong.
    """
    from pcbstator.output.files import json_text, write_folder
    from pcbstator.output.verify_report.words import verification_text
    from pcbstator.project import verification_files
    from pcbstator.project import verify as verified

    found = verified(folder, design, roles)
    if output is not None:
        files = verification_files(found)
        write_folder(output, files)
        click.echo(f"{output}: {len(files)} files written; open verify.html first", err=as_json)
    if as_json:
        click.echo(json_text(found.to_dict()), nl=False)
    else:
        tell(verification_text(found))
    if not found.sound:
        sys.exit(1)
