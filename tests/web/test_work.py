"""Long work in its own process: folders that the user names, refusals in words, stopping."""

from __future__ import annotations

import json
import urllib.request
from pathlib import Path

import pytest

from pcbstator import project
from pcbstator.errors import OutputError, PcbstatorError
from pcbstator.web.answers import flat_values
from pcbstator.web.tasks import TASKS, Asked, carry_out
from tests.command import run
from tests.web.served import STAGE, WHEEL, copied, served


def carried(task: str, home: Path, place: str, **more: object) -> list[dict[str, object]]:
    """The events of a task, in this process."""
    told: list[dict[str, object]] = []
    carry_out(task, Asked(WHEEL.read_text(), WHEEL.name, home, place, dict(more)), told.append)
    return told


@pytest.mark.parametrize("place", ["", " ", ".", "..", "../beside", "/tmp/beside", "a/../..", "in\x00", "link/out"])
def test_only_folders_below_the_design_are_written(tmp_path: Path, place: str) -> None:
    home = tmp_path / "home"
    home.mkdir()
    (home / "link").symlink_to(tmp_path)
    for task in ("make", "bench", "simulate", "compare", "verify"):
        (end,) = carried(task, home, place)
        assert end["end"] == "failed" and "name a place below the folder" in str(end["words"])
    assert [entry.name for entry in tmp_path.iterdir()] == ["home"] and [e.name for e in home.iterdir()] == ["link"]


def test_a_folder_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear")
    asked = Asked(WHEEL.read_text(), WHEEL.name, tmp_path, "mine", {})
    with pytest.raises(OutputError, match="left alone"):
        asked.written({"page.html": "<p>"}, "page.html", lambda event: None)
    assert [entry.name for entry in (tmp_path / "mine").iterdir()] == ["letter.txt"]


def test_beside_a_second_design(tmp_path: Path) -> None:
    other = WHEEL.read_text().replace("thickness_mm = 3.0", "thickness_mm = 2.0")
    end = carried("beside", tmp_path, "-", other=other, name="thin.toml")[-1]
    design, thin = project.load_design(WHEEL), project.design_of_text(other, "thin.toml")
    assert end["end"] == "done" and end["html"] == project.side_by_side_page(project.side_by_side(design, thin))
    end = carried("beside", tmp_path, "-", other="nonsense", name="no.toml")[-1]
    assert end["end"] == "failed" and "no.toml" in str(end["words"])


def test_every_task_refuses_a_design_that_is_none(tmp_path: Path) -> None:
    for task in TASKS:
        told: list[dict[str, object]] = []
        carry_out(task, Asked("title = 1", "no.toml", tmp_path, "place", {}), told.append)
        assert told[-1]["end"] == "failed" and told[-1]["words"]
    assert not list(tmp_path.iterdir())


def flat_results_of(content: bytes) -> dict[str, float]:
    """The numbers of a prediction by dotted key."""
    return {key: value for key, value in flat_values(json.loads(content)) if isinstance(value, float)}


@pytest.mark.slow
def test_make_is_the_command(tmp_path: Path) -> None:
    path = copied(WHEEL, tmp_path)
    with served(path) as page:
        number, end = page.work("make", "order")
        assert end["end"] == "done" and end["page"]
        status, report, headers = page.ask("GET", f"made/{number}")
        number, read_back = page.work("verify", "order")
        assert read_back["words"] == "order: 0 findings"
        assert "the files are as predicted" in page.ask("GET", f"made/{number}")[1]
    assert status == 200 and "sandbox" in headers["content-security-policy"]
    assert "script-src" not in headers["content-security-policy"]
    assert run("make", path, "-o", tmp_path / "command").code == 0
    made, expected = ({f.name: f.read_bytes() for f in (tmp_path / name).iterdir()} for name in ("order", "command"))
    assert report == made["report.html"].decode()
    numbers, wanted = (flat_results_of(files.pop("prediction.json")) for files in (made, expected))
    assert made == expected
    assert numbers == pytest.approx(wanted, rel=1e-12)  # sums of another process may end in another last digit


@pytest.mark.slow
def test_a_study_grows_is_stopped_and_taken_from(tmp_path: Path) -> None:
    path = copied(STAGE, tmp_path)
    study = {
        "title": "Page", "budget": 1_000_000,
        "variables": [
            {"key": "winding.turns", "from": 4, "to": 12},
            {"key": "rotor.magnet.thickness_mm", "from": 2.0, "to": 4.0},
        ],
        "objectives": [
            {"key": "magnetic.motor_constant_n_m_per_sqrt_w", "goal": "most"},
            {"key": "cost.total", "goal": "least"},
        ],
    }  # fmt: skip
    with served(path) as page:
        body = {"task": "explore", "place": "study", "text": path.read_text(), "more": {"study": study}}
        _, begun, _ = page.ask("POST", "api/work", body)
        other = page.ask("POST", "api/work", body | {"task": "nothing"})
        assert other[0] == 400
        with urllib.request.urlopen(f"{page.address}api/work/{begun['id']}/events", timeout=120) as events:
            for line in events:  # until some designs are kept
                event = json.loads(line[6:] or b"{}") if line.startswith(b"data: ") else {}
                if event.get("done", 0) > 0:
                    break
        assert page.ask("POST", f"api/work/{begun['id']}/stop", {})[0] == 200
        _, events, _ = page.ask("GET", f"api/work/{begun['id']}/events")
        assert '"end": "stopped"' in events
        assert "numbers" in page.answer()  # served on
        status, taken, _ = page.ask("POST", "api/take", {"place": "study", "number": 1})
        assert status == 200, taken
    design = project.design_of_text(taken["text"])
    assert 4 <= int(design.winding.turns) <= 12
    with pytest.raises(PcbstatorError):
        project.design_of_text(taken["text"] + "\nnonsense = 1")
