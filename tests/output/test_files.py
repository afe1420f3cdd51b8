"""Files and folders appear whole or not at all, and nothing of the user's is lost."""

from __future__ import annotations

import errno
import json
import os
import shutil
import stat
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


@pytest.mark.parametrize("name", ["none/made", "x" * 300, "file", "link"])
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
