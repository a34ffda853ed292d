"""The difference of two reports: nothing lost, nothing invented, and nothing for the same."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from rules.assembly import Application, Request
from rules.catalogue import catalogue
from rules.check import check, load_rules
from rules.difference import ApplicationChanges, Changes, ReportDifference, changed, difference
from rules.report import Finding, Report
from seed_data import demo_assemblies, demo_components, demo_vehicles

BOOK = load_rules()
SHOP = catalogue(1, demo_components(), demo_vehicles())
DEMOS = {each.slug: each.request for each in demo_assemblies()}

bounded = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
requests = st.sampled_from(sorted(DEMOS)).map(DEMOS.__getitem__)
changes = st.fixed_dictionaries(
    {},
    optional={
        "fuel": st.sampled_from(["E10", "E85", "M100", {"ethanol_percent": 30.0}]),
        "power": st.sampled_from([None, "90 kW", "300 kW"]),
        "boost": st.sampled_from([None, "0 bar", "2.5 bar"]),
        "base_pressure": st.sampled_from([None, "3 bar", "12 bar"]),
        "fuel_temperature": st.sampled_from([None, "20 degC", "140 degC"]),
        "circuit": st.sampled_from([None, "return", "returnless"]),
        "use": st.sampled_from([None, "road", "competition"]),
        "pump_control": st.sampled_from([None, "speed-controlled"]),
    },
).map(ApplicationChanges.model_validate)


def report(request: Request) -> Report:
    return check(request, SHOP, BOOK)


def added(before: Report, change: ReportDifference) -> Counter[Finding]:
    """What the findings of a report become by a difference."""
    found = Counter(before.findings)
    found.subtract(change.vanish)
    found.subtract(each.before for each in change.change)
    found.update(change.appear)
    found.update(each.after for each in change.change)
    return found


@given(request=requests, change=changes)
@bounded
def test_before_and_difference_make_after(request: Request, change: Changes) -> None:
    before, after = report(request), report(changed(request, change))
    found = added(before, difference(before, after))
    assert min(found.values(), default=0) >= 0
    assert +found == Counter(after.findings)


@given(request=requests, change=changes)
@bounded
def test_back_again_is_the_mirror_image(request: Request, change: Changes) -> None:
    before, after = report(request), report(changed(request, change))
    there, back = difference(before, after), difference(after, before)
    assert Counter(there.appear) == Counter(back.vanish)
    assert Counter(there.vanish) == Counter(back.appear)
    assert Counter((e.before, e.after) for e in there.change) == Counter(
        (e.after, e.before) for e in back.change
    )
    assert (there.verdict_before, there.verdict_after) == (back.verdict_after, back.verdict_before)


@given(request=requests, change=changes)
@bounded
def test_a_report_does_not_differ_from_itself(request: Request, change: Changes) -> None:
    found = report(changed(request, change))
    assert difference(found, found).is_empty


@given(request=requests)
@bounded
def test_no_change_asked_is_no_change(request: Request) -> None:
    assert changed(request, ApplicationChanges()) == request


def test_more_alcohol_takes_more_fuel_for_less_power() -> None:
    request = DEMOS["01-six-saloon-petrol"]
    found = difference(report(request), report(changed(request, ApplicationChanges(fuel="E85"))))
    figures = {each.name: (each.before, each.after) for each in found.figures}
    before, after = figures["fuel asked for"]
    assert before.unit == after.unit
    assert after.value > 1.2 * before.value
    before, after = figures["power supported"]
    assert after.value < before.value


def test_without_a_power_there_are_no_figures() -> None:
    request = DEMOS["01-six-saloon-petrol"]
    silent = changed(request, ApplicationChanges(power=None))
    found = difference(report(request), report(silent))
    assert found.figures
    assert all(each.before is not None and each.after is None for each in found.figures)
    again = difference(report(silent), report(changed(silent, ApplicationChanges(fuel="E85"))))
    assert again.figures == ()


def test_a_change_of_fuel_tells_which_part_it_eats() -> None:
    request = changed(DEMOS["17-zinc-filter-in-e85"], ApplicationChanges(fuel="E10"))
    found = difference(report(request), report(changed(request, ApplicationChanges(fuel="E85"))))
    assert found.verdict_after == "does-not-fit"
    assert {(f.rule, f.subject.refs) for f in found.appear if f.severity == "error"} == {
        ("material-unsuitable-for-fuel", ("filter",)),
        ("paper-filter-in-ethanol", ("filter",)),
    }


def test_two_materials_of_one_part_are_not_taken_for_each_other() -> None:
    """Under E10 seal and body are both limited; under E85 the body becomes unsuitable."""
    request = changed(DEMOS["17-zinc-filter-in-e85"], ApplicationChanges(fuel="E10"))
    found = difference(report(request), report(changed(request, ApplicationChanges(fuel="E85"))))
    of_seal = [each for each in found.change if each.after.rule == "material-limited-in-fuel"]
    assert len(of_seal) == 1
    assert "seal of filter" in {evidence.of for evidence in of_seal[0].before.because}
    assert "body of filter" in {e.of for each in found.vanish for e in each.because}


def test_what_is_stated_is_checked_from_then_on() -> None:
    request = DEMOS["17-zinc-filter-in-e85"]
    silent = changed(request, ApplicationChanges(fuel_temperature=None))
    found = difference(report(silent), report(changed(silent, hot := heat("60 degC"))))
    assert hot.model_fields_set == {"fuel_temperature_c"}
    assert [each.what for each in found.now_checked] == ["temperature range of parts"]
    assert found.no_longer_checked == ()


def heat(temperature: str) -> Changes:
    return ApplicationChanges.model_validate({"fuel_temperature": temperature})


class TestChanges:
    def test_every_field_of_an_application_may_change(self) -> None:
        assert set(ApplicationChanges.model_fields) == set(Application.model_fields)
        given = DEMOS["02-turbo-six-e85"].application
        same = ApplicationChanges.model_validate(given.model_dump())
        assert changed(DEMOS["02-turbo-six-e85"], same) == DEMOS["02-turbo-six-e85"]

    def test_null_makes_a_fact_unknown(self) -> None:
        request = DEMOS["02-turbo-six-e85"]
        assert request.application.boost_kpa is not None
        silent = changed(request, ApplicationChanges.model_validate({"boost": None}))
        assert silent.application.boost_kpa is None

    @pytest.mark.parametrize(
        "given", [{"fuel": None}, {"boost": 1.2}, {"boost": "1 m"}, {"colour": "red"}]
    )
    def test_what_an_application_does_not_take_is_refused(self, given: dict[str, object]) -> None:
        with pytest.raises(ValidationError):
            ApplicationChanges.model_validate(given)
