"""What takes a part's place and what joins its ports: never worse, never wrong, quick to find."""

import pytest

from rules.catalogue import catalogue
from rules.facts.joint import part_end
from rules.interchange import mates, replacements
from rules.parts import Component, Port
from rules.reference.mating import mate
from seed_data import demo_components

SHOP = catalogue(1, demo_components())
TIGHT = ("seals", "seals-with", "conditional")
PORTS = [(part, port) for part in SHOP for port in part.ports]


def skus(sku: str, *fuels: str) -> list[str]:
    return [each.sku for each in replacements(SHOP, SHOP.parts[sku], fuels)]


def test_the_better_adapter_takes_the_place_of_the_worse_and_not_the_reverse() -> None:
    assert "HF-ADP-ORB6-JIC6M" in skus("HF-ADP-ORB6-JIC6M-N", "E10")
    assert "HF-ADP-ORB6-JIC6M-N" not in skus("HF-ADP-ORB6-JIC6M", "E10")


def test_a_difference_says_what_both_have() -> None:
    (found,) = replacements(SHOP, SHOP.parts["HF-ADP-QC38-JIC6M"])
    hold = next(each for each in found.differences if each.what == "hold of port a")
    assert (hold.how, hold.own, hold.other) == ("better", "latch-steel", "threaded-collar")


def test_a_plain_liner_does_not_replace_one_that_leads_off_static() -> None:
    assert "HF-HSE-6-PLAIN" not in skus("HF-HSE-6-FF")


def test_only_a_named_successor_may_be_worse_and_says_in_what() -> None:
    part = SHOP.parts["HF-PMP-265"]
    found, *others = replacements(SHOP, part, ("E10",))
    assert not any(each.successor or each.certain for each in others)
    assert (found.sku, found.successor) == (part.superseded_by, True)
    assert "worse" in {each.how for each in found.differences}
    for other in SHOP:
        for each in replacements(SHOP, other):
            assert each.successor or "worse" not in {d.how for d in each.differences}


@pytest.mark.parametrize("sku", sorted(SHOP.parts))
def test_a_replacement_is_another_sold_part_with_the_same_ends(sku: str) -> None:
    part = SHOP.parts[sku]
    for found in replacements(SHOP, part):
        other = SHOP.parts[found.sku]
        assert other.sku != part.sku
        assert (other.kind, other.lifecycle) == (part.kind, "sold")
        ends = [
            sorted(str((port.role, port.connection)) for port in each.ports)
            for each in (part, other)
        ]
        assert ends[0] == ends[1]


def test_a_fuel_that_is_not_judged_is_refused_with_near_ones() -> None:
    with pytest.raises(ValueError, match="E85"):
        replacements(SHOP, SHOP.parts["HF-HSE-6-FF"], ("E86",))


@pytest.mark.parametrize("sku", sorted(SHOP.parts))
def test_mates_are_those_that_trying_every_port_finds(sku: str) -> None:
    for port in SHOP.parts[sku].ports:
        check_mates(SHOP.parts[sku], port)


def check_mates(part: Component, port: Port) -> None:
    found = mates(SHOP, part, port.id, limit=500)
    own = part_end(part, port)
    tried = {
        other.sku
        for other, theirs in PORTS
        if other.lifecycle == "sold" and mate(own, part_end(other, theirs)).verdict in TIGHT
    }
    assert {each.sku for each in found.mates} == tried
    assert found.count >= len(tried)
    assert [each.seals for each in found.mates] == sorted(
        (each.seals for each in found.mates), reverse=True
    )


def test_the_limit_keeps_the_first_and_the_count_says_how_many_there_are() -> None:
    part = SHOP.parts["HF-RAIL-I6"]
    whole, first = mates(SHOP, part, "inlet", 500), mates(SHOP, part, "inlet", 3)
    assert first.mates == whole.mates[:3]
    assert first.count == whole.count == len(whole.mates)


def test_a_port_that_is_not_there_is_named_with_those_that_are() -> None:
    with pytest.raises(ValueError, match="it has inlet, outlet, injectors"):
        mates(SHOP, SHOP.parts["HF-RAIL-I6"], "side")


def test_what_a_part_brings_itself_is_not_needed_beside_it() -> None:
    """The same stud with its O-ring and without."""
    rail = SHOP.parts["HF-RAIL-I6"]
    needs = {each.sku: each.needs for each in mates(SHOP, rail, "inlet", 500).mates}
    assert needs["HF-ADP-ORB6-JIC6M"] == ()
    assert needs["HF-ADP-ORB6-JIC6M-DRY"] == ("O-ring",)


def test_mates_of_one_kind_are_those_of_all_kinds_that_are_of_it() -> None:
    rail = SHOP.parts["HF-RAIL-I6"]
    all_kinds = mates(SHOP, rail, "inlet", 500)
    adapters = mates(SHOP, rail, "inlet", 500, "adapter")
    assert adapters.mates == tuple(each for each in all_kinds.mates if each.kind == "adapter")
    assert 0 < adapters.count == len(adapters.mates) < all_kinds.count


def test_what_nobody_recorded_makes_a_replacement_uncertain() -> None:
    pump = SHOP.parts["HF-PMP-255"]
    assert {each.sku: each.certain for each in replacements(SHOP, pump)} == {"HF-PMP-280U": False}
    rail = SHOP.parts["HF-RAIL-V8-L"]
    (other,) = replacements(SHOP, rail)
    assert other.certain
    assert other.not_compared == "where it is bolted on, and the room around it"
