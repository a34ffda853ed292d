"""In what parts differ: everything a catalogue records is compared, and worse is worse.

The parts are twins of the demo shop's with one thing changed. Which way is worse is common
practice, no source, where no comment says more.
"""

from __future__ import annotations

from typing import Any, get_args

import pytest

from rules import likeness, parts
from rules.likeness import differences
from rules.parts import Component, read_component
from rules.reference import reference
from seed_data import demo_components

PARTS = {str(part.sku): part for part in demo_components()}
E85 = reference().fuels["E85"]
KINDS = get_args(get_args(Component)[0])


def twin(of: str, **changes: Any) -> Component:
    """A part like another, but for what is changed; `spec` is merged."""
    given = PARTS[of].model_dump(mode="json")
    spec = {**given["spec"], **changes.pop("spec", {})}
    return read_component({**given, "sku": "TWIN", "spec": spec, **changes})


def found(own: Component, other: Component, *fuels: Any) -> dict[str, str]:
    return {each.what: each.how for each in differences(own, other, fuels)}


class Recorder:
    """Stands for a specification and notes what is asked of it."""

    def __init__(self) -> None:
        self.asked: set[str] = set()

    def __getattr__(self, name: str) -> None:
        self.asked.add(name)


COMPARED_AS_A_WHOLE = {
    # A flow means something only with its pressure: both make the flow at 3 bar.
    (parts.InjectorSpec, "flow_cc_min"),
    (parts.InjectorSpec, "flow_pressure_kpa"),
    # Curves are compared point by point.
    (parts.PumpSpec, "curves"),
    (parts.FilterSpec, "drop"),
    (parts.CheckValveSpec, "drop"),
}


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_every_figure_of_a_specification_is_compared(kind: type[parts.PartBase]) -> None:
    spec = kind.model_fields["spec"].annotation
    assert isinstance(spec, type)
    assert issubclass(spec, parts.Model)
    compared = set()
    for trait in likeness._BY_SPEC.get(spec, ()):
        if trait.what != "flow at 3 bar across":
            recorder = Recorder()
            trait.of(type("Part", (), {"spec": recorder, "wetted": None})())
            compared |= recorder.asked
    whole = {name for owner, name in COMPARED_AS_A_WHOLE if owner is spec}
    assert compared | whole == set(spec.model_fields)


@pytest.mark.parametrize("sku", sorted(PARTS))
def test_a_part_is_like_itself(sku: str) -> None:
    assert found(PARTS[sku], PARTS[sku]) == {}


def test_what_no_fuel_touches_has_no_material_to_bear_it() -> None:
    assert found(PARTS["HF-RLY-40"], PARTS["HF-RLY-40"], E85) == {}


@pytest.mark.parametrize(
    ("own_um", "other_um", "how"),
    [
        (10, 6, "better"),
        (6, 10, "worse"),
        (40, 32, "better"),
        (40, 10, "worse"),
        (100, 40, "worse"),
    ],
)
def test_a_finer_element_is_better_only_where_it_may_stand_in_the_same_places(
    own_um: float, other_um: float, how: str
) -> None:
    own, other = (twin("HF-FLT-10G", spec={"fineness": f"{um} um"}) for um in (own_um, other_um))
    assert found(own, other) == {"fineness": how}


def test_a_filter_that_drops_more_pressure_is_worse() -> None:
    def dropping(kpa: float) -> Component:
        points = [{"flow": "100 L/h", "drop": "2 kPa"}, {"flow": "300 L/h", "drop": f"{kpa} kPa"}]
        return twin("HF-FLT-10G", spec={"drop": points})

    assert found(dropping(10), dropping(14)) == {"pressure drop at 300 L/h": "worse"}
    assert found(dropping(14), dropping(10)) == {}
    short = twin("HF-FLT-10G", spec={"drop": [{"flow": "100 L/h", "drop": "2 kPa"}]})
    assert found(dropping(10), short) == {
        "pressure drop at all points of its curve": "not-recorded"
    }
    none = twin("HF-FLT-10G", spec={"drop": None})
    assert found(dropping(10), none) == {"pressure drop": "not-recorded"}


def test_an_injector_is_compared_at_one_pressure() -> None:
    """By the orifice equation flow goes with the root: 600 at 3 bar is 692.8 at 4 bar."""
    sku = next(sku for sku, part in PARTS.items() if part.kind == "injector")
    at_3 = twin(sku, spec={"flow": "600 cc/min", "flow_pressure": "300 kPa"})
    same = twin(sku, spec={"flow": "692.8 cc/min", "flow_pressure": "400 kPa"})
    less = twin(sku, spec={"flow": "600 cc/min", "flow_pressure": "400 kPa"})
    assert found(at_3, same) == {}
    assert found(at_3, less) == {"flow at 3 bar across": "worse"}


def test_a_regulator_of_another_setting_is_worse() -> None:
    sku = next(sku for sku, part in PARTS.items() if part.kind == "regulator")
    own, other = (twin(sku, spec={"set_pressure": f"{kpa} kPa"}) for kpa in (300, 400))
    assert found(own, other)["setting"] == "worse"


def test_a_material_that_nobody_recorded_is_not_just_another_one() -> None:
    other = twin("HF-FLT-10G", wetted=None)
    assert found(PARTS["HF-FLT-10G"], other)["materials"] == "not-recorded"
    assert found(PARTS["HF-FLT-10G"], other, E85)["materials in E85"] == "not-recorded"


def test_what_its_maker_says_of_the_asked_fuel_counts() -> None:
    own = twin("HF-FLT-10G", approved_fuels=["E85"])
    assert (
        found(own, twin("HF-FLT-10G", approved_fuels=["E10"]), E85)["approved for E85"] == "worse"
    )
    assert found(own, twin("HF-FLT-10G", approved_fuels=None), E85)["approved for E85"] == (
        "not-recorded"
    )
    ruled_out = twin("HF-FLT-10G", approved_fuels=None, excluded_fuels=["E85"])
    assert found(ruled_out, ruled_out) == {}
    assert found(ruled_out, ruled_out, E85) == {"fuels ruled out": "worse"}
