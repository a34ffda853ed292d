"""Routing carts: demo assemblies without their joints, and what must hold of every cart."""

import itertools
import random
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.cart import Cart
from rules.carts import CartReport, check_cart
from rules.catalogue import Catalogue, catalogue
from rules.check import AssemblyFaults, check, load_rules
from rules.circuit import Circuit, place
from rules.facts.joint import end_of
from rules.parts import HoseMarks
from rules.reference.mating import mate
from rules.routing import Completion, Routing, load_templates, route, routed_request
from rules.routing.pieces import GROUPED
from seed_data import DemoAssembly, demo_assemblies, demo_components, demo_vehicles

BOOK = load_rules()
TEMPLATES = load_templates()


SHOP = catalogue(1, demo_components(), demo_vehicles())
FITTING = [demo for demo in demo_assemblies() if demo.expect.verdict == "fits"]
bounded = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))


def lines_of(demo: DemoAssembly, without: str | None = None) -> list[dict[str, Any]]:
    """The lines of a demo assembly; a ref is kept only where the request speaks of it outside."""
    spoken_of = {outside.port.partition(".")[0] for outside in demo.request.outside}
    lines = []
    for item in demo.body["items"]:
        if item["ref"] == without:
            continue
        line = {key: item[key] for key in ("sku", "quantity", "length") if key in item}
        if item["ref"] in spoken_of:
            line["ref"] = item["ref"]
        lines.append(line)
    return lines


def cart_of(demo: DemoAssembly, without: str | None = None, **more: Any) -> Cart:
    return Cart.model_validate(
        {
            "application": demo.body["application"],
            "vehicle": demo.body.get("vehicle"),
            "lines": lines_of(demo, without),
            "outside": demo.body.get("outside", []),
            **more,
        }
    )


def first_options(routing: Routing) -> Counter[str]:
    """The SKUs that the first options buy, with their quantities."""
    bought: Counter[str] = Counter()
    for completion in routing.completion:
        for part in completion.options[0].parts:
            bought[part.sku] += part.quantity
    return bought


def with_lengths(routing: Routing, length_mm: float) -> Routing:
    """The routing once the caller has answered what it asks: the lengths of hoses to be cut."""
    asked = {ask.of for ask in routing.asks}

    def answered(completion: Completion) -> Completion:
        options = [
            option.model_copy(
                update={
                    "parts": tuple(
                        part.model_copy(update={"length_mm": length_mm})
                        if part.ref in asked
                        else part
                        for part in option.parts
                    )
                }
            )
            for option in completion.options
        ]
        return completion.model_copy(update={"options": tuple(options)})

    return routing.model_copy(update={"completion": tuple(map(answered, routing.completion))})


# A demo assembly without its joints -------------------------------------------------------------


@pytest.mark.parametrize("demo", FITTING, ids=lambda demo: demo.slug)
def test_a_fitting_assembly_comes_back_whole(demo: DemoAssembly) -> None:
    cart = cart_of(demo)
    routing = route(cart, SHOP, TEMPLATES)
    assert routing.unfilled == ()
    assert routing.left_over == ()
    assert routing.proved_best
    assert routing.objective.bought == 0
    placed = Counter((item.sku, item.quantity) for item in routing.items)
    assert sum(n * q for (_, q), n in placed.items()) == sum(
        item.quantity for item in demo.request.items
    )
    assert check(routed_request(cart, routing), SHOP, BOOK).verdict == "fits"


# Its ethanol sensor may as well sit in the feed: the same parts, the same verdict.
TWO_WAYS = {"02-turbo-six-e85"}


