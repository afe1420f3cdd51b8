"""The whole job by the facade alone: from a file over a changed design to the folder to order."""

import pytest

import pcbstator
from pcbstator import project
from pcbstator.errors import FindingsError
from tests.command import DESIGNS


@pytest.fixture(scope="module")
def wheel():
    return project.load_design(next(path for path in DESIGNS if path.stem == "filter-wheel"))


def test_a_script_finishes_the_whole_job(wheel, tmp_path):
    """Changed, saved with its comments, loaded again, made."""
    changed = wheel.with_values({"winding.turns": 6, "title": "Changed"})
    project.save_design(changed, tmp_path / "changed.toml")
    text = (tmp_path / "changed.toml").read_text(encoding="utf-8")
    assert sum(line.startswith("#") for line in text.splitlines()) >= 3
    again = project.load_design(tmp_path / "changed.toml")
    assert again.document == changed.document
    files = project.make(again)
    project.write_files(tmp_path / "order", files)
    assert (tmp_path / "order" / "manifest.json").is_file()
    prediction = project.predict(again)
    assert project.report(again, prediction) == files["report.html"]
    assert project.check(again) == prediction.findings
    assert "<svg" in project.draw(again)


def test_a_design_from_tables_is_saved_as_well(wheel, tmp_path):
    from pcbstator.design import design_from_document

    design = design_from_document(wheel.document)
    project.save_design(design, tmp_path / "plain.toml")
    assert project.load_design(tmp_path / "plain.toml").document == wheel.document


def test_what_cannot_be_built_is_not_made(wheel):
    with pytest.raises(FindingsError, match=r"filter-wheel.toml: error: .*") as told:
        project.make(wheel.with_values({"board.rules": {"track_width_mm": 1.9}}))
    assert told.value.messages


def test_room_and_function_share_no_name():
    """Nothing that a script calls on the package is also a folder of it."""
    from types import ModuleType

    for name in pcbstator.__all__:
        assert not isinstance(getattr(pcbstator, name), ModuleType)
