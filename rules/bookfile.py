"""Reading YAML so that everything wrong with it can be pointed at.

A `BookFile` is one file: its text, its tree of YAML nodes, and the faults found in it so far. The
readers (`mapping`, `sequence`, `text`, ...) return what a node holds, or note a fault and return
None (for the collections an empty one), so that reading goes on and finds the rest. They also take
None for the node, of a key that is not there: `mapping` has noted that if it matters.
"""

from __future__ import annotations

import bisect
import codecs
import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from rules.facttypes import did_you_mean
from rules.sourcetext import TextFaults

# The C loader is ten times as quick; a few builds of PyYAML lack it.
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_LINE_BREAK = re.compile("\r\n|[\n\r\x85\u2028\u2029]")  # what YAML counts as one
_FORBIDDEN = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_QUOTED_IN_PART = re.compile(r""":\s+("[^"]*"|'[^']*')\s*$""")
_TAG = "tag:yaml.org,2002:"
_READ_AS = {
    f"{_TAG}bool": "true or false",
    f"{_TAG}int": "a number",
    f"{_TAG}float": "a number",
    f"{_TAG}timestamp": "a date",
    f"{_TAG}null": "nothing",
}
_ALLOWED_TAGS = {*_READ_AS, *(_TAG + kind for kind in ("str", "seq", "map", "merge", "value"))}
# Plain decimals only: YAML also reads 010 as eight and 1:30 as ninety.
_WHOLE_NUMBER = re.compile(r"[-+]?(0|[1-9]\d*)")
_NUMBER = re.compile(r"[-+]?(0|[1-9]\d*)?(\.\d*)?([eE][-+]?\d+)?")


@dataclass(frozen=True)
class BookFault:
    """Something wrong with a rule book, and where: line and column count from one.

    A fault of a whole file or directory has no line.
    """

    path: Path
    message: str
    line: int = 0
    column: int = 0
    source: str = ""
    length: int = 1

    def __str__(self) -> str:
        if not self.line:
            return f"{self.path}: {self.message}"
        # Tabs stay tabs, so that the carets stand below what they point at.
        margin = re.sub(r"[^\t]", " ", self.source[: self.column - 1])
        room = max(1, len(self.source) - len(margin))
        return (
            f"{self.path}:{self.line}:{self.column}: {self.message}\n"
            f"    {self.source}\n"
            f"    {margin}{'^' * min(self.length, room)}"
        )


class BookFaults(ValueError):
    """Everything that is wrong with a rule book, in order of file, line and column."""

    def __init__(self, faults: Iterable[BookFault]) -> None:
        self.faults = sorted(faults, key=lambda each: (str(each.path), each.line, each.column))
        super().__init__("\n".join(map(str, self.faults)))


class _UnreadableError(Exception):
    """A file of which nothing can be used; `at` is the place in its text, where there is one."""

    def __init__(self, message: str, at: int | None = None) -> None:
        self.message = message
        self.at = at
        super().__init__(message)


