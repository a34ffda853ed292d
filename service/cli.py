"""The command line, `lineworthy`.

Exit codes: 0 the assembly fits (cautions included), 1 it does not, 3 it cannot be told, 2 the input
or the surroundings are wrong.
"""

from __future__ import annotations

import difflib
import json
import logging
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from enum import Enum
from pathlib import Path
from typing import Annotated, Final

import typer
from pydantic import TypeAdapter, ValidationError

from rules.cart import Cart
from rules.carts import CartReport
from rules.catalogue import Catalogue, catalogue
from rules.check import is_built_in, load_rules
from rules.engine import Book, BookFault, BookFaults
from rules.report import Report, Verdict
from rules.routing import load_templates, routed_request
from seed_data import demo_assemblies, demo_carts, demo_components, demo_vehicles
from service.checks.judge import Asked, Judge, Question
from service.checks.judging import drawn
from service.console import (
    console_for,
    forget_stdout,
    print_faults,
    print_import,
    print_report,
    print_rule,
    print_rules,
    write,
    write_utf8,
)
from service.database import Database, DatabaseUnavailable, SchemaError
from service.database import migrate as migrate_database
from service.demo import DemoError, run_demo
from service.faults import body_faults
from service.forms import form_of
from service.importing import FileFormat, import_content
from service.problems import Problem, details, invalid, problem
from service.rulebook.endpoints import find_rule
from service.rulebook.schemas import full, listing
from service.settings import Settings, SettingsError, read_settings
from service.snapshot import CorruptRowError, Snapshot
from service.strict_json import JsonFaults, read_json

EXIT_CODES: Final[dict[Verdict, int]] = {
    "fits": 0,
    "fits-with-cautions": 0,
    "does-not-fit": 1,
    "cannot-tell": 3,
}
BAD_INPUT: Final = 2
STANDARD_INPUT: Final = Path("-")

_REFUSALS: Final = (
    BookFaults,
    CorruptRowError,
    DatabaseUnavailable,
    DemoError,
    SchemaError,
    SettingsError,
)

