"""The rule book at work: which rules are asked of a subject, and what they say.

    book = load_book(language, [built_in_directory, shop_directory])
    for ruling in book.judge([Subject("joint", None, facts, memo)]):
        if ruling.outcome.decision == "fires":
            print(ruling.rule.render_message(ruling.subject.facts))

Nothing is rendered until it is asked for, and a rule that passes leaves no trace.
"""

from __future__ import annotations

import threading
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from rules.bookfile import BookFault, BookFaults
from rules.bookform import book_form_schema
from rules.bookreader import BookContents, Changed, SwitchedOff, read_book
from rules.facttypes import UNKNOWN, NotRecorded
from rules.language import FIRES, Language, Outcome
from rules.rule import Evidence, Example, Remedy, Rule, Severity, evidence_of, example_outcomes
from rules.schema import Record

__all__ = [
    "Book",
    "BookFault",
    "BookFaults",
    "Changed",
    "Evidence",
    "Example",
    "Remedy",
    "Rule",
    "Ruling",
    "Severity",
    "Subject",
    "SwitchedOff",
    "book_form_schema",
    "evidence_of",
    "example_outcomes",
    "load_book",
]

REMEMBERED_SUBJECTS = 20_000

_Decided: TypeAlias = tuple[tuple[Rule, Outcome], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Subject:
    """Something to be judged.

    `about` is a subject of the language and `kind` one of its kinds, None where it has none. A
    `memo` promises that the facts a condition may ask are the same wherever about, kind and memo
    are; it must not contain UNKNOWN.
    """

    about: str
    kind: str | None
    facts: Record
    memo: Hashable | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Ruling:
    """A rule that fires on a subject, or cannot tell."""

    rule: Rule
    subject: Subject
    outcome: Outcome


class Book:
    """The rules in force. Safe to be asked from several threads.

    `rules` are in the order they are written, without those switched off; `version` names the
    built-in book and, after a plus, the content of the shop's rules.
    """

    def __init__(self, language: Language, contents: BookContents) -> None:
        self.language = language
        self.version = contents.version
        self.rules = contents.rules
        self.switched_off = contents.switched_off
        self.changed = contents.changed
        self._by_id = {rule.id: rule for rule in self.rules}
        self._by_subject = dict(_indexed(language, self.rules))
        self._remembered: dict[tuple[str, str | None, Hashable], _Decided] = {}
        self._forgetting = threading.Lock()

    def rule(self, rule_id: str) -> Rule:
        """Return a rule in force; raises `KeyError` for any other id."""
        return self._by_id[rule_id]

    def rules_for(self, about: str, kind: str | None = None) -> tuple[Rule, ...]:
        """Return the rules asked of a kind of subject, in the order they are written.

        Raises `ValueError` for a subject or kind the language does not declare.
        """
        rules = self._by_subject.get((about, kind))
        if rules is None:
            kinds = sorted(k or "no kind" for name, k in self._by_subject if name == about)
            found = f"{about} of kind {kind}" if kinds else f"subject {about}"
            known = kinds or sorted(self.language.subjects)
            raise ValueError(f"the rules know no {found}; they know {', '.join(known)}")
        return rules

    def judge(self, subjects: Iterable[Subject]) -> list[Ruling]:
        """Ask every rule that applies, and return those that fire or cannot tell.

        The order is that of the subjects, and for one subject that of the rules.
        """
        return [
            Ruling(rule, subject, outcome)
            for subject in subjects
            for rule, outcome in self._decided(subject)
        ]

    def _decided(self, subject: Subject) -> _Decided:
        rules = self.rules_for(subject.about, subject.kind)
        if subject.memo is None:
            return tuple(_decide(rules, subject.facts))
        key = (subject.about, subject.kind, subject.memo)
        decided = self._remembered.get(key)
        if decided is None:
            decided = tuple(_decide(rules, subject.facts))
            self._remember(key, decided)
        return decided

    def _remember(self, key: tuple[str, str | None, Hashable], decided: _Decided) -> None:
        with self._forgetting:
            while len(self._remembered) >= REMEMBERED_SUBJECTS:
                del self._remembered[next(iter(self._remembered))]  # the oldest
            self._remembered[key] = decided


def load_book(language: Language, directories: Sequence[Path]) -> Book:
    """Read and check a book: the built-in directory first, then those of the shop.

    Raises `BookFaults` holding every fault of every file, each with its place.
    """
    return Book(language, read_book(language, directories))


def _indexed(
    language: Language, rules: Sequence[Rule]
) -> Iterator[tuple[tuple[str, str | None], tuple[Rule, ...]]]:
    for about, subject in language.subjects.items():
        for kind in subject.kinds or [None]:
            yield (
                (about, kind),
                tuple(
                    rule
                    for rule in rules
                    if rule.about == about and (not rule.kinds or kind in rule.kinds)
                ),
            )


def _decide(rules: Iterable[Rule], facts: Record) -> Iterator[tuple[Rule, Outcome]]:
    # `Condition.decide` spelt out: most answers are a plain False, and a call costs as much.
    for rule in rules:
        try:
            answer = rule.condition.holds(facts)
        except NotRecorded:
            answer = UNKNOWN
        if answer is False:
            continue
        outcome = FIRES if answer is True else rule.condition.weigh(facts)
        if outcome.decision != "passes":
            yield rule, outcome
