"""Materials against fuels, held to what was published about them.

The Wisconsin list was read on its official page. The Department of Energy handbook's list is from
memory. Papers were read as abstracts; each test names its own.
"""

from __future__ import annotations

import pytest

from rules.reference import rate, rate_fuel, reference
from rules.reference.rows import FuelRow
from rules.vocabulary import Material

TABLES = reference()


def fuel(name: str) -> FuelRow:
    found = TABLES.fuel(name)
    assert found is not None
    return found


# Wisconsin Administrative Code ATCP 93.680(2): not allowed in contact with blends above 10 %.
NOT_ALLOWED: dict[str, list[Material]] = {
    "zinc": ["zinc-die-cast", "steel-zinc-plated"],
    "lead, and alloys such as terne": ["lead-tin-solder", "steel-terne-coated"],
    "aluminium": ["aluminium"],
    "brass": ["brass"],
    "cork": ["cork"],
    "natural rubber": ["natural-rubber"],
    "polyurethane": ["polyurethane"],
    "polyvinyl chloride": ["pvc"],
    "polyamides": ["pa11-pa12", "pa6-pa66", "polyamide"],
}
# The note of the same section: generally compatible with high-ethanol blends.
COMPATIBLE: dict[str, list[Material]] = {
    "unplated steel and black iron": ["carbon-steel"],
    "stainless steel": ["stainless-steel-300"],
    "bronze": ["bronze"],
    "neoprene": ["cr"],
    "Buna-N (nitrile)": ["nbr"],
    "fluorocarbon rubber (FKM)": ["fkm-a"],
    "PTFE": ["ptfe"],
}
# Equipment of that list stays wet for years; on vehicles these serve, so they carry a warning.
ACCEPTED_ON_VEHICLES = {"aluminium", "brass", "pa11-pa12", "pa6-pa66", "polyamide"}


@pytest.mark.parametrize(
    ("entry", "material"),
    [(entry, material) for entry, materials in NOT_ALLOWED.items() for material in materials],
)
def test_wisconsin_not_allowed(entry: str, material: Material) -> None:
    rating = rate_fuel(material, fuel("E85"))
    assert rating.listed is not None
    assert rating.listed.endswith(f"does not allow: {entry}.")
    if material in ACCEPTED_ON_VEHICLES:
        assert rating.rating in ("limited", "unknown")
        assert rating.conflict
    else:
        assert rating.rating == "unsuitable"


@pytest.mark.parametrize(
    ("entry", "material"),
    [(entry, material) for entry, materials in COMPATIBLE.items() for material in materials],
)
def test_wisconsin_compatible(entry: str, material: Material) -> None:
    rating = rate_fuel(material, fuel("E85"))
    assert rating.listed is not None
    assert rating.listed.endswith(f"calls generally compatible: {entry}.")
    assert rating.rating in ("suitable", "limited")


def test_wisconsin_list_says_nothing_of_ten_percent() -> None:
    assert rate("brass", 10, 10).listed is None
    assert rate("brass", 10.1, 10.1).listed is not None


def test_a_rating_against_the_list_gives_both_sides() -> None:
    """Neoprene: crumbled in E10 (Journal of Fuels 429608), listed as compatible in Wisconsin."""
    rating = rate_fuel("cr", fuel("flex"))
    assert rating.rating == "unsuitable"
    assert rating.conflict is not None
    assert "compatible: neoprene" in rating.conflict
    assert any("ATCP 93.680" in source for source in rating.sources)


# Department of Energy handbook on E85, list from memory.
@pytest.mark.parametrize("material", ["brass", "aluminium", "zinc-die-cast", "lead-tin-solder"])
def test_handbook_metals_to_avoid(material: Material) -> None:
    assert rate_fuel(material, fuel("E85")).rating in ("limited", "unsuitable")


@pytest.mark.parametrize("material", ["carbon-steel", "stainless-steel-300", "bronze"])
def test_handbook_metals_accepted(material: Material) -> None:
    assert rate_fuel(material, fuel("E85")).rating == "suitable"


@pytest.mark.parametrize("material", ["steel-terne-coated", "lead-tin-solder"])
def test_no_lead_in_contact_with_fuel_up_to_e85(material: Material) -> None:
    """UL 25A, meters for E0 to E85 (excerpt read)."""
    rating = rate_fuel(material, fuel("E85"))
    assert rating.rating == "unsuitable"
    assert any(source.startswith("UL 25A") for source in rating.sources)


def test_methanol_attacks_ordinary_fluorocarbon() -> None:
    """SAE 840411: fluorocarbon is drastically affected by methanol itself."""
    assert rate("fkm-a", 85, 85).rating == "suitable"
    assert rate_fuel("fkm-a", fuel("M100")).rating == "unsuitable"
    assert rate_fuel("fkm-a", fuel("M85")).rating == "unsuitable"


