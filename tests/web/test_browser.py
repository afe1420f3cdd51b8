"""The page in a real browser. Slow but for the first: what is shown, turned, typed, undone, edited, made and stopped;
no error in the console and no request that leaves this machine.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pcbstator.output.quantities import shown
from pcbstator.web.serve import listening_socket
from tests.command import run
from tests.web.browser import View, browser
from tests.web.served import STAGE, Served, copied, served

AXE = "wcag2a", "wcag2aa", "wcag21a", "wcag21aa"


@pytest.fixture(scope="module")
def chrome() -> Iterator[Any]:
    with browser() as started:
        yield started


@pytest.fixture(scope="module")
def stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(copied(STAGE, tmp_path_factory.mktemp("stage"))) as page:
        yield page


@pytest.fixture
def view(chrome: Any, stage: Served) -> Iterator[View]:
    """The stage's page, at the size of a usual screen; nothing may have gone wrong in it."""
    context = chrome.new_context(viewport={"width": 1366, "height": 768}, reduced_motion="reduce")
    opened = View(context, stage)
    yield opened
    context.close()
    assert not opened.faults


def test_the_page_shows_the_numbers_of_predict(wheel: Served) -> None:
    with browser() as started:
        opened = View(started.new_context(viewport={"width": 1366, "height": 768}), wheel)
        told = opened.shown()
        assert opened.page.locator("#picture svg #layer-1 use").count() > 5
        assert opened.page.evaluate("document.documentElement.scrollHeight") <= 768
        assert not opened.faults
    plain = json.loads(run("predict", wheel.path, "--json").out)
    assert len(told) >= 6
    for key, words in told.items():
        group, _, name = key.partition(".")
        assert words == shown(key, plain[group][name])


@pytest.mark.slow
def test_every_knob_to_both_ends_and_back(view: View) -> None:
    """Each of those in view first: by the keyboard to the ends of its slider; undone, the text is as it was."""
    view.open_knobs()
    text, page = view.text(), view.page
    turned = "[...document.querySelectorAll('.knob:not([hidden]) input[type=range]')]"
    keys = page.evaluate(f"{turned}.map(one => one.parentElement.dataset.key)")
    assert len(keys) > 35
    for key in keys:
        slider = page.locator(f"[data-key='{key}'] input[type=range]")
        field = view.knob(key)
        before = field.input_value()
        slider.press("Home")  # and on to the other end at once, as a hand does
        low = field.input_value()
        view.after(lambda slider=slider: slider.press("End"))
        assert float(low or slider.get_attribute("min")) < float(field.input_value() or slider.get_attribute("max"))
        while page.locator("#undo").is_enabled():
            view.after(page.locator("#undo").click)
        assert field.input_value() == before
    view.settle()
    assert view.text() == text
    assert not view.page.locator("#complaints > *").count()


@pytest.mark.slow
def test_nonsense_is_told_beside_the_knob_with_a_way_out(view: View) -> None:
    view.type("board.track_width_mm", "wide")
    said = view.page.locator("[data-key='board.track_width_mm'] .said")
    assert 'got "wide"' in said.inner_text()
    assert view.knob("board.track_width_mm").get_attribute("aria-invalid") == "true"
    view.type("board.track_width_mm", "0.3")
    view.type("winding.turns", "40")
    way = view.page.locator("[data-key='winding.turns'] .way").first
    assert "winding.turns = " in way.inner_text()
    view.after(way.click)
    assert not view.page.locator(".complaint").count()
    assert view.knob("winding.turns").input_value() != "40"
    view.knob("winding.turns").press("ArrowDown")
    view.settle()
    assert f"turns = {view.knob('winding.turns').input_value()}" in view.text()


@pytest.mark.slow
def test_text_and_knobs_change_each_other_and_comments_stay(view: View) -> None:
    view.page.click("#tab-text")
    text = view.text()
    line = next(each for each in text.splitlines() if each.startswith("bore_diameter_mm"))
    view.type("envelope.bore_diameter_mm", "58")
    changed = next(each for each in view.text().splitlines() if each.startswith("bore_diameter_mm"))
    assert changed.partition("#")[2] == line.partition("#")[2] and "58.0" in changed
    view.after(lambda: view.page.fill("#text", view.text().replace("poles = 24", "poles = 20")))
    assert view.knob("rotor.poles").input_value() == "20"
    view.after(view.page.locator("#undo").click)
    view.after(view.page.locator("#undo").click)
    assert view.text() == text and view.page.locator("#undo").is_disabled()
    view.after(view.page.locator("#redo").click)
    assert view.knob("envelope.bore_diameter_mm").input_value() == "58"
    view.after(lambda: view.page.fill("#text", "nonsense ="))
    assert view.page.locator("#complaints .complaint").count() == 1


