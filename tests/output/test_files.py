"""Files and folders appear whole or not at all, and nothing of the user's is lost."""

from __future__ import annotations

import errno
import json
import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from pcbstator.errors import OutputError
from pcbstator.output.files import json_text, write_file, write_folder

SVG = (".svg",)


def folder_of(*names: str) -> dict[str, str | bytes]:
    """Files with a manifest that names them."""
    manifest = {"files": [{"name": name} for name in names]}
    return {name: f"{name} é\n" for name in names} | {"manifest.json": json.dumps(manifest)}


def names_in(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())


def refuse(*_: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_json_text_is_strict_and_readable():
    assert json_text({"a": "é"}) == '{\n "a": "é"\n}\n'
    with pytest.raises(ValueError, match="JSON"):
        json_text({"a": float("nan")})


def test_file_replaces_an_older_one(tmp_path):
    file = tmp_path / "a.svg"
    write_file(file, "one\n", SVG)
    write_file(file, "two é\n", SVG)
    assert file.read_bytes() == "two é\n".encode()
    assert names_in(tmp_path) == ["a.svg"]


def test_written_things_have_the_usual_permissions(tmp_path):
    old = os.umask(0o027)
    try:
        write_file(tmp_path / "a.svg", "", SVG)
        write_folder(tmp_path / "made", folder_of("a"))
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "a.svg").stat().st_mode) == 0o640
    assert stat.S_IMODE((tmp_path / "made").stat().st_mode) == 0o750


@pytest.mark.parametrize("name", ["a.txt", "svg", "a.svg.toml", "none/a.svg", "x" * 300 + ".svg", "folder.svg"])
def test_file_is_refused_in_words(tmp_path, name):
    (tmp_path / "folder.svg").mkdir()
    with pytest.raises(OutputError, match=r"; (choose|name|make)"):
        write_file(tmp_path / name, "", SVG)
    assert names_in(tmp_path) == ["folder.svg"]


def test_a_full_disk_leaves_the_old_file(tmp_path, monkeypatch):
    file = tmp_path / "a.svg"
    file.write_text("old")
    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OutputError, match="No space left"):
        write_file(file, "new", SVG)
    assert file.read_text() == "old" and names_in(tmp_path) == ["a.svg"]


def test_folder_is_replaced_with_all_its_files(tmp_path):
    made = tmp_path / "made"
    write_folder(made, folder_of("a", "b"))
    write_folder(made, folder_of("c") | {"c": b"\x00\xff"})
    assert names_in(made) == ["c", "manifest.json"]
    assert (made / "c").read_bytes() == b"\x00\xff"
    assert names_in(tmp_path) == ["made"]


def test_empty_folder_is_filled(tmp_path):
    (tmp_path / "made").mkdir()
    write_folder(tmp_path / "made", folder_of("a"))
    assert names_in(tmp_path / "made") == ["a", "manifest.json"]


@pytest.mark.parametrize(
    "manifest", [None, "", "[]", "{}", '{"files": 3}', '{"files": ["a"]}', '{"files": [{}]}', '{"files": []}', b"\xff"]
)
def test_foreign_folder_is_left_alone(tmp_path, manifest):
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "a").write_text("years of work")
    if manifest is not None:
        (mine / "manifest.json").write_bytes(manifest if isinstance(manifest, bytes) else manifest.encode())
    before = names_in(mine)
    with pytest.raises(OutputError, match="pcbstator"):
        write_folder(mine, folder_of("a"))
    assert names_in(mine) == before and (mine / "a").read_text() == "years of work"
    assert names_in(tmp_path) == ["mine"]


def test_a_folder_within_is_foreign_even_under_a_known_name(tmp_path):
    made = tmp_path / "made"
    write_folder(made, folder_of("a"))
    (made / "a").unlink()
    (made / "a").mkdir()
    with pytest.raises(OutputError, match="holds a"):
        write_folder(made, folder_of("a"))


@pytest.mark.parametrize("name", ["x" * 300, "file", "link", "file/made", "none/" + "x" * 300])
def test_folder_is_refused_in_words(tmp_path, name):
    (tmp_path / "file").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(OutputError, match=r"; (choose|make)"):
        write_folder(tmp_path / name, folder_of("a"))
    assert names_in(tmp_path) == ["file", "link"]


@pytest.mark.parametrize("call", ["write_bytes", "rename"])
def test_a_full_disk_leaves_the_old_folder(tmp_path, monkeypatch, call):
    made = tmp_path / "made"
    write_folder(made, folder_of("a"))
    monkeypatch.setattr(Path, call, refuse)
    with pytest.raises(OutputError, match="No space left"):
        write_folder(made, folder_of("b"))
    assert names_in(tmp_path) == ["made"] and names_in(made) == ["a", "manifest.json"]


