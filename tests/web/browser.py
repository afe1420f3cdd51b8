"""A real browser, Debian's chromium without a window: what it shows of a page, and whatever goes wrong in it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from tests.web.served import Served

WAIT = 60_000  # ms; a busy machine is no defect


def chromium() -> str:
    """Where the browser is; the test is skipped where it is missing, and fails on a machine that checks submissions."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        words = "chromium is missing: apt-get install chromium"
        if os.environ.get("CI"):
            pytest.fail(words)
        pytest.skip(words)
    return found


@contextmanager
def browser() -> Iterator[Any]:
    """The browser while it is used."""
    from playwright.sync_api import sync_playwright

    place = chromium()
    with sync_playwright() as tool:
        started = tool.chromium.launch(executable_path=place, args=["--no-sandbox"])
        try:
            yield started
        finally:
            started.close()


class View:
    """A page that is open, with all that went wrong: errors in the console, requests to anywhere else."""

    def __init__(self, context: Any, served: Served) -> None:
        self.page, self.faults, self.host = context.new_page(), [], urlsplit(served.address).netloc
        self.page.set_default_timeout(WAIT)
        self.page.on("console", lambda told: told.type in ("error", "warning") and self.faults.append(told.text))
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("request", lambda asked: self.heed(asked.url))
        self.page.goto(served.address)
        self.settle()

    def heed(self, url: str) -> None:
        """Keeps a request that leaves this machine."""
        if urlsplit(url).scheme not in ("data", "blob") and urlsplit(url).netloc != self.host:
            self.faults.append(url)

    def settle(self) -> None:
        """Waits until the newest answer in full is shown, or what does not fit."""
        self.page.wait_for_selector("body[data-whole='true']:not(.asking):not(.refining), body.stale:not(.asking)")

    def after(self, act: Any) -> None:
        """Does something, and waits until an answer to it is shown."""
        act()
        self.page.wait_for_selector("body:not(.asking)")

    def knob(self, key: str) -> Any:
        """The field of a knob."""
        return self.page.locator(f"[id='knob-{key}']")

    def type(self, key: str, words: str) -> None:
        """Types into a knob and waits for the answer."""
        self.open_knobs()
        self.knob(key).fill(words)
        self.after(lambda: self.knob(key).press("Enter"))

    def open_knobs(self) -> None:
        """All groups of knobs in view, what matters first."""
        self.page.evaluate("for (const one of document.querySelectorAll('#knobs > details')) one.open = true")

    def shown(self) -> dict[str, str]:
        """Values of the eight numbers, by their keys."""
        found = self.page.locator("#eight [data-key]").all()
        return {one.get_attribute("data-key"): one.inner_text() for one in found}

    def text(self) -> str:
        """The design file as it stands on the page."""
        return str(self.page.evaluate("document.getElementById('text').value"))


def picture(view: View, folder: Path, name: str) -> Path:
    """A picture of the page, for people to look at."""
    place = folder / f"{name}.png"
    view.page.screenshot(path=str(place))
    return place
