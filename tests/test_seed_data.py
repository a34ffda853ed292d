"""The demo shop: it loads, it is whole, and its assemblies get the answers they are made for."""

import re
from collections import Counter
from collections.abc import Iterator
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from rules.assembly import Request
from rules.catalogue import Catalogue, catalogue, lookup_key
from rules.check import check, load_rules
from rules.circuit import place
from rules.engine import Book
from rules.facts.joint import end_of
from rules.parts import Component, Port
from rules.reference.mating import mate
from rules.vocabulary import ClampStyle, Construction, Kind, System
from seed_data import DemoAssembly, demo_assemblies, demo_components, demo_vehicles

PARTS = {str(part.sku): part for part in demo_components()}
ASSEMBLIES = demo_assemblies()

# Left out on purpose, so that "cannot tell" has something to show.
UNRECORDED = {
    "HF-ADP-M14-OLD": ("a seal material",),
    "HF-ADP-ORB6-JIC6M-DRY": ("a seal material",),
    "HF-BLK-GEN-8": (
        "temperature_least_c",
        "temperature_most_c",
        "wetted",
        "working_pressure_kpa",
        "marked",
    ),
    "HF-END-X6-00": ("working_pressure_kpa", "for_construction", "series", "fixing"),
    "HF-FLT-Z5": (
        "temperature_least_c",
        "temperature_most_c",
        "working_pressure_kpa",
        "fineness_rating",
        "drop",
    ),
    "HF-INJ-U": (
        "temperature_least_c",
        "temperature_most_c",
        "wetted",
        "working_pressure_kpa",
        "inlet seal material",
        "flow_pressure_kpa",
        "test_fluid_density_kg_m3",
        "maximum_pressure_kpa",
        "upstream_fineness_at_most_um",
        "coil_resistance_ohm",
        "length_mm",
        "plug",
        "dead_time_ms",
    ),
    "HF-PMP-280U": (
        "wetted",
        "working_pressure_kpa",
        "maximum_current_a",
        "relief_pressure_kpa",
        "check_valve",
        "speed_control",
        "voltage_v",
    ),
    "HF-QCN-8MM": ("wetted O-rings", "a size", "a bore_mm", "a diameter_mm"),
    "HF-RAIL-USED": (
        "temperature_least_c",
        "temperature_most_c",
        "wetted",
        "working_pressure_kpa",
        "inlet size",
        "inlet bore_mm",
        "inlet swivel",
        "bore_mm",
        "length_mm",
        "injector_pitch_mm",
    ),
    "HF-TNK-MOD-OLD": ("terminal_current_a",),
    "HF-TRM-BHD-U": ("rating_a",),
}

THREADED = {
    *("flare-37", "flare-45", "inverted-flare", "bubble-flare", "orb", "orfs", "npt", "nptf"),
    *("bspp", "bspt", "iso-6149", "metric-flat", "din-24-cone"),
}
BORELESS_KINDS = {"cap", "injector", "tank"}
BORELESS_SYSTEMS = {"injector-seat", "flange"}

