"""The page: from a knob's move to numbers and picture, the first page, and memory over many changes.

python -m pytest tests/benchmarks/test_page.py --benchmark-only -o addopts=
"""

import itertools
import resource
import time

import pytest

from pcbstator.web.answers import Answers
from tests.web.browser import View, browser
from tests.web.served import STAGE, copied, served

CHANGES = {
    "rotor.magnet.thickness_mm": (2.5, 2.6, 2.7, 2.8, 2.9, 3.0),
    "board.track_width_mm": (0.25, 0.26, 0.27, 0.28, 0.29, 0.3),
    "winding.turns": (7, 8, 9, 10, 11, 12),
    "drive.supply_v": (12.0, 15.0, 18.0, 20.0, 22.0, 24.0),
}


@pytest.mark.parametrize("key", CHANGES)
def test_answer_of_the_server(benchmark, key):
    """Numbers and drawings, without the way to the browser."""
    answers, values = Answers(STAGE, whole=False), itertools.cycle(CHANGES[key])
    answers.look(answers.content)
    found = benchmark(lambda: answers.answer(answers.text, {key: next(values)}, ""))
    assert found["numbers"] and found["pictures"]


def test_knob_to_picture_in_the_browser(benchmark, tmp_path):
    """The median is that from the key press to the new picture and numbers; the page's own clock tells it."""
    with served(copied(STAGE, tmp_path)) as page, browser() as started:
        begun = time.perf_counter()
        view = View(started.new_context(viewport={"width": 1366, "height": 768}, reduced_motion="reduce"), page)
        benchmark.extra_info["first_page_in_full_s"] = time.perf_counter() - begun
        view.open_knobs()
        field = view.knob("rotor.magnet.thickness_mm")
        keys = itertools.cycle(["ArrowDown"] * 5 + ["ArrowUp"] * 5)
        benchmark.pedantic(lambda: view.after(lambda: field.press(next(keys))), setup=view.settle, rounds=30)


def test_memory_over_2000_changes(benchmark):
    answers = Answers(STAGE, whole=False)

    def changed(count):
        for number in range(count):
            values = {key: listed[number // 6**place % 6] for place, (key, listed) in enumerate(CHANGES.items())}
            answers.answer(answers.text, values, "")

    changed(200)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    benchmark.pedantic(changed, args=(2000,), rounds=1)
    benchmark.extra_info["growth_mb"] = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
