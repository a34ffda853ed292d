"""Saved assemblies in the database. Every function runs in the transaction its caller opened."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, cast

from pydantic import TypeAdapter
from sqlalchemy import Connection, Select, delete, exists, insert, select, update

from rules.cart import Cart
from rules.report import Counts, Report, Verdict
from rules.signoff import SignOff, fingerprint
from service.assemblies.schemas import Checked, Draft, ToldFinding
from service.assemblies.tables import assemblies, assembly_parts, assembly_versions, sign_offs
from service.checks.judge import Question
from service.database import Write

_TOLD: Final = TypeAdapter(tuple[ToldFinding, ...])


@dataclass(frozen=True, slots=True)
class Stored:
    """A version of an assembly as it is stored.

    `document` is the JSON of its `Draft`, `counts` and `findings` are the JSON of what was found.
    """

    id: str
    current: int
    created_at: datetime
    version: int
    name: str
    owner: str | None
    document: str
    saved_at: datetime
    verdict: str
    counts: str
    findings: str
    fingerprint: str
    catalogue_revision: int
    book_version: str

    def checked(self) -> Checked:
        """What the check at saving came to."""
        return Checked(
            verdict=cast("Verdict", self.verdict),
            counts=Counts.model_validate_json(self.counts),
            fingerprint=self.fingerprint,
            catalogue_revision=self.catalogue_revision,
            book_version=self.book_version,
        )

    def draft(self) -> Draft:
        """What was saved."""
        return Draft.model_validate_json(self.document)

    def told(self) -> tuple[ToldFinding, ...]:
        """The findings of the report at saving."""
        return _TOLD.validate_json(self.findings)


def document_of(draft: Draft) -> str:
    """The canonical JSON of a draft; reading it gives an equal draft."""
    return draft.model_dump_json(exclude_none=True)


def told_of(report: Report) -> tuple[ToldFinding, ...]:
    """The findings of a report in short."""
    return tuple(
        ToldFinding(
            finding=fingerprint(each),
            rule=each.rule,
            severity=each.severity,
            refs=each.subject.refs,
            message=each.message,
        )
        for each in report.findings
    )


# Reading --------------------------------------------------------------------------------------

_VERSION: Final = assembly_versions.c
_STORED: Final = (
    assemblies.c.id,
    assemblies.c.version,
    assemblies.c.created_at,
    _VERSION.number,
    _VERSION.name,
    _VERSION.owner,
    _VERSION.document,
    _VERSION.saved_at,
    _VERSION.verdict,
    _VERSION.counts,
    _VERSION.findings,
    _VERSION.fingerprint,
    _VERSION.catalogue_revision,
    _VERSION.book_version,
)


def _versions() -> Select[Any]:
    return select(*_STORED).join_from(
        assemblies, assembly_versions, _VERSION.assembly == assemblies.c.id
    )


def find(connection: Connection, assembly_id: str, version: int | None = None) -> Stored | None:
    """A version of an assembly; the current one, where none is named."""
    number = assemblies.c.version if version is None else version
    query = _versions().where(assemblies.c.id == assembly_id, _VERSION.number == number)
    row = connection.execute(query).one_or_none()
    return None if row is None else Stored(*row)


def page(
    connection: Connection, owner: str | None, sku: str | None, after: str | None, limit: int
) -> list[Stored]:
    """At most `limit` assemblies in order of creation, those after the id `after`.

    Args:
        owner: only those with this owner reference.
        sku: only those whose current version holds this component.
    """
    query = _versions().where(_VERSION.number == assemblies.c.version)
    if owner is not None:
        query = query.where(assemblies.c.owner == owner)
    if sku is not None:
        holds = select(assembly_parts.c.ref).where(
            assembly_parts.c.assembly == assemblies.c.id, assembly_parts.c.sku == sku
        )
        query = query.where(exists(holds))
    if after is not None:
        query = query.where(assemblies.c.id > after)
    query = query.order_by(assemblies.c.id).limit(limit)
    return [Stored(*row) for row in connection.execute(query)]


def versions(
    connection: Connection, assembly_id: str, before: int | None, limit: int
) -> list[Stored]:
    """At most `limit` versions of an assembly, the newest first, those older than `before`."""
    query = _versions().where(assemblies.c.id == assembly_id)
    if before is not None:
        query = query.where(_VERSION.number < before)
    query = query.order_by(_VERSION.number.desc()).limit(limit)
    return [Stored(*row) for row in connection.execute(query)]


def using(connection: Connection, sku: str) -> list[tuple[str, str]]:
    """Assemblies whose current version holds this component, each with the ref of the item."""
    query = (
        select(assembly_parts.c.assembly, assembly_parts.c.ref)
        .where(assembly_parts.c.sku == sku)
        .order_by(assembly_parts.c.assembly, assembly_parts.c.ref)
    )
    return [(assembly, ref) for assembly, ref in connection.execute(query)]


def built_on(connection: Connection, vehicle_id: str) -> list[str]:
    """Assemblies whose current version is for this vehicle."""
    query = (
        select(assemblies.c.id).where(assemblies.c.vehicle == vehicle_id).order_by(assemblies.c.id)
    )
    return list(connection.scalars(query))


# Writing --------------------------------------------------------------------------------------


def create(write: Write, assembly_id: str, draft: Draft, report: Report, moment: datetime) -> None:
    """Store a new assembly with its first version; `moment` is when."""
    write.connection.execute(
        insert(assemblies).values(id=assembly_id, created_at=moment, **_current(draft, 1))
    )
    _add_version(write, assembly_id, 1, draft, report, moment)


def replace(
    write: Write, assembly_id: str, number: int, draft: Draft, report: Report, moment: datetime
) -> None:
    """Store a further version of an assembly, which becomes the current one."""
    write.connection.execute(
        update(assemblies).where(assemblies.c.id == assembly_id).values(**_current(draft, number))
    )
    write.connection.execute(delete(assembly_parts).where(assembly_parts.c.assembly == assembly_id))
    _add_version(write, assembly_id, number, draft, report, moment)


def remove(write: Write, assembly_id: str) -> None:
    """Delete an assembly; its versions and sign-offs go too."""
    write.connection.execute(delete(assemblies).where(assemblies.c.id == assembly_id))


def _current(draft: Draft, number: int) -> dict[str, Any]:
    return {"version": number, "owner": draft.owner, "vehicle": draft.request.vehicle}


def _add_version(
    write: Write, assembly_id: str, number: int, draft: Draft, report: Report, moment: datetime
) -> None:
    write.connection.execute(
        insert(assembly_versions).values(
            assembly=assembly_id,
            number=number,
            name=draft.name,
            owner=draft.owner,
            document=document_of(draft),
            saved_at=moment,
            verdict=report.verdict,
            counts=report.counts.model_dump_json(),
            findings=_TOLD.dump_json(told_of(report)).decode(),
            fingerprint=report.fingerprint,
            catalogue_revision=report.catalogue_revision,
            book_version=report.book.version,
        )
    )
    parts = [
        {"assembly": assembly_id, "ref": place, "sku": sku} for place, sku in _skus(draft.request)
    ]
    if parts:
        write.connection.execute(insert(assembly_parts), parts)


def _skus(asked: Question) -> Iterator[tuple[str, str]]:
    """Components of the catalogue that are asked for, each with the ref or line that does."""
    for item in asked.items:
        if item.sku is not None:
            yield item.ref, item.sku
    if isinstance(asked, Cart):
        for index, line in enumerate(asked.lines):
            yield f"lines/{index}", line.sku


# Sign-offs ------------------------------------------------------------------------------------


def sign_offs_of(connection: Connection, assembly_id: str) -> list[SignOff]:
    """The sign-offs of an assembly in the order they were made."""
    query = (
        select(sign_offs.c.document)
        .where(sign_offs.c.assembly == assembly_id)
        .order_by(sign_offs.c.id)
    )
    return [SignOff.model_validate_json(document) for document in connection.scalars(query)]


def add_sign_off(write: Write, assembly_id: str, sign_off: SignOff) -> None:
    """Store a sign-off."""
    write.connection.execute(
        insert(sign_offs).values(
            id=sign_off.id, assembly=assembly_id, document=sign_off.model_dump_json()
        )
    )


def remove_sign_off(write: Write, assembly_id: str, sign_off_id: str) -> bool:
    """Delete a sign-off of an assembly.

    Returns:
        Whether there was one.
    """
    removed = write.connection.execute(
        delete(sign_offs).where(sign_offs.c.assembly == assembly_id, sign_offs.c.id == sign_off_id)
    )
    return removed.rowcount == 1
