"""Sign-off: what it accepts, what it does not, and that nothing is hidden by it."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.catalogue import catalogue
from rules.check import check, load_rules
from rules.report import (
    BookStamp,
    Counts,
    Evidence,
    Finding,
    Remedy,
    Report,
    Severity,
    Subject,
    verdict,
)
from rules.signoff import SignOff, acceptance, fingerprint, may_be_accepted, speaking_of
from seed_data import demo_assemblies, demo_components, demo_vehicles

MOMENT = datetime(2026, 3, 4, 12, 30, tzinfo=UTC)
SEVERITIES: tuple[Severity, ...] = ("error", "unknown", "warning", "note")


def evidence(value: object = 12.0, fact: str = "bore", of: str = "feed") -> Evidence:
    return Evidence.model_validate(
        {"fact": fact, "value": value, "unit": "mm", "of": of, "from": "catalogue"}
    )


def finding(
    rule: str = "too-narrow",
    severity: Severity = "warning",
    refs: tuple[str, ...] = ("feed",),
    because: tuple[Evidence, ...] = (),
    **others: object,
) -> Finding:
    return Finding(
        rule=rule,
        severity=severity,
        could_be="error" if severity == "unknown" else None,
        subject=Subject(about="part", refs=refs, pointer="/items/0", pointers=("/items/0",)),
        message=f"{rule} of {', '.join(refs)}.",
        because=because or (evidence(of=" and ".join(refs)),),
        explanation="",
        remedy=Remedy(text=""),
        sources=(),
        **others,
    )


def report(*findings: Finding) -> Report:
    return Report(
        verdict=verdict(findings),
        counts=Counts(),
        findings=findings,
        not_checked=(),
        cautions=(),
        book=BookStamp(version="1"),
        catalogue_revision=1,
        fingerprint="",
    )


def signed(accepted: Finding, number: int = 1) -> SignOff:
    return SignOff(
        id=f"sign-off-{number}",
        finding=fingerprint(accepted),
        rule=accepted.rule,
        refs=accepted.subject.refs,
        severity="unknown" if accepted.severity == "unknown" else "warning",
        message=accepted.message,
        name="A. Fitter",
        reason="Measured on the bench.",
        signed_at=MOMENT,
    )


class TestWhatIsAccepted:
    @pytest.mark.parametrize(
        ("severity", "before", "after"),
        [("warning", "fits-with-cautions", "fits"), ("unknown", "cannot-tell", "fits")],
    )
    def test_accepted_no_longer_counts(self, severity: Severity, before: str, after: str) -> None:
        only = finding(severity=severity)
        told = report(only)
        assert told.verdict == before
        found = acceptance(told, [signed(only)])
        assert found.verdict == after
        assert [each.finding for each in found.accepted] == [fingerprint(only)]
        assert found.accepted[0].sign_offs[0].name == "A. Fitter"
        assert found.accepted[0].message == only.message
        assert (found.open, found.unused) == ((), ())

    def test_what_nobody_accepted_counts_on(self) -> None:
        accepted, other = finding(), finding(rule="too-long")
        found = acceptance(report(accepted, other), [signed(accepted)])
        assert found.verdict == "fits-with-cautions"
        assert [each.rule for each in found.open] == ["too-long"]

    def test_two_people_may_sign_one_finding(self) -> None:
        only = finding()
        found = acceptance(report(only), [signed(only, 1), signed(only, 2)])
        assert [each.id for each in found.accepted[0].sign_offs] == ["sign-off-1", "sign-off-2"]

    def test_an_error_is_accepted_by_nobody(self) -> None:
        """Not even by a sign-off that names it exactly."""
        error = finding(severity="error")
        found = acceptance(report(error), [signed(error)])
        assert found.verdict == "does-not-fit"
        assert found.accepted == ()
        assert "error cannot be signed off" in found.unused[0].why

    def test_a_note_needs_none(self) -> None:
        note = finding(severity="note")
        found = acceptance(report(note), [])
        assert (found.verdict, found.open) == ("fits", ())
        assert [may_be_accepted(each) for each in SEVERITIES] == [False, True, True, False]


class TestUnused:
    def test_a_finding_that_is_gone(self) -> None:
        found = acceptance(report(), [signed(finding())])
        assert [each.why for each in found.unused] == ["The finding is gone."]

    def test_other_facts(self) -> None:
        now = finding(because=(evidence(8.0),))
        found = acceptance(report(now), [signed(finding())])
        assert found.verdict == "fits-with-cautions"
        assert found.unused[0].why.endswith("other facts now: bore of feed 8 mm.")
        assert len(found.open) == 1

    def test_an_unknown_that_became_known(self) -> None:
        was = finding(severity="unknown", because=(evidence(None),))
        found = acceptance(report(finding()), [signed(was)])
        assert len(found.unused) == len(found.open) == 1

    def test_a_warning_that_became_an_error(self) -> None:
        found = acceptance(report(finding(severity="error")), [signed(finding())])
        assert "error now" in found.unused[0].why

    def test_one_more_part_is_not_accepted_with_the_others(self) -> None:
        found = acceptance(report(finding(refs=("feed", "back"))), [signed(finding())])
        assert found.verdict == "fits-with-cautions"
        assert [each.why for each in found.unused] == ["The finding is gone."]


class TestFingerprint:
    def test_wording_sources_and_places_do_not_count(self) -> None:
        one = finding()
        moved = one.subject.model_copy(update={"pointer": "/items/7", "pointers": ("/items/7",)})
        other = one.model_copy(
            update={"message": "Other words.", "sources": ("A book",), "subject": moved}
        )
        assert fingerprint(one) == fingerprint(other)

    def test_the_order_of_refs_and_facts_does_not_count(self) -> None:
        facts = (evidence(of="a and b"), evidence(3.0, "length", of="b"))
        turned = (facts[1], evidence(of="b and a"))
        assert fingerprint(finding(refs=("a", "b"), because=facts)) == fingerprint(
            finding(refs=("b", "a"), because=turned)
        )

    def test_the_last_bits_of_a_number_do_not_count(self) -> None:
        near = finding(because=(evidence(12.0 + 1e-9),))
        assert fingerprint(near) == fingerprint(finding())
        assert fingerprint(finding(because=(evidence(12.1),))) != fingerprint(finding())

    @pytest.mark.parametrize(
        "other",
        [
            finding(rule="too-wide"),
            finding(severity="error"),
            finding(refs=("back",), because=(evidence(),)),
            finding(because=(evidence("12"),)),
            finding(because=(evidence(None),)),
            finding(because=(evidence(fact="length"),)),
            finding(because=(evidence(of="liner of feed"),)),
            finding(open_rules=("too-long",)),
        ],
    )
    def test_everything_else_counts(self, other: Finding) -> None:
        assert fingerprint(other) != fingerprint(finding())


def test_findings_are_named_by_rule_and_items() -> None:
    findings = (
        finding(),
        finding(because=(evidence(3.0),)),
        finding(refs=("feed", "back")),
        finding(rule="too-long"),
    )
    assert speaking_of(findings, "too-narrow", ["feed"]) == findings[:2]
    assert speaking_of(findings, "too-narrow", ["back", "feed"]) == (findings[2],)
    assert speaking_of(findings, "too-narrow", []) == ()


# Real reports -----------------------------------------------------------------------------------

BOOK = load_rules()
SHOP = catalogue(1, demo_components(), demo_vehicles())
REPORTS = [check(each.request, SHOP, BOOK) for each in demo_assemblies()]
bounded = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


def test_no_two_findings_of_a_report_share_a_fingerprint() -> None:
    for told in REPORTS:
        assert len({fingerprint(each) for each in told.findings}) == len(told.findings)


@given(told=st.sampled_from(REPORTS), data=st.data())
@bounded
def test_nothing_is_hidden_and_nothing_gets_worse(told: Report, data: st.DataObject) -> None:
    """Whoever signs what: each finding stays in sight, and an error stands."""
    chosen = data.draw(st.lists(st.sampled_from(told.findings or (finding(),)), unique=True))
    strangers = data.draw(st.integers(0, 2))
    sign_offs = [signed(each, number) for number, each in enumerate(chosen)]
    sign_offs += [signed(finding(rule=f"no-such-rule-{n}"), 100 + n) for n in range(strangers)]
    found = acceptance(told, sign_offs)
    acceptable = [fingerprint(f) for f in told.findings if may_be_accepted(f.severity)]
    assert sorted(acceptable) == sorted(e.finding for e in (*found.accepted, *found.open))
    used = [s.id for each in found.accepted for s in each.sign_offs]
    unused = [each.sign_off.id for each in found.unused]
    assert sorted(used + unused) == sorted(each.id for each in sign_offs)
    if any(each.severity == "error" for each in told.findings):
        assert found.verdict == "does-not-fit"
    else:
        best_first = ("fits", "fits-with-cautions", "cannot-tell")
        assert best_first.index(found.verdict) <= best_first.index(told.verdict)
        assert (found.verdict == "fits") == (found.open == ())
