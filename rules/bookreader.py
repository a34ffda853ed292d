"""Reads a rule book from its directories: built-in rules first, then those of the shop.

Everything is read and checked before anything is refused, so that one attempt reports every fault
of every file.
"""

from __future__ import annotations

import dataclasses
import hashlib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar, cast

import yaml

from rules.bookfile import BookFault, BookFaults, BookFile, plain_value
from rules.bookform import DECISIONS, SLUG, book_form_schema
from rules.facttypes import Text, Word, did_you_mean, said
from rules.language import (
    Condition,
    Decision,
    Language,
    Outcome,
    SubjectType,
    TextFaults,
    compile_condition,
)
from rules.rule import SEVERITIES, Example, Remedy, Rule, Severity
from rules.schema import Fact, Schema
from rules.templates import Template, compile_template

VERSION_FILE = "VERSION"

_Read = TypeVar("_Read")


@dataclass(frozen=True, slots=True)
class SwitchedOff:
    """A rule a shop does not want asked, and why."""

    rule: str
    reason: str


@dataclass(frozen=True, slots=True)
class Changed:
    """A rule whose severity a shop has changed, and why."""

    rule: str
    was: Severity
    severity: Severity
    reason: str


@dataclass(frozen=True, slots=True)
class BookContents:
    """What the directories of a book hold, all of it checked."""

    version: str
    rules: tuple[Rule, ...]
    switched_off: tuple[SwitchedOff, ...]
    changed: tuple[Changed, ...]


def read_book(language: Language, directories: Sequence[Path]) -> BookContents:
    """Read the built-in book from the first directory and a shop's rules from the others.

    Raises `BookFaults` holding every fault of every file.
    """
    built_in, *shop = directories
    faults: list[BookFault] = []
    version = _version(built_in, faults)
    built_in_files = _files(built_in, faults)
    shop_files = [file for directory in shop for file in _files(directory, faults)]

    reader = _BookReader(language)
    for file in built_in_files:
        reader.read(file, own=True)
    for file in shop_files:
        reader.read(file, own=False)
    reader.apply_overrides()

    faults += [fault for file in (*built_in_files, *shop_files) for fault in file.faults]
    if faults:
        raise BookFaults(faults)
    return BookContents(
        version=version + _fingerprint(shop_files),
        rules=tuple(reader.rules.values()),
        switched_off=tuple(reader.switched_off),
        changed=tuple(reader.changed),
    )


def _version(directory: Path, faults: list[BookFault]) -> str:
    path = directory / VERSION_FILE
    version = path.read_text("utf-8", errors="replace").strip() if path.is_file() else ""
    if directory.is_dir() and not re.fullmatch(r"[\w.+-]+", version):
        faults.append(BookFault(path, "must hold the version of the book, such as 2026.11"))
    return version


def _files(directory: Path, faults: list[BookFault]) -> list[BookFile]:
    if not directory.is_dir():
        faults.append(BookFault(directory, "there is no such directory"))
        return []
    paths = sorted(
        path
        for path in directory.rglob("*")
        if path.suffix in (".yaml", ".yml")
        and path.is_file()
        # An editor's own files are not the shop's.
        and not any(part.startswith(".") for part in path.relative_to(directory).parts)
    )
    if not paths:
        faults.append(BookFault(directory, "the directory holds no rule file (*.yaml)"))
    return [BookFile(path) for path in paths]


def _fingerprint(files: Iterable[BookFile]) -> str:
    content = "\0".join(file.content for file in files)
    return f"+shop.{hashlib.sha256(content.encode()).hexdigest()[:12]}" if content else ""


# One book -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Override:
    """What a shop says about a rule: another severity, or none to switch it off."""

    rule: str
    severity: Severity | None
    reason: str
    file: BookFile
    node: yaml.Node

    def fault(self, message: str) -> None:
        self.file.fault(self.node, message)


