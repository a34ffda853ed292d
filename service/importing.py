"""An import without HTTP: a file's content into an open database."""

from __future__ import annotations

from enum import Enum

from service.catalogue.service import Mode
from service.database import Database, now, read_revision
from service.imports.columns import DecimalMark
from service.imports.csv_rows import read_table
from service.imports.json_rows import read_array, read_lines
from service.imports.rows import Table
from service.imports.schemas import ImportResult
from service.imports.service import carry_out_import, check_rows, plan_import, result_of
from service.snapshot import Snapshot


class FileFormat(Enum):
    """How a file of components is written."""

    JSON = "json"
    LINES = "ndjson"
    CSV = "csv"


def import_content(
    database: Database,
    content: bytes,
    file_format: FileFormat,
    *,
    mode: Mode,
    decimal: DecimalMark | None,
    dry_run: bool,
) -> ImportResult:
    """Store the components of a file, all of them or none; only say so where it is a dry run.

    Raises:
        Problem: with every fault of the file; nothing is stored.
        DatabaseUnavailable: the database does not answer.
    """
    batch = check_rows(_table(content, file_format, decimal))
    known = Snapshot(database).current()
    if dry_run:
        with database.read() as connection:
            made = plan_import(connection, batch, mode, known)
            revision = read_revision(connection)
    else:
        with database.write() as write:
            made = carry_out_import(write, batch, mode, known, now())
            revision = write.revision
    return result_of(batch, made, known, mode=mode, dry_run=dry_run, revision=revision)


def _table(content: bytes, file_format: FileFormat, decimal: DecimalMark | None) -> Table:
    if file_format is FileFormat.CSV:
        return read_table(content, decimal)
    return read_lines(content) if file_format is FileFormat.LINES else read_array(content)
