"""Circuit templates: what is written wrong is told with its place, and a shop has its own."""

import re
from importlib.resources import files
from pathlib import Path

import pytest

from rules.bookfile import BookFaults
from rules.cart import Cart
from rules.carts import check_cart
from rules.catalogue import catalogue
from rules.check import load_rules
from rules.routing import Template, load_templates, route
from seed_data import demo_carts, demo_components, demo_vehicles

CIRCUITS = files("rules.routing") / "circuits"
NAMES = sorted(path.name for path in CIRCUITS.iterdir() if path.name.endswith(".yaml"))
OWN = (CIRCUITS / "returnless.yaml").read_text("utf-8").replace("id: returnless\n", "id: own\n")
BOOK = load_rules()
SHOP = catalogue(1, demo_components(), demo_vehicles())
(HATCH,) = demo_carts()


def written(directory: Path, *changes: tuple[str, str], name: str = "own.yaml") -> Path:
    """A directory with the returnless circuit under the id `own`, some of its words changed."""
    text = OWN
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    (directory / name).write_text(text, encoding="utf-8")
    return directory


def faults(directory: Path) -> list[tuple[str, str, str]]:
    """Each fault: its file, the text it points at, what it says."""
    with pytest.raises(BookFaults) as refused:
        load_templates(directory)
    return [
        (
            fault.path.name,
            fault.source[fault.column - 1 :][: fault.length] if fault.line else "",
            fault.message,
        )
        for fault in refused.value.faults
    ]


@pytest.mark.parametrize(
    ("old", "new", "at", "said"),
    [
        # Missing and unknown fields.
        ("id: own\n", "", "name", 'needs "id"'),
        ("name: Ret", "nmae: Ret", "nmae", 'no "nmae"; did you mean "name"?'),
        ("line: vent, by: anything", "by: anything", None, 'a link needs "line"'),
        ("    kinds: [filter]\n", "", "where", 'station "filter" needs "kinds"'),
        (", line: feed}\n  damper", "}\n  damper", None, 'station "pressure-sensor" needs "line"'),
        ('    car: "opening of the car\'s tank"\n', "", "kinds", '"car" must say what it is'),
        # Words that are not there.
        ("kinds: [filter]", "kinds: [fliter]", "fliter", 'did you mean "filter"?'),
        ("kinds: [filter]", "kinds: []", "[]", "must not be empty"),
        ("in: {roles: [inlet, either]}", "in: {roles: [inlett]}", "inlett", '"inlet"?'),
        ("serves: [returnless,", "serves: [returnles,", "returnles", '"returnless"?'),
        ("line: vent", "line: vnet", "vnet", 'did you mean "vent"?'),
        ("repeat: series", "repeat: serial", "serial", 'did you mean "series"?'),
        ("needed_when: fuel-varies", "needed_when: fuel-vary", "fuel-vary", '"fuel-varies"?'),
        ("systems: [flange]", "systems: [flnage]", "flnage", 'did you mean "flange"?'),
        ("preference: 50", "preference: soon", "soon", "a whole number"),
        ("preference: 50", "preference: 5.5", "5.5", "a whole number"),
        ("submerged: true", "submerged: deep", "deep", "true or false"),
        # What a specification must say.
        ("{most: 69}", "{}", "{}", "needs bounds: least, most or both"),
        ("{most: 69}", "{least: 80, most: 69}", None, "at least 80 and at most 69"),
        ("fineness_um:", "finenes_um:", "finenes_um", 'did you mean "fineness_um"?'),
        ("mount: in-tank", "mount: intank", "intank", "takes in-tank, external, not intank"),
        # Stations and ports that a link speaks of.
        ("from: filter.out", "from: fliter.out", "fliter.out", 'no station "fliter"; did you'),
        ("from: filter.out", "from: filter.outt", "filter.outt", "filter.in, filter.out"),
        ("from: filter.out", "from: filter", "filter", "to be named with its port"),
        ("holds: [line, check", "holds: [lien, check", "lien", 'did you mean "line"?'),
        ("beside: pump", "beside: pmup", "pmup", 'is beside no station "pmup"; did you'),
        # Names given twice.
        ("{id: rail-to-rail, from: rail.out", "{from: filter.out", None, "already; give it an"),
        ("  check-valve: {kinds", "  filter: {kinds", "filter", "among the stations already"),
        ("  damper:", "  pressure-sensor:", "pressure-sensor", "is given twice"),
        ("id: own", "id: returnless", "id", 'there is a template "returnless" already'),
        # Rings, and places that nothing leads to.
        ("beside: pump", "beside: strainer", "strainer", '"strainer" beside "strainer"'),
        ("filter.out, to: rail.in", "filter.out, to: filter.in", None, "to itself"),
        ("filter.out, to: rail.in", "filter.out, to: filter.out", None, "to itself"),
        # What is no template at all.
        ("stations:", "stations: [", None, "not valid YAML"),
    ],
)
def test_a_fault_is_told_with_its_place(
    tmp_path: Path, old: str, new: str, at: str | None, said: str
) -> None:
    found = faults(written(tmp_path, (old, new)))
    assert any(said in message for _, _, message in found), found
    assert {name for name, _, _ in found} == {"own.yaml"}
    told = next(where for _, where, message in found if said in message)
    assert at is None or told.startswith(at)


