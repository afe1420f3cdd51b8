"""What designs of one study have in common is not taken over where it differs."""

from pcbstator.analysis.shared import Shared
from pcbstator.copper import size_design
from pcbstator.design import design_from_document
from tests.check.test_findings import SOUND


def test_gap_and_load_of_the_bearing_are_of_the_design_itself():
    """Four designs with one rotor, which differ only in what carries it."""
    mass = {"shape": "disc", "mass_g": 500.0, "diameter_mm": 200.0}
    ways = [
        {"bearing": {}}, {"bearing": {"axial_play_mm": 0.2}}, {"bearing": {}, "load": {"bodies": [mass]}},
        {"bearing": {}, "load": {"bodies": [mass]}, "cooling": {"orientation": "upright"}},
    ]  # fmt: skip
    shared = Shared(None, None)
    found = []
    for way in ways:
        design = size_design(design_from_document(SOUND | {"cooling": {"orientation": "rotor-up"}} | way, "one.toml"))
        alone, beside = Shared(None, None).mechanics(design), shared.mechanics(design)
        assert (beside.gap_at_rest, beside.bearing_load) == (alone.gap_at_rest, alone.bearing_load)
        found.append((beside.gap_at_rest, beside.bearing_load))
    assert len(set(found)) == len(ways)


def test_boards_whose_nearest_layer_is_the_same_share_a_rotor():
    """Two and four layers in one board, and a wider gap: the field is each design's own, to the last digit."""
    found = []
    shared = Shared(None, None)
    for board, gap in ((2, 1.0), (4, 1.0), (4, 1.3)):
        document = {**SOUND, "board": {**SOUND["board"], "layers": board}}
        document["rotor"] = {**SOUND["rotor"], "air_gap_mm": gap, "back_iron_mm": 2.0}
        design = size_design(design_from_document(document, "one.toml"))
        alone = Shared(None, None)
        assert (shared.field(design, True).values == alone.field(design, True).values).all()
        assert shared.mechanics(design) == alone.mechanics(design)
        found.append(shared.rotor(design))
    assert found[0] is found[1] and found[1] is not found[2]
