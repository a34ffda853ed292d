"""The demo cart changed by hand, as people change carts: what a specialist would say to it.

The cart is the tank side of a hatchback with both adapters in it, so that it fits; the car's own
rail is described beside its lines.
"""

import copy
from collections import Counter
from typing import Any

import pytest

from rules.cart import Cart
from rules.carts import CartReport, check_cart
from rules.catalogue import catalogue
from rules.check import load_rules
from rules.parts import Component
from rules.routing import load_templates
from seed_data import demo_carts, demo_components, demo_vehicles

BOOK = load_rules()
TEMPLATES = load_templates()
SHOP = catalogue(1, demo_components(), demo_vehicles())
(HATCH,) = demo_carts()
ADAPTER = "HF-ADP-QC516-JIC6M"
HOSE = "HF-HSE-6-FF"


def body(**changes: Any) -> dict[str, Any]:
    whole = copy.deepcopy(HATCH.body)
    whole["lines"].append({"sku": ADAPTER, "quantity": 2})
    return {**whole, **changes}


def without(*skus: str) -> dict[str, Any]:
    found = body()
    found["lines"] = [line for line in found["lines"] if line["sku"] not in skus]
    return found


def swapped(sku: str, other: str) -> dict[str, Any]:
    found = body()
    for line in found["lines"]:
        line["sku"] = other if line["sku"] == sku else line["sku"]
    return found


def with_more(*lines: dict[str, Any]) -> dict[str, Any]:
    found = body()
    found["lines"] += lines
    return found


def judge(asked: dict[str, Any]) -> CartReport:
    return check_cart(Cart.model_validate(asked), SHOP, BOOK, TEMPLATES)


def offered(report: CartReport) -> Counter[str]:
    found: Counter[str] = Counter()
    for completion in report.routing.completion:
        for part in completion.options[0].parts:
            found[part.sku] += part.quantity
    return found


def left(report: CartReport) -> list[tuple[str | None, int, str]]:
    return [(each.sku, each.quantity, each.reason) for each in report.routing.left_over]


# What waits for a missing part ------------------------------------------------------------------


@pytest.mark.parametrize("sku", [line["sku"] for line in body()["lines"]])
def test_a_port_that_waits_for_a_missing_part_gets_no_plug(sku: str) -> None:
    report = judge(without(sku))
    bought = set(offered(report))
    for finding in report.findings:
        if finding.rule == "port-left-open":
            assert finding.remedy.add == ()
            assert any(each in finding.remedy.text for each in bought)


@pytest.mark.parametrize("sku", [line["sku"] for line in body()["lines"]])
def test_what_waits_for_a_missing_part_is_not_said_to_be_unrecorded(sku: str) -> None:
    """The data of all parts are recorded: what stays open hangs on the part that lacks."""
    report = judge(without(sku))
    assert report.counts.unknown == 0
    assert report.counts.error == sum(each.severity == "error" for each in report.findings)


def test_what_hangs_on_a_missing_part_is_named_among_what_was_not_checked() -> None:
    told = judge(without(HOSE)).not_checked
    waiting = [each for each in told if each.why.endswith("it waits for what is missing")]
    assert {"pump-dead-headed", "pump-short-at-pressure"} <= {
        rule for each in waiting for rule in each.what.split(", ")
    }


# What the car keeps -----------------------------------------------------------------------------


@pytest.mark.parametrize("adapters", [0, 1])
def test_adapters_missing_before_a_rail_that_is_kept(adapters: int) -> None:
    """The hoses stay in their places; what is offered is the adapters of the filter."""
    asked = swapped("HF-FLT-10G", "HF-FLT-10G8")
    asked |= {"items": [], "outside": [], "keeps": ["rail", "injectors"]}
    asked["lines"][-1]["quantity"] = 1
    asked["lines"] += [{"sku": "HF-ADP-ORB8-JIC6M"}] * adapters
    report = judge(asked)
    assert offered(report) == {"HF-ADP-ORB8-JIC6M": 2 - adapters}
    assert report.routing.left_over == ()
    assert report.completed_verdict == "fits"
    hoses = {item.ref for item in report.routing.items if item.sku == HOSE}
    assert len(hoses) == 2
    (assumed,) = (each for each in report.routing.assumed if each.to == "rail of the car")
    assert assumed.port.partition(".")[0] in hoses


