"""One server for all tests that only ask."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.web.served import WHEEL, Served, copied, served


@pytest.fixture(scope="session")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The page of a copy of the filter wheel."""
    path: Path = copied(WHEEL, tmp_path_factory.mktemp("page"))
    with served(path) as page:
        yield page
