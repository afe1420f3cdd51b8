"""The command that serves the page to design on."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument("design", type=click.Path(path_type=Path))
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, help="Port of 127.0.0.1; any that is free without it."
)
@click.option("--no-open", is_flag=True, help="Do not open the browser.")
def page(design: Path, port: int, no_open: bool) -> None:
    """Design on a local page: the stator and its numbers change while you turn the knobs. Ctrl-C ends it."""
    import webbrowser

    from pcbstator.web.serve import serve

    serve(design, port, lambda address: click.echo(address), None if no_open else webbrowser.open)
