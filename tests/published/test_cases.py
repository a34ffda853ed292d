"""Questions that people of the trade met, each as the assembly it becomes and the answer it gets.

`cases.jsonl` holds all 83 of them: the situation, the right answer and its reason, shortened; the
number where one is given; where it comes from, how sure it is and whether a standard, physics or
common practice decides. `case_assemblies/` holds what each becomes: requests as a caller posts
them, and texts as a shop's data holds them. What stands first is the question itself, the rest what
the answer says besides ("with the right adapter it fits"). A check lists every error, every warning
and everything not recorded that the report may hold, so that only the case's own fault decides;
`stock.json` has the sound parts around it.

What the assemblies assume, where a case is silent:

- petrol of which nothing else is said may hold up to 10 % ethanol: `E10`;
- base pressure 43.5 psi (3 bar) and an engine without boost;
- parts that the case does not speak of are sound: stainless or hard anodised, fluororubber seals,
  pressure ratings far above what they see; an ethanol sensor is there on E85.
"""

import json
import math
import random
from pathlib import Path

import pytest

from rules.assembly import Request, Vehicle
from rules.catalogue import catalogue, lookup_key
from rules.check import AssemblyFaults, check, load_rules
from rules.circuit import place
from rules.facts.application import application_facts
from rules.fuel import (
    Blend,
    injector_pressure_difference_kpa,
    rail_pressure_kpa,
    static_flow_at_pressure_cc_min,
)
from rules.parts import read_component
from rules.quantities import convert
from rules.reading import read
from rules.reference import End, mate, reference
from rules.report import Report, Suggestion

HERE = Path(__file__).parent
CASES = {
    case["id"]: case
    for case in map(json.loads, (HERE / "cases.jsonl").read_text(encoding="utf-8").splitlines())
}
ASSEMBLIES = {
    path.stem: json.loads(path.read_text(encoding="utf-8"))
    for path in sorted((HERE / "case_assemblies").glob("FC-*.json"))
}
STOCK = [
    read_component(part)
    for part in json.loads((HERE / "case_assemblies" / "stock.json").read_text(encoding="utf-8"))
]
BOOK = load_rules()

# How carts and data behave: asked in tests of their own below.
BEHAVIOUR = {"FC-087", "FC-088", "FC-091", "FC-092", "FC-093", "FC-094", "FC-096", "FC-101"}

# What flows is asked in `test_flow_cases.py`; `test_every_case.py` sees to it that each is.
OF_FLOW = {
    *("FC-053", "FC-054", "FC-056", "FC-057", "FC-058", "FC-060", "FC-062", "FC-064"),
    *("FC-065", "FC-068", "FC-078", "FC-079", "FC-106", "FC-107"),
}

WIRING = "needs current, wire, relay and terminals, which are not judged yet"
SYMPTOM = "asks what failed in a running car from a gauge; a check judges a list of parts"

NOT_COVERED = {
    "FC-063": SYMPTOM,
    "FC-075": SYMPTOM,
    "FC-081": WIRING,
    "FC-082": WIRING,
    "FC-083": WIRING,
    "FC-084": WIRING,
    "FC-085": WIRING,
}

ANSWERS = {
    "reject": {"does-not-fit"},
    "warn": {"fits-with-cautions", "cannot-tell"},
    "needs-information": {"cannot-tell"},
    "ok": {"fits", "fits-with-cautions"},
}


def shop(case_id: str):
    vehicles = ASSEMBLIES.get(case_id, {}).get("vehicles", [])
    return catalogue(1, STOCK, [Vehicle.model_validate(vehicle) for vehicle in vehicles])


def judged(case_id: str, place_in_list: int = 0) -> Report:
    given = ASSEMBLIES[case_id]["checks"][place_in_list]["request"]
    return check(Request.model_validate(given), shop(case_id), BOOK)


def of_severity(report: Report, severity: str):
    return [finding for finding in report.findings if finding.severity == severity]


def evidence(report: Report, rule: str, fact: str, of: str):
    """The value of a fact that a finding of the rule rests on."""
    found = [
        because
        for finding in report.findings
        if finding.rule == rule
        for because in finding.because
        if because.fact == fact and of in because.of
    ]
    assert found, f"no finding of `{rule}` rests on `{fact}` of `{of}`"
    return found[0]


