"""Faults put into the texts of fabrication files, one at a time, each with what must be said of it."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from math import hypot

import numpy as np
import shapely
from shapely.ops import substring

from pcbstator.findings import Finding
from pcbstator.verify.connected import connected_copper
from pcbstator.verify.nets import net_findings
from pcbstator.verify.pieces.necks import narrow_places
from pcbstator.verify.reading.board import read_board
from pcbstator.verify.reading.gerber import read_gerber
from pcbstator.verify.reading.map_file import MapFile
from pcbstator.verify.records import WrittenBoard
from pcbstator.verify.spacing import SpacingRules, rules_of_job, spacing_findings

Texts = dict[str, str]
NM = 1_000_000


@dataclass(frozen=True)
class Fault:
    """Texts with a fault; one of ``codes`` must be found, at the place [mm] or with the words of ``says``."""

    kind: str
    texts: Texts
    codes: tuple[str, ...]
    place: tuple[float, float] | None = None
    layer: int | None = None
    says: str = ""

    def named_by(self, findings: list[Finding]) -> bool:
        """Whether a finding names kind and place of the fault."""
        return any(self._is(finding) for finding in findings)

    def _is(self, finding: Finding) -> bool:
        if finding.code not in self.codes or self.says not in f"{finding.message} {finding.where}":
            return False
        if self.place is None:
            return True
        found = re.search(r"(?:layer (\d+), )?x (-?[\d.]+) mm, y (-?[\d.]+) mm", finding.where or "")
        if found is None or (self.layer is not None and found[1] is not None and int(found[1]) != self.layer):
            return False
        return hypot(float(found[2]) - self.place[0], float(found[3]) - self.place[1]) < 0.6


@cache
def _gerber(text: str, file: str):
    return read_gerber(text, file)


def board_of(texts: Mapping[str, str]) -> WrittenBoard:
    """The board of texts; a layer that was read before is not read again."""
    board = read_board("", {name: text for name, text in texts.items() if isinstance(text, str)}, MapFile(), _gerber)
    assert board is not None
    return board


def board_findings(board: WrittenBoard, rules: SpacingRules | None = None) -> list[Finding]:
    """All that is found in a board: nets, holes and layers, and spacing by ``rules`` or the job file's own numbers."""
    copper = connected_copper(board)
    rules = rules or rules_of_job(board.rules)
    return net_findings(board, copper) + spacing_findings(board, rules, copper)


def all_findings(texts: Mapping[str, str]) -> list[Finding]:
    """All that is found in the texts of one board."""
    return board_findings(board_of(texts))


def fault_findings(fault: Fault) -> list[Finding]:
    """What is found in the texts of a fault; widths only where one was changed, to save time."""
    board = board_of(fault.texts)
    copper = connected_copper(board)
    least = rules_of_job(board.rules).track_width or 0.0
    necks = narrow_places(copper, least) if fault.kind in ("narrowed", "bridge") else ()
    found = net_findings(board, copper, necks)
    if fault.kind == "narrowed":
        found += spacing_findings(board, SpacingRules(track_width=least), copper, necks)
    return found


def fabrication_texts(files: Mapping[str, str | bytes]) -> Texts:
    """The texts of a package that verification reads."""
    endings = (".gbr", ".drl", ".ipc", ".gbrjob", "manifest.json")
    return {
        name: text
        for name, text in files.items()
        if isinstance(text, str) and name.endswith(endings) and "/" not in name
    }


@dataclass(frozen=True)
class Stroke:
    """A track in a copper file: where its draws stand in the text, its points [mm] and its width."""

    start: int
    end: int
    points: np.ndarray
    width: float


@cache
def strokes(text: str) -> list[Stroke]:
    """The tracks of a copper file that are at least 5 mm long."""
    widths = {code: float(width) for code, width in re.findall(r"%ADD(\d+)C,([\d.]+)\*%", text)}
    found = []
    for pen in re.finditer(r"(?m)^D(\d+)\*\n((?:X-?\d+Y-?\d+D0[12]\*\n)+)", text):
        for run in re.finditer(r"X(-?\d+)Y(-?\d+)D02\*\n(?:X-?\d+Y-?\d+D01\*\n)+", pen[2]):
            points = np.array(re.findall(r"X(-?\d+)Y(-?\d+)", run[0]), dtype=float) / NM
            if np.hypot(*np.diff(points, axis=0).T).sum() > 5.0:
                found.append(Stroke(pen.start(2) + run.start(), pen.start(2) + run.end(), points, widths[pen[1]]))
    return found


def at(stroke: Stroke, along: float) -> tuple[float, float]:
    """The place at a distance along a track."""
    point = shapely.LineString(stroke.points).interpolate(along)
    return point.x, point.y