def test_an_adapter_missing_behind_a_tank_module_that_is_kept() -> None:
    asked = swapped("HF-FLT-10G", "HF-FLT-10G8")
    asked["keeps"] = ["injectors", "tank", "strainer", "pump", "module"]
    keep = {HOSE, "HF-FLT-10G8", ADAPTER}
    asked["lines"] = [line for line in asked["lines"] if line["sku"] in keep]
    asked["lines"][-1]["quantity"] = 1
    report = judge(asked)
    assert offered(report) == {"HF-ADP-ORB8-JIC6M": 2}
    assert report.routing.left_over == ()
    assert report.completed_verdict == "fits"


@pytest.mark.parametrize("keeps", [["module"], ["module", "pump"], ["pump"], ["filter"]])
def test_the_direction_of_the_filter_is_known_beside_what_the_car_keeps(keeps: list[str]) -> None:
    report = judge(body(keeps=["injectors", *keeps]))
    assert "flow-direction-reversed" not in {
        rule for finding in report.findings for rule in (finding.rule, *finding.open_rules)
    }


def test_a_filter_turned_round_is_told_beside_what_the_car_keeps() -> None:
    asked = body(keeps=["injectors", "module"])
    for line in asked["lines"]:
        if line["sku"] == "HF-FLT-10G":
            line["ref"] = "filter"
    asked["items"][0]["ref"] = "rail"
    asked["outside"][0]["port"] = "rail.injectors"
    asked["lines"] = [line for line in asked["lines"] if line["sku"] != HOSE]
    asked["lines"] += [
        {"sku": HOSE, "length": "2.6 m", "ref": "long"},
        {"sku": HOSE, "length": "0.5 m", "ref": "short"},
    ]
    asked["outside"].append(
        {"port": "long.a", "to": "module of the car", "line": "feed", "flow": "in"}
    )
    asked["joints"] = [["long.b", "filter.outlet"], ["short.a", "filter.inlet"]]
    report = judge(asked)
    assert ("flow-direction-reversed", "error") in {
        (finding.rule, finding.severity) for finding in report.findings
    }


# What is left over ------------------------------------------------------------------------------

SUPPLIES = ["HF-GSK-120", "HF-FST-M5", "HF-RLY-40", "HF-FUS-15", "HF-WIR-2.5", "HF-TRM-PMP"]


@pytest.mark.parametrize("sku", [line["sku"] for line in body()["lines"]])
def test_a_line_that_is_there_twice_is_left_over_once(sku: str) -> None:
    line = next(line for line in body()["lines"] if line["sku"] == sku)
    report = judge(with_more(dict(line)))
    assert report.verdict == "fits"
    ((named, quantity, reason),) = left(report)
    assert (named, quantity) == (sku, line.get("quantity", 1))
    assert reason == ("more-than-needed" if sku == "HF-CLP-B-13" else "duplicate")


@pytest.mark.parametrize("sku", SUPPLIES)
def test_a_supply_of_two_is_one_too_many(sku: str) -> None:
    asked = body()
    for line in asked["lines"]:
        if line["sku"] == sku:
            line["quantity"] = 2
    report = judge(asked)
    assert report.verdict == "fits"
    assert left(report) == [(sku, 1, "duplicate")]
    (placed,) = (item for item in report.routing.items if item.sku == sku)
    assert placed.quantity == 1


@pytest.mark.parametrize("sku", SUPPLIES)
def test_a_supply_is_not_left_over_where_it_is_missed(sku: str) -> None:
    """What one part leaves over another may need: only what nothing asks for is too much."""
    report = judge(body())
    assert report.routing.left_over == ()
    assert offered(judge(without(sku))) == {sku: 1}