class BookFile:
    """One YAML file of a rule book. `root` is None where it could not be read at all."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.faults: list[BookFault] = []
        self.content = ""
        self._starts = [0]
        self.root: yaml.Node | None = None
        try:
            self.root = self._read()
        except _UnreadableError as error:
            self._note(error.message, error.at, 1)
        if self.root is not None:
            self._refuse_tags(self.root)

    def _read(self) -> yaml.Node:
        try:
            content = self.path.read_bytes().removeprefix(codecs.BOM_UTF8)
        except OSError as error:
            raise _UnreadableError(f"cannot be read: {error.strerror}") from error
        self.content = content.decode(errors="replace")
        self._starts += [found.end() for found in _LINE_BREAK.finditer(self.content)]
        try:
            content.decode()
        except UnicodeDecodeError as error:
            at = len(content[: error.start].decode())
            raise _UnreadableError("the file is not UTF-8", at) from error
        if found := _FORBIDDEN.search(self.content):
            name = f"U+{ord(found[0]):04X}"
            raise _UnreadableError(f"the character {name} is not allowed in YAML", found.start())
        return self._composed()

    def _composed(self) -> yaml.Node:
        try:
            root: yaml.Node | None = yaml.compose(self.content, Loader=_LOADER)
        except yaml.MarkedYAMLError as error:
            raise _UnreadableError(*self._syntax_fault(error)) from error
        if root is None:
            raise _UnreadableError("the file is empty")
        return root

    def _syntax_fault(self, error: yaml.MarkedYAMLError) -> tuple[str, int]:
        problem = ", ".join(filter(None, (error.context, error.problem)))
        at = self._at(error.problem_mark)
        line = self.content[self._starts[self._line(at)] : at]
        if _QUOTED_IN_PART.search(line):
            problem += (
                "; a text that begins with a quote mark must be quoted whole,"
                ' or follow on the next line after ">-"'
            )
        end = len(self.content.rstrip())
        if at >= end:  # what was begun says more than the end of the file
            at = min(end - 1, self._at(error.context_mark or error.problem_mark))
        return f"not valid YAML: {problem}", at

    def _refuse_tags(self, root: yaml.Node) -> None:
        waiting, seen = [root], set()
        while waiting:
            node = waiting.pop()
            if id(node) in seen:  # an alias leads to the same node again
                continue
            seen.add(id(node))
            if node.tag not in _ALLOWED_TAGS:
                self.fault(node, f'the tag "{node.tag}" is not allowed')
            if isinstance(node, yaml.MappingNode):
                waiting += [each for entry in node.value for each in entry]
            elif isinstance(node, yaml.SequenceNode):
                waiting += node.value

    # Noting faults

    def fault(self, node: yaml.Node, message: str) -> None:
        """Note a fault of a node; the caret goes under its first line, or its first key."""
        if isinstance(node, yaml.MappingNode) and node.value and not node.flow_style:
            node = node.value[0][0]
        start, end = self._at(node.start_mark), self._at(node.end_mark)
        first_line = _LINE_BREAK.split(self.content[start:end], maxsplit=1)[0].rstrip()
        self._note(message, start, max(1, len(first_line)))

    def faults_within(self, node: yaml.ScalarNode, found: TextFaults) -> None:
        """Note the faults of a text at their places inside the scalar that holds it."""
        places = self._places(node)
        for each in found.faults:
            first = places[min(each.offset, len(places) - 1)]
            last = places[min(each.offset + each.length, len(places)) - 1]
            self._note(each.message, first, max(1, last + 1 - first))

    def place(self, node: yaml.Node) -> str:
        """Return "file:line" of a node."""
        return f"{self.path}:{node.start_mark.line + 1}"

    def _note(self, message: str, start: int | None, length: int) -> None:
        if start is None:
            self.faults.append(BookFault(self.path, message))
            return
        line = self._line(start)
        first = self._starts[line]
        source = _LINE_BREAK.split(self.content[first:], maxsplit=1)[0]
        column = start - first + 1
        self.faults.append(BookFault(self.path, message, line + 1, column, source, length))

    def _at(self, mark: Any) -> int:
        # Not `mark.index`: loaders differ on whether that counts characters or bytes.
        if mark.line >= len(self._starts):
            return len(self.content)
        at: int = self._starts[mark.line] + mark.column
        return at

    def _line(self, at: int) -> int:
        return bisect.bisect_right(self._starts, at) - 1

    def _places(self, node: yaml.ScalarNode) -> list[int]:
        start, end = self._at(node.start_mark), self._at(node.end_mark)
        raw = self.content[start:end]
        return [start + place for place in _places_in(raw, node.value, node.style or "")]

    # Reading nodes

    def mapping(
        self, node: yaml.Node | None, what: str, form: Mapping[str, Any]
    ) -> dict[str, yaml.Node]:
        """Read a mapping by its JSON Schema: no unknown key, no required one missing."""
        entries = {key.value: (key, value) for key, value in self.entries(node, what)}
        known = form["properties"]
        for name in entries.keys() - known.keys():
            hint = did_you_mean(name, known) or f"; it has {', '.join(known)}"
            self.fault(entries[name][0], f'{what} has no "{name}"{hint}')
        if isinstance(node, yaml.MappingNode):
            for name in form.get("required", ()):
                if name not in entries:
                    self.fault(node, f'{what} needs "{name}"')
        return {name: value for name, (_, value) in entries.items() if name in known}

    def entries(self, node: yaml.Node | None, what: str) -> list[tuple[yaml.ScalarNode, yaml.Node]]:
        """Read a mapping of any keys, none of them twice.

        A key is taken as it is written: YAML would make a truth value of `off`.
        """
        if not isinstance(node, yaml.MappingNode):
            self._refuse_kind(node, what, "a mapping")
            return []
        entries: dict[str, tuple[yaml.ScalarNode, yaml.Node]] = {}
        for key, value in node.value:
            if not isinstance(key, yaml.ScalarNode):
                self.fault(key, "a key must be a word")
            elif key.value in entries:
                self.fault(key, f'"{key.value}" is given twice')
            else:
                entries[key.value] = (key, value)
        return list(entries.values())

    def sequence(self, node: yaml.Node | None, what: str) -> list[yaml.Node]:
        """Read a list that holds something."""
        if not isinstance(node, yaml.SequenceNode):
            self._refuse_kind(node, what, "a list")
            return []
        if not node.value:
            self.fault(node, f"{what} must not be empty")
        return list(node.value)

    def texts(self, node: yaml.Node | None, what: str) -> list[tuple[str, yaml.ScalarNode]]:
        """Read a list of texts that holds something, none of them twice."""
        texts: dict[str, yaml.ScalarNode] = {}
        for each in self.sequence(node, what):
            text = self.text(each, f"each of {what}")
            if text in texts:
                self.fault(each, f'"{text}" is listed twice')
            elif text is not None and isinstance(each, yaml.ScalarNode):
                texts[text] = each
        return list(texts.items())

    def text(self, node: yaml.Node | None, what: str) -> str | None:
        """Read a text that is not blank."""
        if not isinstance(node, yaml.ScalarNode):
            self._refuse_kind(node, what, "text")
        elif not node.value.strip():
            self.fault(node, f"{what} must not be blank")
        elif node.tag in _READ_AS:
            self.fault(
                node,
                f"{what} must be text; YAML reads {node.value} as {_READ_AS[node.tag]}:"
                " put it in quotes",
            )
        else:
            return str(node.value)
        return None

    def choice(self, node: yaml.Node | None, what: str, choices: Collection[str]) -> str | None:
        """Read one of some words."""
        word = self.text(node, what)
        if node is None or word is None or word in choices:
            return word
        hint = did_you_mean(word, choices) or f"; one of {', '.join(sorted(choices))}"
        self.fault(node, f'there is no {what} "{word}"{hint}')
        return None

    def _refuse_kind(self, node: yaml.Node | None, what: str, wanted: str) -> None:
        if node is not None:
            self.fault(node, f"{what} must be {wanted}, not {_said(node)}")


def plain_value(node: yaml.Node) -> object:
    """Return a scalar or a list of scalars as plain data; raise `ValueError` for anything else."""
    if isinstance(node, yaml.SequenceNode):
        return [_plain_scalar(each) for each in node.value]
    return _plain_scalar(node)


def _plain_scalar(node: yaml.Node) -> object:
    if not isinstance(node, yaml.ScalarNode):
        raise ValueError(f"must be a value, not {_said(node)}")
    text = node.value
    match node.tag.removeprefix(_TAG):
        case "null":
            return None
        case "bool":
            return text.lower() in ("true", "yes", "on")
        case "int" | "float":
            if _WHOLE_NUMBER.fullmatch(text):
                return int(text)
            if _NUMBER.fullmatch(text):
                return float(text)
            raise ValueError(f"must be a plain decimal number, not {text}")
    return str(text)


def _said(node: yaml.Node) -> str:
    if isinstance(node, yaml.MappingNode):
        return "a mapping"
    if isinstance(node, yaml.SequenceNode):
        return "a list"
    return f'"{node.value}"' if node.value else "nothing"


# Places inside a scalar -----------------------------------------------------------------------

_CONTINUATION = re.compile(r"\\\r?\n")
_ESCAPE_LENGTHS = {"x": 4, "u": 6, "U": 10}


def _places_in(raw: str, value: str, style: str) -> list[int]:
    """Return where in the raw text of a scalar each character of its value was written.

    The value lacks the quotes, the indentation and the escapes of the raw text, and a line break
    in it may have become a blank. Both are read side by side.
    """
    at = 0
    if style in ("|", ">"):
        at = _after_blanks(raw, raw.find("\n"))
    elif style in ("'", '"'):
        at = 1
    places = []
    for character in value:
        while style == '"' and _CONTINUATION.match(raw, at):
            at = _after_blanks(raw, at + 1)
        if style == '"' and raw.startswith("\\", at):
            places.append(at)
            at += _ESCAPE_LENGTHS.get(raw[at + 1 : at + 2], 2)
        elif character.isspace():
            places.append(at)
            end = _after_blanks(raw, at)
            at = end if _LINE_BREAK.search(raw, at, end) else min(at + 1, end)
        else:
            at = _after_blanks(raw, at)
            places.append(at)
            at += 2 if style == "'" and raw.startswith("''", at) else 1
    return [min(place, len(raw) - 1) for place in places]


def _after_blanks(raw: str, at: int) -> int:
    while at < len(raw) and raw[at].isspace():
        at += 1
    return at
