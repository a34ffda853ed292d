"""Every rule between the members of a model blames a member, and every pattern has words."""

from __future__ import annotations

import copy
import inspect
from collections.abc import Iterator, Mapping
from typing import Any, Final

import pytest
from fastapi import FastAPI
from pydantic import BaseModel, TypeAdapter, ValidationError

from rules.assembly import Request
from rules.cart import Cart
from rules.parts import COMPONENT
from rules.vocabulary import System, words
from service.assemblies.schemas import NewSignOff
from service.faults import _FORMS_IN_WORDS, body_faults
from service.forms import form_of
from tests.service.shop import component

REQUEST: Final[dict[str, Any]] = {
    "application": {"fuel": "E10"},
    "items": [{"ref": "pump", "sku": "LW-1"}, {"ref": "rail", "sku": "LW-2"}],
}
CART: Final[dict[str, Any]] = {"application": {"fuel": "E10"}, "lines": [{"sku": "LW-1"}]}
SIGN_OFF: Final[dict[str, Any]] = {"name": "J. Marsh", "reason": "Seen on the car."}
PORT: Final[dict[str, Any]] = {"id": "a", "role": "either"}
POINT: Final[dict[str, Any]] = {"name": "long hill"}
CURVE: Final[list[dict[str, Any]]] = [
    {"pressure": "4 bar", "flow": "200 L/h"},
    {"pressure": "3 bar", "flow": "250 L/h"},
]

ADAPTERS: Final[dict[str, TypeAdapter[Any]]] = {
    "component": COMPONENT,
    "request": TypeAdapter(Request),
    "cart": TypeAdapter(Cart),
    "sign-off": TypeAdapter(NewSignOff),
}
BODIES: Final[dict[str, dict[str, Any]]] = {
    "component": component("LW-1", spec={}),
    "request": REQUEST,
    "cart": CART,
    "sign-off": SIGN_OFF,
}

FUEL: Final = "/application/fuel"
CASES: Final[list[tuple[str, str, dict[str, Any], str]]] = [
    (
        "PartBase._consistent",
        "component",
        {"ports": [PORT, {**PORT, "id": "b"}, PORT]},
        "/ports/2/id",
    ),
    ("PartBase._consistent", "component", {"superseded_by": "LW-1"}, "/superseded_by"),
    (
        "PartBase._consistent",
        "component",
        {"temperature_least": "90 degC", "temperature_most": "20 degC"},
        "/temperature_least",
    ),
    (
        "PartBase._consistent",
        "component",
        {"approved_fuels": ["E10", "E85"], "excluded_fuels": ["M85", "E85"]},
        "/excluded_fuels/1",
    ),
    (
        "PumpCurve._rising",
        "component",
        {"kind": "pump", "spec": {"curves": [{"points": CURVE}]}},
        "/spec/curves/0/points/1/pressure",
    ),
    (
        "Connection._of_its_system",
        "component",
        {"ports": [{**PORT, "connection": {"system": "flare-37", "size": "6"}}]},
        "/ports/0/connection/size",
    ),
    (
        "Connection._of_its_system",
        "component",
        {"ports": [{**PORT, "connection": {"system": "flare-37", "gender": "bolt"}}]},
        "/ports/0/connection/gender",
    ),
    (
        "PercentRange._ordered",
        "request",
        {"application": {"fuel": {"ethanol_percent": {"least": 80.0, "most": 60.0}}}},
        f"{FUEL}/ethanol_percent/least",
    ),
    (
        "FuelBlend._within_the_whole",
        "request",
        {"application": {"fuel": {"ethanol_percent": 70.0, "methanol_percent": 40.0}}},
        f"{FUEL}/ethanol_percent",
    ),
    (
        "Application._points_are_unique",
        "request",
        {"application": {"fuel": "E10", "operating_points": [POINT, POINT]}},
        "/application/operating_points/1/name",
    ),
    ("Item._one_source", "request", {"items": [{"ref": "pump"}]}, "/items/0/sku"),
    (
        "Item._one_source",
        "request",
        {"items": [{"ref": "pump", "sku": "LW-1", "component": component("LW-1")}]},
        "/items/0/component",
    ),
    ("Joint._two_ends", "request", {"joints": [["pump.a", "pump.a"]]}, "/joints/0/1"),
    ("Joint._two_ends", "request", {"joints": [{"ends": ["a.b", "a.b"]}]}, "/joints/0/ends/1"),
    (
        "Request._refs_are_unique",
        "request",
        {"items": [{"ref": "pump", "sku": "LW-1"}, {"ref": "pump", "sku": "LW-2"}]},
        "/items/1/ref",
    ),
    (
        "Cart._refs_are_unique",
        "cart",
        {"lines": [{"sku": "A", "ref": "a"}], "items": [{"sku": "B", "ref": "a"}]},
        "/items/0/ref",
    ),
    (
        "Cart._refs_are_unique",
        "cart",
        {"lines": [{"sku": "A", "ref": "a"}, {"sku": "B", "ref": "a"}]},
        "/lines/1/ref",
    ),
    ("NewSignOff._named_once", "sign-off", {}, "/finding"),
    (
        "NewSignOff._named_once",
        "sign-off",
        {"finding": "0" * 32, "rule": "some-rule"},
        "/finding",
    ),
]


def faults_of(kind: str, body: Mapping[str, Any]) -> list[Any]:
    adapter = ADAPTERS[kind]
    with pytest.raises(ValidationError) as refused:
        adapter.validate_python(copy.deepcopy(body))
    return body_faults(refused.value.errors(include_url=False), body, form_of(adapter))


