"""The command that hands the motor on to mechanical design."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument("design", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="Folder to write.")
@click.option("--no-step", "without_step", is_flag=True, help="Only the model for a page, which needs no library.")
def solids(design: Path, output: Path, without_step: bool) -> None:
    """Write DESIGN as solids: an assembly in STEP for mechanical design, and a light GLB for a page."""
    import pcbstator
    from pcbstator.output.files import write_folder
    from pcbstator.project import solids as files_of

    files = files_of(pcbstator.load_design(design), step=not without_step)
    write_folder(output, files)
    click.echo(f"{output}: {len(files)} files written; {', '.join(name for name in files if name[-5:] != '.json')}")
