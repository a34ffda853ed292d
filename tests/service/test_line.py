"""The line of an assembly as it is drawn in a report."""

from __future__ import annotations

from typing import Any

from rules.assembly import Joint
from rules.report import Finding
from service.line import DRAWN, TYPED, Signs, drawing


def joints(text: str) -> list[Joint]:
    """Joints from pairs of parts: `pump-filter filter-rail`."""
    pairs = (pair.split("-") for pair in text.split())
    return [Joint.model_validate([f"{a}.out", f"{b}.in"]) for a, b in pairs]


def finding(severity: str, about: str, *places: str) -> Finding:
    known: dict[str, Any] = {
        "rule": "a-rule",
        "severity": severity,
        "message": "It leaks.",
        "because": (),
        "explanation": "It does.",
        "remedy": {"text": "Mend it."},
        "sources": ("common practice, no source",),
    }
    pointers = [place for place in places if place.startswith("/")]
    subject = {
        "about": about,
        "refs": [place for place in places if not place.startswith("/")],
        "pointer": pointers[0] if pointers else "",
        "pointers": pointers,
    }
    return Finding.model_validate({**known, "subject": subject})


def drawn(text: str, *findings: Finding, signs: Signs = TYPED, width: int = 80) -> list[str]:
    return [line.plain for line in drawing(joints(text), findings, signs, width)]


def test_parts_in_a_row_whatever_the_order_of_their_joints() -> None:
    assert drawn("filter-rail pump-filter") == ["pump --- filter --- rail"]


def test_circuit_closes_on_itself() -> None:
    assert drawn("tank-pump pump-rail rail-tank") == ["tank --- pump --- rail --- tank"]


def test_branch_is_a_line_of_its_own() -> None:
    assert drawn("pump-tee tee-left tee-right") == ["pump --- tee --- left", "tee --- right"]


def test_main_line_goes_on_past_a_dead_end() -> None:
    assert drawn("pump-tee tee-gauge tee-rail rail-tank") == [
        "pump --- tee --- rail --- tank",
        "tee --- gauge",
    ]


def test_marks_carry_the_numbers_of_the_findings() -> None:
    found = (
        finding("error", "joint", "/joints/1"),
        finding("warning", "part", "pump", "rail"),
        finding("unknown", "material", "rail"),
        finding("note", "assembly"),
    )
    assert drawn("pump-hose hose-rail", *found) == ["pump(2) --- hose -x1- rail(2,3)"]
    assert drawn("pump-hose hose-rail", *found, signs=DRAWN) == ["pump(2) ═══ hose ═╳1═ rail(2,3)"]


def test_worst_finding_gives_a_joint_its_sign() -> None:
    found = (
        finding("note", "joint", "/joints/0"),
        finding("error", "joint", "/joints/0"),
        finding("unknown", "joint", "/joints/0"),
    )
    assert drawn("pump-rail", *found) == ["pump -x1,2,3- rail"]


def test_long_line_goes_on_below() -> None:
    lines = drawn("tank-pump pump-filter filter-rail rail-regulator", width=30)
    assert lines == ["tank --- pump --- filter", "     --- rail --- regulator"]
    assert all(len(line) <= 30 for line in lines)


def test_two_lines_that_do_not_meet() -> None:
    assert drawn("pump-rail relay-fuse") == ["pump --- rail", "relay --- fuse"]