@pytest.mark.parametrize(("_validator", "kind", "changes", "pointer"), CASES)
def test_a_rule_between_members_blames_one_of_them(
    _validator: str, kind: str, changes: dict[str, Any], pointer: str
) -> None:
    [fault] = faults_of(kind, {**BODIES[kind], **changes})
    assert fault.pointer == pointer
    assert not isinstance(fault.found, Mapping) or pointer == "/items/0/component"


def _models(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    for each in model.__subclasses__():
        yield each
        yield from _models(each)


def test_every_rule_between_members_has_a_case() -> None:
    """A validator that is added later is noticed, wherever its model stands."""
    after = {
        f"{owner.__name__}.{name}"
        for model in _models(BaseModel)
        if model.__module__.partition(".")[0] in ("rules", "service")
        for name, decorator in model.__pydantic_decorators__.model_validators.items()
        if decorator.info.mode == "after"
        for owner in [next(base for base in reversed(inspect.getmro(model)) if name in vars(base))]
    }
    assert after == {validator for validator, *_ in CASES}


def _patterns(schema: object) -> Iterator[str]:
    if isinstance(schema, Mapping):
        if isinstance(pattern := schema.get("pattern"), str):
            yield pattern
        for inner in schema.values():
            yield from _patterns(inner)
    elif isinstance(schema, list):
        for inner in schema:
            yield from _patterns(inner)


def test_every_pattern_of_the_document_is_said_in_words(app: FastAPI) -> None:
    assert set(_patterns(app.openapi())) <= set(_FORMS_IN_WORDS)


@pytest.mark.parametrize(
    ("kind", "changes", "pointer", "words_of_form"),
    [
        ("component", {"sku": "a b"}, "/sku", "no blanks, such as `LW-ADP-0601`"),
        (
            "component",
            {"price": {"amount": "1.50", "currency": "eur"}},
            "/price/currency",
            "three capital letters",
        ),
        (
            "request",
            {"items": [{"ref": "A B", "sku": "LW-1"}]},
            "/items/0/ref",
            "lower-case letters",
        ),
        ("request", {"joints": [["pump", "rail.a"]]}, "/joints/0/0", "with a point between"),
    ],
)
def test_a_fault_of_form_says_the_form(
    kind: str, changes: dict[str, Any], pointer: str, words_of_form: str
) -> None:
    [fault] = faults_of(kind, {**BODIES[kind], **changes})
    assert fault.pointer == pointer
    assert fault.code == "form"
    assert words_of_form in fault.expected


WRONG_SIZES: Final = [
    ("flare-37", "6", "`-6`"),
    ("flare-37", "3/8", "`-6`"),
    ("orb", "M14x1.5", "`-6`"),
    ("npt", "-6", "`3/8`"),
    ("npt", "6", "`3/8`"),
    ("bspp", "10 mm", "`3/8`"),
    ("inverted-flare", "-6", "`3/8`"),
    ("metric-flat", "14", "`M14x1.5`"),
    ("iso-6149", "-6", "`M14x1.5`"),
    ("banjo", "12", "`M12x1.5`"),
    ("barb", "-6", "`8 mm`"),
    ("quick-connect", "8", "`7.89 mm`"),
    ("plain-tube", "10", "`8 mm`"),
]


@pytest.mark.parametrize(("system", "size", "right"), WRONG_SIZES)
def test_a_size_of_another_form_is_refused_with_sizes_of_the_system(
    system: str, size: str, right: str
) -> None:
    port = {**PORT, "connection": {"system": system, "size": size}}
    [fault] = faults_of("component", {**BODIES["component"], "ports": [port]})
    assert fault.pointer == "/ports/0/connection/size"
    assert right in fault.expected


@pytest.mark.parametrize(
    ("system", "size"),
    [
        ("flare-37", "-24"),
        ("npt", "1 1/4"),
        ("npt", "⅜"),
        ("metric-flat", "M33x2"),
        ("din-24-cone", "8L"),
        ("banjo", "10 mm"),
        ("hose-end", "-6"),
        ("barb", "5/16"),
        ("flange", "2 x M6"),
    ],
)
def test_a_size_of_the_right_form_is_taken_though_no_table_holds_it(system: str, size: str) -> None:
    port = {**PORT, "connection": {"system": system, "size": size}}
    COMPONENT.validate_python({**BODIES["component"], "ports": [port]})


@pytest.mark.parametrize("system", words(System))
def test_only_what_is_bolted_has_bolts_and_rings(system: str) -> None:
    port = {**PORT, "connection": {"system": system, "gender": "ring"}}
    body = {**BODIES["component"], "ports": [port]}
    if system in ("banjo", "flange"):
        COMPONENT.validate_python(body)
    else:
        [fault] = faults_of("component", body)
        assert fault.expected == "`male` or `female`"


@pytest.mark.parametrize("name", ["approved_fuels", "excluded_fuels"])
@pytest.mark.parametrize(("given", "meant"), [("E99", "`E98`"), ("M58", "`M85`")])
def test_a_fuel_that_nobody_knows_is_refused(name: str, given: str, meant: str) -> None:
    [fault] = faults_of("component", {**BODIES["component"], name: ["E10", given]})
    assert fault.pointer == f"/{name}/1"
    assert meant in fault.expected


def test_a_fuel_in_small_letters_is_kept_by_its_id() -> None:
    part = COMPONENT.validate_python({**BODIES["component"], "excluded_fuels": ["m100", "Flex"]})
    assert part.excluded_fuels == ("M100", "flex")
