"""A case: the facts about one thing, with where it stands in the request."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from rules.schema import UNKNOWN, Record, Unknown

T = TypeVar("T")


def recorded(value: T | None) -> T | Unknown:
    """The value, or UNKNOWN where nobody recorded one."""
    return UNKNOWN if value is None else value


@dataclass(frozen=True)
class Case:
    """One subject put before the rule book.

    Attributes:
        about: the subject's type, as rules name it.
        kind: the part's kind, where the subject has one.
        facts: the record that conditions read.
        refs: items concerned, in order.
        ports: ports concerned, as `ref.port`.
        pointer: RFC 6901 pointer into the request.
        missing: for a computed fact that is unknown, the recorded facts it was computed from and
            that are missing, in words ("bore of rail.inlet").
        memo: key under which outcomes may be remembered; equal keys mean equal facts.
    """

    about: str
    kind: str | None
    facts: Record
    refs: tuple[str, ...]
    ports: tuple[str, ...]
    pointer: str
    missing: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    memo: object = None