SPEC_FIELDS = {
    "pump": "mount curves maximum_current_a relief_pressure_kpa check_valve speed_control",
    "tank-module": "body_diameters_mm pump_places built_in_regulator jet_drive terminal_current_a",
    "tank": "shape volume_l",
    "surge-tank": "volume_l",
    "hose-assembly": "construction bore_mm outside_diameter_mm minimum_bend_radius_mm marked",
    "bulk-hose": "construction bore_mm outside_diameter_mm minimum_bend_radius_mm marked size",
    "hard-line": "outside_diameter_mm bore_mm length_mm",
    "hose-end": "for_construction series fixing bore_mm",
    "adapter": "form",
    "tee": "form",
    "bulkhead": "panel_hole_mm seals_both_faces",
    "quick-connector": "",
    "filter": "fineness_um fineness_rating media drop directional",
    "strainer": "fineness_um",
    "check-valve": "opening_pressure_kpa drop",
    "rail": "bore_mm length_mm injector_pitch_mm",
    "regulator": "action reference set_pressure_kpa maximum_flow_lph seat_bore_mm",
    "injector": "flow_cc_min flow_pressure_kpa test_fluid_density_kg_m3 maximum_pressure_kpa "
    "upstream_fineness_at_most_um coil_resistance_ohm length_mm plug dead_time_ms",
    "pulsation-damper": "service_years",
    "siphon-jet": "nozzle_bore_mm drive_flow_lph",
    "sensor": "senses",
    "cap": "form",
    "seal": "form size pieces reused",
    "clamp": "style least_diameter_mm most_diameter_mm",
    "relay": "rating_a solid_state",
    "fuse": "rating_a",
    "wire": "area_mm2 limit_a",
    "terminal": "rating_a plug",
    "fastener-set": "contents",
    "sealant": "sealant",
}


@pytest.fixture(scope="module")
def shop() -> Catalogue:
    return catalogue(1, PARTS.values(), demo_vehicles())


@pytest.fixture(scope="module")
def book() -> Book:
    return load_rules()


# The parts --------------------------------------------------------------------------------------


def test_every_kind_of_part_is_in_the_shop() -> None:
    assert {part.kind for part in PARTS.values()} == set(get_args(Kind))


def test_all_connection_systems_but_one_are_in_the_shop() -> None:
    used = {p.connection.system for part in PARTS.values() for p in part.ports if p.connection}
    assert set(get_args(System)) - used == {"nps"}


def test_most_hose_constructions_and_all_clamp_styles_are_in_the_shop() -> None:
    constructions = {getattr(part.spec, "construction", None) for part in PARTS.values()}
    assert set(get_args(Construction)) - constructions == {"ptfe-convoluted"}
    styles = {part.spec.style for part in PARTS.values() if part.kind == "clamp"}
    assert styles == set(get_args(ClampStyle))


def test_skus_are_plain_and_of_one_scheme() -> None:
    scheme = re.compile(r"HF(-[A-Z0-9.]+){2,5}")
    assert [sku for sku in PARTS if not scheme.fullmatch(sku)] == []


def test_no_two_skus_meet_under_one_lookup_key() -> None:
    keys = Counter(lookup_key(sku) for sku in PARTS)
    assert [key for key, count in keys.items() if count > 1] == []
    assert len(PARTS) == len(demo_components())


def test_every_sku_that_a_part_names_exists() -> None:
    named = {need.sku for part in PARTS.values() for need in part.needs if need.sku}
    named |= {part.superseded_by for part in PARTS.values() if part.superseded_by}
    assert named - PARTS.keys() == set()


def test_a_superseded_part_has_a_successor_that_is_sold() -> None:
    superseded = [part for part in PARTS.values() if part.lifecycle == "superseded"]
    assert superseded
    for part in superseded:
        assert PARTS[str(part.superseded_by)].lifecycle == "sold"
        assert PARTS[str(part.superseded_by)].kind == part.kind


def test_only_what_is_left_out_on_purpose_is_unrecorded() -> None:
    found = {sku: tuple(_unrecorded(part)) for sku, part in PARTS.items()}
    assert {sku: paths for sku, paths in found.items() if paths} == UNRECORDED


def _unrecorded(part: Component) -> Iterator[str]:
    always = ["price", "temperature_least_c", "temperature_most_c"]
    if part.ports:
        always += ["wetted", "working_pressure_kpa"]
    yield from (name for name in always if getattr(part, name) is None)
    yield from (f"wetted {w.part}" for w in part.wetted or () if w.material is None)
    for port in part.ports:
        yield from (f"{port.id} {what}" for what in _unrecorded_of_port(part.kind, port))
    spec: BaseModel = part.spec
    yield from (n for n in SPEC_FIELDS[part.kind].split() if getattr(spec, n) is None)
    for curve in getattr(spec, "curves", None) or ():
        if curve.voltage_v is None:
            yield "voltage_v"


