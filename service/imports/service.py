"""Bulk import: every row is checked, every fault is told at once, and all are stored or none."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import cache
from typing import Final

from pydantic import ValidationError
from sqlalchemy import Connection

from rules.catalogue import Catalogue, lookup_key
from rules.parts import COMPONENT, Component
from service.catalogue.service import Mode, Objection, Plan, carry_out, plan, sku_of
from service.database import Write
from service.faults import body_faults
from service.forms import Form
from service.imports.rows import MarkedFault, Row, Table
from service.imports.schemas import ImportNote, ImportResult
from service.problems import Fault, invalid, rendering

_NUMBER: Final = re.compile(r"[0-9]+(?:\.[0-9]+)?")


@dataclass(frozen=True, slots=True)
class Batch:
    """The components of a file, each with the row it came from, and what is wrong with the rest."""

    rows: Sequence[Row]
    parts: Sequence[Component]
    faults: Sequence[MarkedFault]
    skus_given: frozenset[str]


def check_rows(table: Table) -> Batch:
    """Check the rows of a file by themselves and against each other."""
    faults = list(table.faults)
    rows: list[Row] = []
    parts: list[Component] = []
    for row in table.rows:
        try:
            part = COMPONENT.validate_python(row.given)
        except ValidationError as refused:
            faults += _faults_of_row(row, refused)
            continue
        if part.sku is None:
            faults.append(_without_sku(row))
            continue
        rows.append(row)
        parts.append(part)
    faults += _alike(rows, parts)
    given = frozenset(row.sku for row in table.rows if row.sku is not None)
    return Batch(rows, parts, faults, given)


def plan_import(connection: Connection, batch: Batch, mode: Mode, known: Catalogue) -> Plan:
    """What storing the batch comes to.

    Raises:
        Problem: 422, with every fault of the file, those that only the catalogue shows included.
    """
    made = plan(connection, batch.parts, mode, known, batch.skus_given)
    faults = [*batch.faults, *(_objection(batch.rows, each) for each in made.objections)]
    if faults:
        raise invalid([each.fault for each in sorted(faults, key=lambda each: each.order)])
    return made


def carry_out_import(
    write: Write, batch: Batch, mode: Mode, known: Catalogue, moment: datetime
) -> Plan:
    """Store the batch.

    Raises:
        Problem: 422, with every fault of the file; nothing is stored.
    """
    made = plan_import(write.connection, batch, mode, known)
    carry_out(write, made, moment)
    return made


def result_of(
    batch: Batch, made: Plan, known: Catalogue, *, mode: Mode, dry_run: bool, revision: int
) -> ImportResult:
    """What an import did, or would do; `revision` is the catalogue's after it."""
    return ImportResult(
        dry_run=dry_run,
        mode=mode,
        components=len(batch.parts),
        created=len(made.new),
        replaced=len(made.replacing),
        unchanged=len(made.unchanged),
        catalogue_revision=revision,
        notes=tuple(notes(batch, known)),
    )


def notes(batch: Batch, known: Catalogue) -> Iterator[ImportNote]:
    """Part numbers that a spreadsheet may have taken for numbers: they differ in zeros only."""
    spellings: defaultdict[Decimal, set[str]] = defaultdict(set)
    for sku in (*known.parts, *batch.skus_given):
        if _NUMBER.fullmatch(sku):
            spellings[Decimal(sku)].add(sku)
    for row, part in zip(batch.rows, batch.parts, strict=True):
        sku = sku_of(part)
        others = sorted(spellings[Decimal(sku)] - {sku}) if _NUMBER.fullmatch(sku) else []
        if others:
            listed = ", ".join(f"`{other}`" for other in others)
            yield ImportNote(
                line=row.mark_of(("sku",)).line,
                sku=sku,
                detail=f"`{sku}` and {listed} differ in zeros only; they are kept apart.",
            )


@cache
def _form() -> Form:
    schema = COMPONENT.json_schema(by_alias=True)
    return Form(schema, schema["$defs"])


def _faults_of_row(row: Row, refused: ValidationError) -> Iterator[MarkedFault]:
    errors = refused.errors(include_url=False)
    for fault in body_faults(errors, row.given, _form()):
        parts = tuple(_step(part) for part in fault.pointer.split("/")[1:])
        yield MarkedFault.of_row(row, parts, fault)


def _step(part: str) -> str | int:
    if re.fullmatch("[0-9]{1,9}", part):
        return int(part)
    return part.replace("~1", "/").replace("~0", "~")


def _without_sku(row: Row) -> MarkedFault:
    fault = Fault(
        "", None, "A component of the catalogue needs a SKU.", "the part number, as text", "missing"
    )
    return MarkedFault.of_row(row, ("sku",), fault)


def _alike(rows: Sequence[Row], parts: Sequence[Component]) -> Iterator[MarkedFault]:
    """Rows of one file that stand for one part number, however it is spelt."""
    by_key: defaultdict[str, list[int]] = defaultdict(list)
    for index, part in enumerate(parts):
        by_key[lookup_key(sku_of(part))].append(index)
    for alike in by_key.values():
        for index in alike[1:]:
            yield _repeated(
                rows[index], sku_of(parts[index]), rows[alike[0]], sku_of(parts[alike[0]])
            )


def _repeated(row: Row, sku: str, first: Row, spelling: str) -> MarkedFault:
    line = first.mark_of(("sku",)).line
    if sku == spelling:
        detail, code = f"`{sku}` is in line {line} already.", "repeated"
    else:
        detail = f"`{sku}` and `{spelling}` in line {line} are two spellings of one part number."
        code = "look-alike"
    return MarkedFault.of_row(row, ("sku",), Fault("", sku, detail, "each part number once", code))


def _objection(rows: Sequence[Row], objection: Objection) -> MarkedFault:
    fault = Fault(
        "", rendering(objection.found), objection.detail, objection.expected, objection.code
    )
    return MarkedFault.of_row(rows[objection.index], objection.parts, fault)
