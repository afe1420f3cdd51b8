"""The motor as STEP, read back by the solid modeller in a process of its own, and as GLB, read back by a glTF library.

Volumes are held against closed forms of the design's own keys, masses against the prediction.
"""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from collections import Counter
from ctypes import CDLL
from itertools import pairwise
from math import cos, hypot, pi, radians, sin
from pathlib import Path

import pytest

import pcbstator
from pcbstator.errors import install_words
from tests.command import run


def has_modeller() -> bool:
    """Whether it is installed, with the system's library that it links."""
    try:
        return importlib.util.find_spec("OCP") is not None and bool(sys.platform != "linux" or CDLL("libGL.so.1"))
    except OSError:
        return False


modeller = pytest.mark.skipif(
    not has_modeller(), reason="no solid modeller: the extra solids, or libGL.so.1, is missing"
)
TITLE = "Lüfter ③ 'klein'; \\ " + "ü" * 90
READER = Path(__file__).with_name("step_reader.py")
JOB = {"requirement": None, "motion": None, "drive": None, "load": None, "accepted": None, "prices": None}
HOLES = [{"diameter_mm": 3.2, "circle_diameter_mm": 20.0, "count": 3, "first_angle_deg": 20.0},
         {"diameter_mm": 5.0, "circle_diameter_mm": 0.0}]  # fmt: skip
WOOD = {"material": "wood", "thickness_mm": 5.0, "outer_diameter_mm": 62.0, "pocket_depth_mm": 1.5, "holes": HOLES}


def design(name: str, **changes: object):
    return pcbstator.load_design(f"designs/{name}.toml").with_values(JOB | changes)


def fan():
    """Two rotors, magnets let into wooden plates; a title with letters beyond ASCII that takes several lines."""
    return design("small-fan", title=TITLE, **{"rotor.plate": WOOD, "rotor.back_iron_mm": 0.0})


def read(folder: Path, *found: dict[str, str | bytes]) -> list[dict]:
    """What the modeller reads from the STEP of each, in a fresh process."""
    places = [folder / f"{number}.step" for number, _ in enumerate(found)]
    for place, files in zip(places, found, strict=True):
        place.write_bytes(files["motor.step"])
    told = subprocess.run([sys.executable, READER, *places], capture_output=True, text=True, timeout=300)
    assert told.returncode == 0, told.stderr
    return json.loads(told.stdout.splitlines()[-1])


def volumes(solids: list[dict], *words: str) -> list[float]:
    """Volumes of the parts whose place begins with one of the words [mm3]."""
    return [solid["volume"] for solid in solids if solid["path"][-1].startswith(words)]


def mass(solids: list[dict], *groups: str) -> float:
    """Mass of all that is in a group [g]."""
    return sum(solid["volume"] * solid["density"] for solid in solids if solid["path"][1] in groups)


def ring(inner: float, outer: float, thickness: float) -> float:
    """Volume by its diameters."""
    return pi / 4 * (outer**2 - inner**2) * thickness


def assert_sound(read_back: dict) -> None:
    """Every solid is valid and nothing lies in anything else."""
    assert all(solid["sound"] and solid["kind"] == "TopAbs_SOLID" for solid in read_back["solids"])
    assert all(abs(volume) < 1e-6 for volume in read_back["overlaps"].values()), read_back["overlaps"]


@modeller
def test_step_of_two_rotors_is_the_design(tmp_path):
    """Parts, names, colours, closed forms, masses, gaps and places; the same bytes once more."""
    asked = fan()
    files = pcbstator.project.solids(asked)
    assert pcbstator.project.solids(asked) == files
    assert files["motor.step"].isascii()
    (found,) = read(tmp_path, files)
    solids = found["solids"]
    assert_sound(found)
    assert Counter(solid["part"] for solid in solids) == {
        "magnet N": 10, "magnet S": 10, "rotor plate": 1, "rotor plate, lower": 1, "board": 1, "air gap": 2,
        "bore kept free": 1,
    }  # fmt: skip
    assert solids[0]["path"] == [TITLE, "rotor", "upper rotor", "magnet 1 N"]
    assert volumes(solids, "magnet") == pytest.approx([0.8 / 10 * ring(28, 52, 2)] * 20, rel=1e-9)
    plate = ring(0, 62, 5) - 3 * ring(0, 3.2, 5) - ring(0, 5, 5) - 0.8 * ring(28, 52, 1.5)
    assert volumes(solids, "rotor plate") == pytest.approx([plate, plate], rel=1e-9)
    assert volumes(solids, "board") == pytest.approx([ring(23, 61, 1.6) - 4 * ring(0, 1, 1.6)], rel=1e-9)
    assert volumes(solids, "upper air gap", "lower air gap") == pytest.approx([ring(28, 52, 1.2)] * 2)
    predicted = pcbstator.predict(asked).mechanical
    assert mass(solids, "rotor") == pytest.approx(1e3 * predicted.rotor_mass, rel=1e-6)
    assert list(found["distances"].values()) == pytest.approx([1.2, 1.2])
    assert_in_place(solids)


