"""Starts the page's command on a design, asks for the page and one answer, and ends it: for any installation."""

from __future__ import annotations

import json
import subprocess
import sys
import urllib.request
from pathlib import Path


def main() -> None:
    """Leaves with 1 where the page does not answer."""
    words = [sys.executable, "-m", "pcbstator", "page", sys.argv[1], "--no-open"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            address = server.stdout.readline().strip()
            with urllib.request.urlopen(address, timeout=60) as page:
                assert page.read().startswith(b"<!doctype html>")
            body = {"text": Path(sys.argv[1]).read_text(encoding="utf-8"), "page": "a", "number": 1, "whole": True}
            asked = urllib.request.Request(
                address + "api/answer", json.dumps(body).encode(), {"Content-Type": "application/json"}
            )
            with urllib.request.urlopen(asked, timeout=120) as answer:
                assert len(json.load(answer)["numbers"]) == 8
        finally:
            server.terminate()
    print("the page answers")


if __name__ == "__main__":
    main()