@pytest.mark.parametrize(
    ("more", "reason", "said"),
    [
        ("HF-FUS-30", "wrong-size", "asks for a 15 A fuse"),
        ("HF-WIR-6", "wrong-size", "asks for a 2.5 mm2 wire"),
        ("HF-RLY-SS-30", "duplicate", "has hf-rly-40"),
        ("HF-TRM-INJ", "not-needed", "asks for HF-TRM-PMP"),
        ("HF-FST-M8", "not-needed", "asks for HF-FST-M5"),
        ("HF-CWR-12C", "not-needed", "No joint or part"),
        ("HF-SLT-PASTE", "not-needed", "No joint of this circuit takes sealant"),
        ("HF-CLP-S-9", "wrong-size", "clamps 8.5 to 9.5 mm"),
        ("HF-FLT-100P", "too-coarse", "fineness is 100 um, at most 69 um"),
        ("HF-FLT-40S", "duplicate", "taken by hf-flt-10g"),
        ("HF-PMP-EXT-300", "for-another-circuit", "mount is external, not in-tank"),
        ("HF-TNK-MOD-1", "for-another-circuit", "no built in regulator"),
        ("HF-REG-2", "for-another-circuit", "no place for it in this circuit"),
        ("HF-INJ-550", "more-than-needed", "keeps its own injectors"),
        ("HF-RAIL-I4", "duplicate", "taken by own-rail"),
        ("HF-SNS-P10", "not-needed", "No port of this circuit is left"),
        ("HF-PLG-JIC6", "not-needed", "Everything is joined without it"),
        ("HF-BLK-PTFE6C", "not-needed", "Everything is joined without it"),
    ],
)
def test_an_unneeded_part_is_named_with_the_nearest_reason(
    more: str, reason: str, said: str
) -> None:
    report = judge(with_more({"sku": more}))
    assert report.verdict == "fits"
    assert left(report) == [(more, 1, reason)]
    assert said in report.routing.left_over[0].message


@pytest.mark.parametrize(
    ("sku", "other", "reason", "said"),
    [
        ("HF-FLT-10G", "HF-FLT-100P", "too-coarse", "does not serve as the filter"),
        ("HF-CLP-B-13", "HF-CLP-B-19", "wrong-size", "the hose at"),
        ("HF-CLP-B-13", "HF-CLP-W-8-16", "wrong-form", "worm drive clamp does not serve"),
        (HOSE, "HF-BLK-PTFE6C", "wrong-form", "hose socket -6 female"),
        (HOSE, "HF-HSE-8-FF", "wrong-size", "One size too large"),
        (HOSE, "HF-HSE-6-LONG", "wrong-sex", "Both ends are of one sex"),
        (HOSE, "HF-HSE-6-ORB", "wrong-seal", "The thread is the same"),
        (ADAPTER, "HF-QCN-516-B516", "reaches-one-end-only", "its other end joins nothing"),
        ("HF-BLK-R10-8", "HF-BLK-R10-10", "wrong-size", "1.59 mm too large"),
    ],
)
def test_a_part_that_is_nearly_right_is_named_with_the_nearest_reason(
    sku: str, other: str, reason: str, said: str
) -> None:
    report = judge(swapped(sku, other))
    assert report.verdict == "does-not-fit"
    assert {(each.sku, each.reason) for each in report.routing.left_over} == {(other, reason)}
    assert all(said in each.message for each in report.routing.left_over)


def test_what_the_car_keeps_as_well_is_said_to_be_kept() -> None:
    report = judge(body(keeps=["injectors", "pump"]))
    told = {each.sku: each.message for each in report.routing.left_over}
    assert told["HF-PMP-255"] == "The car keeps its own pump."
    assert "What the car keeps has its own." in told["HF-RLY-40"]


def test_an_adapter_that_may_go_on_the_car_waits_for_what_the_car_has() -> None:
    asked = body(items=[], outside=[], keeps=["rail", "injectors"])
    report = judge(asked)
    (one,) = report.routing.left_over
    assert (one.sku, one.quantity, one.reason) == (ADAPTER, 1, "not-recorded")
    assert "rail of the car" in one.message


def test_an_adapter_left_out_of_a_settled_joint_is_said_to_go_there() -> None:
    asked = body()
    asked["lines"][9]["ref"] = "short"
    asked["joints"] = [["short.a", "own-rail.inlet"]]
    report = judge(asked)
    (one,) = report.routing.left_over
    assert one.sku == ADAPTER
    assert "goes between short.a and own-rail.inlet" in one.message


