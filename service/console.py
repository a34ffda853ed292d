"""Reports, faults and rules as a person reads them in a terminal, or in a file from a pipe."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable, Iterator, Sequence
from textwrap import shorten
from typing import Final, TextIO

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from rules.carts import CartReport
from rules.engine import Book, Rule
from rules.report import Evidence, Finding, Remedy, Report, Severity, Verdict
from service.checks.judge import Question
from service.flow import flow_lines
from service.imports.schemas import ImportResult
from service.line import DRAWN, STYLES, TYPED, Signs, drawing
from service.problems import Fault
from service.routing import gaps, is_told_as_missing, routing_lines
from service.rulebook.schemas import full

WIDEST: Final = 100
_PIPED_WIDTH: Final = 100

_LONGEST_NOT_CHECKED: Final = 180
"""Letters of a line on what was not checked; it may name every part, and the JSON does."""

_VERDICTS: Final[dict[Verdict, tuple[str, str]]] = {
    "fits": ("FITS", "bold black on green"),
    "fits-with-cautions": ("FITS, WITH CAUTIONS", "bold black on yellow"),
    "does-not-fit": ("DOES NOT FIT", "bold white on red"),
    "cannot-tell": ("CANNOT TELL", "bold white on magenta"),
}
_GROUPS: Final[tuple[tuple[Severity, str], ...]] = (
    ("error", "Must change"),
    ("unknown", "Not known"),
    ("warning", "To mind"),
    ("note", "Good to know"),
)


class _PatientConsole(Console):
    """A console whose reader may leave: the rest goes nowhere, and the exit code stays true."""

    def on_broken_pipe(self) -> None:
        self.quiet = True
        forget_stdout()


def forget_stdout() -> None:
    """Send what is still to be written to standard output nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def write(text: str) -> None:
    """Write a text and a line break to standard output, whose reader may have left."""
    try:
        print(text, flush=True)
    except BrokenPipeError:
        forget_stdout()


def console_for(stream: TextIO) -> Console:
    """A console that writes plain lines where nobody watches."""
    watched = stream.isatty()
    return _PatientConsole(
        file=stream,
        highlight=False,
        markup=False,
        emoji=False,
        soft_wrap=False,
        width=None if watched else _PIPED_WIDTH,
        no_color=None if watched else True,
    )


def signs_for(console: Console) -> Signs:
    """Line-drawing signs on a terminal that can show them, plain typing elsewhere."""
    return DRAWN if console.is_terminal and console.encoding.startswith("utf") else TYPED


def print_text(console: Console, text: str, style: str) -> None:
    """Print a paragraph."""
    _print(console, [Text(text, style=style)], min(console.width, WIDEST))


def print_report(console: Console, title: str, asked: Question, report: Report) -> None:
    """Print a report on an assembly or a cart."""
    width = min(console.width, WIDEST)
    _print(console, _report(title, asked, report, signs_for(console), width), width)


def _print(console: Console, parts: Iterable[RenderableType], width: int) -> None:
    """Print on a terminal as it is, elsewhere without the blanks that fill up a line."""
    if console.is_terminal:
        for part in parts:
            console.print(part, width=width)
        return
    with console.capture() as captured:
        for part in parts:
            console.print(part, width=width)
    trimmed = "\n".join(line.rstrip() for line in captured.get().split("\n"))
    console.out(trimmed, end="", highlight=False)


def _report(
    title: str, asked: Question, report: Report, signs: Signs, width: int
) -> Iterator[RenderableType]:
    word, style = _VERDICTS[report.verdict]
    yield Text.assemble((f" {word} ", style), "  ", (title, "bold"))
    yield Text()
    ordered = [f for severity, _ in _GROUPS for f in report.findings if f.severity == severity]
    routing = report.routing if isinstance(report, CartReport) else None
    joints = routing.joints if routing else asked.joints
    broken = gaps(routing) if routing else ()
    for line in drawing(joints, ordered, signs, width - 4, broken):
        yield Padding(line, (0, 2))
    yield Text()
    if isinstance(report, CartReport):
        yield from routing_lines(report)
    for severity, heading in _GROUPS:
        numbered = [(n, f) for n, f in enumerate(ordered, 1) if f.severity == severity]
        if numbered:
            yield Text(heading, style=STYLES[severity])
            yield Text()
        for number, finding in numbered:
            is_told = routing is not None and is_told_as_missing(finding, routing)
            shown = _head(number, finding, signs) if is_told else _finding(number, finding, signs)
            yield Padding(shown, (0, 0, 1, 2))
    if report.flow is not None:
        yield from flow_lines(report.flow, asked.application, signs)
    if report.not_checked:
        yield Text("Not checked", style="bold")
        for each in report.not_checked:
            told = shorten(f"{each.what}: {each.why}", _LONGEST_NOT_CHECKED, placeholder=" ...")
            yield Padding(Text(told, style="dim"), (0, 2))
        yield Text()
    yield from _changed_by_the_shop(report)
    yield from _cautions(report)
    yield Text(
        f"rule book {report.book.version}, catalogue {report.catalogue_revision}, "
        f"fingerprint {report.fingerprint[:16]}",
        style="dim",
    )


def _head(number: int, finding: Finding, signs: Signs) -> Text:
    style = STYLES[finding.severity]
    return Text.assemble((f"{signs.marks[finding.severity]}{number} ", style), finding.message)


def _finding(number: int, finding: Finding, signs: Signs) -> RenderableType:
    where = ", ".join(finding.subject.ports or finding.subject.refs)
    body: list[RenderableType] = [Text(where, style="dim")] if where else []
    if any(fact.value is not None for fact in finding.because):
        body.append(_because(finding.because))
    body.append(Text(finding.explanation))
    body.extend(_remedy(finding.remedy))
    body.extend(Text(caution, style="yellow") for caution in finding.cautions)
    body.append(Text(f"{finding.rule}; after {', '.join(finding.sources)}", style="dim"))
    return Group(_head(number, finding, signs), Padding(Group(*body), (0, 0, 0, 3)))


