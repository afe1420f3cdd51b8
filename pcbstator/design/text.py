"""A design as the text of a design file: the file it came from, comments and all, with the values that were changed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pcbstator.design.records import Design


def design_text(design: Design) -> str:
    """The text of a design file that gives this design again.

    Of a design from a file it keeps the comments; of one that was made from tables it has none.
    """
    return changed_text(design.text, design.changes if design.text else design.document)


def changed_text(text: str, settings: Mapping[str, Any]) -> str:
    """A design file with the values of some dotted keys, or whole tables, set, None: taken away; its comments stay.

    >>> print(changed_text("[winding]\\nturns = 8  # per layer\\n", {"winding.turns": 9, "board.layers": 4}))
    [winding]
    turns = 9  # per layer
    <BLANKLINE>
    [board]
    layers = 4
    <BLANKLINE>
    """
    import tomlkit

    document = tomlkit.parse(text)
    for path, value in settings.items():
        *tables, name = path.split(".")
        here: Any = document
        for step in tables:
            if step not in here:
                here[step] = tomlkit.table()
            here = here[step]
        if value is None:
            here.pop(name, None)
        else:
            here[name] = tomlkit.item(value)
    return tomlkit.dumps(document)