def assert_in_place(solids):
    """Magnet 1 on +x; numbers counter-clockwise on both rotors, unlike poles face each other; holes at 20 degrees."""
    by_path = {tuple(solid["path"][2:]): solid for solid in solids if solid["path"][1] == "rotor"}
    upper, lower = by_path["upper rotor", "magnet 2 S"], by_path["lower rotor", "magnet 2 N"]
    assert upper["box"][:2] + upper["box"][3:5] == pytest.approx(lower["box"][:2] + lower["box"][3:5])
    assert (upper["box"][2], upper["box"][5]) == pytest.approx((1.2, 3.2))
    assert (lower["box"][2], lower["box"][5]) == pytest.approx((-1.6 - 3.2, -1.6 - 1.2))
    corner = radians(36 + 0.4 * 36)  # poles are 36 degrees apart, magnets cover 0.8 of it
    assert upper["box"][4] == pytest.approx(26 * sin(corner))
    assert upper["box"][3] == pytest.approx(26 * cos(radians(36 - 0.4 * 36)))
    red, blue = by_path["upper rotor", "magnet 1 N"]["colour"], upper["colour"]
    assert red[0] > 4 * red[2] and blue[2] > 4 * blue[0]
    first = [round(10 * cos(radians(20)), 6), round(10 * sin(radians(20)), 6), 1.6]
    for rotor, name in (("upper rotor", "rotor plate"), ("lower rotor", "rotor plate, lower")):
        plate = by_path[rotor, name]
        assert first in plate["round"] and [0.0, 0.0, 2.5] in plate["round"]
    assert by_path["upper rotor", "rotor plate"]["box"][2::3] == pytest.approx([1.2 + 2 - 1.5, 1.2 + 2 - 1.5 + 5])


BALLS = {"rings": 2, "inner_diameter_mm": 20.0, "width_mm": 4.0, "spacing_mm": 3.0, "current_rms_a": 1.0,
         "voltage_v": 24.0, "contact": "balls", "balls": 9}  # fmt: skip
HALBACH = {"shape": "sector", "array": "halbach", "segments_per_pole": 2, "inner_diameter_mm": 68.0,
           "outer_diameter_mm": 102.0, "arc_ratio": 0.9, "thickness_mm": 3.0, "remanence_t": 1.3}  # fmt: skip
ALUMINIUM = {"material": "aluminium", "thickness_mm": 5.0, "outer_diameter_mm": 109.0, "inner_diameter_mm": 61.0,
             "held_diameter_mm": 63.0, "pocket_depth_mm": 1.5}  # fmt: skip
STEEL = {"material": "steel", "thickness_mm": 3.0, "outer_diameter_mm": 80.0, "inner_diameter_mm": 20.0,
         "held_diameter_mm": 20.0, "pocket_depth_mm": 1.0}  # fmt: skip
THROUGH = {"material": "wood", "thickness_mm": 6.0, "outer_diameter_mm": 120.0, "inner_diameter_mm": 50.0,
           "pocket_depth_mm": 2.0,
           "holes": [{"diameter_mm": 6.0, "circle_diameter_mm": 85.0, "count": 24}]}  # fmt: skip
FEATURES = {
    "board.tabs": [{"count": 4, "first_angle_deg": 15.0, "width_mm": 8.0, "reach_mm": 8.0, "rounded": False}],
    "board.slots": [{"width_mm": 1.2, "length_mm": 4.0, "direction": "tangential", "circle_diameter_mm": 88.0,
                     "count": 3}],
}  # fmt: skip
BEARING = {"envelope.bearing_inner_diameter_mm": 112.0, "envelope.bearing_outer_diameter_mm": 125.0,
           "envelope.outer_diameter_mm": None, "envelope.height_mm": None}  # fmt: skip


