"""The commands that hand the stator on: its centre-lines to a field solver, its outlines to a board editor."""

from __future__ import annotations

from pathlib import Path

import click

DESIGN = click.argument("design", type=click.Path(path_type=Path))


@click.command()
@DESIGN
@click.option("-o", "--output", type=click.Path(path_type=Path), help="JSON or DXF file; JSON on standard output else.")
def centrelines(design: Path, output: Path | None) -> None:
    """Give the conductor centre-lines of DESIGN as JSON, or with their widths as DXF."""
    import json

    import pcbstator
    from pcbstator.output.files import write_file
    from pcbstator.project import centrelines as lines
    from pcbstator.project import centrelines_dxf

    asked = pcbstator.load_design(design)
    if output is not None and output.suffix.lower() == ".dxf":
        write_file(output, centrelines_dxf(asked), (".dxf",))
    else:
        text = json.dumps(lines(asked), allow_nan=False) + "\n"
        if output is None:
            click.echo(text, nl=False)
            return
        write_file(output, text, (".json", ".dxf"))
    click.echo(f"{output}: written")


@click.command()
@DESIGN
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="Folder to write.")
@click.option(
    "--tolerance", "tolerance", metavar="MM", type=float,
    help="Within which edges of copper are kept; 0.002 mm by default, at most a tenth of the least gap.",
)  # fmt: skip
def outlines(design: Path, output: Path, tolerance: float | None) -> None:
    """Write the copper of DESIGN as polygons by net, with edge, holes and free room: SVG, DXF and JSON in a folder."""
    import pcbstator
    from pcbstator.output.files import write_folder
    from pcbstator.project import outlines as outline_files

    files = outline_files(pcbstator.load_design(design), tolerance)
    write_folder(output, files)
    click.echo(f"{output}: {len(files)} files written; free-room.svg shows the room, docs/handing-on.md says the rest")