cli = typer.Typer(
    help="Checks whether fuel-system parts join, survive the fuel and are all there.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
rules_cli = typer.Typer(
    help="Read the rule book, or test one of your own.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
cli.add_typer(rules_cli, name="rules")
circuits_cli = typer.Typer(
    help="The circuits that a cart may be laid out by.",
    no_args_is_help=True,
)
cli.add_typer(circuits_cli, name="circuits")

AsJson = Annotated[bool, typer.Option("--json", help="Write JSON, for programs.")]
InputFile = Annotated[Path, typer.Argument(metavar="FILE", help="`-` is standard input.")]


class LogLevel(Enum):
    """From which level up the log is written."""

    DEBUG = "debug"
    INFO = "info"
    WARNING = "warning"
    ERROR = "error"


class ImportMode(Enum):
    """What is done with a SKU that exists."""

    CREATE = "create"
    UPSERT = "upsert"


class Decimal(Enum):
    """The decimal mark of a table."""

    COMMA = "comma"
    POINT = "point"


@cli.command()
def demo(
    keep: Annotated[
        bool, typer.Option("--keep", help="Serve on until Ctrl-C, and say where.")
    ] = False,
    output: Annotated[
        Path, typer.Option(help="Where the database and the reports are left.")
    ] = Path("output"),
) -> None:
    """Make a demo shop, serve it, check assemblies and a cart over HTTP, print their reports."""
    with _refusals():
        run_demo(console_for(sys.stdout), output, keep)


@cli.command()
def serve(
    host: Annotated[str | None, typer.Option(help="Address to listen on.")] = None,
    port: Annotated[
        int | None, typer.Option(min=0, max=65535, help="Port to listen on; 0 takes a free one.")
    ] = None,
    log_level: Annotated[
        LogLevel, typer.Option(help="From which level up to write the log.")
    ] = LogLevel.INFO,
) -> None:
    """Serve the API from the database that LINEWORTHY_DATABASE_URL names."""
    # Not at the top of the module: the other commands need neither, and start in half the time.
    from service.app import create_app
    from service.server import serve as run

    given = {"host": host, "port": port}
    with _refusals():
        settings = read_settings(
            **{name: value for name, value in given.items() if value is not None}
        )
        _require_startable(settings)
    level = logging.getLevelNamesMapping()[log_level.name]
    if not run(create_app(settings), settings.host, settings.port, level):
        raise typer.Exit(BAD_INPUT)


@cli.command()
def check(
    file: InputFile,
    as_json: AsJson = False,
    demo: Annotated[
        bool,
        typer.Option(
            "--demo",
            help="Use the demo shop's catalogue, and no database. FILE may then name one of its "
            "assemblies or carts.",
        ),
    ] = False,
    picture: Annotated[
        Path | None,
        typer.Option(metavar="SVG", help="Draw the pressure line into this file."),
    ] = None,
) -> None:
    """Check an assembly or a cart, a request as JSON. Exit code 0 fits, 1 does not, 3 can't tell.

    A cart has `lines` of SKU and quantity in place of items and joints.
    """
    with _refusals(as_json):
        asked = _of_the_demo(file) if demo else _question(_content(file))
        judge = _judge(read_settings(), demo)
        report = judge.report_on(asked)
        if picture is not None:
            _write_file(picture, _picture(asked, report, judge))
    if as_json:
        write(report.model_dump_json(indent=2))
    else:
        name = "standard input" if file == STANDARD_INPUT else file.name
        print_report(console_for(sys.stdout), name, asked, report)
    raise typer.Exit(EXIT_CODES[report.verdict])


@cli.command("import")
def import_file(
    file: InputFile,
    file_format: Annotated[
        FileFormat | None,
        typer.Option("--format", help="How the file is written; otherwise its ending tells."),
    ] = None,
    mode: Annotated[
        ImportMode, typer.Option(help="Whether a SKU that exists is refused or replaced.")
    ] = ImportMode.CREATE,
    decimal: Annotated[
        Decimal | None, typer.Option(help="The decimal mark of a CSV file, where it is not clear.")
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Only say what would happen; store nothing.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Import components into the database, all of them or none."""
    with _refusals(as_json), _opened(read_settings()) as database:
        database.require_schema()
        result = import_content(
            database,
            _content(file),
            file_format or _format_of(file),
            mode=mode.value,
            decimal=decimal.value if decimal else None,
            dry_run=dry_run,
        )
    if as_json:
        write(result.model_dump_json(indent=2))
    else:
        print_import(console_for(sys.stdout), result)


@cli.command()
def migrate() -> None:
    """Make the database's tables, or bring them to this version's schema."""
    with _refusals():
        migrate_database(read_settings().database_url)
    write("The database is at this version's schema.")


@rules_cli.command("list")
def list_rules(as_json: AsJson = False) -> None:
    """List the rules in force."""
    with _refusals(as_json):
        book = _book()
    if as_json:
        write(listing(book, book.rules).model_dump_json(indent=2))
    else:
        print_rules(console_for(sys.stdout), book)


@rules_cli.command("show")
def show_rule(
    rule_id: Annotated[str, typer.Argument(metavar="ID", help="The id of a rule.")],
    as_json: AsJson = False,
) -> None:
    """Show a rule with its condition, sources and examples."""
    with _refusals(as_json):
        rule = find_rule(_book(), rule_id)
    if as_json:
        write(full(rule).model_dump_json(indent=2))
    else:
        print_rule(console_for(sys.stdout), rule)


@rules_cli.command("test")
def try_rules(
    directory: Annotated[
        Path | None,
        typer.Argument(
            exists=True,
            file_okay=False,
            help="Directory of the shop's rules; the built-in book alone, where none is named.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Load the built-in book, with a directory of your own, and run the examples of every rule."""
    own_directory = None if directory is None or is_built_in(directory) else directory
    try:
        book = load_rules(own_directory)
    except BookFaults as refused:
        _tell_book_faults(refused.faults, as_json)
        raise typer.Exit(BAD_INPUT) from None
    own = [
        rule
        for rule in book.rules
        if own_directory is not None and rule.place.startswith(str(own_directory))
    ]
    examples = sum(len(rule.examples) for rule in book.rules)
    if as_json:
        counts = {"rules": len(book.rules), "own_rules": len(own), "examples": examples}
        write(json.dumps({"version": book.version, **counts, "faults": []}, indent=2))
    else:
        write(
            f"{len(book.rules)} rules, {len(own)} of them your own; {examples} examples decide as "
            f"written. The book is {book.version}."
        )


@circuits_cli.command("list")
def list_circuits(as_json: AsJson = False) -> None:
    """List the circuits in force, the most preferred first, with their stations by name."""
    with _refusals(as_json):
        templates = load_templates(read_settings().circuit_directory)
    told = [
        {
            "id": each.id,
            "name": each.name,
            "serves": list(each.serves),
            "stations": [*each.stations, *each.inline, *each.branches],
        }
        for each in templates.templates
    ]
    if as_json:
        write(json.dumps({"version": templates.version, "circuits": told}, indent=2))
        return
    for each in told:
        write(f"{each['id']}: {each['name']}")
        write(f"    for {', '.join(each['serves'])}; stations {', '.join(each['stations'])}")


@circuits_cli.command("test")
def try_circuits(
    directory: Annotated[
        Path, typer.Argument(exists=True, file_okay=False, help="Directory of the shop's circuits.")
    ],
    as_json: AsJson = False,
) -> None:
    """Load the built-in circuits with a directory of your own."""
    try:
        templates = load_templates(directory)
    except BookFaults as refused:
        _tell_book_faults(refused.faults, as_json)
        raise typer.Exit(BAD_INPUT) from None
    own = len(templates.templates) - len(load_templates().templates)
    if as_json:
        counts = {"circuits": len(templates.templates), "own_circuits": own}
        write(json.dumps({"version": templates.version, **counts, "faults": []}, indent=2))
    else:
        write(f"{len(templates.templates)} circuits, {own} of them your own.")


def _tell_book_faults(faults: list[BookFault], as_json: bool) -> None:
    if not as_json:
        for fault in faults:
            write(str(fault))
        write(f"{len(faults)} fault{'' if len(faults) == 1 else 's'}; nothing is loaded.")
        return
    told = [
        {
            "path": str(fault.path),
            "line": fault.line,
            "column": fault.column,
            "message": fault.message,
            "source": fault.source,
        }
        for fault in faults
    ]
    write(json.dumps({"faults": told}, indent=2, ensure_ascii=False))


# Parts of commands ----------------------------------------------------------------------------


@contextmanager
def _refusals(as_json: bool = False) -> Iterator[None]:
    """End the command with exit code 2 and a word on what is wrong, never with a traceback."""
    try:
        yield
    except Problem as refusal:
        if as_json:
            write(details(refusal, "command-line").model_dump_json(by_alias=True, indent=2))
        else:
            print_faults(console_for(sys.stderr), refusal.title, refusal.detail, refusal.errors)
        raise typer.Exit(BAD_INPUT) from None
    except _REFUSALS as refusal:
        print(f"lineworthy: {refusal}", file=sys.stderr)
        raise typer.Exit(BAD_INPUT) from None


def _content(file: Path) -> bytes:
    """What a file holds.

    Raises:
        Problem: it cannot be read.
    """
    if file == STANDARD_INPUT:
        return sys.stdin.buffer.read()
    try:
        return file.read_bytes()
    except OSError as error:
        raise problem("refused", f"`{file}` cannot be read: {error.strerror}.") from error


def _write_file(file: Path, text: str) -> None:
    """Write a text as UTF-8.

    Raises:
        Problem: it cannot be written.
    """
    try:
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise problem("refused", f"`{file}` cannot be written: {error.strerror}.") from error


def _of_the_demo(file: Path) -> Question:
    """The demo assembly or cart of this name; otherwise the request that such a file holds.

    Raises:
        Problem: it is neither, or with every fault of the request.
    """
    name = str(file)
    known: dict[str, Question] = {each.slug: each.request for each in demo_assemblies()}
    known |= {each.slug: each.request for each in demo_carts()}
    if name in known:
        return known[name]
    if file != STANDARD_INPUT and not file.exists():
        near = difflib.get_close_matches(name, known, n=1, cutoff=0.3) or list(known)[:1]
        raise problem(
            "refused",
            f"`{file}` is no file, and the demo shop has no assembly or cart of that name. "
            f"One of them is `{near[0]}`.",
        )
    return _question(_content(file))


def _format_of(file: Path) -> FileFormat:
    """The format that a file's ending names.

    Raises:
        Problem: it names none.
    """
    endings = {".json": FileFormat.JSON, ".ndjson": FileFormat.LINES, ".csv": FileFormat.CSV}
    found = endings.get(file.suffix.lower())
    if found is None:
        known = ", ".join(f"`{ending}`" for ending in endings)
        raise problem(
            "refused", f"`{file}` does not end in {known}: name its format with `--format`."
        )
    return found


def _question(content: bytes) -> Question:
    """The assembly or the cart that a file holds.

    Raises:
        Problem: with every fault of it.
    """
    try:
        body = read_json(content)
    except JsonFaults as refused:
        raise invalid(refused.faults) from refused
    asked: TypeAdapter[Question] = TypeAdapter(Asked)
    try:
        return asked.validate_python(body)
    except ValidationError as refused:
        errors = refused.errors(include_url=False)
        raise invalid(body_faults(errors, body, form_of(asked))) from refused


def _judge(settings: Settings, demo: bool) -> Judge:
    return Judge(
        catalogue=_catalogue(settings, demo),
        book=load_rules(settings.book_directory),
        templates=load_templates(settings.circuit_directory),
        settings=settings,
    )


def _picture(asked: Question, report: Report | CartReport, judge: Judge) -> str:
    """The pressure line of an assembly, or of a cart as it goes together.

    Raises:
        Problem: there is no flow to draw.
    """
    if not isinstance(asked, Cart):
        return drawn(asked, judge.catalogue, judge.settings)
    assert isinstance(report, CartReport)
    routing = report.routing
    request = routed_request(asked, routing)
    try:
        return drawn(request, judge.catalogue, judge.settings)
    except Problem as refused:
        places = {
            f"/items/{number}": routing.origins[item.ref]
            for number, item in enumerate(request.items)
        }
        raise invalid(
            [
                replace(fault, pointer=places.get(fault.pointer, fault.pointer))
                for fault in refused.errors
            ]
        ) from refused


def _book() -> Book:
    return load_rules(read_settings().book_directory)


def _catalogue(settings: Settings, demo: bool) -> Catalogue:
    if demo:
        return catalogue(1, demo_components(), demo_vehicles())
    with _opened(settings) as database:
        database.require_schema()
        return Snapshot(database).current()


@contextmanager
def _opened(settings: Settings) -> Iterator[Database]:
    database = Database.of(settings)
    try:
        yield database
    finally:
        database.close()


def _require_startable(settings: Settings) -> None:
    """Refuse before a server starts what would make it fail as it starts.

    Raises:
        SchemaError, DatabaseUnavailable, CorruptRowError, BookFaults: saying what is wrong.
    """
    load_rules(settings.book_directory)
    load_templates(settings.circuit_directory)
    with _opened(settings) as database:
        database.require_schema()
        Snapshot(database)


def main() -> None:
    """Run the command that the arguments name; output that cannot be written ends it with 2."""
    write_utf8()
    try:
        try:
            cli()
        except SystemExit:
            sys.stdout.flush()
            raise
    except BrokenPipeError as left:
        # Who reads has left, and the exit code that was on its way stays true.
        forget_stdout()
        if isinstance(left.__context__, SystemExit):
            raise left.__context__ from None
    except OSError as error:
        forget_stdout()
        what = f"`{error.filename}`" if error.filename else "The output cannot be written"
        with suppress(OSError):
            print(f"lineworthy: {what}: {error.strerror}.", file=sys.stderr)
        sys.exit(BAD_INPUT)


if __name__ == "__main__":
    main()
