"""Materials against printed values (tests/published/materials.toml, with citations)."""

import tomllib
from math import hypot
from pathlib import Path

import pytest

from pcbstator import materials
from pcbstator.errors import LawRangeError

PRINTED = tomllib.loads((Path(__file__).parents[1] / "published" / "materials.toml").read_text(encoding="utf-8"))


def test_copper_strip_has_the_printed_resistance_cold_and_hot():
    strip, copper = PRINTED["copper_strip"], materials.copper()
    cold = copper.resistivity * strip["length_mm"] / strip["width_mm"] / strip["thickness_mm"] * 1e3
    hot = cold * (1 + copper.resistance_coefficient * 80)
    assert cold * 1e3 == pytest.approx(strip["resistance_20_c_mohm"], rel=2e-4)  # four printed digits
    assert hot * 1e3 == pytest.approx(strip["resistance_100_c_mohm"], rel=2e-4)


def test_copper_sheet_has_the_printed_resistance_per_square():
    sheet = PRINTED["sheet"]
    computed = [materials.copper().resistivity / (ounces * 35e-6) * 1e3 for ounces in sheet["ounces"]]
    assert computed == pytest.approx(sheet["mohm_per_square"], rel=5e-4)


@pytest.mark.parametrize("name", [name for name in PRINTED["remanence_t"] if name != "citation"])
def test_grade_is_the_middle_of_the_printed_range(name):
    least, most = PRINTED["remanence_t"][name]
    grade = materials.magnet_grade(name)
    assert (grade.remanence_least, grade.remanence_most) == (least, most)
    assert materials.remanence(name, 20.0) == pytest.approx((least + most) / 2, rel=1e-12)


@pytest.mark.parametrize("name", ["N35", "N42", "N52"])
def test_grade_gives_the_catalogue_field_of_a_disc(name):
    """Closed form on the face of a disc: B = Br/2 L / sqrt(R^2 + L^2) (handbook); 2.2 % is half a grade's range."""
    disc = PRINTED["disc_surface_field"]
    radius, length = disc["diameter_mm"] / 2, disc["thickness_mm"]
    field = materials.remanence(name, 20.0) / 2 * length / hypot(radius, length)
    assert field * 1e3 == pytest.approx(disc["field_mt"][name], rel=0.022)


def test_remanence_falls_within_the_printed_slopes():
    slopes = PRINTED["neodymium"]["remanence_per_cent_per_k"]
    slope = (materials.remanence("N42", 70.0) / materials.remanence("N42", 20.0) - 1) / 50 * 100
    assert slopes[0] < slope < slopes[1]
    assert slope == pytest.approx(sum(slopes) / 2, rel=1e-9)


@pytest.mark.parametrize(("letters", "key"), [("", "plain"), ("M", "M"), ("H", "H"), ("SH", "SH"), ("UH", "UH")])
def test_letters_of_a_grade_set_its_highest_temperature(letters, key):
    limit = PRINTED["neodymium"]["highest_temperature_c"][key]
    assert materials.magnet_grade("N42" + letters).highest_temperature_c == limit
    assert materials.remanence("N42" + letters, limit) < materials.remanence("N42", 20.0)
    with pytest.raises(LawRangeError, match=f"holds from -100 to {limit:g} C"):
        materials.remanence("N42" + letters, limit + 0.1)


def test_coercivity_of_plain_grades_is_the_printed_least():
    printed = PRINTED["neodymium"]
    assert materials.magnet_grade("N42").coercivity == printed["coercivity_ka_m"] * 1e3
    for name in ("N50", "N52"):
        assert materials.magnet_grade(name).coercivity == printed["coercivity_n50_n52_ka_m"] * 1e3
        assert 70 <= materials.magnet_grade(name).highest_temperature_c <= 80  # several makers' tables: 70 to 80 C


def test_shared_values_are_the_printed_ones():
    magnets, laminate = materials.neodymium(), materials.laminate()
    assert magnets.density == PRINTED["neodymium"]["density_kg_m3"]
    assert magnets.recoil_permeability == PRINTED["neodymium"]["recoil_permeability"]
    assert laminate.conductivity_through == PRINTED["laminate"]["through_w_m_k"]
    assert laminate.conductivity_in_plane == PRINTED["laminate"]["in_plane_w_m_k"]


@pytest.mark.parametrize("name", ["N99", "n42", "N42X", "N42 H", "42", "", "N42HSH", "Y30"])
def test_unknown_grade_lists_the_known_ones(name):
    with pytest.raises(LawRangeError, match=r"known are N35, N38, .* or with M, H, SH or UH"):
        materials.magnet_grade(name)


def test_every_value_of_the_material_file_names_its_source():
    tables = tomllib.loads(Path(materials.__file__).with_suffix(".toml").read_text(encoding="utf-8"))
    for material, entries in tables.items():
        for key, entry in entries.items():
            assert entry.get("source"), f"{material}.{key}"