# The answers -----------------------------------------------------------------------------------


def test_each_behaviour_has_a_test_of_its_own():
    tests = [name for name in globals() if name.startswith("test_")]
    for case_id in BEHAVIOUR:
        assert any(name.endswith(case_id.lower().replace("-", "_")) for name in tests), case_id


def test_the_answer_of_each_case_is_the_one_asked_for():
    for case_id, assembly in ASSEMBLIES.items():
        verdict = CASES[case_id]["verdict"]
        if next(iter(assembly)) == "readings":  # the question is about a text
            assert (verdict, assembly["readings"][0]["certainty"]) == (
                "needs-information",
                "ambiguous",
            )
            continue
        asked = assembly["checks"][0]
        assert asked["verdict"] in ANSWERS[verdict], case_id
        if verdict in ("warn", "ok"):
            assert not asked["errors"], case_id
        if verdict == "ok":
            assert not asked["unknowns"], case_id


# Assemblies -----------------------------------------------------------------------------------


CHECKS = [
    pytest.param(case_id, index, asked, id=f"{case_id}-{index}")
    for case_id, assembly in ASSEMBLIES.items()
    for index, asked in enumerate(assembly.get("checks", []))
]


@pytest.mark.parametrize(("case_id", "index", "asked"), CHECKS)
def test_an_assembly_gets_the_answer_of_its_case(case_id, index, asked):
    report = judged(case_id, index)

    assert sorted(f.rule for f in of_severity(report, "error")) == sorted(asked["errors"])
    assert sorted(f.rule for f in of_severity(report, "warning")) == sorted(asked["warnings"])
    unknown = sorted(
        (f.because[0].fact, sorted(b.of for b in f.because)) for f in of_severity(report, "unknown")
    )
    asked_for = sorted((u["what"], sorted(u["of"])) for u in asked["unknowns"])
    assert unknown == asked_for
    assert report.verdict == asked["verdict"]
    if "notes" in asked:
        assert sorted(f.rule for f in of_severity(report, "note")) == sorted(asked["notes"])
    for wanted in asked.get("because", []):
        found = evidence(report, wanted["rule"], wanted["fact"], wanted["of"])
        if isinstance(wanted["value"], str):
            assert found.value == wanted["value"]
        else:
            assert found.value == pytest.approx(wanted["value"], rel=2e-3)
            assert found.unit == wanted.get("unit")
    for rule, ports in asked.get("ports", {}).items():
        told = [p for f in report.findings if f.rule == rule for p in f.subject.ports]
        assert sorted(told) == sorted(ports)
    for rule, refs in asked.get("refs", {}).items():
        assert [f.subject.refs for f in report.findings if f.rule == rule] == [tuple(refs)]
    told = " ".join(f.explanation for f in report.findings)
    for words in asked.get("says_words", []):
        assert words in told


@pytest.mark.parametrize(
    ("case_id", "words"),
    [("FC-026", ("paint", "heat cycle")), ("FC-027", ("leak-check", "idle", "drive"))],
)
def test_a_right_cart_says_how_to_assemble_and_prove_it(case_id, words):
    told = " ".join(judged(case_id).cautions)

    assert all(word in told for word in words)


# Texts ----------------------------------------------------------------------------------------


READINGS = [
    pytest.param(asked, id=f"{case_id}: {asked['kind']} {asked['text']}")
    for case_id, assembly in ASSEMBLIES.items()
    for asked in assembly.get("readings", [])
]


@pytest.mark.parametrize("asked", READINGS)
def test_a_text_is_read_as_its_case_says(asked):
    found = read(asked["kind"], asked["text"])

    assert found.certainty == asked["certainty"]
    assert (found.question is None) == (asked["certainty"] == "certain")
    if "canonical" in asked:
        assert found.canonical == asked["canonical"]
    if asked["certainty"] == "ambiguous":
        assert found.canonical is None
    assert set(asked.get("labels", [])) <= {option.label for option in found.readings}


# Numbers --------------------------------------------------------------------------------------


def sizes_where_the_wrong_seat_threads() -> int:
    sizes = set(reference().sizes("flare-45")) & set(reference().sizes("flare-37"))
    matings = (
        mate(End("flare-37", size, "male"), End("flare-45", size, "female")) for size in sizes
    )
    return sum((m.verdict, m.reason) == ("threads-no-seal", "seat") for m in matings)


