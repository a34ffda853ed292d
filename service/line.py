"""The line of an assembly drawn in one row: parts in their order, joints between them, marks.

    pump ═══ filter ═╳1═ rail ═══ regulator(2)

A number is that of the finding in the report below the drawing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from rich.text import Text

from rules.assembly import Joint
from rules.report import Finding, Severity


@dataclass(frozen=True, slots=True)
class Signs:
    """What the drawing is made of."""

    pipe: str
    marks: Mapping[Severity, str]


DRAWN = Signs("═", {"error": "╳", "warning": "△", "unknown": "?", "note": "·"})
TYPED = Signs("-", {"error": "x", "warning": "!", "unknown": "?", "note": "i"})

STYLES: Mapping[Severity, str] = {
    "error": "bold red",
    "warning": "yellow",
    "unknown": "magenta",
    "note": "cyan",
}
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


def drawing(joints: Sequence[Joint], findings: Sequence[Finding], signs: Signs) -> list[Text]:
    """The lines that the joints make, with the findings numbered from 1 in their order."""
    at_joint, at_part = _places(findings)
    chains = _chains([_refs(joint) for joint in joints])
    return [_drawn(chain, at_joint, at_part, signs) for chain in chains]


def _refs(joint: Joint) -> tuple[str, str]:
    a, b = (end.partition(".")[0] for end in joint.ends)
    return a, b


def _places(findings: Sequence[Finding]) -> tuple[dict[int, _Marks], dict[str, _Marks]]:
    """Marks by index of the joint, and by ref of the part for all that is not about a joint."""
    at_joint: defaultdict[int, _Marks] = defaultdict(_Marks)
    at_part: defaultdict[str, _Marks] = defaultdict(_Marks)
    for number, finding in enumerate(findings, 1):
        if finding.subject.about == "joint":
            for pointer in finding.subject.pointers:
                index = pointer.removeprefix("/joints/")
                if index.isdigit():
                    at_joint[int(index)].add(number, finding.severity)
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
        while (onward := _onward(chain.refs[-1], left)) is not None:
            chain.joints.append(onward)
            chain.refs.append(_other(left.pop(onward), chain.refs[-1]))
        while (back := _onward(chain.refs[0], left)) is not None:
            chain.joints.insert(0, back)
            chain.refs.insert(0, _other(left.pop(back), chain.refs[0]))
        yield chain


def _onward(ref: str, left: Mapping[int, tuple[str, str]]) -> int | None:
    return next((index for index, pair in left.items() if ref in pair), None)


def _other(pair: tuple[str, str], ref: str) -> str:
    return pair[1] if pair[0] == ref else pair[0]


def _drawn(
    chain: _Chain,
    at_joint: Mapping[int, _Marks],
    at_part: Mapping[str, _Marks],
    signs: Signs,
) -> Text:
    drawn = _part(chain.refs[0], at_part)
    for ref, index in zip(chain.refs[1:], chain.joints, strict=True):
        drawn.append(" ")
        drawn.append_text(_pipe(at_joint.get(index), signs))
        drawn.append(" ")
        drawn.append_text(_part(ref, at_part))
    return drawn


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
