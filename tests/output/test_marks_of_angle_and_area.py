"""Rotor angle 0 is marked where it is, and tracks of varying width are drawn as areas, even ones as lines."""

from xml.etree import ElementTree

import pytest

from pcbstator.copper import lay_copper
from pcbstator.output.drawing.stator import stator_svg
from tests.copper.stators import design_of
from tests.output.svgread import HREF, SVG
from tests.output.test_assembly import sheet


@pytest.mark.parametrize("name", ["filter-wheel", "photogrammetry-stage"])
def test_the_mark_of_angle_0_lies_on_the_axis_of_x(name: str) -> None:
    _, _, _, items, centre = sheet(name)
    (mark,) = [item for item in items if item.tag == "text" and item.text == "0°"]
    assert abs(mark.corners.mean(axis=0)[1] - centre[1]) < 1.0


@pytest.mark.parametrize(("profile", "filled"), [("tapered", True), ("even", False)])
def test_tapered_tracks_are_filled(profile: str, filled: bool) -> None:
    values = {"board__track_profile": profile} if filled else {}
    design = design_of(winding__turns=3, **values)
    root = ElementTree.fromstring(stator_svg(design, lay_copper(design)))
    named = {element.get("id"): element for element in root.iter() if element.get("id")}
    uses = [use for use in root.iter(f"{SVG}use") if use.get(HREF).startswith("#coil")]
    coils = [use for use in uses if named[use.get(HREF)[1:]].tag == f"{SVG}path"]
    assert len(coils) >= 6
    assert all((use.get("fill", "none") != "none") == filled for use in coils)