def pitch_step_mm(one: tuple[str, str], other: tuple[str, str]) -> float:
    return abs(reference().thread(*one).pitch_mm - reference().thread(*other).pitch_mm)


def open_ports_of_the_rail() -> int:
    ports = {p for f in judged("FC-013").findings for p in f.subject.ports}
    return sum(port.startswith("rail.") for port in ports)


def peak_pressure_psi() -> float:
    given = Request.model_validate(ASSEMBLIES["FC-018"]["checks"][0]["request"])
    facts = application_facts(place(given, shop("FC-018")))
    return convert(facts.peak_pressure_kpa, "kPa", "psi")


def pressure_gap_psi(case_id: str, rule: str, above: tuple[str, str], below: tuple[str, str]):
    report = judged(case_id)
    high, low = (evidence(report, rule, fact, of) for fact, of in (above, below))
    return convert(high.value - low.value, "bar", "psi")


def methanol_volume_to_petrol() -> float:
    petrol, methanol = Blend(0.0), Blend(0.0, 100.0)
    by_mass = petrol.stoichiometric_ratio / methanol.stoichiometric_ratio
    return by_mass * petrol.density_kg_m3(15.0) / methanol.density_kg_m3(15.0)


def lambda_of_a_winter_map_on_summer_fuel() -> float:
    weak, strong = Blend(51.0), Blend(85.0)
    return weak.stoichiometric_ratio / strong.stoichiometric_ratio


def factor_between_readings(kind: str, text: str) -> float:
    low, high = sorted(float(option.canonical) for option in read(kind, text).readings)
    return high / low


def disagreement_percent() -> float:
    options = [option.canonical for option in read("quantity", "10 mm (3/8 in)").readings]
    low, high = sorted(convert(o["value"], o["unit"], "mm") for o in options)
    return 100 * (high / low - 1)


def flow_without_reference() -> float:
    boost = evidence(judged("FC-109"), "regulator-reference-open", "boost", "the application")
    base_kpa, boost_kpa = convert(43.5, "psi", "kPa"), convert(boost.value, "bar", "kPa")
    rail_kpa = rail_pressure_kpa(base_kpa, boost_kpa, reference_ratio=0)
    across_kpa = injector_pressure_difference_kpa(rail_kpa, boost_kpa)
    return static_flow_at_pressure_cc_min(1.0, base_kpa, across_kpa)


def missing_pigtails() -> int:
    told = evidence(judged("FC-110", 1), "needs-not-in-list", "missing needs", "injectors")
    count, _, what = told.value.partition(" x ")
    assert what == "terminal"
    return int(count)


NUMBERS = {
    "FC-005": sizes_where_the_wrong_seat_threads,
    "FC-006": lambda: pitch_step_mm(("metric-flat", "M14x1.5"), ("orb", "-6")),
    "FC-007": lambda: pitch_step_mm(("npt", "1/8"), ("bspt", "1/8")),
    "FC-012": lambda: evidence(judged("FC-012"), "quick-connect-forms-differ", "gap", "").value,
    "FC-013": open_ports_of_the_rail,
    "FC-018": peak_pressure_psi,
    "FC-021": lambda: evidence(judged("FC-021"), "hose-loose-or-tight-on-barb", "gap", "").value,
    "FC-031": lambda: pressure_gap_psi(
        "FC-031",
        "hose-class-not-for-injection",
        ("pressure it sees", "hose"),
        ("pressure of its class", "hose"),
    ),
    "FC-037": methanol_volume_to_petrol,
    "FC-041": lambda_of_a_winter_map_on_summer_fuel,
    "FC-048": lambda: len(of_severity(judged("FC-048"), "error")),
    "FC-049": lambda: pressure_gap_psi(
        "FC-049",
        "working-pressure-below-peak",
        ("pressure it sees", "filter"),
        ("working pressure", "filter"),
    ),
    "FC-052": lambda: (
        evidence(judged("FC-052", 1), "filter-coarser-than-asked", "fineness asked for", "").value
    ),
    "FC-077": lambda: pressure_gap_psi(
        "FC-077",
        "pump-relief-below-peak",
        ("peak fuel pressure", "the application"),
        ("relief pressure", "pump"),
    ),
    "FC-089": lambda: factor_between_readings("number", "1,000"),
    "FC-108": lambda: len(judged("FC-108", 1).findings[0].subject.ports),
    "FC-109": flow_without_reference,
    "FC-110": missing_pigtails,
    "FC-113": lambda: (
        evidence(judged("FC-113"), "hose-shorter-than-the-runs", "short by", "").value
    ),
    "FC-114": disagreement_percent,
    "FC-115": lambda: 8 - reference().quick_connect_form("5/16").diameter_mm,
}