def test_the_clamps_of_the_cart_go_on_its_own_hoses_first() -> None:
    """Hoses that are still to be bought get the clamps that are bought with them."""
    report = judge(swapped("HF-FLT-10G", "HF-FLT-Z5"))
    assert {frozenset(joint.ends) for joint in report.routing.joints if joint.uses} == {
        frozenset(("hf-blk-r10-8.b", "hf-tnk-mod-r.pump")),
        frozenset(("hf-pmp-255.outlet", "hf-blk-r10-8.a")),
    }
    assert "clamps-too-few" not in {finding.rule for finding in report.findings}


# What is sold by length -------------------------------------------------------------------------


def twin(length: str, vehicle: str | None = "saloon-six-single-tank") -> CartReport:
    """Two pumps in a tank: each wants a piece of hose of 0.4 m, where the vehicle says so."""
    application = {
        "fuel": "E10",
        "circuit": "return",
        "induction": "naturally-aspirated",
        "cylinders": 6,
        "base_pressure": "3 bar",
        "power": "300 kW",
        "power_at": "crank",
    }
    lines = [
        {"sku": "HF-TNK-TWIN-8"},
        {"sku": "HF-PMP-465", "quantity": 2},
        {"sku": "HF-STR-100", "quantity": 2},
        {"sku": "HF-BLK-R10-10", "length": length},
        {"sku": "HF-WIR-4", "quantity": 2, "length": "6 m"},
    ]
    return judge(
        {
            "application": application,
            "vehicle": vehicle,
            "lines": lines,
            "keeps": ["filter", "rail", "regulator", "injectors"],
        }
    )


@pytest.mark.parametrize(
    ("length", "pieces", "bought", "rest_mm"),
    [
        ("0.4 m", [400.0], 1, None),
        ("0.7 m", [700.0], 1, 300.0),
        ("0.8 m", [400.0, 400.0], 0, None),
        ("2 m", [400.0, 1600.0], 0, 1200.0),
    ],
)
def test_bulk_hose_is_cut_for_as_many_runs_as_it_reaches(
    length: str, pieces: list[float], bought: int, rest_mm: float | None
) -> None:
    report = twin(length)
    hose = "HF-BLK-R10-10"
    placed = [item.length_mm for item in report.routing.items if item.sku == hose]
    assert sorted(each or 0.0 for each in placed) == pieces
    assert offered(report)[hose] == bought
    rests = [rest.rest_mm for rest in report.routing.rests if rest.sku == hose]
    assert rests == ([] if rest_mm is None else [rest_mm])
    assert hose not in {each.sku for each in report.routing.left_over}
    origins = {
        report.routing.origins[item.ref] for item in report.routing.items if item.sku == hose
    }
    assert origins == {"/lines/3"}


def test_what_is_left_of_wire_is_named() -> None:
    (rest,) = (each for each in twin("0.8 m").routing.rests if each.sku == "HF-WIR-4")
    assert (rest.used_mm, rest.rest_mm) == (5000.0, 1000.0)


def test_without_a_stated_run_hose_is_not_cut_by_guess() -> None:
    report = twin("2 m", vehicle=None)
    assert offered(report)["HF-BLK-R10-10"] == 1
    assert report.routing.rests == ()


# What is offered --------------------------------------------------------------------------------


def test_alternatives_for_a_station_join_what_is_there() -> None:
    """A pump with another outlet or a filter with other ports would want other parts as well."""
    for sku in ("HF-PMP-255", "HF-FLT-10G", "HF-STR-100", "HF-TNK-MOD-R"):
        (completion,) = judge(without(sku)).routing.completion
        ends = [
            {end for joint in option.joints for end in joint.ends if "hf-" in end}
            - {
                f"{part.ref}.{port.id}"
                for part in option.parts
                for port in SHOP.parts[part.sku].ports
            }
            for option in completion.options
        ]
        assert ends[0]
        assert all(each == ends[0] for each in ends)


def test_a_missing_station_is_named_with_its_place() -> None:
    (missing,) = judge(without("HF-FLT-10G")).routing.unfilled
    assert missing.between == ("hf-hse-6-ff-1.b", "hf-hse-6-ff-2.a")
    assert all(end in missing.message for end in missing.between)
    assert "10 um microglass" in missing.message


