"""The X2 attributes that Gerber, drill and job files share: what a file is and which project it belongs to.

Source: Ucamco, "The Gerber Layer Format Specification", 2024.05, chapter 5. No file carries a date, so that the same
design gives the same bytes.
"""

from __future__ import annotations

import uuid
from importlib import metadata

PROJECT_REVISION = "1"
# Any fixed namespace will do (RFC 9562, section 5.5): it makes the project's identifier follow from its title.
_PROJECTS = uuid.uuid5(uuid.NAMESPACE_OID, "pcbstator")


def software_version() -> str:
    """The version of this program as installed; "0" when it runs from a folder that was never installed."""
    try:
        return metadata.version("pcbstator")
    except metadata.PackageNotFoundError:
        return "0"


def one_line(text: str) -> str:
    """``text`` without line ends and without double spaces.

    >>> one_line(" Scan\\n  stage ")
    'Scan stage'
    """
    return " ".join(text.split())


def attribute_text(text: str) -> str:
    r"""``text`` as a field of an attribute, in ASCII: what would end a field, or is not ASCII, becomes ``\uXXXX``.

    The specification knows escapes of four digits only; a character that needs more becomes U+FFFD.

    >>> attribute_text('50 % "fast", 3 µm*')
    '50 \\u0025 "fast"\\u002C 3 \\u00B5m\\u002A'
    """
    return "".join(
        character if " " <= character <= "~" and character not in "%*,\\" else f"\\u{_code(character):04X}"
        for character in one_line(text)
    )


def _code(character: str) -> int:
    """The code point of ``character``, or of the replacement character where it needs more than four digits."""
    return ord(character) if ord(character) <= 0xFFFF else 0xFFFD


def project_identifier(title: str) -> str:
    """An identifier (UUID) that follows from ``title`` alone."""
    return str(uuid.uuid5(_PROJECTS, one_line(title)))


def file_attributes(function: str, title: str, polarity: str | None = None) -> list[str]:
    """The attributes at the head of a file, as ``TF.name,field,…`` without the signs around them.

    function: ``Copper,L1,Top`` and the like. polarity: ``Positive``, ``Negative`` or None where it does not apply.
    """
    attributes = [
        f"TF.GenerationSoftware,pcbstator,pcbstator,{attribute_text(software_version())}",
        f"TF.ProjectId,{attribute_text(title)},{project_identifier(title)},{PROJECT_REVISION}",
        "TF.Part,Single",
        f"TF.SameCoordinates,{project_identifier(title)}",
        f"TF.FileFunction,{function}",
    ]
    return attributes if polarity is None else [*attributes, f"TF.FilePolarity,{polarity}"]


def copper_function(number: int, count: int) -> str:
    """The file function of copper layer ``number`` of ``count``.

    >>> copper_function(1, 4), copper_function(2, 4), copper_function(4, 4)
    ('Copper,L1,Top', 'Copper,L2,Inr', 'Copper,L4,Bot')
    """
    place = "Top" if number == 1 else "Bot" if number == count else "Inr"
    return f"Copper,L{number},{place}"


def side_function(kind: str, side: str) -> str:
    """The file function of a mask or legend (``kind``) on ``side`` ("top": the rotor's side, "bottom").

    >>> side_function("Soldermask", "top"), side_function("Legend", "bottom")
    ('Soldermask,Top', 'Legend,Bot')
    """
    return f"{kind},{'Top' if side == 'top' else 'Bot'}"


PROFILE_FUNCTION = "Profile,NP"


def drill_function(plated: bool, count: int) -> str:
    """The file function of the holes through all ``count`` layers.

    >>> drill_function(True, 4), drill_function(False, 2)
    ('Plated,1,4,PTH', 'NonPlated,1,2,NPTH')
    """
    return f"Plated,1,{count},PTH" if plated else f"NonPlated,1,{count},NPTH"