class _BookReader:
    """Takes in file after file. Faults are noted in the file; what has one is left out."""

    def __init__(self, language: Language) -> None:
        self.rules: dict[str, Rule] = {}
        self.switched_off: list[SwitchedOff] = []
        self.changed: list[Changed] = []
        self._overrides: list[_Override] = []
        self._places: dict[str, str] = {}  # of every id, also of a rule that has faults
        self._language = language
        self._form = book_form_schema(language)

    def read(self, file: BookFile, *, own: bool) -> None:
        """Take in a file of the book's own, or of a shop."""
        if file.root is None:
            return
        keys = file.mapping(file.root, "a rule file", self._form)
        if not isinstance(file.root, yaml.MappingNode):
            return
        if "rules" not in keys and "overrides" not in keys:
            file.fault(file.root, 'a rule file needs "rules" or "overrides"')
        elif ("family" in keys) != ("rules" in keys):
            file.fault(file.root, '"family" and "rules" go together')
        if "overrides" in keys and own:
            file.fault(keys["overrides"], "only a shop's own directory can override a rule")
        family = _slug(file, keys.get("family"), "family")
        for node in file.sequence(keys.get("rules"), "rules"):
            self._take_rule(file, node, family or "")
        for node in file.sequence(keys.get("overrides"), "overrides"):
            self._take_override(file, node)

    def _take_rule(self, file: BookFile, node: yaml.Node, family: str) -> None:
        form = self._form["properties"]["rules"]["items"]
        reader = _RuleReader(self._language, form, file, node)
        rule_id = reader.id()
        if rule_id in self._places:
            place = self._places[rule_id]
            file.fault(reader.keys["id"], f'"{rule_id}" is the id of the rule at {place} already')
        elif rule_id is not None:
            self._places[rule_id] = file.place(node)
        rule = reader.rule(family)
        if rule is not None:
            self.rules[rule.id] = rule

    def _take_override(self, file: BookFile, node: yaml.Node) -> None:
        form = self._form["properties"]["overrides"]["items"]
        keys = file.mapping(node, "an override", form)
        rule = file.text(keys.get("rule"), "rule")
        reason = file.text(keys.get("reason"), "reason")
        severity = file.choice(keys.get("severity"), "severity", SEVERITIES)
        if "off" in keys and keys["off"].value != "true":
            file.fault(keys["off"], "off can only be true; leave the override out otherwise")
        elif keys and ("off" in keys) == ("severity" in keys):
            file.fault(node, 'an override has either "severity" or "off: true"')
        elif rule and reason and (severity or "off" in keys):
            override = _Override(rule, cast(Severity, severity), reason, file, keys["rule"])
            self._overrides.append(override)

    def apply_overrides(self) -> None:
        """Change the rules as the shop wants them; to be called when all files are read."""
        seen: set[str] = set()
        for override in self._overrides:
            if override.rule not in self._places:
                hint = did_you_mean(override.rule, self._places)
                override.fault(f'there is no rule "{override.rule}"{hint}')
            elif override.rule in seen:
                override.fault(f'"{override.rule}" is overridden twice')
            elif override.rule in self.rules:  # else it has faults of its own
                self._apply(override)
            seen.add(override.rule)

    def _apply(self, override: _Override) -> None:
        rule = self.rules[override.rule]
        if override.severity is None:
            self.switched_off.append(SwitchedOff(rule.id, override.reason))
            del self.rules[rule.id]
        elif override.severity == rule.severity:
            override.fault(f'"{rule.id}" has the severity {rule.severity} already')
        else:
            change = Changed(rule.id, rule.severity, override.severity, override.reason)
            self.changed.append(change)
            self.rules[rule.id] = dataclasses.replace(rule, severity=override.severity)


# One rule -------------------------------------------------------------------------------------