IN_FLOW = "a figure of the flow, asked in `test_flow_cases.py`"

NUMBER_NOT_ASKED = {
    "FC-001": "a pair of threads, asked as evidence of the finding",
    "FC-002": "no table says which ports a bore is found behind",
    "FC-011": "the force on a connector is not computed; its retention is judged",
    "FC-028": "no life in years is computed; the finding says that the hose has one",
    "FC-029": "the life of two hoses that failed, no property of a list",
    "FC-030": "what a hose lets through is not computed; its class is judged",
    "FC-039": "one laboratory's growth of one ring",
    "FC-070": IN_FLOW,
    "FC-094": "no stock is held here",
    "FC-099": "how far two agreeing values are apart is not told; a wider gap is asked as a text",
    "FC-104": IN_FLOW,
    "FC-116": IN_FLOW,
}

# The figure is the case's own rounding of seasonal or typical values.
ROUGH = {"FC-037": 0.03, "FC-041": 0.01}


def test_every_number_is_asked_or_said_why_not():
    elsewhere = OF_FLOW | NOT_COVERED.keys()
    with_number = {i for i, case in CASES.items() if case["number"] and i not in elsewhere}

    assert NUMBERS.keys() | NUMBER_NOT_ASKED.keys() == with_number
    assert not NUMBERS.keys() & NUMBER_NOT_ASKED.keys()


@pytest.mark.parametrize("case_id", NUMBERS)
def test_the_number_of_a_case_comes_out(case_id):
    stated = CASES[case_id]["number"]["value"]
    digits = len(str(stated).partition(".")[2])
    rounding = 0.51 * 10**-digits

    found = NUMBERS[case_id]()

    assert math.isclose(found, stated, abs_tol=rounding, rel_tol=ROUGH.get(case_id, 0.0)), found


# Carts and data -------------------------------------------------------------------------------


def clip(sku: str):
    return read_component({"kind": "clamp", "name": "A clip", "sku": sku})


def asking_for(sku: str) -> dict:
    return {"application": {"fuel": "E10"}, "items": [{"ref": "clip", "sku": sku}]}


def test_a_blank_makes_no_other_part_and_look_alikes_are_named_fc_087():
    assert lookup_key("FTG-6-90 ") == lookup_key("FTG\u20116\u201190") == lookup_key("ftg-6-90")
    both = catalogue(1, [clip("FTG-6-90"), clip("FTG.6.90")])
    blank, plain = (
        check(Request.model_validate(asking_for(sku)), both, BOOK)
        for sku in ("FTG-6-90 ", "FTG-6-90")
    )
    assert blank == plain
    with pytest.raises(AssemblyFaults) as refused:
        check(Request.model_validate(asking_for("FTG_6_90")), both, BOOK)
    (fault,) = refused.value.faults
    assert fault.found == "FTG_6_90"
    assert "`FTG-6-90`, `FTG.6.90`" in fault.expected
    assert read("sku", "FTG-6-90 ").canonical == "FTG-6-90"


@pytest.mark.parametrize(("written", "known"), [("17", "0017"), ("90.75", "90.750")])
def test_a_part_number_that_lost_its_zeros_is_no_match_and_is_named_fc_088(written, known):
    with pytest.raises(AssemblyFaults) as refused:
        check(Request.model_validate(asking_for(written)), catalogue(1, [clip(known)]), BOOK)

    (fault,) = refused.value.faults
    assert (fault.pointer, fault.found) == ("/items/0/sku", written)
    assert f"`{known}`" in fault.expected
    assert read("sku", known).canonical == known


def cart(case_id: str = "FC-116", index: int = 0) -> dict:
    return json.loads(json.dumps(ASSEMBLIES[case_id]["checks"][index]["request"]))