@modeller
@pytest.mark.slow
def test_step_of_every_kind_of_machine(tmp_path):
    """Tiles with steel beyond and brushes, stacks, balls, Halbach rings, plates of steel or over steel, tabs, slots."""
    asked = {
        "tiles": design("sky-tracker", **{"board.tiles": 4, "board.jumper_drill_mm": 0.6, "board.jumper_pad_mm": 1.0,
                                          "rotor.stator_iron_mm": 1.5}),
        "stack": design("photogrammetry-stage", stack={"boards": 3, "spacing_mm": 0.4, "connection": "series"},
                        envelope=None),
        "balls": design("photogrammetry-stage", slip_ring=BALLS, **{"rotor.plate": ALUMINIUM}, **BEARING),
        "halbach": design("photogrammetry-stage", **{"rotor.magnet": HALBACH, "rotor.back_iron_mm": 0.0}),
        "steel": design("filter-wheel", envelope=None, **{"rotor.plate": STEEL, **FEATURES}),
        "pockets": design("photogrammetry-stage", envelope=None, **{"rotor.plate": THROUGH, "rotor.back_iron_mm": 0.0,
                          "rotor.magnet": HALBACH | {"arc_ratio": 1.0}}),
    }  # fmt: skip
    made = {name: pcbstator.project.solids(each) for name, each in asked.items()}
    found = dict(zip(made, read(tmp_path, *made.values()), strict=True))
    for name, read_back in found.items():
        assert_sound(read_back)
        assert list(read_back["distances"].values()) == pytest.approx([1e3 * asked[name].rotor.air_gap])
        predicted = pcbstator.predict(asked[name]).mechanical
        if name != "pockets":  # there the prediction takes holes and pockets as if they lay apart
            assert mass(read_back["solids"], "rotor") == pytest.approx(1e3 * predicted.rotor_mass, rel=1e-6)
        magnets = sum(s["volume"] * s["density"] for s in read_back["solids"] if s["path"][-1].startswith("magnet"))
        assert magnets == pytest.approx(1e3 * predicted.magnet_mass, rel=1e-6)
    solids = {name: each["solids"] for name, each in found.items()}
    assert_tiles(solids["tiles"])
    assert_stack(solids["stack"])
    assert_balls(solids["balls"])
    assert_halbach(solids["halbach"])
    assert_steel_plate(solids["steel"])
    # Pockets that touch, all around, and holes within them.
    plate = ring(50, 120, 6) - ring(68, 102, 2) - 24 * ring(0, 6, 6 - 2)
    assert volumes(solids["pockets"], "rotor plate") == pytest.approx([plate], rel=1e-9)


def assert_tiles(solids):
    """Blocks, four tiles with straight cuts 0.2 mm wide, each with its holes; steel; the slip-ring board."""
    assert volumes(solids, "magnet") == pytest.approx([20 * 10 * 4] * 42, rel=1e-9)
    tiles = [solid for solid in solids if solid["path"][-1].startswith("tile")]
    assert [tile["path"][-1] for tile in tiles] == ["tile 1", "tile 2", "tile 3", "tile 4"]
    holes = [each for tile in tiles for each in tile["round"] if each[2] < 1.0]
    gone = sum(ring(0, 2 * radius, 2.0) for *_, radius in holes)
    cut = 4 * 0.2 * (120.5 - 94.5) * 2.0  # straight, so longer than along the radius by less than 1e-5 of itself
    assert sum(tile["volume"] for tile in tiles) == pytest.approx(ring(189, 241, 2.0) - cut - gone, rel=1e-5)
    assert {radius for *_, radius in holes} == {0.3, 0.5}  # of tile jumpers and terminals
    assert all(min(hypot(x, y) for x, y, _ in tile["round"] if (x, y) != (0, 0)) > 94.5 for tile in tiles)
    corner = hypot(115.5, 5)  # of a block, the far one
    assert volumes(solids, "stator iron") == pytest.approx([ring(2 * 95.5, 2 * corner, 1.5)])
    (slip_ring,) = (solid for solid in solids if solid["path"][1] == "slip rings")
    assert slip_ring["box"][5] < min(solid["box"][2] for solid in solids if solid["path"][1] in ("rotor", "stator"))
    assert [0.0, 0.0, 20.0] in slip_ring["round"]


def assert_stack(solids):
    """Three equal boards 2 mm apart, each turned on, so that a terminal lies under another one."""
    boards = [solid for solid in solids if solid["path"][-1].startswith("board")]
    assert [board["path"][-1] for board in boards] == ["board 1", "board 2", "board 3"]
    assert [board["box"][5] for board in boards] == pytest.approx([0.0, -2.0, -4.0], abs=1e-9)
    holes = 2 * 3
    assert {round(board["volume"], 4) for board in boards} == {round(ring(63, 107, 1.6) - holes * ring(0, 1.0, 1.6), 4)}
    places = [{tuple(round(value, 4) for value in each) for each in board["round"]} for board in boards]
    assert all(len((a & b) - {(0.0, 0.0, 31.5), (0.0, 0.0, 53.5)}) >= 3 for a, b in pairwise(places))


