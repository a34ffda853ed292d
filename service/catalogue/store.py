"""Components in the database. Every function runs in the transaction its caller opened."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import (
    ColumnElement,
    Connection,
    Select,
    Table,
    bindparam,
    delete,
    exists,
    insert,
    or_,
    select,
    update,
)

from rules.catalogue import lookup_key
from rules.parts import COMPONENT, Component
from rules.quantities import plain_text
from service.catalogue.tables import (
    component_fuels,
    component_materials,
    component_ports,
    component_references,
    components,
)
from service.database import Write

_MOST_IN_A_LIST: Final = 5000
"""Values in one `IN`; SQLite takes at most 32,766 parameters in a statement."""

Cells = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Stored:
    """A component as it is stored; `document` is its JSON, in which what is unknown is absent."""

    sku: str
    version: int
    updated_at: datetime
    document: str


@dataclass(frozen=True, slots=True)
class Criteria:
    """What the components of a list have in common; `None` asks nothing.

    Attributes:
        suited_materials: the wetted materials are all among these, and all recorded.
        unless_excluded: a fuel that the maker has not ruled out.
    """

    kind: str | None = None
    lifecycle: str | None = None
    system: str | None = None
    size: str | None = None
    gender: str | None = None
    text: str | None = None
    material: str | None = None
    approved_fuel: str | None = None
    suited_materials: frozenset[str] | None = None
    unless_excluded: str | None = None


def document_of(component: Component) -> str:
    """The canonical JSON of a component; reading it gives an equal component."""
    return COMPONENT.dump_json(component, exclude_none=True).decode()


def search_key(text: str) -> str:
    """Text as it is compared in a search: typography and case folded."""
    return plain_text(text).casefold()


# Reading --------------------------------------------------------------------------------------

_STORED: Final = (
    components.c.sku,
    components.c.version,
    components.c.updated_at,
    components.c.document,
)


def find(connection: Connection, sku: str) -> Stored | None:
    """The component of this SKU, letter for letter."""
    row = connection.execute(select(*_STORED).where(components.c.sku == sku)).one_or_none()
    return None if row is None else Stored(*row)


def page(connection: Connection, criteria: Criteria, after: str | None, limit: int) -> list[Stored]:
    """At most `limit` components that meet the criteria, in order of SKU, those after `after`."""
    query = select(*_STORED).where(*_conditions(criteria)).order_by(components.c.sku).limit(limit)
    if after is not None:
        query = query.where(components.c.sku > after)
    return [Stored(*row) for row in connection.execute(query)]


def documents(connection: Connection, skus: Collection[str]) -> dict[str, str]:
    """The documents of those of these SKUs that are stored."""
    return _mapped(connection, components.c.sku, components.c.document, skus)


def spellings(connection: Connection, keys: Collection[str]) -> dict[str, str]:
    """The stored SKU under each of these look-up keys, where there is one."""
    return _mapped(connection, components.c.lookup_key, components.c.sku, keys)


def successors(connection: Connection) -> dict[str, str]:
    """The successor of each component that names one."""
    query = select(component_references.c.sku, component_references.c.target).where(
        component_references.c.place == "superseded_by"
    )
    return {row.sku: row.target for row in connection.execute(query)}


def naming(connection: Connection, sku: str) -> list[tuple[str, str]]:
    """Other components that name this one, each with the place where it does."""
    query = (
        select(component_references.c.sku, component_references.c.place)
        .where(component_references.c.target == sku, component_references.c.sku != sku)
        .order_by(component_references.c.sku, component_references.c.place)
    )
    return [(user, place) for user, place in connection.execute(query)]


def skus(connection: Connection) -> list[str]:
    """All SKUs."""
    return list(connection.scalars(select(components.c.sku)))


def changed_after(connection: Connection, version: int) -> list[tuple[str, str]]:
    """SKU and document of the components written after this revision of the catalogue."""
    query = select(components.c.sku, components.c.document).where(components.c.version > version)
    return [(sku, document) for sku, document in connection.execute(query)]


def _mapped(
    connection: Connection,
    key: ColumnElement[str],
    value: ColumnElement[str],
    keys: Collection[str],
) -> dict[str, str]:
    found: dict[str, str] = {}
    for some in _portions(list(keys)):
        found.update((k, v) for k, v in connection.execute(select(key, value).where(key.in_(some))))
    return found


def _portions(values: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(values), _MOST_IN_A_LIST):
        yield values[start : start + _MOST_IN_A_LIST]


def _conditions(criteria: Criteria) -> Iterator[ColumnElement[bool]]:
    if criteria.kind is not None:
        yield components.c.kind == criteria.kind
    if criteria.lifecycle is not None:
        yield components.c.lifecycle == criteria.lifecycle
    if criteria.text is not None:
        yield components.c.search_text.contains(search_key(criteria.text), autoescape=True)
    if criteria.system is not None:
        yield exists(_port_query(criteria))
    if criteria.material is not None:
        yield exists(_side(component_materials).where(_material == criteria.material))
    if criteria.approved_fuel is not None:
        yield _fuel_stance("approved", criteria.approved_fuel)
    if criteria.unless_excluded is not None:
        yield ~_fuel_stance("excluded", criteria.unless_excluded)
    if criteria.suited_materials is not None:
        yield components.c.wetted_recorded
        unsuited = or_(_material.is_(None), _material.not_in(sorted(criteria.suited_materials)))
        yield ~exists(_side(component_materials).where(unsuited))


_material: Final = component_materials.c.material


def _side(table: Table) -> Select[Any]:
    return select(table.c.sku).where(table.c.sku == components.c.sku)


def _port_query(criteria: Criteria) -> Select[Any]:
    query = _side(component_ports).where(component_ports.c.system == criteria.system)
    if criteria.size is not None:
        query = query.where(component_ports.c.size == plain_text(criteria.size))
    if criteria.gender is not None:
        query = query.where(component_ports.c.gender == criteria.gender)
    return query


def _fuel_stance(stance: str, fuel: str) -> ColumnElement[bool]:
    return exists(
        _side(component_fuels).where(
            component_fuels.c.stance == stance, component_fuels.c.fuel == fuel.casefold()
        )
    )


# Writing --------------------------------------------------------------------------------------


def insert_all(write: Write, parts: Sequence[Component], moment: datetime) -> None:
    """Store new components; `moment` is when."""
    version = write.change()
    rows = [_row(part, version, moment) | {"created_at": moment} for part in parts]
    _execute_many(write, insert(components), rows)
    _insert_sides(write, parts)


def replace_all(write: Write, parts: Sequence[Component], moment: datetime) -> None:
    """Put components in place of the stored ones of the same SKU; `moment` is when."""
    version = write.change()
    replacing = update(components).where(components.c.sku == bindparam("owner"))
    rows = [{"owner": part.sku, **_row(part, version, moment)} for part in parts]
    _execute_many(write, replacing, rows)
    for table in _SIDES:
        clearing = delete(table).where(table.c.sku == bindparam("owner"))
        _execute_many(write, clearing, [{"owner": part.sku} for part in parts])
    _insert_sides(write, parts)


def remove(write: Write, sku: str) -> None:
    """Delete a component; what is stored beside it goes too."""
    write.change()
    write.connection.execute(delete(components).where(components.c.sku == sku))


def _execute_many(write: Write, statement: Any, rows: Sequence[Cells]) -> None:
    if rows:
        write.connection.execute(statement, rows)


def _insert_sides(write: Write, parts: Sequence[Component]) -> None:
    for table, rows_of in _SIDES.items():
        _execute_many(write, insert(table), [row for part in parts for row in rows_of(part)])


def _row(part: Component, version: int, moment: datetime) -> Cells:
    words = (part.sku, part.name, part.supplier)
    return {
        "sku": part.sku,
        "lookup_key": lookup_key(part.sku or ""),
        "version": version,
        "kind": part.kind,
        "lifecycle": part.lifecycle,
        "name": part.name,
        "search_text": "\n".join(search_key(word) for word in words if word),
        "wetted_recorded": part.wetted is not None,
        "document": document_of(part),
        "updated_at": moment,
    }


def _port_rows(part: Component) -> Iterator[Cells]:
    for port in part.ports:
        if (joined := port.connection) is not None:
            yield {
                "sku": part.sku,
                "port": port.id,
                "system": joined.system,
                "size": None if joined.size is None else plain_text(joined.size),
                "gender": joined.gender,
            }


def _material_rows(part: Component) -> Iterator[Cells]:
    pieces = [wetted.material for wetted in part.wetted or ()]
    seals = [port.seal for port in part.ports if port.seal is not None]
    pieces += [seal.material for seal in seals if seal.included is not False]
    for place, material in enumerate(pieces):
        yield {"sku": part.sku, "place": place, "material": material}


def _fuel_rows(part: Component) -> Iterator[Cells]:
    for stance, fuels in (("approved", part.approved_fuels), ("excluded", part.excluded_fuels)):
        for fuel in sorted({fuel.casefold() for fuel in fuels or ()}):
            yield {"sku": part.sku, "fuel": fuel, "stance": stance}


def references(part: Component) -> dict[str, str]:
    """The SKUs that a component names, by the RFC 6901 pointer of the place without its slash."""
    named = {} if part.superseded_by is None else {"superseded_by": part.superseded_by}
    for index, need in enumerate(part.needs):
        if need.sku is not None:
            named[f"needs/{index}/sku"] = need.sku
    return named


def _reference_rows(part: Component) -> Iterator[Cells]:
    for place, target in references(part).items():
        yield {"sku": part.sku, "place": place, "target": target}


_SIDES: Final[Mapping[Table, Callable[[Component], Iterator[Cells]]]] = {
    component_ports: _port_rows,
    component_materials: _material_rows,
    component_fuels: _fuel_rows,
    component_references: _reference_rows,
}
