"""Pages that set what is there beside what was predicted: one look for boards read back and for motors on the bench."""

from __future__ import annotations

from pathlib import Path


def measured_page(template: Path, **values: object) -> str:
    """A template with its values as the text of one HTML file; what these pages look like comes with it."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    style = Path(__file__).with_name("measured_page.css").read_text(encoding="utf-8")
    return page.from_string(template.read_text(encoding="utf-8")).render(style=Markup(style), **values) + "\n"
