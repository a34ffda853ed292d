"""What takes a part's place, and what screws straight on to it.

`replacements` names sold parts that serve in any assembly the part is in: the same ends, ratings
that are no lower, bores that are no narrower, materials that bear the asked fuels no worse.
`mates` names sold parts of which some end seals on one of its ports. Both ask indexes on ends that
are made once for each state of the catalogue.
"""

from __future__ import annotations

import difflib
import heapq
from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence
from typing import TypeAlias

from pydantic import Field

from rules.catalogue import Catalogue
from rules.faces import Face, FaceReader, Grade, face_of, grade
from rules.facts.joint import part_end
from rules.likeness import NOT_COMPARED, Difference, differences
from rules.parts import Component, Model, Price
from rules.reference import reference
from rules.reference.mating import End, Need, mate
from rules.reference.rows import FuelRow
from rules.vocabulary import Kind

__all__ = ["Mate", "Mates", "Replacement", "mates", "prepare", "replacements"]

_Offer: TypeAlias = tuple[float, str, str, Component]
"""Price, part number, port and part."""

_REMEMBERED_FACES = 4096


class Replacement(Model):
    """A sold part that takes another's place."""

    sku: str
    name: str
    price: Price | None
    successor: bool = Field(description="Whether the catalogue names it as the successor.")
    certain: bool = Field(
        description=(
            "Whether all that was compared is recorded of both; where it is not nobody can tell."
        )
    )
    differences: tuple[Difference, ...]
    not_compared: str | None = Field(
        description="What the catalogue does not record of such parts, and a person must look at."
    )


class Mate(Model):
    """A sold part that joins a port."""

    sku: str
    name: str
    kind: str
    port: str = Field(description="Its port that does.")
    seals: bool = Field(description="Whether it is tight; else it seals under a condition.")
    why: str = Field(description="What makes it tight, or the condition.")
    needs: tuple[str, ...] = Field(description="What else the joint needs and neither part brings.")
    price: Price | None


class Mates(Model):
    """The parts that join a port."""

    count: int = Field(description="How many parts there are in all.")
    mates: tuple[Mate, ...] = Field(description="The first of them: tight before conditional.")


def replacements(
    catalogue: Catalogue, part: Component, fuels: Iterable[str] = (), limit: int = 10
) -> tuple[Replacement, ...]:
    """The sold parts that take a part's place in any assembly, the surest and cheapest first.

    Args:
        catalogue: what the shop sells.
        part: the part to be replaced; it need not be sold, nor be in the catalogue.
        fuels: ids of fuels that the replacement must bear no worse than the part.
        limit: how many to name at most.

    Raises:
        ValueError: a fuel that the tables do not hold or do not judge.
    """
    asked = tuple(_known_fuel(fuel) for fuel in fuels)
    found = []
    for other in catalogue.derived(_Index).alike(part):
        if other.sku != part.sku:
            named = other.sku == part.superseded_by
            found_in = differences(part, other, asked)
            apart = list(found_in) if named else _unless_worse(found_in)
            if apart is not None:
                found.append((not named, *_rank(other, apart), other, apart))
    return tuple(
        Replacement(
            sku=str(other.sku),
            name=other.name,
            price=other.price,
            successor=not strange,
            certain=all(each.how != "not-recorded" for each in apart),
            differences=tuple(apart),
            not_compared=NOT_COMPARED.get(other.kind),
        )
        for strange, *_, other, apart in heapq.nsmallest(limit, found, key=lambda each: each[:5])
    )


def _unless_worse(found: Iterable[Difference]) -> list[Difference] | None:
    """All differences, or nothing as soon as one is for the worse."""
    listed: list[Difference] = []
    for each in found:
        if each.how == "worse":
            return None
        listed.append(each)
    return listed


def mates(
    catalogue: Catalogue, part: Component, port: str, limit: int = 50, kind: Kind | None = None
) -> Mates:
    """The sold parts of which some end seals on a port, tight ones first, then by price.

    Args:
        catalogue: what the shop sells.
        part: the part that has the port.
        port: the id of the port.
        limit: how many to name at most.
        kind: the only kind of part to name; all kinds where none is given.

    Raises:
        ValueError: the part has no such port.
    """
    ends = {each.id: each for each in part.ports}
    if port not in ends:
        known = ", ".join(ends) or "none"
        raise ValueError(f"The part has no port `{port}`; it has {known}.")
    joining = catalogue.derived(_Index).joining(face_of(part, ends[port]), kind)
    best = heapq.nsmallest(
        limit,
        ((how, *offer) for how, offers in joining for offer in offers[:limit]),
        key=lambda row: row[:4],
    )
    return Mates(
        count=sum(len(offers) for _, offers in joining),
        mates=tuple(
            _mate(how, part_end(part, ends[port]), other, other_port)
            for how, _, _, other_port, other in best
        ),
    )