def _unrecorded_of_port(kind: str, port: Port) -> Iterator[str]:
    assert port.connection is not None
    system = port.connection.system
    if port.connection.size is None:
        yield "size"
    if port.connection.gender is None:
        yield "gender"
    if port.bore_mm is None and kind not in BORELESS_KINDS and system not in BORELESS_SYSTEMS:
        yield "bore_mm"
    if system in THREADED and port.swivel is None:
        yield "swivel"
    if system in ("quick-connect", "barb", "injector-seat") and port.diameter_mm is None:
        yield "diameter_mm"
    if system == "orb" and port.connection.gender == "male" and port.seal is None:
        yield "seal"
    if port.seal is not None and port.seal.material is None:
        yield "seal material"


# The contract's request ---------------------------------------------------------------------------

CONTRACT: dict[str, Any] = {
    "application": {
        "fuel": "E85",
        "power": "420 kW",
        "power_at": "crank",
        "induction": "turbo",
        "boost": "1.2 bar",
        "cylinders": 6,
        "base_pressure": "3 bar",
        "supply_voltage": "13.5 V",
        "fuel_temperature": "20 degC",
        "circuit": "return",
        "use": "track",
        "pump_control": "ignition-switched",
    },
    "items": [
        {"ref": "pump", "sku": "HF-PMP-340"},
        {"ref": "module", "sku": "HF-TNK-FLANGE-2"},
        {
            "ref": "feed",
            "component": {
                "name": "Cut-to-length feed hose, two swivel ends",
                "kind": "hose-assembly",
                "ports": [
                    {
                        "id": end,
                        "role": "either",
                        "connection": {"system": "flare-37", "size": "-6", "gender": "female"},
                        "swivel": True,
                    }
                    for end in ("a", "b")
                ],
                "wetted": [
                    {"part": "liner", "material": "ptfe-conductive"},
                    {"part": "end fittings", "material": "stainless-steel-300"},
                ],
                "working_pressure": "70 bar",
                "spec": {
                    "construction": "ptfe-smooth-bore",
                    "bore": "7.9 mm",
                    "length": "1.4 m",
                    "marked": ["SAE J517 100R14"],
                },
            },
        },
        {"ref": "filter", "sku": "HF-FLT-40S"},
        {"ref": "tube", "sku": "HF-HSE-6-LONG", "length": "3.1 m"},
        {"ref": "rail", "sku": "HF-RAIL-I6"},
        {"ref": "reg", "sku": "HF-REG-1"},
        {"ref": "injectors", "sku": "HF-INJ-1050", "quantity": 6},
        {"ref": "back", "sku": "HF-HSE-6-LONG", "length": "4.2 m"},
    ],
    "joints": [
        ["pump.outlet", "module.pump"],
        ["module.feed", "feed.a"],
        ["feed.b", "filter.inlet"],
        ["filter.outlet", "tube.a"],
        ["tube.b", "rail.inlet"],
        ["rail.outlet", "reg.inlet"],
        ["reg.return", "back.a"],
        ["back.b", "module.return"],
    ],
}
ADAPTER = {"ref": "adapter", "sku": "HF-ADP-ORB6-JIC6"}


def _with_adapter() -> dict[str, Any]:
    joints = [j for j in CONTRACT["joints"] if j != ["tube.b", "rail.inlet"]]
    joints += [["tube.b", "adapter.b"], ["adapter.a", "rail.inlet"]]
    return CONTRACT | {"items": [*CONTRACT["items"], ADAPTER], "joints": joints}


