"""The text of a condition: what keeps it from being read, and where in it a part stands."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import NoReturn

LONGEST_SOURCE = 600
DEEPEST_SOURCE = 24


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong with a text, and where in it: `offset` and `length` in characters."""

    message: str
    offset: int
    length: int


class TextFaults(ValueError):
    """Everything that is wrong with a text of a rule, from left to right."""

    def __init__(self, source: str, faults: Iterable[Fault]) -> None:
        self.source = source
        self.faults = sorted(set(faults), key=lambda fault: (fault.offset, fault.message))
        super().__init__("; ".join(f"at {each.offset}: {each.message}" for each in self.faults))


class ConditionFaults(TextFaults):
    """Everything that is wrong with the text of a condition, from left to right."""


@dataclass(frozen=True)
class SourceText:
    """The text that was parsed, and how far into the source it begins."""

    text: str
    indent: int

    @cached_property
    def _encoded(self) -> bytes:
        return self.text.encode()

    def place(self, first: ast.expr, last: ast.expr | None = None) -> tuple[int, int]:
        """Return offset and length in the source of a node, or from one node to another."""
        start = self._characters(first.col_offset)
        end = self._characters((last or first).end_col_offset or 0)
        return start + self.indent, end - start

    def of(self, node: ast.expr) -> str:
        """Return the text of a node."""
        offset, length = self.place(node)
        return self.text[offset - self.indent : offset - self.indent + length]

    def _characters(self, encoded_length: int) -> int:
        return len(self._encoded[:encoded_length].decode())


def parsed(source: str) -> tuple[ast.expr, SourceText]:
    """Parse the text of a condition, which is then known to be short, shallow and one expression.

    Raises `ConditionFaults` with the one fault that keeps it from being read.
    """

    def refuse(message: str, offset: int = 0, length: int = 1) -> NoReturn:
        raise ConditionFaults(source, [Fault(message, offset, length)])

    if not source.strip():
        refuse("a condition is missing")
    if len(source) > LONGEST_SOURCE:
        refuse(
            f"a condition has at most {LONGEST_SOURCE} characters, this has {len(source)};"
            " split the rule, or ask a predicate",
            LONGEST_SOURCE,
        )
    if "\\" in source:
        refuse("backslashes are not part of the rule language", source.index("\\"))

    # Line breaks become blanks of the same width, so that places stay places in the source.
    flat = re.sub(r"\s", " ", source)
    indent = len(flat) - len(flat.lstrip())
    text = SourceText(flat.strip(), indent)
    try:
        expression = ast.parse(text.text, mode="eval").body
    except SyntaxError as error:
        refuse(*_syntax_fault(text, error))
    except (ValueError, RecursionError, MemoryError):
        refuse("cannot be read as a condition")

    if (comment := _comment(text.text)) is not None:
        refuse("a condition holds no comment; put it on a YAML line of its own", comment + indent)
    if (depth := _depth(expression)) > DEEPEST_SOURCE:
        refuse(
            f"a condition nests at most {DEEPEST_SOURCE} deep, this {depth};"
            " split the rule, or ask a predicate"
        )
    return expression, text


_FOREIGN_OPERATORS = {
    r"&&": 'the rule language writes "and" for "&&"',
    r"\|\|": 'the rule language writes "or" for "||"',
    r"<>": 'the rule language writes "!=" for "<>"',
    r"!(?!=)": 'the rule language writes "not" for "!"',
    r"(?<![=!<>])=(?!=)": 'the rule language writes "==" for "is equal to"',
}


def _syntax_fault(text: SourceText, error: SyntaxError) -> tuple[str, int, int]:
    """Return message, offset and length; a habit from another language is named as such."""
    last = len(text.text) - 1
    if error.offset:
        offset = min(error.offset - 1, last)
        length = max(1, (error.end_offset or 0) - error.offset)
        message = f"cannot be read as a condition: {error.msg}"
    else:
        offset, length, message = last, 1, "cannot be read as a condition: it ends too early"
    for foreign, advice in _FOREIGN_OPERATORS.items():
        if found := re.search(foreign, text.text):
            message, offset, length = advice, found.start(), found.end() - found.start()
            break
    return message, text.indent + offset, length


def _comment(text: str) -> int | None:
    """Return where a comment begins, which would otherwise swallow the rest of the condition."""
    tokens = tokenize.generate_tokens(io.StringIO(text).readline)
    return next((each.start[1] for each in tokens if each.type == tokenize.COMMENT), None)


def _depth(expression: ast.expr) -> int:
    deepest = 0
    waiting: list[tuple[ast.AST, int]] = [(expression, 1)]
    while waiting:  # not by recursion: the text may be deeper than Python's own stack
        node, depth = waiting.pop()
        deepest = max(deepest, depth)
        for child in ast.iter_child_nodes(node):
            # Operators and contexts are nodes of the syntax tree too, but add no depth.
            waiting.append((child, depth + isinstance(child, ast.expr)))
    return deepest
