"""Reading JSON that a stranger wrote: RFC 8259 and no more, with every fault at its place.

Python's own reader takes `NaN`, keeps the last of two equal names, turns `1e999` into infinity and
lets half a surrogate pair through; each of them ends later as a wrong answer or as a failure.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from typing import Any, Final

from service.problems import Fault, pointer, rendering

LONGEST_INTEGER: Final = 18
"""Digits of an integer that every reader of JSON holds exactly as 64 bits."""

DEEPEST: Final = 100
"""Levels of lists and objects; how many Python's own reader takes differs by its version."""

_HALF_PAIR = re.compile("[\ud800-\udfff]")
_WRITTEN_SURROGATE = re.compile(r"\\u[dD][89a-fA-F]")
# A string is passed over whole, and an unfinished one to the end of the body.
_STRING_OR_BRACKET = re.compile(r'"(?:[^"\\]++|\\.)*+"?|[\[\]{}]', re.DOTALL)


class JsonFaults(Exception):
    """The body is not JSON that can be taken; `faults` lists why."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__(faults[0].detail)
        self.faults = faults


class _Refused:
    """Stands in the parsed value for a number that cannot be taken, until its place is known."""

    def __init__(self, found: str, detail: str) -> None:
        self.found = found
        self.detail = detail


class _Repeating(dict[str, Any]):
    """An object in which names occur twice."""

    names: list[str]


class _Reader:
    """One reading of one body. `tainted` says whether anything in it must be looked at again."""

    def __init__(self) -> None:
        self.tainted = False
        self._decoder = json.JSONDecoder(
            object_pairs_hook=self._object,
            parse_constant=self._constant,
            parse_float=self._float,
            parse_int=self._int,
        )

    def read(self, text: str) -> Any:
        self.tainted = _WRITTEN_SURROGATE.search(text) is not None
        return self._decoder.decode(text)

    def _object(self, pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        read = dict(pairs)
        if len(read) == len(pairs):
            return read
        self.tainted = True
        names = [name for name, _ in pairs]
        repeating = _Repeating(read)
        repeating.names = [name for name in read if names.count(name) > 1]
        return repeating

    def _constant(self, text: str) -> _Refused:
        return self._refuse(text, f"`{text}` is no JSON number.")

    def _float(self, text: str) -> float | _Refused:
        value = float(text)
        if math.isfinite(value):
            return value
        return self._refuse(text, "The number is too large to hold.")

    def _int(self, text: str) -> int | _Refused:
        if len(text.lstrip("-")) <= LONGEST_INTEGER:
            return int(text)
        return self._refuse(text, "The number has more digits than can be held.")

    def _refuse(self, found: str, detail: str) -> _Refused:
        self.tainted = True
        return _Refused(found, detail)


def read_json(body: bytes) -> Any:
    """The value of a JSON body.

    Raises:
        JsonFaults: not UTF-8, not JSON, nested too deeply, a number that is not finite or does not
            fit, half a surrogate pair, or a name that occurs twice in one object.
    """
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise JsonFaults([_undecodable(body, error)]) from error
    if _is_too_deep(text):
        raise JsonFaults([TOO_DEEP])
    reader = _Reader()
    try:
        value = reader.read(text)
    except json.JSONDecodeError as error:
        raise JsonFaults([_syntax(error)]) from error
    if reader.tainted and (faults := list(_faults(value))):
        raise JsonFaults(faults)
    return value


TOO_DEEP: Final = Fault(
    pointer="",
    found=None,
    detail="The body is nested too deeply to read.",
    expected="a body as deep as this operation's form, which is some ten levels",
    code="json-too-deep",
)


def _is_too_deep(text: str) -> bool:
    if text.count("[") + text.count("{") <= DEEPEST:
        return False
    depth = 0
    for found in _STRING_OR_BRACKET.finditer(text):
        if found[0] in ("[", "{"):
            depth += 1
            if depth > DEEPEST:
                return True
        elif found[0] in ("]", "}"):
            depth -= 1
    return False


def _undecodable(body: bytes, error: UnicodeDecodeError) -> Fault:
    return Fault(
        pointer="",
        found=rendering(body[error.start : error.start + 8].hex(" ")),
        detail=f"Byte {error.start + 1} of the body is not UTF-8.",
        expected="JSON in UTF-8",
        code="json-encoding",
    )


def _syntax(error: json.JSONDecodeError) -> Fault:
    return Fault(
        pointer="",
        found=rendering(error.doc[error.pos : error.pos + 40]),
        detail=(
            f"The body stops being JSON at line {error.lineno}, column {error.colno}: "
            f"{error.msg.lower()}."
        ),
        expected="one JSON value",
        code="json-syntax",
    )


def _faults(value: Any) -> Iterator[Fault]:
    """What must be refused in a parsed value, in the order of the body."""
    ahead: list[tuple[tuple[str | int, ...], Any]] = [((), value)]
    while ahead:
        place, here = ahead.pop()
        if isinstance(here, _Refused):
            yield Fault(
                pointer(place),
                rendering(here.found),
                here.detail,
                f"a finite number of at most {LONGEST_INTEGER} digits",
                "json-number",
            )
        elif isinstance(here, str):
            yield from _half_pairs(place, here, "The text")
        elif isinstance(here, list):
            ahead.extend(((*place, i), here[i]) for i in reversed(range(len(here))))
        elif isinstance(here, dict):
            yield from _faults_of_names(place, here)
            ahead.extend(((*place, name), here[name]) for name in reversed(here))


def _faults_of_names(place: tuple[str | int, ...], here: dict[str, Any]) -> Iterator[Fault]:
    for name in here:
        yield from _half_pairs((*place, name), name, "The name")
    if isinstance(here, _Repeating):
        for name in here.names:
            yield Fault(
                pointer((*place, name)),
                rendering(name),
                f"The name `{rendering(name)}` occurs more than once in one object.",
                "each name once",
                "json-repeated-name",
            )


def _half_pairs(place: tuple[str | int, ...], text: str, what: str) -> Iterator[Fault]:
    if _HALF_PAIR.search(text):
        yield Fault(
            pointer(place),
            rendering(text),
            f"{what} holds half a surrogate pair.",
            "valid Unicode text",
            "json-text",
        )
