"""The bare board netlist in IPC-D-356A: every plated hole with its net, for the electrical test.

Source: IPC-D-356A (1998), columns from memory. Records are 80 columns; lengths in units of 0.001 mm (CUST 1).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from math import degrees

from pcbstator.copper.geometry.board_shape import NOT_CONNECTED
from pcbstator.copper.non_winding import Land
from pcbstator.copper.plain_board import BoardCopper
from pcbstator.errors import OutputError
from pcbstator.output.fabrication.attributes import one_line, software_version
from pcbstator.output.fabrication.drill import PlatedHole, plated_holes

_NAME_LENGTH = 14
_MASK = {(True, True): 0, (False, True): 1, (True, False): 2, (False, False): 3}  # code by the faces that are open


def netlist_ipc356(copper: BoardCopper, title: str) -> str:
    """The netlist: a through-hole record (317) for each plated hole, a surface record (327) for each land."""
    holes = sorted(plated_holes(copper), key=lambda hole: (hole.net, hole.pin or (0, ""), hole.x, hole.y))
    lands = copper.non_winding.lands
    aliases = net_aliases({hole.net for hole in holes} | {land.net for land in lands} - {NOT_CONNECTED})
    aliases[NOT_CONNECTED] = NOT_CONNECTED
    job = _ascii(title) or "untitled"
    lines = [
        f"C  Written by pcbstator {software_version()}",
        f"P  JOB   {job}",
        "P  CODE  00",
        "P  UNITS CUST 1",
        "P  DIM   N",
        "P  VER   IPC-D-356A",
        "P  IMAGE PRIMARY",
    ]
    lines += [f"P  {alias} {_ascii(net)}" for net, alias in aliases.items() if alias.startswith("NNAME")]
    lines += [_through_hole(hole, aliases[hole.net]) for hole in holes]
    lines += [_surface(land, aliases[land.net]) for land in lands]
    return "".join(f"{line[:80]:<80}\n" for line in [*lines, "999"])


def net_aliases(nets: Iterable[str]) -> dict[str, str]:
    """The name under which each net stands in its records: its own, or NNAMEn where that is too long or not ASCII."""
    names = sorted(set(nets))
    plain = {name for name in names if _is_plain(name)}
    unnamed = [name for name in names if name not in plain]
    numbers = {name: f"NNAME{number}" for number, name in enumerate(unnamed, 1)}
    return {name: name if name in plain else numbers[name] for name in names}


def _is_plain(name: str) -> bool:
    """Whether ``name`` can stand in a record as it is."""
    fits = 0 < len(name) <= _NAME_LENGTH and all("!" <= character <= "~" for character in name)
    return fits and not name.startswith("NNAME") and name != "N/C"


def _ascii(text: str) -> str:
    """``text`` in one line of ASCII: accents are dropped, what then is not ASCII becomes a question mark."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", one_line(text)) if not unicodedata.combining(c))
    return "".join(c if " " <= c <= "~" else "?" for c in plain)


def _through_hole(hole: PlatedHole, net: str) -> str:
    """The record of ``hole``; the comments give the columns."""
    part, pin = ("VIA", "") if hole.pin is None else (hole.part, str(hole.pin[0]))
    pad = _unsigned(hole.pad)
    return (
        f"317{net:<14}   "  # 1-3 through hole, 4-17 net
        f"{part:<6}-{pin:<4} "  # 21-26 part, 28-31 pin, 32 not in the middle of a net
        f"D{_unsigned(hole.drill)}P"  # 33-37 hole, 38 plated
        "A00"  # 39-41 reachable from both sides
        f"X{_signed(hole.x)}Y{_signed(hole.y)}"  # 42-57 place
        f"X{pad}Y{pad}R000 "  # 58-67 pad, 68-71 turn
        f"S{_MASK[hole.open_faces]}"  # 73-74 solder mask
    )


def _surface(land: Land, net: str) -> str:
    """The record of ``land``, reachable on its face only; columns as above."""
    turn = round(degrees(land.angle)) % 360
    return (
        f"327{net:<14}   {land.part:<6}-{land.pin:<4}       "  # 33-38 no hole
        f"A{land.layer:02d}X{_signed(land.x)}Y{_signed(land.y)}"
        f"X{_unsigned(land.length)}Y{'0000' if land.is_round else _unsigned(land.width)}R{turn:03d} "
        f"S{_MASK[True, True]}"
    )


def _unsigned(length: float) -> str:
    """``length`` [m] in four digits of 0.001 mm."""
    units = round(length * 1e6)
    if not 0 < units <= 9999:
        raise OutputError(f"a hole or pad of {length * 1e3:g} mm has no place in a netlist (0.001 to 9.999 mm)")
    return f"{units:04d}"


def _signed(length: float) -> str:
    """``length`` [m] as sign and six digits of 0.001 mm."""
    units = round(length * 1e6)
    if abs(units) > 999_999:
        raise OutputError(f"a hole at {length * 1e3:g} mm has no place in a netlist (up to 999.999 mm)")
    return f"{units:+07d}"
