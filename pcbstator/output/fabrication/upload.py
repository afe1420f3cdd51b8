"""The files of one board in a zip file, to upload to a board manufacturer as they are."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping

EARLIEST = (1980, 1, 1, 0, 0, 0)  # a zip file knows no earlier time; no clock is asked, so that bytes stay the same
MODE, UNIX = 0o100644, 3  # a plain file that all may read, on whatever system it is written


def zip_bytes(files: Mapping[str, str | bytes]) -> bytes:
    """The files in their order; the same files give the same bytes.

    >>> zip_bytes({"a.gbr": "M02*"}) == zip_bytes({"a.gbr": b"M02*"})
    True
    """
    found = io.BytesIO()
    with zipfile.ZipFile(found, "w") as book:
        for name, content in files.items():
            entry = zipfile.ZipInfo(name, EARLIEST)
            entry.compress_type, entry.create_system, entry.external_attr = zipfile.ZIP_DEFLATED, UNIX, MODE << 16
            book.writestr(entry, content)
    return found.getvalue()
