"""The line of an assembly drawn in one row: parts in their order, joints between them, marks.

    pump ═══ filter ═╳1═ rail ╌ ╌ regulator(2)

A number is that of the finding in the report below the drawing. Where a part is missing between
two others the line is broken.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from rich.text import Text

from rules.assembly import Joint
from rules.report import Finding, Severity


@dataclass(frozen=True, slots=True)
class Signs:
    """What the drawing is made of."""

    pipe: str
    gap: str
    marks: Mapping[Severity, str]


DRAWN = Signs("═", "╌ ╌", {"error": "╳", "warning": "△", "unknown": "?", "note": "·"})
TYPED = Signs("-", ". .", {"error": "x", "warning": "!", "unknown": "?", "note": "i"})

STYLES: Mapping[Severity, str] = {
    "error": "bold red",
    "warning": "yellow",
    "unknown": "magenta",
    "note": "cyan",
}
_SET_IN = "    "
_JOINT = re.compile(r"(?:/routing)?/joints/(\d+)")
_WORST_FIRST: tuple[Severity, ...] = ("error", "unknown", "warning", "note")


@dataclass(slots=True)
class _Marks:
    """Numbers of the findings of a place, and the worst of their severities."""

    numbers: list[int] = field(default_factory=list)
    severities: set[Severity] = field(default_factory=set)

    @property
    def worst(self) -> Severity:
        return next(each for each in _WORST_FIRST if each in self.severities)

    def add(self, number: int, severity: Severity) -> None:
        self.numbers.append(number)
        self.severities.add(severity)

    def __str__(self) -> str:
        return ",".join(map(str, self.numbers))


def drawing(
    joints: Sequence[Joint],
    findings: Sequence[Finding],
    signs: Signs,
    width: int,
    gaps: Sequence[tuple[str, str]] = (),
) -> list[Text]:
    """The lines that the joints make, with the findings numbered from 1 in their order.

    Args:
        joints: what is joined.
        findings: each is marked at its joint or part.
        signs: what the lines are drawn with.
        width: a line that is longer goes on below, set in.
        gaps: pairs of ports that something is missing between.
    """
    at_joint, at_part = _places(findings)
    joined = len(joints)
    pairs = [_refs(ends) for ends in (*(joint.ends for joint in joints), *gaps)]

    def pipe(index: int) -> Text:
        return _pipe(at_joint.get(index), signs) if index < joined else _gap(signs)

    return [row for chain in _chains(pairs) for row in _rows(_pieces(chain, pipe, at_part), width)]


def _refs(ends: tuple[str, str]) -> tuple[str, str]:
    a, b = (end.partition(".")[0] for end in ends)
    return a, b


def _places(findings: Sequence[Finding]) -> tuple[dict[int, _Marks], dict[str, _Marks]]:
    """Marks by index of the joint, and by ref of the part for all that is not about a joint."""
    at_joint: defaultdict[int, _Marks] = defaultdict(_Marks)
    at_part: defaultdict[str, _Marks] = defaultdict(_Marks)
    for number, finding in enumerate(findings, 1):
        if finding.subject.about == "joint":
            for pointer in finding.subject.pointers:
                if found := _JOINT.fullmatch(pointer):
                    at_joint[int(found[1])].add(number, finding.severity)
        elif finding.subject.about != "assembly":
            for ref in finding.subject.refs:
                at_part[ref].add(number, finding.severity)
    return dict(at_joint), dict(at_part)


@dataclass(frozen=True, slots=True)
class _Chain:
    """Parts in a row, and the index of the joint after each but the last."""

    refs: list[str]
    joints: list[int]


def _chains(pairs: Sequence[tuple[str, str]]) -> Iterator[_Chain]:
    left = dict(enumerate(pairs))
    while left:
        index = next(iter(left))
        chain = _Chain(list(left.pop(index)), [index])
        while (onward := _next(chain.refs[-1], left, near_end=0)) is not None:
            chain.joints.append(onward)
            chain.refs.append(_other(left.pop(onward), chain.refs[-1]))
        while (back := _next(chain.refs[0], left, near_end=1)) is not None:
            chain.joints.insert(0, back)
            chain.refs.insert(0, _other(left.pop(back), chain.refs[0]))
        yield chain


def _next(ref: str, left: Mapping[int, tuple[str, str]], near_end: Literal[0, 1]) -> int | None:
    """The joint at which a line goes on from a part; none where it ends.

    Rather one that leads further than one to a part where the line would end, and rather one that
    was written in the direction of the drawing.
    """

    def rank(index: int) -> tuple[bool, bool, int]:
        beyond = _other(left[index], ref)
        ends_there = not any(beyond in pair for i, pair in left.items() if i != index)
        return ends_there, left[index][near_end] != ref, index

    return min((index for index, pair in left.items() if ref in pair), key=rank, default=None)


def _other(pair: tuple[str, str], ref: str) -> str:
    return pair[1] if pair[0] == ref else pair[0]


def _pieces(
    chain: _Chain, pipe: Callable[[int], Text], at_part: Mapping[str, _Marks]
) -> Iterator[Text]:
    """The first part, then each joint with the part behind it."""
    yield _part(chain.refs[0], at_part)
    for ref, index in zip(chain.refs[1:], chain.joints, strict=True):
        yield Text.assemble(" ", pipe(index), " ", _part(ref, at_part))


def _rows(pieces: Iterable[Text], width: int) -> Iterator[Text]:
    row = Text()
    for piece in pieces:
        if row and row.cell_len + piece.cell_len > width:
            yield row
            row = Text(_SET_IN)
        row.append_text(piece)
    yield row


def _part(ref: str, at_part: Mapping[str, _Marks]) -> Text:
    marks = at_part.get(ref)
    if marks is None:
        return Text(ref)
    return Text(f"{ref}({marks})", style=STYLES[marks.worst])


def _pipe(marks: _Marks | None, signs: Signs) -> Text:
    if marks is None:
        return Text(signs.pipe * 3, style="green")
    worst = marks.worst
    return Text(f"{signs.pipe}{signs.marks[worst]}{marks}{signs.pipe}", style=STYLES[worst])


def _gap(signs: Signs) -> Text:
    return Text(signs.gap, style=STYLES["error"])