def test_a_part_that_nothing_joins_is_offered_in_exchange() -> None:
    report = judge(swapped("HF-STR-100", "HF-STR-PICKUP"))
    (completion,) = report.routing.completion
    (option,) = completion.options
    assert [part.sku for part in option.parts] == ["HF-STR-100"]
    assert option.in_place_of == ("hf-str-pickup",)
    assert report.completed_verdict == "fits"


def test_a_module_without_a_return_is_named_in_a_return_circuit() -> None:
    asked = body()
    asked["application"]["circuit"] = "return"
    report = judge(asked)
    told = {each.id: each for each in report.routing.unfilled}["regulator-to-module"]
    assert told.between == ("hf-tnk-mod-r",)
    assert "no port for it" in told.message
    assert "HF-TNK-MOD-1" in told.message
    assert report.completed_verdict == "does-not-fit"


def test_a_place_that_nothing_sold_fills_is_never_said_to_fit_once_completed() -> None:
    bare = catalogue(
        1,
        [
            part.model_copy(update={"lifecycle": "discontinued"})
            if part.sku == "HF-BLK-R10-8"
            else part
            for part in SHOP
        ],
    )
    asked = without("HF-BLK-R10-8", "HF-RLY-40")
    report = check_cart(Cart.model_validate(asked), bare, BOOK, TEMPLATES)
    assert offered(report)["HF-RLY-40"] == 1
    assert report.completed_verdict == "does-not-fit"


def test_joints_that_lead_elsewhere_are_said_to() -> None:
    asked = body()
    named = {0: "module", 7: "long", 8: "filter", 9: "short", 14: "coupler"}
    for place, ref in named.items():
        asked["lines"][place]["ref"] = ref
    asked["lines"][14]["quantity"] = 1
    asked["lines"].append({"sku": ADAPTER})
    asked["joints"] = [
        ["module.feed", "coupler.a"],
        ["coupler.b", "long.a"],
        ["long.b", "filter.outlet"],
        ["short.a", "filter.inlet"],
    ]
    report = judge(asked)
    assert "flow-direction-reversed" in {finding.rule for finding in report.findings}
    messages = [each.message for each in report.routing.unfilled]
    assert any(each.startswith("What is joined already leads module.feed") for each in messages)
    assert not any("Nothing in the catalogue" in each for each in messages)


@pytest.mark.parametrize("part", list(SHOP), ids=lambda part: part.sku)
def test_a_cart_of_one_part_gets_an_answer(part: Component) -> None:
    """Whatever it is: the rest of a circuit is missing, or it has no place in one."""
    asked = {"application": HATCH.body["application"], "lines": [{"sku": part.sku}]}
    report = judge(asked)
    assert report.verdict == "does-not-fit"
    placed = {item.sku for item in report.routing.items}
    named = {each.sku for each in report.routing.left_over}
    assert part.sku in placed | named
    assert report.routing.unfilled


def test_a_cart_of_one_part_that_is_all_there_is() -> None:
    shop = catalogue(1, [SHOP.parts["HF-RLY-40"]])
    asked = {"application": {"fuel": "E10"}, "lines": [{"sku": "HF-RLY-40"}]}
    report = check_cart(Cart.model_validate(asked), shop, BOOK, TEMPLATES)
    assert report.verdict == "does-not-fit"
    assert report.completed_verdict is None
    assert left(report) == [("HF-RLY-40", 1, "not-needed")]


# Cars -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("vehicle", ["coupe-four-saddle-tank", "pickup-v8-steel-lines"])
def test_the_return_line_of_a_car_is_no_feed_line(vehicle: str) -> None:
    """A circuit without a return goes through the car's feed line and leaves the other alone."""
    report = judge(body(vehicle=vehicle))
    refs = {end.partition(".")[0] for joint in report.routing.joints for end in joint.ends}
    for completion in report.routing.completion:
        ends = (end for joint in completion.options[0].joints for end in joint.ends)
        refs |= {end.partition(".")[0] for end in ends}
    assert "car-feed-line" in refs
    assert "car-return-line" not in refs
    unused = {each.port: each.to for each in report.routing.assumed if "not used" in each.to}
    assert set(unused) == {"car-return-line.a", "car-return-line.b"}
    told = {port for finding in report.findings for port in finding.subject.ports}
    assert not told & unused.keys()


