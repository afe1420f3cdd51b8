"""Before anything imports numpy: the matrices here are small, threads inside the linear algebra only cost.

Workers of pytest state a width of the terminal, to which the commands would wrap their lines. What is compiled is kept,
whatever the environment says of it: each process that a test starts would else compile the package again.
"""

import os
import sys
from collections.abc import Iterator
from typing import Any
from unittest.mock import patch

import pytest
from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.pop("COLUMNS", None)
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
settings.register_profile("untimed", deadline=None)  # a busy machine is no defect
settings.load_profile("untimed")


@pytest.fixture
def unrendered() -> Iterator[None]:
    """Figures are set up by the program and not rendered by matplotlib, which takes half the time of a page: for what
    is said of files, commands and words. All figures are rendered in tests/output and tests/test_first_motor.py.
    """
    from matplotlib.figure import Figure

    rendered = Figure.savefig

    def empty(figure: Figure, file: Any, **more: Any) -> None:
        rendered(Figure(figsize=figure.get_size_inches()), file, **more)

    with patch.object(Figure, "savefig", empty):
        yield


@pytest.fixture
def predicted_once() -> Iterator[None]:
    """Commands that are given one design, one after the other, take one prediction of it: for what they do with it."""
    import pcbstator

    predict, known = pcbstator.predict, []

    def remembered(design: Any) -> Any:
        if not any(design == each for each, _ in known):
            known.append((design, predict(design)))
        return next(found for each, found in known if design == each)

    with patch("pcbstator.predict", remembered), patch("pcbstator.project.predict", remembered):
        yield