@pytest.mark.parametrize(
    "demo", [each for each in FITTING if each.slug not in TWO_WAYS], ids=lambda demo: demo.slug
)
def test_the_same_parts_meet_as_in_the_assembly(demo: DemoAssembly) -> None:
    """By part number: of equal hoses and adapters any may take any of their places."""
    cart = cart_of(demo)
    found = place(routed_request(cart, route(cart, SHOP, TEMPLATES)), SHOP)
    meant = place(demo.request, SHOP)

    def meetings(circuit: Circuit) -> Counter[tuple[str, ...]]:
        return Counter(
            tuple(sorted(end.item.part.sku or end.item.ref for end in joint.ends))
            for joint in circuit.joints
        )

    assert meetings(found) == meetings(meant)


REMOVALS = [
    pytest.param(demo, item.ref, id=f"{demo.slug}-{item.ref}")
    for demo in FITTING
    for item in demo.request.items
    if not any(o.port.startswith(f"{item.ref}.") for o in demo.request.outside)
]

# Without one of its hoses this circuit still goes together: the sensor then sits in the feed.
GOES_WITHOUT = {("02-turbo-six-e85", "tube"), ("02-turbo-six-e85", "back")}


@pytest.mark.parametrize(("demo", "ref"), REMOVALS)
def test_each_part_removed_is_named_and_completed(demo: DemoAssembly, ref: str) -> None:
    removed = next(item for item in demo.request.items if item.ref == ref)
    part = SHOP.parts[str(removed.sku)]
    cart = cart_of(demo, without=ref)
    routing = route(cart, SHOP, TEMPLATES)
    assert routing.proved_best
    assert routing.left_over == ()
    if (demo.slug, ref) in GOES_WITHOUT:
        assert routing.unfilled == ()
        assert check(routed_request(cart, routing), SHOP, BOOK).verdict == "fits"
        return
    assert len(routing.unfilled) == 1 or part.kind in ("clamp", "fastener-set")
    bought = first_options(routing)
    assert len(bought) == 1
    ((sku, quantity),) = bought.items()
    # A port that a gauge is missing from is plugged: nothing says that there was a gauge.
    assert SHOP.parts[sku].kind == (
        "cap" if part.kind == "sensor" and ref == "gauge" else part.kind
    )
    assert quantity == removed.quantity
    place(routed_request(cart, routing), SHOP)
    completed = with_lengths(routing, removed.length_mm or 1000.0)
    report = check(routed_request(cart, completed, completed=True), SHOP, BOOK)
    assert report.verdict == "fits", [finding.message for finding in report.findings]


def test_two_adapters_forgotten_are_named_with_price_and_place() -> None:
    demo = FITTING[0]
    cart = cart_of(demo)
    adapters = [line for line in cart.lines if line.sku == "HF-ADP-ORB6-JIC6M"]
    lines = tuple(line for line in cart.lines if line not in adapters) + tuple(adapters[2:])
    report = check_cart(cart.model_copy(update={"lines": lines}), SHOP, BOOK, TEMPLATES)
    assert report.verdict == "does-not-fit"
    assert report.completed_verdict == "fits"
    assert report.completed_findings == ()
    named = [completion.options[0] for completion in report.routing.completion]
    assert [option.parts[0].sku for option in named] == ["HF-ADP-ORB6-JIC6M"] * 2
    assert [str(option.price.amount) for option in named if option.price] == ["8.90", "8.90"]
    for missing in report.routing.unfilled:
        assert missing.what == "link"
        assert len(missing.between) == 2


# What must hold of every routing ----------------------------------------------------------------

SKUS = sorted(SHOP.parts)
VEHICLES = st.sampled_from([None, *SHOP.vehicles])
any_lines = st.lists(
    st.tuples(st.sampled_from(SKUS), st.integers(1, 6), st.sampled_from([None, "0.5 m", "2 m"])),
    min_size=1,
    max_size=14,
)
any_application = st.fixed_dictionaries(
    {"fuel": st.sampled_from(["E10", "E85", "flex"])},
    optional={
        "circuit": st.sampled_from(["return", "returnless", "unstated"]),
        "induction": st.sampled_from(["turbo", "naturally-aspirated"]),
        "cylinders": st.sampled_from([4, 6, 8]),
        "base_pressure": st.just("3 bar"),
        "boost": st.just("1 bar"),
        "power": st.just("200 kW"),
        "power_at": st.just("crank"),
    },
)