def test_a_saddle_tank_is_looked_at() -> None:
    """Its jet is no station of the circuits: the rule book says that nothing drives it."""
    report = judge(body(vehicle="coupe-four-saddle-tank"))
    rules = {finding.rule for finding in report.findings}
    assert "saddle-tank-jet-without-drive" in rules
    assert report.completed_verdict == "does-not-fit"


def test_a_part_that_no_circuit_models_asks_for_its_joints() -> None:
    report = judge(with_more({"sku": "HF-JET-1"}))
    (one,) = report.routing.left_over
    assert (one.sku, one.reason) == ("HF-JET-1", "not-recorded")
    assert "settle its joints" in one.message


def test_a_makeshift_that_the_book_objects_to_is_no_offer() -> None:
    """Nylon tube goes on a barb of either size, and no clamp holds it there."""
    report = judge(swapped("HF-PMP-255", "HF-PMP-465"))
    assert "HF-BLK-PA-8" not in offered(report)
    told = {each.id: each.message for each in report.routing.unfilled}["pump-to-module"]
    assert "Nothing in the catalogue leads from hf-pmp-465.outlet (3/8 barb)" in told
    assert report.verdict == "does-not-fit"


# A rail and injectors of the shop's -------------------------------------------------------------


def with_rail(injector: str, quantity: int = 4, **application: Any) -> dict[str, Any]:
    """The cart with a rail of the shop's in place of the car's own."""
    asked = body(items=[], outside=[], keeps=[])
    asked["application"] = {**asked["application"], **application}
    asked["lines"][-1]["quantity"] = 1
    skus = ["HF-RAIL-I4", "HF-ADP-ORB8-JIC6M", "HF-PLG-ORB8", "HF-PLG-ORB4", "HF-FST-M8"]
    asked["lines"] += [{"sku": sku} for sku in skus]
    if quantity:
        asked["lines"].append({"sku": injector, "quantity": quantity})
    asked["lines"].append({"sku": "HF-TRM-INJ", "quantity": 4})
    return asked


def test_a_cart_with_a_rail_and_its_injectors_fits() -> None:
    report = judge(with_rail("HF-INJ-380"))
    assert (report.verdict, report.routing.left_over) == ("fits", ())


def test_injectors_that_are_too_small_are_told() -> None:
    report = judge(with_rail("HF-INJ-380", power="250 kW"))
    assert report.verdict == "does-not-fit"
    assert "injectors-too-small" in {finding.rule for finding in report.findings}


@pytest.mark.parametrize(("power", "sku"), [("110 kW", "HF-INJ-380"), ("250 kW", "HF-INJ-550")])
def test_missing_injectors_are_offered_for_the_power(power: str, sku: str) -> None:
    report = judge(with_rail(sku, quantity=0, power=power))
    assert offered(report) == {sku: 4}
    assert report.completed_verdict == "fits"


def test_one_injector_short_and_two_too_many() -> None:
    assert offered(judge(with_rail("HF-INJ-380", quantity=3))) == {"HF-INJ-380": 1}
    assert left(judge(with_rail("HF-INJ-380", quantity=6))) == [
        ("HF-INJ-380", 2, "more-than-needed")
    ]


def test_plugs_stay_with_injectors_of_which_little_is_recorded() -> None:
    report = judge(with_rail("HF-INJ-U"))
    assert report.routing.left_over == ()
    assert report.verdict == "cannot-tell"


def test_a_plug_is_not_measured_against_a_port_that_waits_for_a_line() -> None:
    """In a return circuit the far end of the rail leads on, and the plug has nothing to close."""
    asked = with_rail("HF-INJ-380", circuit="return")
    for line in asked["lines"]:
        line["sku"] = "HF-TNK-MOD-1" if line["sku"] == "HF-TNK-MOD-R" else line["sku"]
    report = judge(asked)
    plug = next(each for each in report.routing.left_over if each.sku == "HF-PLG-ORB8")
    assert (plug.reason, plug.message) == ("not-needed", "No port is left for it to close.")
    assert "HF-REG-2" in offered(report)
