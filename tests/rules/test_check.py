"""The door: what it refuses, and what must hold of every report whatever the assembly."""

import json
import random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.assembly import Request
from rules.catalogue import Catalogue, catalogue
from rules.check import AssemblyFaults, check, load_rules
from rules.report import Report
from seed_data import DemoAssembly, demo_assemblies, demo_components, demo_vehicles

BOOK = load_rules()
SHOP = catalogue(1, demo_components(), demo_vehicles())
DEMOS = demo_assemblies()
VERDICTS_BEST_FIRST = ("fits", "fits-with-cautions", "cannot-tell", "does-not-fit")

demos = st.sampled_from(DEMOS)
bounded = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))


def judge(body: dict[str, object], shop: Catalogue = SHOP) -> Report:
    return check(Request.model_validate(body), shop, BOOK)


def body_of(demo: DemoAssembly) -> dict[str, object]:
    return json.loads(json.dumps(demo.body))


def without_places(report: Report) -> object:
    """A report without pointers, which follow the order of the request by design."""
    found = report.model_dump(mode="json")
    for finding in found["findings"]:
        finding["subject"].pop("pointer")
        finding["subject"].pop("pointers")
    return found


@given(demo=demos, seed=st.integers(0, 2**32))
@bounded
def test_the_order_of_items_and_joints_does_not_matter(demo: DemoAssembly, seed: int) -> None:
    shuffled = body_of(demo)
    chance = random.Random(seed)
    for name in ("items", "joints"):
        chance.shuffle(shuffled.setdefault(name, []))
    assert without_places(judge(shuffled)) == without_places(judge(body_of(demo)))


@given(demo=demos)
@bounded
def test_the_same_request_gives_the_same_bytes(demo: DemoAssembly) -> None:
    assert judge(body_of(demo)).model_dump_json() == judge(body_of(demo)).model_dump_json()


def renamed(body: dict[str, object], prefix: str) -> dict[str, object]:
    """A request with the ref of each of its own items prefixed; the vehicle's stay."""
    own = {item["ref"] for item in body["items"]}

    def new(name: str) -> str:
        return prefix + name if name.partition(".")[0] in own else name

    def joint(given: object) -> object:
        if isinstance(given, list):
            return [new(end) for end in given]
        ends, uses = given["ends"], given.get("uses", [])
        return {**given, "ends": [new(e) for e in ends], "uses": [new(u) for u in uses]}

    return {
        **body,
        "items": [{**item, "ref": new(item["ref"])} for item in body["items"]],
        "joints": [joint(given) for given in body.get("joints", [])],
        "outside": [{**o, "port": new(o["port"])} for o in body.get("outside", [])],
    }


@given(demo=demos)
@bounded
def test_renaming_refs_renames_findings_and_nothing_else(demo: DemoAssembly) -> None:
    body = body_of(demo)
    own = {item["ref"] for item in body["items"]}
    before, after = judge(body), judge(renamed(body, "x-"))
    assert (after.verdict, after.counts) == (before.verdict, before.counts)
    assert sorted(
        (f.rule, f.severity, tuple(sorted("x-" + r if r in own else r for r in f.subject.refs)))
        for f in before.findings
    ) == sorted((f.rule, f.severity, tuple(sorted(f.subject.refs))) for f in after.findings)


@given(demo=demos, kind=st.sampled_from(("relay", "fuse", "fastener-set", "terminal")))
@bounded
def test_an_unrelated_fitting_part_never_improves_a_verdict(demo: DemoAssembly, kind: str) -> None:
    body = body_of(demo)
    # A part that another one needs is related to it: taken out of the comparison.
    needs = {"needs-not-in-list"}
    before = judge(body)
    part = {"kind": kind, "name": "Something else"}
    body["items"] = [*body["items"], {"ref": "unrelated", "component": part}]
    after = judge(body)
    rules_before = {f.rule for f in before.findings} - needs
    assert rules_before <= {f.rule for f in after.findings}
    if not needs & {f.rule for f in before.findings}:
        order = VERDICTS_BEST_FIRST
        assert order.index(after.verdict) >= order.index(before.verdict)