@st.composite
def any_cart(draw: st.DrawFn) -> Cart:
    lines = [
        {"sku": sku, "quantity": quantity, **({"length": length} if length else {})}
        for sku, quantity, length in draw(any_lines)
    ]
    return Cart.model_validate(
        {"application": draw(any_application), "vehicle": draw(VEHICLES), "lines": lines}
    )


@given(cart=any_cart())
@bounded
def test_every_cart_gets_a_sound_answer(cart: Cart) -> None:
    routing = route(cart, SHOP, TEMPLATES)
    assert routing.proved_best
    _no_port_joins_twice(routing)
    _what_is_found_seals(cart, routing)
    _every_piece_is_accounted_for(cart, routing)
    ids = [missing.id for missing in routing.unfilled]
    assert len(ids) == len(set(ids))
    for completion in routing.completion:
        assert completion.missing in ids
        assert 1 <= len(completion.options) <= 3
        parts = [tuple(sorted(p.sku for p in option.parts)) for option in completion.options]
        assert len(parts) == len(set(parts))
    place(routed_request(cart, routing), SHOP)
    place(routed_request(cart, routing, completed=True), SHOP)


def _no_port_joins_twice(routing: Routing) -> None:
    joints = [*routing.joints]
    for completion in routing.completion:
        first = completion.options[0]
        undone = {frozenset(joint.ends) for joint in first.undoes}
        joints = [joint for joint in joints if frozenset(joint.ends) not in undone]
        known = {frozenset(joint.ends) for joint in joints}
        joints += [joint for joint in first.joints if frozenset(joint.ends) not in known]
    ends = Counter(end for joint in joints for end in joint.ends)
    assert [end for end, count in ends.items() if count > 1] == []


def _what_is_found_seals(cart: Cart, routing: Routing) -> None:
    said = {frozenset(each.ends) for each in routing.compromises}
    circuit = place(routed_request(cart, routing, completed=True), SHOP)
    for joint in circuit.joints:
        verdict = mate(end_of(joint.first), end_of(joint.second)).verdict
        names = frozenset(end.name for end in joint.ends)
        if joint.implied:
            continue
        allowed = (
            ("seals", "seals-with", "conditional") if names in said else ("seals", "seals-with")
        )
        assert verdict in allowed, joint.name


def _every_piece_is_accounted_for(cart: Cart, routing: Routing) -> None:
    """Each piece of the cart has a place or is named as left over, and none has both."""
    asked: Counter[str] = Counter()
    for line in cart.lines:
        asked[line.sku] += line.quantity
    found: Counter[str] = Counter()
    for item in routing.items:
        found[str(item.sku)] += item.quantity
    for left in routing.left_over:
        found[str(left.sku)] += left.quantity
    # A pack is opened, and a length of hose is cut: neither is counted by the piece.
    divided = {
        sku
        for sku in asked
        if getattr(SHOP.parts[sku].spec, "pieces", None) or SHOP.parts[sku].kind == "bulk-hose"
    }
    assert {sku: n for sku, n in asked.items() if sku not in divided} == {
        sku: n for sku, n in found.items() if sku not in divided
    }
    for sku in (each for each in divided if SHOP.parts[each].kind == "bulk-hose"):
        bought = sum((li.length_mm or 0.0) * li.quantity for li in cart.lines if li.sku == sku)
        placed = sum(item.length_mm or 0.0 for item in routing.items if item.sku == sku)
        left = sum((x.length_mm or 0.0) * x.quantity for x in routing.left_over if x.sku == sku)
        if all(line.length_mm for line in cart.lines if line.sku == sku):
            assert placed + left == pytest.approx(bought)


