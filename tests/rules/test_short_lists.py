"""Lists that renew a part of a system, and attributes that only seem to be missing."""

from collections.abc import Mapping, Sequence
from typing import Any

import pytest

from rules.assembly import Request
from rules.catalogue import catalogue
from rules.check import check, load_rules
from rules.report import Finding, Report
from seed_data import demo_components, demo_vehicles

BOOK = load_rules()
SHOP = catalogue(1, demo_components(), demo_vehicles())

RETURN = {
    "fuel": "E10",
    "induction": "naturally-aspirated",
    "cylinders": 6,
    "base_pressure": "3 bar",
    "circuit": "return",
    "pump_control": "engine-running-interlock",
}
PUMP = {"ref": "pump", "sku": "HF-PMP-255"}
STRAINER = {"ref": "strainer", "sku": "HF-STR-100"}


def judged(
    items: Sequence[Mapping[str, Any]],
    joints: Sequence[Any] = (),
    outside: Mapping[str, str] | None = None,
    app: Mapping[str, Any] = RETURN,
    **more: Any,
) -> Report:
    goes_on = [{"port": port, "to": to} for port, to in (outside or {}).items()]
    body = {"application": app, "items": items, "joints": joints, "outside": goes_on, **more}
    return check(Request.model_validate(body), SHOP, BOOK)


def rules_of(report: Report, *severities: str) -> set[str]:
    return {f.rule for f in report.findings if not severities or f.severity in severities}


def finding(report: Report, rule: str) -> Finding:
    (found,) = (f for f in report.findings if f.rule == rule)
    return found


class TestListsThatGoOnInTheCar:
    def test_a_pump_alone_is_not_asked_for_a_regulator(self) -> None:
        report = judged(
            [PUMP, STRAINER],
            [["strainer.outlet", "pump.inlet"]],
            {"pump.outlet": "hose of the module"},
        )
        assert "return-circuit-without-regulator" not in rules_of(report)
        assert "regulator of the return circuit" in {n.what for n in report.not_checked}

    def test_a_whole_list_is(self) -> None:
        report = judged([PUMP, STRAINER], [["strainer.outlet", "pump.inlet"]])
        assert "return-circuit-without-regulator" in rules_of(report, "error")

    def test_a_reference_hose_to_the_car_does_not_excuse_it(self) -> None:
        hose = {"ref": "hose", "sku": "HF-HSE-6-LONG", "line": "reference"}
        report = judged([PUMP, STRAINER, hose], outside={"hose.a": "manifold"})
        assert "return-circuit-without-regulator" in rules_of(report, "error")

    def test_a_module_whose_regulator_nobody_recorded_leaves_it_open(self) -> None:
        module = {
            "ref": "module",
            "component": {"name": "module", "kind": "tank-module", "wetted": []},
        }
        report = judged([module, PUMP, STRAINER])
        left = next(
            f for f in report.findings if "return-circuit-without-regulator" in f.open_rules
        )
        assert left.could_be == "error"
        assert left.message == "Not recorded: built-in regulator of the tank module."

    def test_parts_for_a_known_car_are_not_asked_for_all_its_hoses(self) -> None:
        filter_only = [{"ref": "filter", "sku": "HF-FLT-10G", "line": "feed"}]
        report = judged(
            filter_only,
            outside={"filter.inlet": "feed", "filter.outlet": "feed"},
            vehicle="saloon-six-single-tank",
        )
        assert "hose-shorter-than-the-runs" not in rules_of(report)

    def test_one_hose_that_joins_lines_of_the_car_is_not_short(self) -> None:
        hose = [{"ref": "hose", "sku": "HF-HSE-6-LONG", "length": "1 m", "line": "feed"}]
        kept = judged(
            hose, outside={"hose.a": "old line", "hose.b": "rail"}, vehicle="saloon-six-single-tank"
        )
        assert "hose-shorter-than-the-runs" not in rules_of(kept)
        assert "hose-shorter-than-the-runs" in rules_of(
            judged(hose, vehicle="saloon-six-single-tank")
        )

    def test_a_pump_that_draws_from_the_car_may_have_a_strainer_there(self) -> None:
        pump = {"ref": "pump", "sku": "HF-PMP-EXT-300"}
        drawing = judged([pump], outside={"pump.inlet": "tank outlet"})
        assert finding(drawing, "pump-without-strainer").severity == "unknown"
        assert finding(judged([pump]), "pump-without-strainer").severity == "warning"

    def test_a_hose_below_the_pumps_limit_hangs_on_a_regulator_that_may_be_in_the_car(self) -> None:
        def with_hose(**outside: str) -> Report:
            hose = {
                "ref": "hose",
                "component": {
                    "name": "hose",
                    "kind": "hose-assembly",
                    "ports": [
                        {"id": "a", "role": "either", "connection": "-6 JIC female"},
                        {"id": "b", "role": "either", "connection": "-6 JIC female"},
                    ],
                    "wetted": [],
                    "working_pressure": "5 bar",
                },
            }
            return judged(
                [{"ref": "pump", "sku": "HF-PMP-340"}, hose],
                [["pump.outlet", "hose.a"]],
                {port.replace("_", "."): to for port, to in outside.items()},
                {**RETURN, "circuit": "unstated"},
            )

        rule = "working-pressure-below-pump-limit"
        assert rule in rules_of(with_hose(), "error")
        assert rule not in rules_of(with_hose(hose_b="filter of the car"))


def hose(**ends: Mapping[str, Any]) -> dict[str, Any]:
    ports = [
        {"id": name, "role": "either", "connection": "-6 JIC male", "swivel": False, **end}
        for name, end in ends.items()
    ]
    component = {"name": "hose", "kind": "hose-assembly", "ports": ports, "wetted": []}
    return {"ref": "hose", "component": component, "line": "feed"}