def _joints_that_leak(given: dict[str, Any], shop: Catalogue) -> list[tuple[str, str]]:
    circuit = place(Request.model_validate(given), shop)
    return [
        (joint.first.name, joint.second.name)
        for joint in circuit.joints
        if mate(end_of(joint.first), end_of(joint.second)).verdict not in ("seals", "seals-with")
    ]


def test_in_the_contract_s_request_only_the_hose_at_the_rail_leaks(shop: Catalogue) -> None:
    assert _joints_that_leak(CONTRACT, shop) == [("tube.b", "rail.inlet")]


def test_with_the_adapter_every_joint_of_the_contract_s_request_seals(shop: Catalogue) -> None:
    assert _joints_that_leak(_with_adapter(), shop) == []


def test_the_contract_s_finding_names_the_joint_and_the_adapter(
    shop: Catalogue, book: Book
) -> None:
    report = check(Request.model_validate(CONTRACT), shop, book)
    (found,) = [f for f in report.findings if f.rule == "flare-screwed-into-o-ring-port"]
    assert found.subject.pointer == "/joints/4"
    assert found.subject.ports == ("tube.b", "rail.inlet")
    assert [s.sku for s in found.remedy.add] == ["HF-ADP-ORB6-JIC6"]
    mended = check(Request.model_validate(_with_adapter()), shop, book)
    assert "flare-screwed-into-o-ring-port" not in {f.rule for f in mended.findings}


# Vehicles and assemblies --------------------------------------------------------------------------


def test_one_of_three_vehicles_has_a_saddle_tank() -> None:
    shapes = [
        str(item.component.spec.shape)
        for vehicle in demo_vehicles()
        for item in vehicle.items
        if item.component is not None and item.component.kind == "tank"
    ]
    assert sorted(shapes) == ["saddle", "single", "single"]


def test_each_vehicle_is_used_in_a_fitting_assembly() -> None:
    fitting = {a.request.vehicle for a in ASSEMBLIES if a.expect.verdict == "fits"}
    assert {vehicle.id for vehicle in demo_vehicles()} <= fitting


def test_a_dozen_assemblies_with_fits_and_faults() -> None:
    verdicts = Counter(a.expect.verdict for a in ASSEMBLIES)
    assert verdicts["fits"] >= 3
    assert sum(verdicts.values()) - verdicts["fits"] >= 12
    assert verdicts["cannot-tell"] >= 1


def test_every_rule_that_an_assembly_names_is_in_the_book(book: Book) -> None:
    named = {rule for a in ASSEMBLIES for rule in (*a.expect.rules, *a.expect.absent)}
    assert named - {rule.id for rule in book.rules} == set()


def test_a_faulty_assembly_names_its_rules() -> None:
    assert [
        a.slug for a in ASSEMBLIES if (a.expect.verdict != "fits") != bool(a.expect.rules)
    ] == []


@pytest.mark.parametrize("demo", ASSEMBLIES, ids=lambda demo: demo.slug)
def test_an_assembly_gets_the_answer_it_is_made_for(
    demo: DemoAssembly, shop: Catalogue, book: Book
) -> None:
    report = check(demo.request, shop, book)
    found = {finding.rule for finding in report.findings}
    assert set(demo.expect.rules) - found == set()
    assert set(demo.expect.absent) & found == set()
    assert report.verdict == demo.expect.verdict, [f.message for f in report.findings]


@pytest.mark.parametrize(
    "demo", [a for a in ASSEMBLIES if a.expect.verdict == "fits"], ids=lambda demo: demo.slug
)
def test_a_fitting_assembly_draws_notes_at_most(
    demo: DemoAssembly, shop: Catalogue, book: Book
) -> None:
    report = check(demo.request, shop, book)
    assert [f.message for f in report.findings if f.severity != "note"] == []


@pytest.mark.parametrize("demo", ASSEMBLIES, ids=lambda demo: demo.slug)
def test_the_body_of_an_assembly_is_its_request(demo: DemoAssembly) -> None:
    assert Request.model_validate(demo.body) == demo.request