@given(cart=any_cart(), seed=st.integers(0, 2**32))
@bounded
def test_the_order_of_lines_does_not_matter(cart: Cart, seed: int) -> None:
    lines = list(cart.lines)
    random.Random(seed).shuffle(lines)
    shuffled = cart.model_copy(update={"lines": tuple(lines)})
    one, other = (route(each, SHOP, TEMPLATES) for each in (cart, shuffled))
    assert one.model_copy(update={"origins": {}}) == other.model_copy(update={"origins": {}})


@pytest.mark.parametrize("demo", FITTING, ids=lambda demo: demo.slug)
def test_lines_put_together_change_nothing(demo: DemoAssembly) -> None:
    """Two lines of an adapter are as one line of two."""
    cart = cart_of(demo)
    pieces = [line for line in cart.lines if SHOP.parts[line.sku].kind not in GROUPED]
    groups = [line for line in cart.lines if SHOP.parts[line.sku].kind in GROUPED]
    counted = Counter(pieces)
    lines = (
        *groups,
        *(line.model_copy(update={"quantity": count}) for line, count in counted.items()),
    )
    one = route(cart, SHOP, TEMPLATES)
    other = route(cart.model_copy(update={"lines": lines}), SHOP, TEMPLATES)
    assert one.joints == other.joints
    assert one.objective == other.objective


# Pieces that a caller has settled ---------------------------------------------------------------


def named_cart(demo: DemoAssembly, **more: Any) -> Cart:
    """The cart of a demo assembly in which every line keeps the ref of its item."""
    lines = [
        {key: item[key] for key in ("ref", "sku", "quantity", "length") if key in item}
        for item in demo.body["items"]
    ]
    return Cart.model_validate(
        {
            "application": demo.body["application"],
            "vehicle": demo.body.get("vehicle"),
            "lines": lines,
            "outside": demo.body.get("outside", []),
            **more,
        }
    )


@pytest.mark.parametrize("demo", FITTING, ids=lambda demo: demo.slug)
def test_all_joints_settled_stay_as_they_are(demo: DemoAssembly) -> None:
    cart = named_cart(demo, joints=demo.body["joints"])
    routing = route(cart, SHOP, TEMPLATES)
    assert {frozenset(joint.ends) for joint in routing.joints} == {
        frozenset(joint.ends) for joint in demo.request.joints
    }
    assert routing.unfilled == ()


@given(demo=st.sampled_from(FITTING), seed=st.integers(0, 2**32))
@bounded
def test_settled_joints_are_kept_and_the_rest_is_found(demo: DemoAssembly, seed: int) -> None:
    chance = random.Random(seed)
    joints = [joint for joint in demo.body["joints"] if chance.random() < 0.4]
    cart = named_cart(demo, joints=joints)
    routing = route(cart, SHOP, TEMPLATES)
    found = {frozenset(joint.ends) for joint in routing.joints}
    assert found.issuperset(frozenset(joint.ends) for joint in cart.joints)
    assert routing.unfilled == ()
    assert check(routed_request(cart, routing), SHOP, BOOK).verdict == "fits"


def test_a_joint_that_does_not_seal_is_kept_where_the_caller_has_settled_it() -> None:
    demo = FITTING[1]
    cart = named_cart(demo, joints=[["tube.b", "rail.inlet"]])
    report = check_cart(cart, SHOP, BOOK, TEMPLATES)
    faults = {(finding.rule, finding.subject.ports) for finding in report.findings}
    assert ("flare-screwed-into-o-ring-port", ("tube.b", "rail.inlet")) in faults


def test_what_is_settled_is_never_left_out() -> None:
    demo = FITTING[0]
    lines = [*lines_of(demo), {"ref": "stray-a", "sku": "HF-ADP-JIC6M-JIC6M"}]
    lines.append({"ref": "stray-b", "sku": "HF-ADP-JIC6-B516"})
    cart = cart_of(demo, lines=lines, joints=[["stray-a.a", "stray-b.a"]])
    routing = route(cart, SHOP, TEMPLATES)
    assert {"stray-a", "stray-b"} <= {item.ref for item in routing.items}
    assert frozenset(("stray-a.a", "stray-b.a")) in {frozenset(j.ends) for j in routing.joints}