def test_a_second_rename_that_fails_brings_the_old_folder_back(tmp_path, monkeypatch):
    made = tmp_path / "made"
    write_folder(made, folder_of("a"))
    rename, calls = Path.rename, []

    def second_fails(self: Path, target: Path) -> Path:
        calls.append(target)
        if len(calls) == 2:
            refuse()
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", second_fails)
    with pytest.raises(OutputError, match="No space left"):
        write_folder(made, folder_of("b"))
    assert len(calls) == 3
    assert names_in(tmp_path) == ["made"] and names_in(made) == ["a", "manifest.json"]


def test_leftovers_that_cannot_be_removed_do_no_harm(tmp_path, monkeypatch):
    made = tmp_path / "made"
    write_folder(made, folder_of("a"))
    monkeypatch.setattr(shutil, "rmtree", lambda *_, **__: None)
    write_folder(made, folder_of("b"))
    assert names_in(made) == ["b", "manifest.json"]


def nested(outer: dict[str, str | bytes], name: str, inner: dict[str, str | bytes]) -> dict[str, str | bytes]:
    """``inner`` as the folder ``name`` within ``outer``, named in its manifest."""
    manifest = json.loads(outer["manifest.json"]) | {"folders": [name]}
    return outer | {"manifest.json": json.dumps(manifest)} | {f"{name}/{file}": each for file, each in inner.items()}


def test_folders_within_are_written_and_replaced_as_a_whole(tmp_path):
    made = tmp_path / "made"
    write_folder(made, nested(folder_of("a"), "part", nested(folder_of("b"), "deep", folder_of("c"))))
    assert names_in(made) == ["a", "manifest.json", "part"]
    assert (made / "part" / "deep" / "c").read_text() == "c é\n"
    write_folder(made, nested(folder_of("a"), "other", folder_of("d")))
    assert names_in(made) == ["a", "manifest.json", "other"]
    write_folder(made, folder_of("a"))
    assert names_in(made) == ["a", "manifest.json"] and names_in(tmp_path) == ["made"]


@pytest.mark.parametrize("place", ["part/mine", "part/deep/mine", "mine/b"])
def test_a_foreign_file_in_a_folder_within_is_left_alone(tmp_path, place):
    made = tmp_path / "made"
    write_folder(made, nested(folder_of("a"), "part", nested(folder_of("b"), "deep", folder_of("c"))))
    (made / place).parent.mkdir(exist_ok=True)
    (made / place).write_text("years of work")
    with pytest.raises(OutputError, match="did not make"):
        write_folder(made, folder_of("a"))
    assert (made / place).read_text() == "years of work"


@pytest.mark.parametrize("what", ["link", "manifest", "file"])
def test_a_folder_within_that_is_not_ours(tmp_path, what):
    """A link to a folder elsewhere, a folder without its manifest, a file in the place of a folder."""
    made, elsewhere = tmp_path / "made", tmp_path / "elsewhere"
    write_folder(made, nested(folder_of("a"), "part", folder_of("b")))
    if what == "manifest":
        (made / "part" / "manifest.json").unlink()
    else:
        shutil.move(made / "part", elsewhere)
        (made / "part").symlink_to(elsewhere) if what == "link" else (made / "part").write_text("mine")
    with pytest.raises(OutputError, match="pcbstator"):
        write_folder(made, folder_of("a"))
    assert (made / "part").exists()
    assert what == "manifest" or names_in(elsewhere) == ["b", "manifest.json"]


@pytest.mark.parametrize("folders", ["3", '"part"', "[3]", '{"part": 1}', "null"])
def test_a_manifest_with_odd_folders_opens_nothing(tmp_path, folders):
    made = tmp_path / "made"
    (made / "mine").mkdir(parents=True)
    (made / "manifest.json").write_text(f'{{"files": [], "folders": {folders}}}')
    with pytest.raises(OutputError, match="pcbstator"):
        write_folder(made, folder_of("a"))
    assert (made / "mine").is_dir()


def test_a_full_disk_within_a_folder_leaves_the_old_one(tmp_path, monkeypatch):
    made = tmp_path / "made"
    write_folder(made, nested(folder_of("a"), "part", folder_of("b")))
    monkeypatch.setattr(Path, "mkdir", lambda *_, **__: refuse())
    with pytest.raises(OutputError, match="No space left"):
        write_folder(made, nested(folder_of("a"), "part", folder_of("c")))
    assert names_in(tmp_path) == ["made"] and names_in(made / "part") == ["b", "manifest.json"]


HERE = Path(__file__).parents[2]
KILLED = """
import json, os, signal, sys
from pathlib import Path
from tests.output.test_files import folder_of, nested
from pcbstator.output.files import write_folder

after = int(sys.argv[2])

def deadly(usual):
    def step(*arguments, **named):
        global after
        after -= 1
        if after < 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return usual(*arguments, **named)
    return step

for name in ("mkdir", "write_bytes", "rename", "replace", "chmod"):
    setattr(Path, name, deadly(getattr(Path, name)))
write_folder(Path(sys.argv[1]), nested(folder_of("b", "c"), "part", folder_of("d")))
"""
NEW = ["b", "c", "manifest.json", "part"]


