"""The pressure line as a drawing: what it must show of any system, and the same bytes each time."""

from xml.etree import ElementTree

import pytest

from rules.assembly import Request
from rules.picture import NothingToDraw, pressure_line_svg
from tests.rules.flow_systems import (
    EMPTY_SHOP,
    figures_of,
    fuel_filter,
    hose,
    return_system,
    returnless_system,
)
from tests.rules.test_flow import surge_system, two_rails

SVG = "{http://www.w3.org/2000/svg}"
SYSTEMS = {
    "return": return_system(),
    "returnless": returnless_system(),
    "parallel rails": two_rails(in_a_row=False),
    "surge tank": surge_system(),
}


def drawn(body: dict[str, object]) -> ElementTree.Element:
    return ElementTree.fromstring(pressure_line_svg(Request.model_validate(body), EMPTY_SHOP))


def words(picture: ElementTree.Element) -> list[str]:
    return ["".join(text.itertext()) for text in picture.iter(f"{SVG}text")]


@pytest.mark.parametrize("body", SYSTEMS.values(), ids=SYSTEMS)
def test_every_part_in_the_flow_is_named(body: dict[str, object]) -> None:
    said = words(drawn(body))
    for ref in {passage.ref for passage in figures_of(body).passages}:
        assert any(word.split()[0] == ref for word in said), ref


@pytest.mark.parametrize("body", SYSTEMS.values(), ids=SYSTEMS)
def test_the_axes_have_their_units(body: dict[str, object]) -> None:
    said = words(drawn(body))
    assert "gauge pressure, bar" in said
    assert "m" in said
    assert any("drop at full load in bar" in word for word in said)


def test_the_same_request_gives_the_same_bytes() -> None:
    one, other = (
        pressure_line_svg(Request.model_validate(return_system()), EMPTY_SHOP) for _ in range(2)
    )
    assert one.encode() == other.encode()


@pytest.mark.parametrize("body", SYSTEMS.values(), ids=SYSTEMS)
def test_nothing_comes_from_outside(body: dict[str, object]) -> None:
    picture = drawn(body)
    names = {element.tag.removeprefix(SVG) for element in picture.iter()}
    assert names <= {"svg", "title", "desc", "rect", "line", "text"}
    fonts = {e.get("font-family") for e in picture.iter()} - {None}
    assert fonts <= {"sans-serif", "monospace"}
    assert not any("href" in name for e in picture.iter() for name in e.attrib)


def test_the_line_ends_where_the_solution_does() -> None:
    body = return_system()
    figures = figures_of(body)
    rail = figures.rail_kpa(figures.end.full_load)
    assert rail is not None
    assert any(f"rail {rail / 100:.2f} bar" in word for word in words(drawn(body)))


@pytest.mark.parametrize(
    ("body", "why"),
    [
        (return_system(power=None), "names no power"),
        (return_system({"filter": fuel_filter([])}), "pressure drop of filter"),
        (return_system({"feed-1": hose(bore=None)}), "bore of feed-1"),
        (return_system(supply_voltage="15 V"), "15 V"),
    ],
)
def test_where_nothing_is_told_nothing_is_drawn(body: dict[str, object], why: str) -> None:
    with pytest.raises(NothingToDraw, match=why):
        drawn(body)