def test_stations_beside_each_other_stand_in_a_ring(tmp_path: Path) -> None:
    ring = ("    called: [pump]\n", "    called: [pump]\n    beside: strainer\n")
    said = [message for _, _, message in faults(written(tmp_path, ring))]
    assert said == [
        'stations stand in a ring: "strainer" beside "pump" beside "strainer"',
        'stations stand in a ring: "pump" beside "strainer" beside "pump"',
    ]


def test_what_no_link_reaches_is_told(tmp_path: Path) -> None:
    seats = "  - {from: rail.seats, to: injectors.in, line: feed, by: anything}\n"
    changes = [(seats, ""), ("holds: [line, check-valve]", "holds: [line]")]
    changes += [(", ethanol-sensor, check-valve]", ", ethanol-sensor]")]
    found = faults(written(tmp_path, *changes))
    assert [(where, message) for _, where, message in found] == [
        ("injectors", 'no link leads to or from station "injectors"'),
        ("check-valve", 'no link holds "check-valve"'),
    ]


def test_all_faults_of_all_files_are_told_at_once(tmp_path: Path) -> None:
    written(tmp_path, ("kinds: [filter]", "kinds: [fliter]"), ("line: vent", "line: vnet"))
    written(tmp_path, ("preference: 50", "preference: soon"), name="second.yaml")
    (tmp_path / "third.yaml").write_text("\n", encoding="utf-8")
    found = faults(tmp_path)
    assert [(name, where) for name, where, _ in found] == [
        ("own.yaml", "fliter"),
        ("own.yaml", "vnet"),
        ("second.yaml", "soon"),
        ("third.yaml", ""),
    ]


def test_two_files_of_one_id_are_told(tmp_path: Path) -> None:
    written(tmp_path)
    ((name, _, message),) = faults(written(tmp_path, name="second.yaml"))
    assert (name, message) == ("second.yaml", 'there is a template "own" already')


def test_a_directory_without_templates_is_told(tmp_path: Path) -> None:
    assert faults(tmp_path)[0][2] == "the directory holds no circuit template (*.yaml)"
    assert faults(tmp_path / "none")[0][2] == "there is no such directory"


# A shop's own -----------------------------------------------------------------------------------


def hatch(**changes: object) -> Cart:
    lines = [*HATCH.body["lines"], {"sku": "HF-ADP-QC516-JIC6M", "quantity": 2}]
    return Cart.model_validate({**HATCH.body, "lines": lines, **changes})


def test_the_built_in_circuits_load_in_the_order_of_their_preference() -> None:
    templates = load_templates().templates
    assert len(templates) == len(NAMES) == 7
    preferences = [template.preference for template in templates]
    assert preferences == sorted(preferences)


@pytest.mark.parametrize("template", load_templates().templates, ids=lambda each: each.id)
def test_each_link_of_a_built_in_circuit_joins_ports_that_parts_have(template: Template) -> None:
    for link in template.links:
        for station_id, port in (link.start, link.end):
            station = template.stations[station_id]
            taking = [part for part in SHOP if station.takes(part)]
            fixed = [item.component for v in SHOP.vehicles.values() for item in v.items]
            taking += [part for part in fixed if part is not None and station.takes(part)]
            # What the car has there need not be among the demo shop's cars.
            assert station.presence == "car" or any(
                station.ports_of(part, port) for part in taking
            ), (link.id, station_id)


def test_a_shop_s_circuit_stands_beside_the_built_in_ones(tmp_path: Path) -> None:
    own = load_templates(written(tmp_path, ("preference: 50", "preference: 5")))
    assert {each.id for each in own.templates} == {
        "own",
        *(each.id for each in load_templates().templates),
    }
    assert own.version != load_templates().version
    assert route(hatch(), SHOP, own).layout == "own"
    assert route(hatch(layout="returnless"), SHOP, own).layout == "returnless"


def test_a_shop_s_circuit_that_is_preferred_less_waits(tmp_path: Path) -> None:
    own = load_templates(written(tmp_path, ("preference: 50", "preference: 900")))
    assert route(hatch(), SHOP, own).layout == "returnless"
    assert route(hatch(layout="own"), SHOP, own).layout == "own"


def test_a_shop_s_circuit_may_ask_for_more(tmp_path: Path) -> None:
    """A shop that never sends a pump without a check valve behind it."""
    needed = (
        "check-valve: {kinds: [check-valve]",
        "check-valve: {kinds: [check-valve], presence: needed",
    )
    own = load_templates(written(tmp_path, needed, ("preference: 50", "preference: 5")))
    report = check_cart(hatch(layout="own"), SHOP, BOOK, own)
    assert report.verdict == "does-not-fit"
    assert "check-valve" in {missing.id for missing in report.routing.unfilled}
    bought = [part.sku for each in report.routing.completion for part in each.options[0].parts]
    assert "HF-CHK-6" in bought
    plain = check_cart(hatch(layout="own"), SHOP, BOOK, load_templates(written(tmp_path)))
    assert plain.verdict == "fits"
    assert plain.fingerprint != report.fingerprint


def test_every_file_says_what_its_circuit_is() -> None:
    for name in NAMES:
        first = (CIRCUITS / name).read_text("utf-8").splitlines()[0]
        assert re.match(r"# [A-Z].*\.$", first), name