UNRECORDED = {"swivel": None, "angle": None}
NUT = {"connection": "-6 JIC female", "swivel": None}


class TestEndsThatTurn:
    RULE = "hose-without-swivel-end"

    def test_two_fixed_ends(self) -> None:
        assert self.RULE in rules_of(judged([hose(a={}, b={})]), "error")

    def test_two_ends_that_nobody_recorded(self) -> None:
        report = judged([hose(a=UNRECORDED, b=UNRECORDED)])
        assert finding(report, self.RULE).message == "Not recorded: swivel ends of hose."

    @pytest.mark.parametrize("known", [{"swivel": True}, NUT])
    def test_one_that_turns_is_enough_whatever_the_other(self, known: dict[str, Any]) -> None:
        assert self.RULE not in rules_of(judged([hose(a=known, b=UNRECORDED)]))

    def test_a_nut_that_is_recorded_as_fixed_is_fixed(self) -> None:
        fixed = {**NUT, "swivel": False}
        assert self.RULE in rules_of(judged([hose(a=fixed, b=fixed)]), "error")

    def test_an_adapter_that_turns_on_the_end_is_enough(self) -> None:
        adapter = {"ref": "adapter", "sku": "HF-ADP-ORB6-JIC6"}
        report = judged([hose(a={}, b={}), adapter], [["hose.b", "adapter.b"]])
        assert self.RULE not in rules_of(report)

    def test_the_thread_in_a_rail_does_not_turn(self) -> None:
        stud = {"connection": "-6 ORB male"}
        rail = {"ref": "rail", "sku": "HF-RAIL-I6"}
        report = judged([hose(a=stud, b={}), rail], [["hose.a", "rail.inlet"]])
        assert self.RULE in rules_of(report, "error")


class TestAngledEnds:
    RULE = "angled-ends-not-clocked"

    def test_one_straight_end_settles_it(self) -> None:
        straight = {"angle": "0 deg"}
        assert self.RULE not in rules_of(judged([hose(a=straight, b=UNRECORDED)]))

    def test_one_angled_end_does_not(self) -> None:
        report = judged([hose(a={"angle": "45 deg"}, b=UNRECORDED)])
        assert finding(report, self.RULE).message == "Not recorded: angle of the ends of hose."

    def test_two_angled_ends(self) -> None:
        bent = {"angle": "90 deg"}
        assert self.RULE in rules_of(judged([hose(a=bent, b=bent)]), "warning")


class TestWhatIsSuggested:
    def test_only_what_the_list_lacks_and_by_size(self) -> None:
        terminals = {"ref": "terminals", "sku": "HF-TRM-PMP"}
        report = judged([PUMP, STRAINER, terminals], outside={"pump.outlet": "module"})
        lacking = finding(report, "needs-not-in-list")
        assert lacking.message == (
            "The list lacks 1 x relay, 1 x 15 A fuse, 1 x 2.5 mm2 wire for pump."
        )
        assert [(s.sku, s.quantity) for s in lacking.remedy.add] == [
            ("HF-FUS-15", 1),
            ("HF-RLY-40", 1),
            ("HF-WIR-2.5", 1),
        ]

    def test_a_pump_of_varying_speed_gets_a_relay_without_contacts(self) -> None:
        report = judged(
            [PUMP, STRAINER],
            outside={"pump.outlet": "module"},
            app={**RETURN, "pump_control": "speed-controlled"},
        )
        suggested = {s.sku for s in finding(report, "needs-not-in-list").remedy.add}
        assert suggested & {"HF-RLY-40", "HF-RLY-SS-30"} == {"HF-RLY-SS-30"}


class TestOneCauseOneFinding:
    def test_a_joint_that_cannot_seal_is_not_asked_about_besides(self) -> None:
        pipe = {"connection": {"system": "npt", "size": "7/8", "gender": "female"}}
        report = judged(
            [hose(a=pipe, b=NUT), {"ref": "filter", "sku": "HF-FLT-10G"}],
            [["hose.a", "filter.inlet"]],
        )
        about_it = {f.rule for f in report.findings if f.subject.about == "joint"}
        assert about_it == {"no-reading-of-the-joint-seals"}

    def test_a_pressure_that_nobody_stated_is_asked_for_once(self) -> None:
        app = {name: value for name, value in RETURN.items() if name != "base_pressure"}
        qc = {"connection": "3/8 quick connect male"}
        connector = {"connection": "3/8 quick connect female"}
        other = {**hose(c=connector, d=NUT), "ref": "other"}
        report = judged([hose(a=qc, b=NUT), other], [["hose.a", "other.c"]], app=app)
        asked = [f for f in report.findings if "pressure" in f.message and "appl" in f.message]
        assert [f.message for f in asked] == ["Not recorded: base pressure of the application."]
        assert asked[0].remedy.text == "State the base pressure in the request."


@pytest.mark.parametrize(
    ("fuel", "charges"),
    [("E0", True), ("E10", True), ("flex", True), ("E85", False), ("M85", False), ("M100", False)],
)
def test_only_petrol_charges_a_plain_liner(fuel: str, charges: bool) -> None:
    line = {
        "ref": "hose",
        "component": {
            "name": "hose",
            "kind": "bulk-hose",
            "wetted": [{"part": "liner", "material": "ptfe"}],
        },
        "line": "feed",
    }
    report = judged([line], app={"fuel": fuel})
    assert ("plain-ptfe-gathers-static" in rules_of(report, "warning")) is charges