@given(demo=demos, seed=st.integers(0, 2**32))
@bounded
def test_forgetting_an_attribute_never_turns_a_refusal_into_a_pass(
    demo: DemoAssembly, seed: int
) -> None:
    """Unknown data may leave a question open; it may not answer it."""
    parts = {part.sku: part for part in demo_components()}
    chance = random.Random(seed)
    used = [i["sku"] for i in demo.body["items"] if "sku" in i]
    sku = chance.choice(used)
    part = parts[sku]
    attribute = chance.choice(("working_pressure_kpa", "wetted", "temperature_most_c"))
    parts[sku] = part.model_copy(update={attribute: None})
    before = judge(body_of(demo))
    after = judge(body_of(demo), catalogue(1, parts.values(), demo_vehicles()))
    order = VERDICTS_BEST_FIRST
    if before.verdict == "does-not-fit":
        assert after.verdict in ("does-not-fit", "cannot-tell")
    else:
        assert order.index(after.verdict) >= order.index(before.verdict)


def test_every_demo_gets_the_verdict_its_story_tells() -> None:
    wrong = {
        demo.slug: report.verdict
        for demo in DEMOS
        if (report := judge(body_of(demo))).verdict != demo.expect.verdict
    }
    assert wrong == {}


def test_facts_of_every_demo_suit_their_schema() -> None:
    from rules.circuit import place
    from rules.facts.application import application_facts
    from rules.facts.flow import study
    from rules.facts.subjects import SUBJECTS, cases

    faults = []
    for demo in DEMOS:
        circuit = place(Request.model_validate(demo.body), SHOP)
        app = application_facts(circuit)
        for case in cases(circuit, app, study(circuit, app)):
            faults += SUBJECTS[case.about].schema.faults_of(case.facts)
    assert faults == []


def small(**changes: object) -> dict[str, object]:
    base: dict[str, object] = {
        "application": {"fuel": "E10"},
        "items": [{"ref": "rail", "sku": "HF-RAIL-I6"}, {"ref": "tube", "sku": "HF-HSE-6-LONG"}],
        "joints": [["rail.inlet", "tube.b"]],
    }
    return base | changes


def faults(body: dict[str, object]) -> dict[str, object]:
    with pytest.raises(AssemblyFaults) as raised:
        judge(body)
    return {fault.pointer: fault for fault in raised.value.faults}


def test_an_unknown_sku_names_near_ones() -> None:
    found = faults(small(items=[{"ref": "rail", "sku": "HF RAIL I6"}], joints=[]))
    assert "`HF-RAIL-I6`" in found["/items/0/sku"].expected


def test_zeros_of_a_sku_are_never_folded() -> None:
    shop = catalogue(1, [p.model_copy(update={"sku": "0017"}) for p in demo_components()[:1]])
    with pytest.raises(AssemblyFaults):
        judge(small(items=[{"ref": "rail", "sku": "17"}], joints=[]), shop)


def test_a_joint_to_a_port_that_is_not_there_lists_the_ports_there_are() -> None:
    found = faults(small(joints=[["rail.middle", "tube.b"]]))
    assert found["/joints/0/0"].found == "rail.middle"
    assert "`rail.inlet`" in found["/joints/0/0"].expected


def test_a_joint_to_an_item_that_is_not_there_lists_the_items() -> None:
    found = faults(small(joints=[["rial.inlet", "tube.b"]]))
    assert "`rail`" in found["/joints/0/0"].expected


def test_all_faults_come_at_once_and_one_cause_once() -> None:
    body = small(
        application={"fuel": "E58"},
        vehicle="hovercraft",
        items=[{"ref": "rail", "sku": "NO-SUCH"}, {"ref": "tube", "sku": "HF-HSE-6-LONG"}],
        joints=[["rail.inlet", "tube.b"], ["tube.z", "rail.outlet"]],
    )
    assert set(faults(body)) == {"/application/fuel", "/vehicle", "/items/0/sku", "/joints/1/0"}


def test_a_fuel_outside_the_trade_is_refused_and_not_rated() -> None:
    assert "not judged" in faults(small(application={"fuel": "diesel"}))["/application/fuel"].detail


def test_the_fingerprint_follows_the_question_and_not_its_order() -> None:
    body = small()
    turned = small(items=list(reversed(body["items"])))
    other = small(application={"fuel": "E85"})
    assert judge(body).fingerprint == judge(turned).fingerprint
    assert judge(body).fingerprint != judge(other).fingerprint
    again = catalogue(2, demo_components(), demo_vehicles())
    assert judge(body, again).fingerprint != judge(body).fingerprint
