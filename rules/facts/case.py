"""A case: the facts about one thing, with where it stands in the request."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from rules.schema import UNKNOWN, Record, Unknown

T = TypeVar("T")


def recorded(value: T | None) -> T | Unknown:
    """The value, or UNKNOWN where nobody recorded one."""
    return UNKNOWN if value is None else value


RECORD = "Record the {what} of {of}, or ask the maker or measure it."
STATE = "State the {what} in the request."
WHICH_LINE = "Say which `line` {of} is in, or join it to what shows it."


@dataclass(frozen=True, slots=True)
class Gap:
    """An attribute that nobody recorded: what, and of which part, port or joint.

    `remedy` says how to close it; `{what}` and `{of}` stand for both.
    """

    what: str
    of: str
    remedy: str = RECORD


@dataclass(frozen=True, eq=False)
class Case:
    """One subject put before the rule book.

    Attributes:
        about: the subject's type, as rules name it.
        kind: the part's kind, where the subject has one.
        facts: the record that conditions read.
        refs: items concerned, in order.
        ports: ports concerned, as `ref.port`.
        pointer: RFC 6901 pointer into the request.
        sources: where the tables' part of the facts comes from, beside the rule's own sources.
        outcomes: for facts that hang together and are unknown together, the values they may still
            have; empty where they may have any.
        alternatives: other values that the facts may have within what is known. A rule answers only
            where it says the same of all of them.
        between: what is not recorded and lies between the facts and their alternatives.
        settled: unknown facts that need no answer any more, because a rule of its own says what is
            certain whatever they are.
        missing: asked only when something cannot be told: for a computed fact that is unknown, the
            attributes that were not recorded and that it hangs on. A fact that is not among them
            stands for itself.
    """

    about: str
    kind: str | None
    facts: Record
    refs: tuple[str, ...]
    ports: tuple[str, ...]
    pointer: str
    missing: Callable[[], Mapping[str, tuple[Gap, ...]]]
    sources: tuple[str, ...] = ()
    alternatives: tuple[Record, ...] = ()
    between: tuple[Gap, ...] = ()
    outcomes: tuple[Mapping[str, str], ...] = ()
    settled: frozenset[str] = frozenset()
