"""A winding too large to be drawn is refused with its own count, one just within the bound is not."""

import pytest

from pcbstator.copper import lay_copper
from pcbstator.copper.plan import MOST_CONDUCTORS
from pcbstator.errors import DesignError
from tests.copper.stators import design_of

WAVE = {"winding__kind": "wave", "board__track_width_mm": 0.2, "board__layers": 4}


def test_a_wave_of_too_many_conductors_is_refused() -> None:
    """Three phases: layers x poles x phases x turns conductors, one more turn than the bound has room for."""
    poles, layers, phases = 40, 4, 3
    turns = MOST_CONDUCTORS // (poles * layers * phases) + 1
    values = WAVE | {"rotor__poles": poles, "winding__turns": turns}
    with pytest.raises(
        DesignError, match=rf"at most {MOST_CONDUCTORS} .*{poles} poles x {phases} phases x {turns} turns"
    ):
        lay_copper(design_of(**values))
    with pytest.raises(DesignError) as refusal:  # it has no room either, but is not too large to be drawn
        lay_copper(design_of(**values | {"winding__turns": turns - 1}))
    assert f"at most {MOST_CONDUCTORS}" not in str(refusal.value)