def fingerprint(request: dict, revision: int = 1) -> str:
    return check(Request.model_validate(request), catalogue(revision, STOCK), BOOK).fingerprint


def test_a_verdict_belongs_to_the_exact_cart_fc_091():
    as_checked, longer, shuffled = cart(), cart(), cart()
    longer["items"].append({"ref": "late", "sku": "CLAMP-13"})
    random.Random(7).shuffle(shuffled["items"])
    random.Random(7).shuffle(shuffled["joints"])

    assert fingerprint(longer) != fingerprint(as_checked)
    assert fingerprint(as_checked, revision=2) != fingerprint(as_checked)
    assert fingerprint(shuffled) == fingerprint(as_checked)


def test_every_outcome_has_one_shape_fc_092():
    reports = [
        judged(case_id, index)
        for case_id, index in (("FC-116", 0), ("FC-021", 0), ("FC-001", 0), ("FC-115", 0))
    ]

    assert {report.verdict for report in reports} == {
        "fits",
        "fits-with-cautions",
        "does-not-fit",
        "cannot-tell",
    }
    bodies = [report.model_dump(mode="json") for report in reports]
    assert len({tuple(body) for body in bodies}) == 1
    assert len({tuple(finding) for body in bodies for finding in body["findings"]}) == 1


def test_six_hoses_of_one_fault_are_one_finding_fc_093():
    request = cart("FC-031", 0)
    hose = request["items"][0]
    request["items"] = [{**hose, "ref": f"hose-{n}"} for n in range(1, 7)] + request["items"][1:]
    request["outside"] = [
        {"port": f"hose-{n}.{end}", "to": "the car"} for n in range(1, 7) for end in "ab"
    ] + [entry for entry in request["outside"] if not entry["port"].startswith("hose.")]
    turned = {**request, "items": request["items"][::-1]}

    report, again = (
        check(Request.model_validate(r), catalogue(1, STOCK), BOOK) for r in (request, turned)
    )

    hoses = tuple(f"hose-{n}" for n in range(1, 7))
    errors = [f for f in report.findings if f.severity == "error"]
    assert [f.rule for f in errors] == ["hose-class-not-for-injection"]
    assert {f.subject.refs for f in errors} == {hoses}
    order = ["error", "unknown", "warning", "note"]
    ranks = [order.index(f.severity) for f in report.findings]
    assert ranks == sorted(ranks)
    assert [(f.rule, f.subject.refs) for f in again.findings] == [
        (f.rule, f.subject.refs) for f in report.findings
    ]


def test_a_suggestion_promises_no_stock_fc_094():
    request = cart("FC-013", 0)
    report = check(Request.model_validate(request), catalogue(41, STOCK), BOOK)

    suggested = [s for f in report.findings for s in f.remedy.add]
    assert "PLUG-ORB8" in {s.sku for s in suggested}
    fields = {"sku", "quantity", "name", "replaces", "between", "needs"}
    assert set(Suggestion.model_fields) == fields
    assert report.catalogue_revision == 41


def test_the_same_request_gives_the_same_bytes_fc_096():
    for case_id in ("FC-116", "FC-112", "FC-104"):
        first, again = (judged(case_id).model_dump_json(by_alias=True) for _ in range(2))
        assert first == again


@pytest.mark.parametrize(
    ("kind", "written", "cleaned"),
    [
        ("quantity", "3'", "3"),
        ("quantity", "3/8''", "3/8"),
        ("thread", "M14x1.5", "M141.5"),
        ("thread", "M14x1.5", "M14 1.5"),
        ("connection", "-6 AN male", "6 male"),
    ],
)
def test_what_cleaning_takes_away_is_not_read_back_in_fc_101(kind, written, cleaned):
    assert read(kind, written).certainty == "certain"
    assert read(kind, cleaned).certainty != "certain"
    assert read(kind, cleaned).question


def test_names_that_differ_in_an_accent_stay_two_parts_fc_101():
    assert lookup_key("\u00c9-208") != lookup_key("E-208")
    two = catalogue(1, [clip("E-208"), clip("E208")])
    assert [two.get(sku).sku for sku in ("E-208", "E208")] == ["E-208", "E208"]