class _RuleReader:
    """Reads one rule; what is wrong with it is noted in its file."""

    def __init__(
        self, language: Language, form: Mapping[str, Any], file: BookFile, node: yaml.Node
    ) -> None:
        self._faults_before = len(file.faults)
        self.keys = file.mapping(node, "a rule", form)
        self._language = language
        self._form = form["properties"]
        self._file = file
        self._node = node

    def id(self) -> str | None:
        """Return the id of the rule."""
        return _slug(self._file, self.keys.get("id"), "id")

    def rule(self, family: str) -> Rule | None:
        """Return the rule, or None when anything about it was wrong."""
        about = self._file.choice(self.keys.get("about"), "subject", self._language.subjects)
        parts: dict[str, Any] = {
            "severity": self._file.choice(self.keys.get("severity"), "severity", SEVERITIES),
            "sources": tuple(text for text, _ in self._texts("sources")),
        }
        if about is not None:
            parts |= self._parts_about(self._language.subjects[about])
        if len(self._file.faults) > self._faults_before:
            return None
        return Rule(
            id=self.keys["id"].value,
            family=family,
            about=cast(str, about),
            place=self._file.place(self._node),
            **parts,
        )

    def _parts_about(self, subject: SubjectType) -> dict[str, Any]:
        schema = subject.schema
        condition = self._condition(schema)
        return {
            "condition": condition,
            "kinds": self._kinds(subject),
            "message": self._template(self.keys.get("message"), "message", schema),
            "explanation": self._template(self.keys.get("explanation"), "explanation", schema),
            "because": self._because(schema),
            "remedy": self._remedy(schema),
            "cautions": self._cautions(schema),
            "examples": self._examples(schema, condition),
        }

    def _texts(self, key: str) -> list[tuple[str, yaml.ScalarNode]]:
        return self._file.texts(self.keys.get(key), key)

    def _checked(
        self, node: yaml.Node | None, what: str, check: Callable[[str], _Read]
    ) -> _Read | None:
        text = self._file.text(node, what)
        if text is None or not isinstance(node, yaml.ScalarNode):
            return None
        try:
            return check(text)
        except TextFaults as found:
            self._file.faults_within(node, found)
            return None

    def _condition(self, schema: Schema) -> Condition | None:
        predicates = self._language.predicates
        return self._checked(
            self.keys.get("when"),
            "when",
            lambda text: compile_condition(text, schema, predicates),
        )

    def _template(self, node: yaml.Node | None, what: str, schema: Schema) -> Template | None:
        return self._checked(node, what, lambda text: compile_template(text, schema))

    def _kinds(self, subject: SubjectType) -> frozenset[str]:
        if "kinds" in self.keys and subject.kinds is None:
            about = self.keys["about"].value
            self._file.fault(self.keys["kinds"], f"a {about} does not come in kinds")
            return frozenset()
        kinds = self._texts("kinds")
        for kind, node in kinds:
            if subject.kinds is not None and kind not in subject.kinds:
                self._file.fault(node, subject.kinds.refusal(kind))
        return frozenset(kind for kind, _ in kinds)

    def _because(self, schema: Schema) -> tuple[Fact, ...]:
        facts = []
        for path, node in self._texts("because"):
            fact = schema.facts.get(path)
            if fact is None:
                self._file.fault(node, schema.refusal(path))
            elif not fact.origin:
                self._file.fault(node, f'"{path}" declares no origin, so it is no evidence')
            else:
                facts.append(fact)
        return tuple(facts)

    def _remedy(self, schema: Schema) -> Remedy | None:
        keys = self._file.mapping(self.keys.get("remedy"), "remedy", self._form["remedy"])
        text = self._template(keys.get("text"), "text", schema)
        find = self._file.choice(keys.get("find"), "finder", self._language.finders)
        return Remedy(text, find) if text else None

    def _cautions(self, schema: Schema) -> tuple[Template | None, ...]:
        node = self.keys.get("cautions")
        if isinstance(node, yaml.SequenceNode) and not node.value:
            return ()
        texts = self._texts("cautions")
        return tuple(self._template(each, "caution", schema) for _, each in texts)

    # Examples

    def _examples(self, schema: Schema, condition: Condition | None) -> tuple[Example, ...]:
        form = self._form["examples"]
        keys = self._file.mapping(self.keys.get("examples"), "the set of examples", form)
        given = self._values(keys.get("given"), schema)
        examples = []
        for decision in DECISIONS:
            for node in self._file.sequence(keys.get(decision), decision):
                own = self._values(node, schema)
                if given is None or own is None:
                    continue
                values = {**given, **own}
                example = Example(decision, values, schema.build(values), self._file.place(node))
                examples.append(example)
                if condition is not None:
                    self._try(example, condition, node)
        return tuple(examples)

    def _values(self, node: yaml.Node | None, schema: Schema) -> dict[str, object] | None:
        faults_before = len(self._file.faults)
        values: dict[str, object] = {}
        for key, value_node in self._file.entries(node, "an example"):
            fact = schema.facts.get(key.value)
            if fact is None:
                self._file.fault(key, schema.refusal(key.value))
                continue
            try:
                values[key.value] = _value(value_node, fact)
            except ValueError as fault:
                self._file.fault(value_node, f"{key.value}: {fault}")
        return values if len(self._file.faults) == faults_before else None

    def _try(self, example: Example, condition: Condition, node: yaml.Node) -> None:
        outcome = condition.decide(example.facts)
        if outcome.decision != example.expected:
            expected = _DECISION_TEXTS[example.expected]
            self._file.fault(node, f"this example should {expected}, but {_found(outcome)}")


_DECISION_TEXTS: dict[Decision, str] = {
    "fires": "trip the rule",
    "passes": "pass",
    "cannot-tell": "leave the rule open",
}


def _found(outcome: Outcome) -> str:
    if outcome.decision == "fires":
        return "trips it"
    if outcome.decision == "passes":
        return "passes"
    reasons = [f"{each.label} has no answer" for each in outcome.unanswered]
    if outcome.unrecorded:
        verb = "is" if len(outcome.unrecorded) == 1 else "are"
        reasons.insert(0, f"{', '.join(outcome.unrecorded)} {verb} not given")
    return f"leaves it open: {', '.join(reasons)}"


def _value(node: yaml.Node, fact: Fact) -> object:
    value = plain_value(node)
    if value is None:
        return None
    if isinstance(value, int | float) and isinstance(fact.type, Word | Text):
        raise ValueError(f"must be {fact.type.describe()}, not {said(value)}; put it in quotes")
    accepted: object = fact.type.accept(value)
    return accepted


def _slug(file: BookFile, node: yaml.Node | None, what: str) -> str | None:
    text = file.text(node, what)
    if node is None or text is None or re.fullmatch(SLUG, text):
        return text
    file.fault(node, f'{what} must be small letters and digits joined by hyphens, not "{text}"')
    return None
