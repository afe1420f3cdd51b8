"""Every aperture number is defined once in a file, and none is used before: RS-274X, as any reader of it assumes."""

import re
from collections import Counter

import pytest

from pcbstator.copper import lay_copper
from pcbstator.output.fabrication.gerber import copper_gerber, mask_gerber
from tests.copper.stators import design_of

WIDE = {"board__copper_outer_diameter_mm": 66.0, "board__outer_diameter_mm": 84.0}


@pytest.mark.parametrize("wires", ["pads", "holes"])
def test_apertures_are_defined_once_and_before_their_use(wires: str) -> None:
    chip = {"size": "0603", "circle_diameter_mm": 74.0, "angle_deg": 33.0, "wires": wires}
    copper = lay_copper(design_of(board__thermistor=chip, **WIDE))
    files = [copper_gerber(copper, layer.number, "t") for layer in copper.layers]
    files += [mask_gerber(copper, side, "t") for side in ("top", "bottom")]
    for text in files:
        defined = Counter(re.findall(r"%ADD(\d+)", text))
        assert set(defined.values()) <= {1}
        for number in re.findall(r"^D(\d{2,})\*", text, re.MULTILINE):
            assert number in defined
            assert text.index(f"%ADD{number}") < re.search(rf"^D{number}\*", text, re.MULTILINE).start()
