"""matplotlib by its own settings and ours: a matplotlibrc in the folder, the user's or the environment's has no say.

Drawn figures are SVG text, every id beginning with the figure's name, so that several may share a page.
"""

from __future__ import annotations

import io
import os
import re
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import chdir, contextmanager, suppress
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pcbstator.output.canvas.colours import INK

if TYPE_CHECKING:
    from matplotlib.figure import Figure

BACKEND = "MPLBACKEND"  # the variable by which the environment chooses how windows are shown
LOOK: dict[str, Any] = {
    "svg.fonttype": "path", "font.size": 12, "axes.edgecolor": INK, "axes.labelcolor": INK, "text.color": INK,
    "xtick.color": INK, "ytick.color": INK, "axes.spines.top": False, "axes.spines.right": False,
    "font.family": "DejaVu Sans", "axes.unicode_minus": True,
}  # fmt: skip


@contextmanager
def plain_settings(settings: Mapping[str, Any] | None = None) -> Iterator[None]:
    """matplotlib's defaults with ``settings`` on top; afterwards those of the process stand again."""
    _import_plainly()
    import matplotlib

    wanted: dict[Any, Any] = {key: value for key, value in matplotlib.rcParamsDefault.items() if key != "backend"}
    with matplotlib.rc_context(wanted | dict(settings or {})):
        yield


def _import_plainly() -> None:
    """Imports matplotlib where no settings can keep it from that, or make it warn, which a broken file would do."""
    found = find_spec("matplotlib") if "matplotlib" not in sys.modules else None
    if found is None or found.origin is None:
        return
    backend = os.environ.pop(BACKEND, None)
    try:
        with chdir(Path(found.origin).parent / "mpl-data"):  # it takes the settings of the working folder first
            import matplotlib
    finally:
        if backend is not None:
            os.environ[BACKEND] = backend
    if backend is not None:  # a notebook chooses by it how the user's own figures are shown
        with suppress(ValueError):
            matplotlib.rcParams["backend"] = backend


def drawn_svg(
    name: str,
    label: str,
    size: tuple[float, float],
    draw: Callable[[Figure], None],
    settings: Mapping[str, Any] | None = None,
) -> str:
    """Text of the SVG of a figure of this size [inches]; the same data give the same bytes.

    settings: of matplotlib, on top of the look that all figures share.
    """
    with plain_settings({**LOOK, "svg.hashsalt": name, **(settings or {})}):
        from matplotlib.figure import Figure

        figure = Figure(figsize=size, layout="constrained")
        draw(figure)
        file = io.StringIO()
        figure.savefig(file, format="svg", metadata={"Date": None})
    return _embeddable(file.getvalue(), name, label)


def _embeddable(text: str, name: str, label: str) -> str:
    """The svg element alone, without metadata, its ids under ``name``."""
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text[text.index("<svg") :], flags=re.DOTALL)
    text = re.sub(r'\bid="', f'id="{name}-', text)
    text = re.sub(r'href="#', f'href="#{name}-', text)
    text = text.replace("url(#", f"url(#{name}-")
    return text.replace("<svg ", f'<svg role="img" aria-label="{label}" ', 1).strip() + "\n"