@pytest.mark.slow
def test_two_tabs_do_not_mix_and_only_save_writes(chrome: Any, view: View, stage: Served) -> None:
    content = stage.path.read_bytes()
    context = chrome.new_context()
    other = View(context, stage)
    view.type("rotor.magnet.thickness_mm", "4")
    other.type("rotor.magnet.thickness_mm", "2")
    view.settle()
    other.settle()
    assert view.shown() != other.shown() and "thickness_mm = 4.0" in view.text()
    assert "thickness_mm = 2.0" in other.text() and stage.path.read_bytes() == content
    view.page.click("#save")
    view.page.wait_for_selector("#save:disabled")
    assert stage.path.read_text() == view.text()
    stage.path.write_bytes(content)
    context.close()
    view.page.on("dialog", lambda dialog: dialog.accept())
    view.type("rotor.magnet.thickness_mm", "3")
    view.page.click("#save")  # over what another program has written meanwhile, once it is allowed
    view.page.wait_for_selector("#save:disabled")
    assert stage.path.read_text() == view.text() and not other.faults
    stage.path.write_bytes(content)


@pytest.mark.slow
def test_a_search_is_stopped_and_a_folder_made(view: View, stage: Served) -> None:
    view.page.click("#tab-work")
    view.page.click("#panel-work button:text-is('Suggest designs')")
    view.page.wait_for_selector(".work progress[max]")
    view.page.click(".work button:text-is('Stop')")
    view.page.wait_for_selector(".work.stopped")
    view.page.click(".work button:text-is('Dismiss')")
    view.page.fill("#folder", "order")
    view.page.click("#panel-work button:text-is('Make')")
    view.page.wait_for_selector(".work.done")
    assert (stage.path.parent / "order" / "manifest.json").is_file()
    frame = view.page.frame_locator("#made")
    assert "Photogrammetry stage" in frame.locator("h1").inner_text()


@pytest.mark.slow
def test_a_server_that_goes_and_comes_back(chrome: Any, tmp_path: Path) -> None:
    """Requests fail for a while: the page says so, keeps what was turned, and asks again."""
    with served(copied(STAGE, tmp_path)) as page:
        context = chrome.new_context()
        opened = View(context, page)
        context.set_offline(True)
        opened.open_knobs()
        opened.knob("winding.turns").fill("9")
        opened.knob("winding.turns").press("Enter")
        opened.page.wait_for_selector("#lost:not([hidden])")
        context.set_offline(False)
        opened.page.wait_for_selector("#lost", state="hidden")
        opened.settle()
        assert "turns = 9" in opened.text()
        context.close()


@pytest.mark.slow
def test_a_server_that_is_killed_and_started_anew(chrome: Any, tmp_path: Path) -> None:
    """On the same port, with another token: the page tells to open the new address, and keeps the text."""
    path = copied(STAGE, tmp_path)
    with listening_socket(0) as free:
        port = free.getsockname()[1]
    words = [sys.executable, "-m", "pcbstator", "page", str(path), "--no-open", "--port", str(port)]
    context = chrome.new_context()
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        opened = View(context, Served(server.stdout.readline().strip(), path))
        server.kill()
    opened.open_knobs()
    opened.knob("winding.turns").fill("9")
    opened.knob("winding.turns").press("Enter")
    opened.page.wait_for_selector("#lost:not([hidden])")
    assert "does not answer" in opened.page.inner_text("#lost")
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
        opened.page.wait_for_selector("#lost:has-text('started anew')")
        assert "poles = 24" in opened.text() and opened.knob("winding.turns").input_value() == "9"
        server.terminate()
    context.close()


@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_serious_fault_of_access(chrome: Any, stage: Served, scheme: str) -> None:
    """By axe-core, whose rules are those of WCAG 2.1, levels A and AA."""
    from axe_playwright_python.sync_playwright import Axe

    context = chrome.new_context(viewport={"width": 1366, "height": 768}, color_scheme=scheme)
    opened = View(context, stage)
    opened.type("winding.turns", "40")
    for tab in ("picture", "text", "results", "work"):
        opened.page.click(f"#tab-{tab}")
        opened.open_knobs()
        found = Axe().run(opened.page, options={"runOnly": {"type": "tag", "values": list(AXE)}}).response["violations"]
        faults = [
            (one["id"], one["nodes"][0]["html"][:120]) for one in found if one["impact"] in ("serious", "critical")
        ]
        assert not faults, tab
    context.close()


@pytest.mark.slow
@pytest.mark.parametrize("width", [1366, 768, 400])
def test_nothing_is_cut_off_at_any_width(chrome: Any, stage: Served, width: int) -> None:
    context = chrome.new_context(viewport={"width": width, "height": 768})
    opened = View(context, stage)
    for tab in ("picture", "text", "results", "work"):
        opened.page.click(f"#tab-{tab}")
        opened.open_knobs()
        assert opened.page.evaluate("document.documentElement.scrollWidth") <= width
        wide = "[...document.querySelectorAll('button, input, select')].filter(one => one.offsetParent && " + (
            "one.getBoundingClientRect().right > innerWidth + 1).map(one => one.outerHTML)"
        )
        assert opened.page.evaluate(wide) == []
    context.close()
