"""The folder of solids: one file for mechanical design, one for a page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.analysis.mechanical.bodies import Group
from pcbstator.output.files import MANIFEST, json_text
from pcbstator.output.solids.glb import assembly_glb
from pcbstator.output.solids.step import FILE, assembly_step

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign


def solids_files(design: SizedDesign, whole: Group, version: str, step: bool = True) -> dict[str, str | bytes]:
    """Name and content of every file, manifest included; step: also the one that needs the solid modeller.

    Raises MissingLibraryError where that is asked for and not there.
    """
    files: dict[str, str | bytes] = {FILE: assembly_step(whole, version)} if step else {}
    files["motor.glb"] = assembly_glb(whole, version)
    manifest = {
        "title": design.title,
        "version": version,
        "design_sha256": design.digest,
        "files": [{"name": name, "role": "solid"} for name in files],
    }
    return files | {MANIFEST: json_text(manifest)}
