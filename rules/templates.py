"""Texts with facts in them: "{a.name} has a bore of {a.bore_mm}".

A placeholder is a fact of the rule's subject and nothing more. It is checked when the book is
loaded, so that a text can never miss a value; a brace that is meant is written twice. A word of a
vocabulary that begins a sentence gets a capital; a name that a caller gave stays as it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from rules.schema import Fact, Schema, Word, Words
from rules.sourcetext import Fault, TextFaults

_PIECE = re.compile(r"(?P<brace>\{\{|\}\})|\{(?P<path>[^{}]*)\}|(?P<stray>[{}])")

_BLANKS = re.compile(" {2,}")


class TemplateFaults(TextFaults):
    """Everything that is wrong with a template, from left to right."""


@dataclass(frozen=True, slots=True)
class Template:
    """A checked text, cut into plain pieces and facts."""

    source: str
    pieces: tuple[str | Fact, ...] = field(repr=False)

    def render(self, facts: Any) -> str:
        """Fill in the facts of a record: numbers with their unit, "not recorded" if unknown."""
        text = ""
        for piece in self.pieces:
            shown = piece if isinstance(piece, str) else piece.show(facts)
            begins = not text or text.endswith(". ")
            if begins and isinstance(piece, Fact) and isinstance(piece.type, Word | Words):
                shown = shown[:1].upper() + shown[1:]
            text += shown
        # A fact that has nothing to say leaves no gap where it would have stood.
        return _BLANKS.sub(" ", text).strip()


def compile_template(source: str, schema: Schema) -> Template:
    """Check a text against a schema; raises `TemplateFaults` holding all its faults."""
    faults: list[Fault] = []
    pieces = tuple(_pieces(source, schema, faults))
    if faults:
        raise TemplateFaults(source, faults)
    return Template(source, pieces)


def _pieces(source: str, schema: Schema, faults: list[Fault]) -> Iterator[str | Fact]:
    end = 0
    for found in _PIECE.finditer(source):
        if found.start() > end:
            yield source[end : found.start()]
        end = found.end()
        path = found["path"]
        if found["brace"]:
            yield found["brace"][0]
        elif path in schema.facts:
            yield schema.facts[path]
        else:
            faults.append(Fault(_refusal(found, schema), found.start(), end - found.start()))
    if end < len(source):
        yield source[end:]


def _refusal(found: re.Match[str], schema: Schema) -> str:
    if stray := found["stray"]:
        return f'this brace stands alone; one that is meant is written "{stray}{stray}"'
    path = found["path"]
    if not path.strip():
        return "a placeholder needs the name of a fact"
    fact = re.split(r"[^\w.]", path.strip())[0]
    if fact in schema.facts:
        return f"a placeholder is the name of a fact alone: {{{fact}}}"
    return schema.refusal(path)