def chosen(demo: DemoAssembly, keep: set[str]) -> Iterator[dict[str, Any]]:
    for item in demo.body["items"]:
        if item["ref"] in keep:
            yield {key: item[key] for key in ("ref", "sku", "quantity", "length") if key in item}


def test_what_the_car_keeps_is_not_asked_for() -> None:
    """A new rail, regulator and return on a car that keeps its tank side and its feed line."""
    demo = FITTING[0]
    refs = {"rail-in", "rail", "rail-screws", "rail-out", "link", "reg-in", "reg", "reg-out"}
    refs |= {"back", "ref-hose", "ref-clamps", "injectors", "injector-plugs"}
    cart = Cart.model_validate(
        {
            "application": demo.body["application"],
            "vehicle": "saloon-six-single-tank",
            "lines": list(chosen(demo, refs)),
            "outside": [
                {"port": "rail-in.b", "to": "feed hose of the car"},
                {"port": "back.b", "to": "tank lid of the car"},
            ],
            "keeps": ["tank", "strainer", "pump", "module", "filter"],
        }
    )
    routing = route(cart, SHOP, TEMPLATES)
    assert routing.unfilled == ()
    assert routing.left_over == ()
    ends = {frozenset(joint.ends) for joint in routing.joints}
    assert frozenset(("rail-in.a", "rail.inlet")) in ends
    assert frozenset(("reg-out.b", "back.a")) in ends


# What is refused, and by what name --------------------------------------------------------------


def faults_of(body: dict[str, Any]) -> list[tuple[str, str]]:
    with pytest.raises(AssemblyFaults) as refused:
        route(Cart.model_validate(body), SHOP, TEMPLATES)
    return [(fault.pointer, fault.detail) for fault in refused.value.faults]


def test_everything_that_does_not_exist_is_named_at_once() -> None:
    found = faults_of(
        {
            "application": {"fuel": "E99"},
            "vehicle": "no-such-car",
            "lines": [
                {"sku": "HF-HSE-6-FF", "ref": "hose"},
                {"sku": "HF-HSE-6-FX", "quantity": 3},
                {"sku": "HF-NO-2"},
            ],
            "joints": [["hose.a", "rail.inlet"], ["hose.c", "hose.b"]],
        }
    )
    assert [pointer for pointer, _ in found] == [
        "/application/fuel",
        "/vehicle",
        "/lines/1/sku",
        "/lines/2/sku",
        "/joints/0/1",
        "/joints/1/0",
    ]


def test_a_layout_that_is_not_there_is_named_with_those_that_are() -> None:
    (fault,) = faults_of(
        {"application": {"fuel": "E10"}, "lines": [{"sku": "HF-HSE-6-FF"}], "layout": "ring"}
    )
    assert fault == ("/layout", "There is no layout `ring`.")


def test_a_cart_of_too_many_pieces_is_refused() -> None:
    (fault,) = faults_of(
        {
            "application": {"fuel": "E10"},
            "lines": [
                {"sku": "HF-HSE-6-FF", "quantity": 300},
                {"sku": "HF-FLT-10G", "quantity": 101},
            ],
        }
    )
    assert fault == ("/lines", "The lines make 401 pieces.")


# The report of a cart ---------------------------------------------------------------------------


def report_of(demo: DemoAssembly, without: str | None = None) -> CartReport:
    return check_cart(cart_of(demo, without), SHOP, BOOK, TEMPLATES)


@pytest.mark.parametrize("demo", FITTING, ids=lambda demo: demo.slug)
def test_the_report_of_a_whole_cart_is_that_of_its_assembly(demo: DemoAssembly) -> None:
    report = report_of(demo)
    assert report.verdict == "fits"
    assert report.completed_verdict is None
    assert report.routing.unfilled == ()