def test_mixtures_of_methanol_and_petrol_are_not_rated_as_methanol() -> None:
    """SAE 840411: mixtures are worst. EPDM stands neat methanol and fails at the first petrol."""
    assert rate_fuel("epdm", fuel("M100")).rating == "suitable"
    assert rate_fuel("epdm", fuel("M85")).rating == "unsuitable"


def test_methanol_above_three_percent_changes_the_rating() -> None:
    assert rate("fkm-a", 0, 0, methanol_percent=3).rating == "suitable"
    assert rate("fkm-a", 0, 0, methanol_percent=3.1).rating == "unsuitable"


def test_nitrile_is_worst_at_a_quarter_of_ethanol() -> None:
    """Swelling of vulcanized rubber, Nippon Gomu Kyokaishi 84(6): the peak is at E25."""
    rating = rate("nbr", 0, 85)
    assert rating.ethanol_percent == (25, 25)
    assert rating.blend == "25 % ethanol"
    assert rating.note is not None


def test_nitrile_without_the_peak_in_its_range() -> None:
    assert rate("nbr", 51, 85).note is None
    assert rate("nbr", 0, 0).rating == "suitable"


@pytest.mark.parametrize(
    ("material", "e10", "e85"),
    [
        ("fvmq", "suitable", "suitable"),
        ("vmq", "unsuitable", "limited"),
        ("hnbr", "limited", "limited"),
    ],
)
def test_seal_rubbers(material: Material, e10: str, e85: str) -> None:
    """NACE-2015-5535 and OSTI 1616838 (abstracts read)."""
    assert TABLES.resistance(material, "E10").rating == e10
    assert TABLES.resistance(material, "E85").rating == e85


def test_plain_ptfe_charges_in_petrol_and_not_in_e85() -> None:
    """Journal of Electrostatics 2009: petrol charges, E10 little, E85 not. SAE J1645: dissipate."""
    assert rate_fuel("ptfe", fuel("E0")).rating == "limited"
    assert rate_fuel("ptfe", fuel("E85")).rating == "suitable"
    assert rate_fuel("ptfe-conductive", fuel("flex")).rating == "suitable"


def test_titanium_cracks_in_dry_methanol() -> None:
    """Stress-corrosion cracking of Ti-6Al-4V in dry methanol, from memory."""
    assert rate_fuel("titanium", fuel("M100")).rating == "unsuitable"


def test_e85_as_sold_is_a_range() -> None:
    """ASTM D5798 as quoted by the Alternative Fuels Data Center: 51 to 83 % by season."""
    e85 = fuel("E85")
    assert e85.ethanol_low_percent == 51
    assert e85.ethanol_high_percent is not None
    assert e85.ethanol_high_percent >= 83


@pytest.mark.parametrize("name", ["AVGAS-100LL", "LPG", "diesel"])
def test_other_fuels_are_known_and_not_judged(name: str) -> None:
    with pytest.raises(ValueError, match="outside what is judged"):
        rate_fuel("fkm-a", fuel(name))


# SAE J30, June 1998, scope (read); pressures of R7 from trade pages.
@pytest.mark.parametrize(
    ("marking", "injection", "submersible"),
    [
        ("SAE J30 R6", "no", "no"),
        ("SAE J30 R7", "no", "no"),
        ("SAE J30 R8", "no", "no"),
        ("SAE J30 R9", "yes", "no"),
        ("SAE J30 R10", "declared", "yes"),
        ("SAE J30 R12", "yes", "no"),
    ],
)
def test_hose_classes(marking: str, injection: str, submersible: str) -> None:
    found = TABLES.marking(marking)  # type: ignore[arg-type]
    assert (found.injection, found.submersible) == (injection, submersible)


@pytest.mark.parametrize(("bore_mm", "limit_psi"), [(7.94, 50), (9.53, 50), (12.7, 35)])
def test_low_pressure_hose_by_bore(bore_mm: float, limit_psi: float) -> None:
    """Trade pages on 30R7: 50 psi up to 3/8 in, 35 psi above."""
    pressure = TABLES.marking("SAE J30 R7").working_pressure(bore_mm)
    assert pressure is not None
    assert pressure.max_working_kpa == pytest.approx(limit_psi * 6.894757, abs=0.5)


def test_pressure_that_sources_disagree_on_is_unknown() -> None:
    """30R14: 345 kPa by trade talk, 690 kPa from memory: the sheet of the part decides."""
    marking = TABLES.marking("SAE J30 R14")
    assert marking.working_pressure(7.94) is None
    assert marking.conflict is not None


def test_quick_connect_scope() -> None:
    """SAE J2044, scope (read in translation): 500 kPa, -40 to 115 degC."""
    limit = TABLES.quick_connect_limits["sae-j2044"]
    assert limit.max_working_kpa == 500
    assert limit.min_temperature_c == pytest.approx(-40)
    assert limit.max_temperature_c == pytest.approx(115)
