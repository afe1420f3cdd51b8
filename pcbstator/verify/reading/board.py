"""Puts the files of one board together."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import replace

import shapely
from shapely.geometry.base import BaseGeometry

from pcbstator.errors import Complaint, FilesError
from pcbstator.findings import Finding
from pcbstator.verify.reading.drawing import Drawing, polygons
from pcbstator.verify.reading.drill import path_array, read_drill
from pcbstator.verify.reading.gerber import read_gerber
from pcbstator.verify.reading.limits import LARGEST, MOST_LAYERS
from pcbstator.verify.reading.map_file import MapFile
from pcbstator.verify.reading.netlist import read_netlist
from pcbstator.verify.reading.profile import board_area
from pcbstator.verify.reading.roles import GERBER, JOB, Job, Role, file_kind, found_roles, read_job
from pcbstator.verify.records import NetPoint, WrittenBoard, WrittenHole, WrittenLayer

MANIFEST = "manifest.json"
GerberReader = Callable[[str, str], Drawing]


def read_board(
    name: str, texts: Mapping[str, str], told: MapFile, gerber: GerberReader = read_gerber
) -> WrittenBoard | None:
    """One board from the texts of its files by name; None where no file is copper. FilesError with every complaint."""
    complaints: list[Complaint] = []
    kinds = {file: file_kind(file, text) for file, text in texts.items()}
    job = _job(texts, kinds, complaints)
    roles, findings = found_roles(
        {file: text for file, text in texts.items() if kinds[file] not in ("other", JOB) or file in told.roles},
        kinds, told.roles, job,
    )  # fmt: skip
    if not any(role.kind == "copper" for role in roles.values()):
        return None
    numbers = _layer_numbers(roles, job, complaints)
    single = _single(roles, complaints)
    if complaints:
        raise FilesError(name or "folder", complaints)
    count = len(numbers)
    drawn = _read_each({**{f: n for n, f in numbers.items()}, **{f: 0 for f in single.values()}}, texts, roles,
                       complaints, gerber)  # fmt: skip
    holes = _holes(texts, roles, count, told, complaints)
    netlist = _netlist(texts, roles, count, complaints)
    terminals = told.terminals or _terminals(texts, complaints)
    if complaints:
        raise FilesError(name or "folder", complaints)
    edge, edge_findings = _edge(single, drawn)
    layers = [_layer(number, file, drawn[file], edge, complaints) for number, file in sorted(numbers.items())]
    if complaints:
        raise FilesError(name or "folder", complaints)
    sides = {"mask top": 1, "mask bottom": count}
    return WrittenBoard(
        name=name,
        layers=tuple(layers),
        holes=holes,
        edge=edge,
        netlist=netlist,
        terminals=terminals,
        masks={sides[kind]: drawn[file].area for kind, file in single.items() if kind in sides},
        pins=tuple(dict.fromkeys(pin for layer in numbers.values() for pin in drawn[layer].pins)),
        rules=job.rules if job else {},
        findings=(*findings, *edge_findings),
    )


def _job(texts: Mapping[str, str], kinds: Mapping[str, str], complaints: list[Complaint]) -> Job | None:
    files = [file for file in texts if kinds[file] == JOB]
    if len(files) > 1:
        complaints.append(Complaint(files[1], f"is a second job file beside {files[0]}", remedy="keep one of them"))
    job = read_job(texts[files[0]]) if files else None
    if files and job is None:
        complaints.append(Complaint(files[0], "is no Gerber job file", remedy="write it again or leave it out"))
    return job


def _layer_numbers(roles: Mapping[str, Role], job: Job | None, complaints: list[Complaint]) -> dict[int, str]:
    """The file of every copper layer by its number."""
    places: dict[tuple[float, float], str] = {}
    for file, role in roles.items():
        if role.kind != "copper":
            continue
        place = (float(role.layer), 0.0) if role.layer is not None else _SIDES[role.side], role.order
        key = place[0] if isinstance(place[0], tuple) else (place[0], place[1])
        if key in places:
            rule = f"is the same copper layer as {places[key]}, by its {role.told_by}"
            complaints.append(Complaint(file, rule, remedy="keep one of them, or say which is which in a map file"))
        places[key] = file
    ordered = [places[key] for key in sorted(places)]
    stated = [(roles[file].layer, file) for file in ordered]
    for number, (layer, file) in enumerate(stated, 1):
        if layer is not None and layer != number and all(told is not None for told, _ in stated):
            complaints.append(Complaint("copper", f"layer {number} has no file, but layer {layer} has", file))
            break
    if job is not None and job.layers is not None and job.layers != len(ordered) and not complaints:
        rule = f"the job file says {job.layers} copper layers, and files of {len(ordered)} are here"
        complaints.append(Complaint("copper", rule, remedy="put the missing file into the folder"))
    if len(ordered) > MOST_LAYERS:
        complaints.append(Complaint("copper", f"a board must have at most {MOST_LAYERS} layers", str(len(ordered))))
    return dict(enumerate(ordered, 1))


_SIDES = {"top": 0.5, "inner": 1.5, "": 1.5, "bottom": 1e6}


def _single(roles: Mapping[str, Role], complaints: list[Complaint]) -> dict[str, str]:
    """The files of which a board has one: profile and both masks, by what they are."""
    found: dict[str, str] = {}
    for file, role in roles.items():
        if role.kind in ("profile", "mask"):
            what = f"{role.kind} {role.side}".strip()
            if what in found:
                rule = f"is a second {what} beside {found[what]}"
                complaints.append(Complaint(file, rule, remedy="keep one, or say in a map file which to ignore"))
            found[what] = file
    return found


def _read_each(
    files: Mapping[str, int],
    texts: Mapping[str, str],
    roles: Mapping[str, Role],
    complaints: list[Complaint],
    gerber: GerberReader,
) -> dict[str, Drawing]:
    """What every Gerber file that is needed draws."""
    drawn = {}
    for file in files:
        if file_kind(file, texts[file]) != GERBER:
            complaints.append(Complaint(file, f"is {roles[file].kind} by its {roles[file].told_by} and no Gerber file"))
            continue
        try:
            drawing = gerber(texts[file], file)
            drawn[file] = replace(drawing, negative=drawing.negative != roles[file].negative)
        except FilesError as error:
            complaints += [replace(complaint, key=file) for complaint in error.complaints]
    return drawn


def _layer(
    number: int, file: str, drawing: Drawing, edge: BaseGeometry | None, complaints: list[Complaint]
) -> WrittenLayer:
    if not drawing.negative:
        return WrittenLayer(number, file, drawing.area, drawing.nets, drawing.unnamed, drawing.pads)
    if edge is None:
        rule = "draws what is not copper, so the board's outline must be known"
        complaints.append(Complaint(file, rule, remedy="put the outline's file into the folder"))
        return WrittenLayer(number, file, drawing.area)
    return WrittenLayer(number, file, polygons(edge.difference(drawing.area)))


def _edge(single: Mapping[str, str], drawn: Mapping[str, Drawing]) -> tuple[BaseGeometry | None, list[Finding]]:
    """The board within its outline."""
    file = single.get("profile")
    if file is None:
        return None, []
    edge = board_area(drawn[file].lines)
    if edge is None and not drawn[file].area.is_empty and not drawn[file].lines:
        edge = drawn[file].area
    if edge is not None:
        return edge, []
    words = f"{file}: the lines of the outline do not close, so distances to the edge are not checked"
    return None, [Finding("verify.outline", "warning", words, where=file)]


def _holes(
    texts: Mapping[str, str], roles: Mapping[str, Role], count: int, told: MapFile, complaints: list[Complaint]
) -> tuple[WrittenHole, ...]:
    holes = []
    for file, role in roles.items():
        if role.kind != "drill":
            continue
        try:
            read = read_drill(texts[file], file, told.drill)
        except FilesError as error:
            complaints += [replace(complaint, key=file) for complaint in error.complaints]
            continue
        first, last = role.first or 1, role.last or count
        if not 1 <= first < last <= count and (first, last) != (1, count):
            rule = f"drills from layer {first} to layer {last} of {count}"
            complaints.append(Complaint(file, rule, remedy="its file function or the layers' files are wrong"))
            continue
        for hole in read.holes:
            plated = role.plated if hole.plated is None else hole.plated
            if role.told_by == "map file" and role.plated is not None:
                plated = role.plated
            holes.append(WrittenHole(path_array(hole.path), hole.diameter, plated, first, last, file))
    return tuple(holes)


def _netlist(
    texts: Mapping[str, str], roles: Mapping[str, Role], count: int, complaints: list[Complaint]
) -> tuple[NetPoint, ...]:
    files = [file for file, role in roles.items() if role.kind == "netlist"]
    if len(files) > 1:
        complaints.append(Complaint(files[1], f"is a second netlist beside {files[0]}", remedy="keep one of them"))
    if not files:
        return ()
    try:
        points = read_netlist(texts[files[0]], files[0])
    except FilesError as error:
        complaints += [replace(complaint, key=files[0]) for complaint in error.complaints]
        return ()
    # Pads of parts lie on the first or the last layer; editors number the latter 2 or by the number of layers.
    return tuple(point if point.layer in (None, 1) else replace(point, layer=count) for point in points)


def _terminals(texts: Mapping[str, str], complaints: list[Complaint]) -> dict[str, tuple[float, float]]:
    """The terminals that a manifest of the folder names."""
    if MANIFEST not in texts:
        return {}
    try:
        named = json.loads(texts[MANIFEST]).get("terminals", {})
        places = {str(name): (float(place["x_mm"]), float(place["y_mm"])) for name, place in named.items()}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        complaints.append(Complaint(MANIFEST, "must name terminals with x_mm and y_mm", remedy="leave the file out"))
        return {}
    if any(not abs(length) <= LARGEST for place in places.values() for length in place):
        complaints.append(Complaint(MANIFEST, f"terminals must lie within {LARGEST:g} mm"))
    return places


def grouped(texts: Mapping[str, str]) -> dict[str, dict[str, str]]:
    """The texts of every folder by its path, "" for the outermost, each file by its name."""
    folders: dict[str, dict[str, str]] = defaultdict(dict)
    for path, text in texts.items():
        folder, _, name = path.rpartition("/")
        folders[folder][name] = text
    return dict(sorted(folders.items()))


def box(board: WrittenBoard) -> tuple[float, float, float, float]:
    """Left, low, right and high end of a board's copper [mm]."""
    bounds = shapely.total_bounds([layer.copper for layer in board.layers])
    return float(bounds[0]), float(bounds[1]), float(bounds[2]), float(bounds[3])