def test_pointers_lead_into_the_cart() -> None:
    demo = FITTING[0]
    report = report_of(demo, without="rail-in")
    lines = cart_of(demo, without="rail-in").lines
    for finding in report.findings:
        for pointer in finding.subject.pointers:
            where, _, index = pointer.strip("/").partition("/")
            assert where in ("lines", "routing", "")
            if where == "lines":
                assert int(index) < len(lines)
    assert any(
        finding.rule == "port-left-open" and finding.subject.pointer.startswith("/lines/")
        for finding in report.findings
    )


def test_the_fingerprint_is_of_the_cart_and_what_judged_it() -> None:
    demo = FITTING[2]
    cart = cart_of(demo)
    turned = cart.model_copy(update={"lines": cart.lines[::-1]})
    fewer = cart.model_copy(update={"lines": cart.lines[:-1]})
    later = catalogue(2, demo_components(), demo_vehicles())
    prints = [
        check_cart(each, shop, BOOK, TEMPLATES).fingerprint
        for each, shop in ((cart, SHOP), (turned, SHOP), (fewer, SHOP), (cart, later))
    ]
    assert prints[0] == prints[1]
    assert len(set(prints)) == 3


def test_a_part_that_the_shops_own_book_objects_to_is_not_offered(tmp_path: Any) -> None:
    """The catalogue knows nothing against it, the shop's own rule does: another is offered."""
    demo = FITTING[0]
    plain = report_of(demo, without="filter")
    (offered,) = first_options(plain.routing)
    (tmp_path / "own.yaml").write_text(
        "family: own\n"
        "rules:\n"
        "  - id: filter-the-shop-does-not-trust\n"
        "    about: part\n"
        "    kinds: [filter]\n"
        f'    when: title == "{SHOP.parts[offered].name}"\n'
        "    severity: error\n"
        '    message: "{name} came back too often."\n'
        '    explanation: "Experience of the shop."\n'
        "    because: [title]\n"
        '    remedy: {text: "Take another."}\n'
        '    sources: ["common practice, no source"]\n'
        "    examples:\n"
        f'      fires: [{{title: "{SHOP.parts[offered].name}"}}]\n'
        '      passes: [{title: "Another filter"}]\n'
    )
    book = load_rules(tmp_path)
    report = check_cart(cart_of(demo, without="filter"), SHOP, book, TEMPLATES)
    assert offered not in first_options(report.routing)
    assert {SHOP.parts[sku].kind for sku in first_options(report.routing)} >= {"filter"}
    assert report.completed_verdict in ("fits", "fits-with-cautions")


# Hoses and runs ---------------------------------------------------------------------------------


def test_a_hose_that_is_too_short_is_left_over_and_said_to_be() -> None:
    demo = FITTING[0]
    cart = cart_of(demo)
    shorter = tuple(
        line.model_copy(update={"length_mm": 3000.0}) if line.length_mm == 3400.0 else line
        for line in cart.lines
    )
    routing = route(cart.model_copy(update={"lines": shorter}), SHOP, TEMPLATES)
    (left,) = routing.left_over
    assert (left.sku, left.reason) == ("HF-HSE-6-FF", "too-short")
    assert "0.4 m too short" in left.message
    (completion,) = routing.completion
    assert completion.options[0].parts[0].length_mm == 3400.0


def test_each_run_gets_a_hose_that_is_long_enough() -> None:
    for demo in FITTING:
        if demo.request.vehicle is None:
            continue
        cart = cart_of(demo)
        circuit = place(routed_request(cart, route(cart, SHOP, TEMPLATES)), SHOP)
        lengths = sorted(
            item.item.length_mm
            for item in circuit.items.values()
            if isinstance(item.part.spec, HoseMarks) and item.item.length_mm
        )
        assert lengths == sorted(
            item.length_mm
            for item in demo.request.items
            if item.length_mm and SHOP.parts[str(item.sku)].kind != "wire"
        )