def prepare(catalogue: Catalogue) -> None:
    """Make the indexes of a catalogue, so that its first question need not wait for them."""
    catalogue.derived(_Index)


# Indexes ----------------------------------------------------------------------------------------


def _amount(part: Component) -> float:
    return float(part.price.amount) if part.price else float("inf")


class _Index:
    """The sold parts of a catalogue by their ends."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._by_ends: defaultdict[Hashable, list[Component]] = defaultdict(list)
        self._by_face: defaultdict[Face, list[_Offer]] = defaultdict(list)
        self._joining: dict[Face, tuple[tuple[Grade, Face], ...]] = {}
        read = FaceReader()
        for part in catalogue:
            if part.lifecycle != "sold":
                continue
            faces = [read(part, port) for port in part.ports]
            first = {
                face: port.id for port, face in reversed(list(zip(part.ports, faces, strict=True)))
            }
            for face, port_id in first.items():
                self._by_face[face].append((_amount(part), str(part.sku), port_id, part))
            self._by_ends[_signature(part, faces)].append(part)
        for offered in self._by_face.values():
            offered.sort(key=lambda each: each[:3])

    def alike(self, part: Component) -> Sequence[Component]:
        """The sold parts of the same kind with the same ends in the same roles."""
        return self._by_ends.get(_signature(part, [face_of(part, p) for p in part.ports]), ())

    def joining(self, face: Face, kind: Kind | None) -> list[tuple[Grade, Sequence[_Offer]]]:
        """How tightly a face joins, and with which ends of sold parts, the cheapest first."""
        found: list[tuple[Grade, Sequence[_Offer]]] = []
        for how, other in self._joining_faces(face):
            offers = self._by_face[other]
            if kind is not None:
                offers = [offer for offer in offers if offer[3].kind == kind]
            found.append((how, offers))
        return found

    def _joining_faces(self, face: Face) -> tuple[tuple[Grade, Face], ...]:
        found = self._joining.get(face)
        if found is None:
            found = tuple(
                (how, other) for other in self._by_face if (how := grade(face, other)) is not None
            )
            if len(self._joining) >= _REMEMBERED_FACES:
                self._joining.clear()
            self._joining[face] = found
        return found


def _signature(part: Component, faces: Sequence[Face]) -> Hashable:
    """What two parts have in common that join the same parts in the same places."""
    ports = (
        (port.role, port.submerged is True, port.submerged is False, port.count, id(face))
        for port, face in zip(part.ports, faces, strict=True)
    )
    return part.kind, tuple(sorted(ports))


def _mate(how: Grade, own: End, other: Component, port: str) -> Mate:
    theirs = next(each for each in other.ports if each.id == port)
    # A face leaves out what does not decide whether ends join, such as whose seal comes with it.
    joint = mate(own, part_end(other, theirs))
    return Mate(
        sku=str(other.sku),
        name=other.name,
        kind=other.kind,
        port=port,
        seals=how == 0,
        why=joint.why,
        needs=tuple(_in_words(need) for need in joint.needs if not need.provided),
        price=other.price,
    )


def _in_words(need: Need) -> str:
    named = " or ".join(each.replace("-", " ").replace("o ring", "O-ring") for each in need.parts)
    return f"{need.count} x {named}" if need.count > 1 else named


# Order and fuels ----------------------------------------------------------------------------------


def _rank(other: Component, differences: Sequence[Difference]) -> tuple[int, int, float, str]:
    """What is not recorded last, then what is otherwise, then by price."""
    hows = [difference.how for difference in differences]
    return (hows.count("not-recorded"), hows.count("other"), _amount(other), str(other.sku))


def _known_fuel(fuel: str) -> FuelRow:
    row = reference().fuel(fuel)
    if row is None or not row.judged:
        judged = [each for each, known in reference().fuels.items() if known.judged]
        near = difflib.get_close_matches(fuel, judged, n=3, cutoff=0.3) or judged
        raise ValueError(f"There is no fuel `{fuel}` that can be judged; near: {', '.join(near)}.")
    return row
