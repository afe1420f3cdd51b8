"""Before anything imports numpy: the matrices here are small, threads inside the linear algebra only cost.

Workers of pytest state a width of the terminal, to which the commands would wrap their lines. What is compiled is kept,
whatever the environment says of it: each process that a test starts would else compile the package again.
"""

import os
import sys
from collections import deque
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


KNOWN: deque[tuple[Any, Any]] = deque(maxlen=20)  # the last designs of such tests with their predictions


@pytest.fixture
def unrendered() -> Iterator[None]:
    """Figures of this test are set up and not rendered."""
    from tests.command import no_rendering

    with no_rendering():
        yield


@pytest.fixture
def predicted_once() -> Iterator[None]:
    """Commands that are given one design, one after the other, take one prediction of it: for what they do with it."""
    import pcbstator

    predict = pcbstator.predict

    def remembered(design: Any) -> Any:
        found = next((found for each, found in KNOWN if design == each), None)
        if found is None:
            found = predict(design)
            KNOWN.append((design, found))
        return found

    with patch("pcbstator.predict", remembered), patch("pcbstator.project.predict", remembered):
        yield