def test_the_length_of_a_bought_hose_is_asked_where_no_run_tells_it() -> None:
    demo = next(each for each in FITTING if each.request.vehicle is None)
    routing = route(cart_of(demo, without="feed"), SHOP, TEMPLATES)
    bought = [part.ref for each in routing.completion for part in each.options[0].parts]
    assert [ask.of for ask in routing.asks] == bought


def test_a_run_of_the_reference_is_no_run_of_fuel_nor_of_wire() -> None:
    """A stated run counts for the line it is of, whatever its ends are called."""
    demo = next(each for each in FITTING if each.request.vehicle == "pickup-v8-steel-lines")
    cart = cart_of(demo)
    vehicle = SHOP.vehicles["pickup-v8-steel-lines"]

    def left_over(of: str) -> list[str]:
        runs = tuple(
            run.model_copy(update={"of": of, "length_mm": 900.0})
            if run.name == "regulator to manifold"
            else run
            for run in vehicle.runs
        )
        shop = catalogue(1, SHOP, [vehicle.model_copy(update={"runs": runs})])
        return [left.reason for left in route(cart, shop, TEMPLATES).left_over]

    assert left_over("reference") == ["too-short"]
    assert left_over("fuel") == left_over("wire") == []


# What nothing joins -----------------------------------------------------------------------------


def test_what_nothing_joins_is_said_in_terms_of_both_ports() -> None:
    demo = FITTING[0]
    small = catalogue(
        1,
        [part for part in SHOP if part.kind != "hose-assembly" or part.sku != "HF-HSE-6-FF"],
        SHOP.vehicles.values(),
    )
    bare = catalogue(
        1,
        [
            part.model_copy(update={"lifecycle": "discontinued"})
            if part.kind in ("hose-assembly", "bulk-hose", "hard-line", "hose-end")
            else part
            for part in SHOP
        ],
        SHOP.vehicles.values(),
    )
    assert small.parts.keys() < bare.parts.keys()
    routing = route(cart_of(demo, without="back"), bare, TEMPLATES)
    (missing,) = [each for each in routing.unfilled if each.what == "link"]
    assert missing.id == "regulator-to-module"
    assert [port.partition(".")[2] for port in missing.between][-1] == "return"
    assert "37 degree flare -6 male" in missing.message
    assert missing.id not in {completion.missing for completion in routing.completion}


def test_a_port_nobody_recorded_is_asked_for() -> None:
    demo = FITTING[2]
    lines = [
        {**line, "sku": "HF-RAIL-USED"} if line["sku"] == "HF-RAIL-I4" else line
        for line in lines_of(demo)
    ]
    routing = route(cart_of(demo, lines=lines), SHOP, TEMPLATES)
    link = next(each for each in routing.unfilled if each.id == "filter-to-rail")
    assert any(end.startswith("hf-rail-used.") for end in link.between)


def catalogues_alike(one: Catalogue, other: Catalogue) -> bool:
    return one.parts == other.parts


def test_a_snapshot_keeps_its_indexes_and_another_makes_its_own() -> None:
    again = catalogue(1, demo_components(), SHOP.vehicles.values())
    assert catalogues_alike(SHOP, again)
    cart = cart_of(FITTING[1], without="filter")
    assert route(cart, SHOP, TEMPLATES) == route(cart, again, TEMPLATES)


def test_alternatives_are_the_best_at_what_they_say() -> None:
    for demo, ref in itertools.product(FITTING[:2], ("feed", "feed-1", "filter", "rail-in")):
        if ref not in {item.ref for item in demo.request.items}:
            continue
        for completion in route(cart_of(demo, without=ref), SHOP, TEMPLATES).completion:
            priced = [float(option.price.amount) for option in completion.options if option.price]
            if len(priced) == len(completion.options):
                cheapest = next(o for o in completion.options if "cheapest" in o.best_at)
                assert cheapest.price is not None
                assert float(cheapest.price.amount) == min(priced)
            assert "fewest-parts" in completion.options[0].best_at
