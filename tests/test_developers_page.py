"""DEVELOPERS.md names what is on disk: every folder in its tree, every path, every function."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "pcbstator"
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PATH = re.compile(r"`((?:[\w.-]+/)*[\w.-]+(?:/|\.(?:py|md|toml))|[\w.-]+(?:/[\w.-]+)+)(?::(\w+))?`")
OF_A_FOLDER = {"slip-ring/profile.gbr", "records.py"}  # written by make; one of several


def tree():
    """Folders and files of the package in the page's tree, with what is said about each folder."""
    block = re.search(r"^```\npcbstator/\n(.*?)^```$", PAGE, re.M | re.S)[1]
    folders, files, above = {}, set(), []
    for line in block.splitlines():
        if not line.startswith(" "):
            break
        depth = (len(line) - len(line.lstrip()) - 2) // 2
        name, said = re.match(r"\s+(\S+)(?:\s+(.*))?", line).groups()
        if name.endswith("/"):
            above = [*above[:depth], name.rstrip("/")]
            folders["/".join(above)] = said
        else:
            files |= set(re.findall(r"\w+\.py", line))
    return folders, files


def test_tree_has_every_folder_and_says_what_it_is_for():
    folders, files = tree()
    on_disk = {path.parent.relative_to(PACKAGE).as_posix() for path in PACKAGE.rglob("__init__.py")} - {"."}
    assert set(folders) == on_disk
    assert [name for name, said in folders.items() if not said or len(said.split()) < 3] == []
    assert files == {path.name for path in PACKAGE.glob("*.py")} - {"__init__.py", "__main__.py"}


def test_every_path_and_every_function_is_there():
    named = [match for match in PATH.findall(PAGE) if match[0] not in OF_A_FOLDER]
    assert len(named) > 60
    missing = []
    for path, function in named:
        place = next((base / path for base in (ROOT, PACKAGE) if (base / path).exists()), None)
        if place is None or (function and function not in defined(place)):
            missing.append(f"{path}:{function}")
    assert missing == []


def defined(place):
    """Functions and classes at the top of a file."""
    body = ast.parse(place.read_text(encoding="utf-8")).body
    return {item.name for item in body if isinstance(item, ast.FunctionDef | ast.ClassDef)}


def test_the_walk_goes_the_whole_way():
    walk = re.search(r"^## One walk.*?(?=^## )", PAGE, re.M | re.S)[0]
    rooms = [path.split("/")[0] for path, function in PATH.findall(walk) if function]
    for room in ("design", "copper", "analysis", "physics", "check", "output"):
        assert room in rooms, room
    assert {"copper_gerber", "track_resistance", "ring_sources"} <= {function for _, function in PATH.findall(walk)}