def draws(points: np.ndarray) -> str:
    """The draws of a line."""
    return "".join(
        f"X{round(x * NM)}Y{round(y * NM)}D0{2 if i == 0 else 1}*\n" for i, (x, y) in enumerate(points.tolist())
    )


def without(text: str, stroke: Stroke, low: float, high: float) -> str:
    """A copper file without a stretch of a track, from ``low`` to ``high`` along it."""
    line = shapely.LineString(stroke.points)
    head, tail = (substring(line, a, b) for a, b in ((0, low), (high, line.length)))
    parts = "".join(draws(np.array(part.coords)) for part in (head, tail))
    return text[: stroke.start] + parts + text[stroke.end :]


def added(text: str, what: str) -> str:
    """A copper file with more drawn at its end."""
    return text.replace("M02*", f"{what}M02*")


def layers_of(texts: Texts) -> dict[int, str]:
    """The copper files by layer."""
    return {int(found[1]): name for name in texts if (found := re.fullmatch(r"copper-(\d+)\.gbr", name))}


class Faults:
    """Draws faults of every kind for the texts of one board."""

    def __init__(self, texts: Texts, seed: int) -> None:
        self.texts = texts
        self.layers = layers_of(texts)
        self.dice = random.Random(seed)
        self.copper = {layer.number: layer.copper for layer in board_of(texts).layers}
        self.net = max(re.findall(r"%TO\.N,([^*]*)\*%", texts[self.layers[1]]), key=len)

    def some(self, counts: Mapping[str, int]) -> Iterator[Fault]:
        """As many faults of each kind as ``counts`` says."""
        for kind, count in counts.items():
            for _ in range(count):
                yield getattr(self, kind)()

    def _with(self, layer: int, text: str) -> Texts:
        return self.texts | {self.layers[layer]: text}

    def _track(self, margin: float = 1.5) -> tuple[int, Stroke, float]:
        """A layer, a track on it, and a place along it."""
        while True:
            layer = self.dice.choice(list(self.layers))
            if found := strokes(self.texts[self.layers[layer]]):
                stroke = self.dice.choice(found)
                length = shapely.LineString(stroke.points).length
                return layer, stroke, self.dice.uniform(margin, length - margin)

    def cut(self) -> Fault:
        """A track is cut."""
        layer, stroke, along = self._track()
        gap = self.dice.uniform(0.1, 0.6)
        half = (stroke.width + gap) / 2
        text = without(self.texts[self.layers[layer]], stroke, along - half, along + half)
        return Fault("cut", self._with(layer, text), ("verify.open",), at(stroke, along), layer)

    def narrowed(self) -> Fault:
        """A track is narrowed to 0.1 mm over 1 mm."""
        layer, stroke, along = self._track(2.0)
        half = stroke.width / 2 + 0.5
        text = without(self.texts[self.layers[layer]], stroke, along - half, along + half)
        line = substring(shapely.LineString(stroke.points), along - half, along + half)
        pen = f"%ADD90C,0.1*%\n%TO.N,{self.net}*%\nD90*\n{draws(np.array(line.coords))}%TD*%\n"
        codes = ("board.track_width",)
        return Fault("narrowed", self._with(layer, added(text, pen)), codes, at(stroke, along), layer)

    def bridge(self) -> Fault:
        """A bridge of 0.1 mm between two tracks side by side."""
        while True:
            layer, stroke, along = self._track()
            (x, y), (x2, y2) = at(stroke, along), at(stroke, along + 0.01)
            length = hypot(x2 - x, y2 - y)
            side = self.dice.choice((-1, 1)) / length
            end = x - side * (y2 - y) * 1.5, y + side * (x2 - x) * 1.5
            beam = shapely.LineString([(x, y), end]).intersection(self.copper[layer])
            parts = sorted(shapely.get_parts(beam), key=lambda part: part.distance(shapely.Point(x, y)))
            if len(parts) < 2:
                continue
            gap = parts[0].distance(parts[1])
            if not 0.1 < gap < 0.6 or parts[1].length < 0.12:
                continue
            far = parts[1].interpolate(0.1)
            pen = "%ADD90C,0.1*%\n" + f"%TO.N,{self.net}*%\nD90*\n{draws(np.array([(x, y), (far.x, far.y)]))}%TD*%\n"
            middle = shapely.shortest_line(parts[0], parts[1]).centroid
            text = added(self.texts[self.layers[layer]], pen)
            return Fault("bridge", self._with(layer, text), ("verify.short",), (middle.x, middle.y), layer)

    def via(self) -> Fault:
        """A via is left out of the drill file."""
        text = self.texts["drill-plated.drl"]
        hole = self.dice.choice(re.findall(r"X-?[\d.]+Y-?[\d.]+\n", text))
        x, y = (float(number) for number in re.findall(r"-?[\d.]+", hole))
        texts = self.texts | {"drill-plated.drl": text.replace(hole, "", 1)}
        return Fault("via", texts, ("verify.hole", "verify.open"), (x, y))

    def mirrored(self) -> Fault:
        """A layer is mirrored."""
        layer, axis = self.dice.choice(list(self.layers)), self.dice.choice("XY")
        head, body = self.texts[self.layers[layer]].split("G01*", 1)
        body = re.sub(r"(?m)^(X-?\d+)?(Y-?\d+)?(D0[123])", lambda f: _negated(f, axis), body)
        return Fault("mirrored", self._with(layer, head + "G01*" + body), ("verify.layer",), says=f"layer {layer}")

    def shifted(self) -> Fault:
        """A layer lies 0.1 mm off."""
        layer, (dx, dy) = self.dice.choice(list(self.layers)), self.dice.choice(((1, 0), (-1, 0), (0, 1), (0.6, 0.8)))
        text = re.sub(
            r"(?m)^X(-?\d+)Y(-?\d+)",
            lambda f: f"X{int(f[1]) + round(dx * 1e5)}Y{int(f[2]) + round(dy * 1e5)}",
            self.texts[self.layers[layer]],
        )
        return Fault("shifted", self._with(layer, text), ("verify.layer",), says=f"layer {layer} ")

    def exchanged(self) -> Fault:
        """The files of two layers are exchanged."""
        a, b = self.dice.sample(list(self.layers.values()), 2)
        texts = self.texts | {a: self.texts[b], b: self.texts[a]}
        return Fault("exchanged", texts, ("verify.layer",), says=a)

    def inverted(self) -> Fault:
        """A layer is drawn inverted."""
        layer = self.dice.choice(list(self.layers))
        text = self.texts[self.layers[layer]]
        way = self.dice.choice(("clear", "negative", "image"))
        if way == "clear":
            text = text.replace("%LPD*%", "%LPC*%")
        elif way == "negative":
            text = text.replace("FilePolarity,Positive", "FilePolarity,Negative")
        else:
            text = text.replace("%LPD*%", "%IPNEG*%\n%LPD*%")
        return Fault("inverted", self._with(layer, text), ("verify.layer",), says=f"layer {layer} ")

    def inches(self) -> Fault:
        """The drill file says inch."""
        name = "drill-plated.drl"
        texts = self.texts | {name: self.texts[name].replace("METRIC", "INCH")}
        return Fault("inches", texts, ("verify.hole",), says="in mm, though the file says inch")

    def pad(self) -> Fault:
        """A pad of a foreign net lies on a track."""
        layer, stroke, along = self._track()
        x, y = at(stroke, along)
        pad = f"%ADD90C,0.4*%\n%TO.N,SENSE*%\nD90*\nX{round(x * NM)}Y{round(y * NM)}D03*\n%TD*%\n"
        text = added(self.texts[self.layers[layer]], pad)
        return Fault("pad", self._with(layer, text), ("verify.short",), (x, y), layer, "SENSE")

    def terminals(self) -> Fault:
        """Two terminals have each other's name, in the manifest or in the copper files."""
        text = self.texts["manifest.json"]
        a, b = self.dice.sample(re.findall(r'"(\w+)": \{\s+"x_mm"', text), 2)
        if self.dice.random() < 0.5:
            return Fault("terminals", self.texts | {"manifest.json": _swapped(text, f'"{a}": {{', f'"{b}": {{')},
                         ("verify.terminal",), says=f"terminal {min(a, b)}")  # fmt: skip
        files = {name: _swapped(self.texts[name], f",{a}*%\nX", f",{b}*%\nX") for name in self.layers.values()}
        return Fault("terminals", self.texts | files, ("verify.terminal",), says=f"terminal {min(a, b)}")

    def plane(self) -> Fault:
        """A plane is poured through the winding."""
        layer, stroke, along = self._track()
        x, y = at(stroke, along)
        net = self.dice.choice(("GND", ""))
        corners = np.array([(x - 4, y - 4), (x + 4, y - 4), (x + 4, y + 4), (x - 4, y + 4), (x - 4, y - 4)])
        named = f"%TO.N,{net}*%\n" if net else ""
        text = added(self.texts[self.layers[layer]], f"{named}G36*\n{draws(corners)}G37*\n%TD*%\n")
        return Fault("plane", self._with(layer, text), ("verify.short",), layer=layer, says=f"layer {layer},")


def _negated(found: re.Match[str], axis: str) -> str:
    def turned(word: str | None) -> str:
        return "" if word is None else f"{word[0]}{-int(word[1:])}" if word[0] == axis else word

    return turned(found[1]) + turned(found[2]) + found[3]


def _swapped(text: str, a: str, b: str) -> str:
    return text.replace(a, "\0").replace(b, a).replace("\0", b)