def assert_balls(solids):
    """Two boards with 3 mm and both coppers between them, nine balls on each raceway; steel in the plate's pocket."""
    turning, still = (solid for solid in solids if solid["path"][-1].startswith("slip-ring board"))
    assert turning["box"][2] - still["box"][5] == pytest.approx(3.0 + 2 * 0.035)
    balls = [solid for solid in solids if solid["path"][1] == "balls"]
    assert [ball["volume"] for ball in balls] == pytest.approx([pi / 6 * 3**3] * 18)
    middles = [[(ball["box"][axis] + ball["box"][axis + 3]) / 2 for axis in range(3)] for ball in balls]
    assert {round(z, 6) for *_, z in middles} == {round((turning["box"][2] + still["box"][5]) / 2, 6)}
    radii = Counter(round(hypot(x, y), 6) for x, y, _ in middles)
    assert list(radii.values()) == [9, 9] and max(radii) - min(radii) == pytest.approx(7.0)  # width and spacing
    plate = ring(61, 109, 5) - ring(68, 102, 1.5)
    assert volumes(solids, "rotor plate") == pytest.approx([plate], rel=1e-9)
    low, high = 0.8 + 3 + 2.5 - 1.5, 0.8 + 3 + 2.5 - 1.5 + 5
    (body,) = (solid for solid in solids if solid["path"][-1] == "rotor plate")
    assert body["box"][2::3] == pytest.approx([low, high])
    height = high + 1.6
    assert volumes(solids, "bearing envelope") == pytest.approx([ring(112, 125, height)])
    assert volumes(solids, "bore kept free") == pytest.approx([ring(0, 60, height)])


def assert_halbach(solids):
    """48 pieces of two kinds: north, across, south, across; those across look like neither pole."""
    magnets = [solid for solid in solids if solid["path"][-1].startswith("magnet")]
    assert [magnet["volume"] for magnet in magnets] == pytest.approx([0.9 / 48 * ring(68, 102, 3)] * 48, rel=1e-9)
    assert [magnet["path"][-1] for magnet in magnets[:4]] == [
        "magnet 1 a N",
        "magnet 2 b",
        "magnet 3 a S",
        "magnet 4 b",
    ]
    assert Counter(magnet["part"] for magnet in magnets) == {"magnet a N": 12, "magnet a S": 12, "magnet b": 24}
    assert len({tuple(magnet["colour"]) for magnet in magnets}) == 3


def assert_steel_plate(solids):
    """A steel plate is the steel behind the magnets, pockets taken away; the board with tabs, slots and screw holes."""
    assert volumes(solids, "back iron") == []
    plate = ring(20, 80, 3) - 12 * ring(0, 12, 1)
    assert volumes(solids, "rotor plate") == pytest.approx([plate], rel=1e-9)
    (board,) = (solid for solid in solids if solid["path"][-1] == "board")
    screws = [(44 * cos(radians(a)), 44 * sin(radians(a)), 1.35) for a in (60, 180, 300)]
    tab_holes = [(50 * cos(radians(a)), 50 * sin(radians(a)), 1.6) for a in (15, 105, 195, 285)]
    walls = {tuple(round(value, 4) for value in each) for each in board["round"]}
    assert {tuple(round(value, 4) + 0.0 for value in each) for each in screws + tab_holes} <= walls
    # Slots end round: middles 1.4 mm to either side of theirs.
    assert sum(radius == 0.6 and abs(hypot(x, y) - hypot(44, 1.4)) < 1e-4 for x, y, radius in walls) == 6
    reach = 46 + 8
    assert board["box"][3] == pytest.approx(reach * cos(radians(15)) + 4 * sin(radians(15)))


def test_modeller_that_lacks_a_library_of_the_system(tmp_path, monkeypatch):
    (tmp_path / "OCP").mkdir()
    (tmp_path / "OCP" / "__init__.py").write_text("raise ImportError('libGL.so.1: cannot open shared object file')")
    for name in [name for name in sys.modules if name.split(".")[0] == "OCP"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.syspath_prepend(tmp_path)
    told = run("solids", "designs/filter-wheel.toml", "-o", tmp_path / "wheel")
    assert told.code == 2 and "libGL.so.1" in told.err and "libgl1" in told.err and "--no-step" in told.err


def test_without_the_modeller_it_says_how_to_get_it(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "OCP", None)
    monkeypatch.setitem(sys.modules, "OCP.gp", None)
    told = run("solids", "designs/filter-wheel.toml", "-o", tmp_path / "wheel")
    assert told.code == 2 and install_words("solids") in told.err and "--no-step" in told.err
    assert not (tmp_path / "wheel").exists()
    told = run("solids", "designs/filter-wheel.toml", "-o", tmp_path / "wheel", "--no-step")
    assert told.code == 0
    assert sorted(path.name for path in (tmp_path / "wheel").iterdir()) == ["manifest.json", "motor.glb"]
    assert run("solids", "designs/filter-wheel.toml", "-o", tmp_path / "wheel", "--no-step").code == 0