def killed(place: Path, after: int, cwd: Path) -> bool:
    """Whether a run that writes a folder was killed after so many of its steps; else it came to its end."""
    environment = os.environ | {"PYTHONPATH": str(HERE)}
    words = [sys.executable, "-c", KILLED, str(place), str(after)]
    code = subprocess.run(words, cwd=cwd, env=environment, check=False, capture_output=True).returncode
    assert code in (0, -9)
    return code != 0


@pytest.mark.parametrize(
    "before", [pytest.param("none", marks=pytest.mark.slow), pytest.param("empty", marks=pytest.mark.slow), "earlier"]
)
@pytest.mark.parametrize(
    "within", [False, pytest.param(True, marks=pytest.mark.slow)], ids=["beside", "working-folder"]
)
def test_what_a_killed_run_leaves_is_cleared_by_the_next(tmp_path, before, within):
    """Killed after every step in turn: the folder is an old or new one or ours to replace, and nothing stays."""
    made = tmp_path / "made"
    for after in range(30):
        shutil.rmtree(made, ignore_errors=True)
        if before != "none" or within:
            made.mkdir()
        if before == "earlier":
            write_folder(made, nested(folder_of("a", "b"), "old-part", folder_of("e")))
        dead = killed(Path(), after, made) if within else killed(made, after, tmp_path)
        if not dead:
            break
        if after % 2:  # the folder that was there is not lost where the next run comes to nothing either
            with pytest.raises(OutputError):
                write_folder(made, {"x" * 300: "too long a name", **folder_of()})
            assert before != "earlier" or (made / "manifest.json").is_file()
        write_folder(made, nested(folder_of("b", "c"), "part", folder_of("d")))
        assert names_in(made) == NEW and names_in(tmp_path) == ["made"], after
    assert after > 5 and names_in(made) == NEW and names_in(tmp_path) == ["made"]


def test_what_a_killed_run_leaves_of_a_file_is_cleared_by_the_next(tmp_path):
    (tmp_path / ".a.svg.pcbstator-12345678").write_text("half")
    (tmp_path / ".b.svg.pcbstator-12345678").write_text("of another file")
    (tmp_path / ".a.svg.backup12").write_text("mine")
    write_file(tmp_path / "a.svg", "whole", SVG)
    assert names_in(tmp_path) == [".a.svg.backup12", ".b.svg.pcbstator-12345678", "a.svg"]


def test_a_run_at_work_is_left_alone(tmp_path, monkeypatch):
    """What another run is writing at this moment is no leftover."""
    write_text, seen = Path.write_bytes, []

    def slowly(self: Path, content: bytes) -> int:
        if self.name == "a" and not seen:
            seen.append(self)
            write_folder(tmp_path / "made", folder_of("b"))
            assert self.parent.is_dir()
        return write_text(self, content)

    monkeypatch.setattr(Path, "write_bytes", slowly)
    write_folder(tmp_path / "made", folder_of("a"))
    assert names_in(tmp_path) == ["made"] and names_in(tmp_path / "made") == ["a", "manifest.json"]


def test_the_working_folder_is_filled_where_it_stands(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("a", "b"):
        number = tmp_path.stat().st_ino
        write_folder(Path(), nested(folder_of(name), "part", folder_of("c")))
        assert names_in(tmp_path) == sorted([name, "manifest.json", "part"]) and tmp_path.stat().st_ino == number
    (tmp_path / "mine").write_text("years of work")
    with pytest.raises(OutputError, match="holds mine"):
        write_folder(Path(), folder_of("d"))
    assert (tmp_path / "mine").read_text() == "years of work"


@pytest.mark.parametrize("fails", range(1, 5))
def test_a_rename_that_fails_in_the_working_folder_brings_all_back(tmp_path, monkeypatch, fails):
    made = tmp_path / "made"
    write_folder(made, folder_of("a"))
    before = {path.name: path.read_text() for path in made.iterdir()}
    monkeypatch.chdir(made)
    calls = []
    for name in ("rename", "replace"):
        usual = getattr(Path, name)

        def once(self: Path, target: Path, usual=usual) -> Path:
            calls.append(target)
            if len(calls) == fails:
                refuse()
            return usual(self, target)

        monkeypatch.setattr(Path, name, once)
    with pytest.raises(OutputError, match="No space left"):
        write_folder(Path(), folder_of("b", "c"))
    assert {path.name: path.read_text() for path in made.iterdir()} == before and names_in(tmp_path) == ["made"]


def test_missing_folders_above_are_made_and_go_again_where_nothing_comes_of_it(tmp_path):
    write_folder(tmp_path / "one" / "two" / "made", folder_of("a"))
    assert names_in(tmp_path / "one" / "two") == ["made"]
    with pytest.raises(OutputError):
        write_folder(tmp_path / "three" / "four" / "made", {"x" * 300: ""})
    assert names_in(tmp_path) == ["one"]