def _because(facts: Iterable[Evidence]) -> Table:
    table = Table.grid(padding=(0, 3, 0, 0))
    for fact in facts:
        table.add_row(
            Text(fact.fact),
            Text(_value(fact), style="bold"),
            Text(fact.of),
            Text(fact.origin, style="dim"),
        )
    return table


def _value(fact: Evidence) -> str:
    if fact.value is None:
        return "not recorded"
    if isinstance(fact.value, bool):
        return "yes" if fact.value else "no"
    if isinstance(fact.value, tuple):
        return ", ".join(fact.value)
    shown = f"{fact.value:g}" if isinstance(fact.value, float) else str(fact.value)
    return f"{shown} {fact.unit}" if fact.unit else shown


def _remedy(remedy: Remedy) -> Iterator[Text]:
    yield Text.assemble(("What to do: ", "green"), remedy.text)
    for each in remedy.add:
        yield Text.assemble("  add ", (f"{each.quantity} x {each.sku}", "bold"), f"  {each.name}")
    for each in remedy.replace:
        yield Text.assemble(
            f"  in place of {', '.join(each.replaces)}: ",
            (f"{each.quantity} x {each.sku}", "bold"),
            f"  {each.name}",
        )


def _changed_by_the_shop(report: Report) -> Iterator[RenderableType]:
    if report.book.changed:
        yield Text("Severity changed by the shop", style="bold")
        for changed in report.book.changed:
            told = f"{changed.rule}: {changed.now} in place of {changed.was}"
            yield Padding(Text(f"{told}: {changed.reason}", style="dim"), (0, 2))
        yield Text()
    if report.book.switched_off:
        yield Text("Switched off by the shop", style="bold")
        for each in report.book.switched_off:
            yield Padding(Text(f"{each.rule}: {each.reason}", style="dim"), (0, 2))
        yield Text()


def _cautions(report: Report) -> Iterator[RenderableType]:
    if report.cautions:
        yield Text("Before anyone opens a fuel line", style="bold")
        for caution in report.cautions:
            yield Padding(Text(caution), (0, 2))
        yield Text()


def print_faults(console: Console, title: str, detail: str, faults: Sequence[Fault]) -> None:
    """Print everything that is wrong with an input."""
    _print(console, _faults(title, detail, faults), min(console.width, WIDEST))


def _faults(title: str, detail: str, faults: Sequence[Fault]) -> Iterator[RenderableType]:
    yield Text.assemble((title, "bold red"), "" if faults else f": {detail}")
    for fault in faults:
        # A fault of a file says its line, a fault of a command is its title's.
        told = (f"{fault.pointer}: ", "bold") if fault.pointer else ""
        yield Text.assemble(told, fault.detail)
        if fault.found is not None:
            yield Padding(Text(f"found     {fault.found}", style="dim"), (0, 2))
        if fault.expected:
            yield Padding(Text(f"expected  {fault.expected}"), (0, 2))


def print_import(console: Console, result: ImportResult) -> None:
    """Print what an import did, or would do."""
    done = "would be " if result.dry_run else ""
    counted = (
        f"{result.components} components: {result.created} {done}created, {result.replaced} "
        f"{done}replaced, {result.unchanged} unchanged. "
    )
    revision = f"The catalogue is at revision {result.catalogue_revision}."
    noted = [Text(f"line {note.line}: {note.detail}") for note in result.notes]
    _print(console, [Text(counted + revision), *noted], min(console.width, WIDEST))


def print_rules(console: Console, book: Book) -> None:
    """Print the rules of a book, one a line."""
    _print(console, _rules(book), console.width)


def _rules(book: Book) -> Iterator[RenderableType]:
    table = Table.grid(padding=(0, 3, 0, 0))
    for rule in book.rules:
        table.add_row(
            Text(rule.id, no_wrap=True),
            Text(rule.severity, style=STYLES[rule.severity]),
            Text(rule.family, style="dim"),
        )
    yield table
    yield Text(f"{len(book.rules)} rules, book {book.version}", style="dim")
    for each in book.switched_off:
        yield Text(f"switched off: {each.rule} ({each.reason})")


def print_rule(console: Console, rule: Rule) -> None:
    """Print a rule in full, as the book writes it."""
    _print(console, _rule(rule), min(console.width, WIDEST))


def _rule(rule: Rule) -> Iterator[RenderableType]:
    yield Text.assemble((rule.id, "bold"), "  ", (rule.severity, STYLES[rule.severity]))
    kinds = f", only {', '.join(sorted(rule.kinds))}" if rule.kinds else ""
    table = Table.grid(padding=(0, 3, 0, 0))
    for name, text in (
        ("about", f"{rule.about}{kinds}"),
        ("when", rule.condition.source),
        ("says", rule.message.source),
        ("because", ", ".join(fact.path for fact in rule.because)),
        ("explains", rule.explanation.source),
        ("remedy", rule.remedy.text.source),
        ("cautions", "\n".join(each.source for each in rule.cautions)),
        ("sources", "\n".join(rule.sources)),
        ("written in", rule.place),
    ):
        if text:
            table.add_row(Text(name, style="dim"), Text(text.strip()))
    yield table
    for example in full(rule).examples:
        facts = ", ".join(f"{name}: {json.dumps(value)}" for name, value in example.facts.items())
        yield Text.assemble((f"{example.expected:<12}", "bold"), facts)


def write_utf8() -> None:
    """Make both standard streams write UTF-8, whatever the locale says."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")
