"""What may be done to the components of the catalogue, one at a time or many at once."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, Literal

from sqlalchemy import Connection

from rules.catalogue import Catalogue, lookup_key
from rules.parts import Component
from service.assemblies import uses
from service.catalogue import store
from service.conditional import require_match
from service.database import Write
from service.problems import Fault, Problem, in_use, invalid, pointer, problem
from service.vehicles import store as vehicle_store

Mode = Literal["create", "upsert"]

_MOST_SUGGESTIONS: Final = 25
"""Unknown SKUs for which near ones are looked up; each look-up passes over the whole catalogue."""


@dataclass(frozen=True, slots=True)
class Objection:
    """Why a component cannot be stored.

    Attributes:
        index: which of the components given.
        parts: the place in it.
        is_conflict: whether it contradicts what is stored, rather than being wrong itself.
    """

    index: int
    parts: tuple[str | int, ...]
    found: str
    detail: str
    expected: str
    code: str
    is_conflict: bool = False


@dataclass(slots=True)
class Plan:
    """What storing some components comes to."""

    new: list[Component] = field(default_factory=list)
    replacing: list[Component] = field(default_factory=list)
    unchanged: list[Component] = field(default_factory=list)
    objections: list[Objection] = field(default_factory=list)


def sku_of(part: Component) -> str:
    """The SKU of a component that has one, as all in the catalogue do."""
    assert part.sku is not None
    return part.sku


def plan(
    connection: Connection,
    parts: Sequence[Component],
    mode: Mode,
    known: Catalogue,
    also_given: Collection[str] = (),
) -> Plan:
    """What storing these components comes to, without storing anything.

    Args:
        connection: a transaction; the plan holds as long as nobody else can write.
        parts: components with SKUs, no two alike.
        mode: whether a component that exists already is refused or replaced.
        known: where near SKUs are suggested from.
        also_given: SKUs that count as there, though their components are faulty.
    """
    made = Plan()
    stored = store.documents(connection, [sku_of(part) for part in parts])
    for index, part in enumerate(parts):
        document = stored.get(sku_of(part))
        if document is None:
            made.new.append(part)
        elif mode == "create":
            made.objections.append(_exists(index, sku_of(part)))
        elif document == store.document_of(part):
            made.unchanged.append(part)
        else:
            made.replacing.append(part)
    made.objections += _look_alikes(connection, parts)
    made.objections += _unknown_references(connection, parts, known, also_given)
    made.objections += _circular_successions(connection, parts)
    made.objections += _lost_ports(connection, parts, stored)
    made.objections.sort(key=lambda objection: objection.index)
    return made


def carry_out(write: Write, made: Plan, moment: datetime) -> None:
    """Store what was planned in the same transaction and met no objection."""
    if made.new:
        store.insert_all(write, made.new, moment)
    if made.replacing:
        store.replace_all(write, made.replacing, moment)


def create(write: Write, part: Component, known: Catalogue, moment: datetime) -> None:
    """Store a new component.

    Raises:
        Problem: 409, it or a look-alike exists; 422, it names what is not there.
    """
    made = plan(write.connection, [part], "create", known)
    _refuse(made.objections)
    carry_out(write, made, moment)


def replace(
    write: Write, part: Component, if_match: str | None, known: Catalogue, moment: datetime
) -> None:
    """Put a component in place of the stored one of its SKU.

    Raises:
        Problem: 404, 412 or 428; 409, something relies on what would go; 422, it names what is not
            there.
    """
    sku = sku_of(part)
    require_match(if_match, find(write.connection, sku, known).version, f"`{sku}`")
    _refuse(plan(write.connection, [part], "upsert", known).objections)
    store.replace_all(write, [part], moment)


def delete(write: Write, sku: str, if_match: str | None, known: Catalogue) -> None:
    """Delete a component that nothing uses.

    Raises:
        Problem: 404, 412 or 428; 409, it is used, naming by what.
    """
    require_match(if_match, find(write.connection, sku, known).version, f"`{sku}`")
    users = _users(write.connection, sku)
    if users:
        raise in_use(sku, users, "/sku")
    store.remove(write, sku)


def find(connection: Connection, sku: str, known: Catalogue) -> store.Stored:
    """The component of this SKU.

    Raises:
        Problem: 404, naming SKUs that are near.
    """
    found = store.find(connection, sku)
    if found is None:
        raise problem("not-found", f"There is no component `{sku}`.{_did_you_mean(known, sku)}")
    return found


def _did_you_mean(known: Catalogue, sku: str) -> str:
    near = [f"`{other}`" for other in known.near(sku) if other != sku]
    return f" Did you mean {' or '.join(near)}?" if near else ""


def _users(connection: Connection, sku: str) -> list[str]:
    return [
        *(
            f"component `{user}` names it at `{place}`"
            for user, place in store.naming(connection, sku)
        ),
        *(
            f"vehicle `{car}` brings it as `{ref}`"
            for car, ref in vehicle_store.using(connection, sku)
        ),
        *uses.users_of_component(connection, sku),
    ]


def _refuse(objections: Sequence[Objection]) -> None:
    """Raise the problem of one component that cannot be stored."""
    if not objections:
        return
    faults = [
        Fault(pointer(each.parts), each.found, each.detail, each.expected, each.code)
        for each in objections
    ]
    raise _conflict(faults) if any(each.is_conflict for each in objections) else invalid(faults)


def _conflict(faults: Sequence[Fault]) -> Problem:
    return problem("conflict", " ".join(fault.detail for fault in faults), faults)


# Objections -----------------------------------------------------------------------------------


def _exists(index: int, sku: str) -> Objection:
    return Objection(
        index,
        ("sku",),
        sku,
        f"There is a component `{sku}` already.",
        "a SKU that is not taken, or a replacement of the stored component",
        "exists",
        is_conflict=True,
    )


def _look_alikes(connection: Connection, parts: Sequence[Component]) -> Iterator[Objection]:
    keys = {lookup_key(sku_of(part)): index for index, part in enumerate(parts)}
    for key, spelling in store.spellings(connection, keys).items():
        index = keys[key]
        sku = sku_of(parts[index])
        if spelling != sku:
            yield Objection(
                index,
                ("sku",),
                sku,
                f"`{sku}` and the stored `{spelling}` are two spellings of one part number.",
                f"`{spelling}`, or a SKU that differs in more than case, dashes and blanks",
                "look-alike",
                is_conflict=True,
            )


def _unknown_references(
    connection: Connection,
    parts: Sequence[Component],
    known: Catalogue,
    also_given: Collection[str],
) -> Iterator[Objection]:
    given = {*also_given, *(sku_of(part) for part in parts)}
    named = [
        (index, place, target)
        for index, part in enumerate(parts)
        for place, target in store.references(part).items()
        if target not in given
    ]
    stored = store.documents(connection, {target for _, _, target in named})
    unknown = [each for each in named if each[2] not in stored]
    for count, (index, place, target) in enumerate(unknown):
        hint = _did_you_mean(known, target) if count < _MOST_SUGGESTIONS else ""
        yield Objection(
            index,
            tuple(int(step) if step.isdigit() else step for step in place.split("/")),
            target,
            f"There is no component `{target}`.",
            f"a SKU of the catalogue{hint and f'.{hint}'}",
            "unknown-sku",
        )


def _circular_successions(
    connection: Connection, parts: Sequence[Component]
) -> Iterator[Objection]:
    succeeded = {sku_of(part): part.superseded_by for part in parts}
    if not any(succeeded.values()):
        return
    after: Mapping[str, str | None] = store.successors(connection) | succeeded
    for index, part in enumerate(parts):
        sku = sku_of(part)
        chain = [sku]
        while (last := after.get(chain[-1])) is not None and last not in chain:
            chain.append(last)
        if last == sku:
            yield Objection(
                index,
                ("superseded_by",),
                str(part.superseded_by),
                f"The successors of `{sku}` lead back to it: {' -> '.join([*chain, sku])}.",
                "a successor that is not superseded by this component",
                "circular-succession",
            )


def _lost_ports(
    connection: Connection, parts: Sequence[Component], stored: Mapping[str, str]
) -> Iterator[Objection]:
    """Ports that vehicles or assemblies join and that the new components no longer have."""
    lost: dict[str, set[str]] = {}
    places: dict[str, int] = {}
    for index, part in enumerate(parts):
        if (document := stored.get(sku_of(part))) is not None:
            places[sku_of(part)] = index
            before = {port["id"] for port in json.loads(document).get("ports", ())}
            if gone := before - {port.id for port in part.ports}:
                lost[sku_of(part)] = gone
    if not lost:
        return
    users = [
        (f"Vehicle `{each.vehicle}` joins", each.sku, each.port)
        for each in vehicle_store.joined_ports(connection, lost)
    ]
    users += [
        (f"Assembly `{each.assembly}` (`{each.name}`) joins as `{each.end}`", each.sku, each.port)
        for each in uses.joined_ports(connection, lost)
    ]
    for user, sku, port in dict.fromkeys(users):
        if port in lost[sku]:
            yield Objection(
                places[sku],
                ("ports",),
                port,
                f"{user} the port `{port}` of `{sku}`, which would be gone.",
                f"a port called `{port}`, or a change of what joins it first",
                "port-in-use",
                is_conflict=True,
            )
