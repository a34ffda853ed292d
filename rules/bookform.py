"""The written form of a rule book, as a JSON Schema.

Editors take keys and words from it, and the reader of the book its lists of allowed and required
keys, so that the two cannot differ.
"""

from __future__ import annotations

from typing import Any, get_args

from rules.language import Decision, Language
from rules.rule import SEVERITIES

DECISIONS: tuple[Decision, ...] = get_args(Decision)
SLUG = "[a-z][a-z0-9]*(-[a-z0-9]+)*"


def book_form_schema(language: Language) -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a file of a rule book."""
    kinds = {
        kind
        for subject in language.subjects.values()
        if subject.kinds is not None
        for kind in subject.kinds
    }
    text = {"type": "string", "minLength": 1}
    texts = {"type": "array", "items": text, "minItems": 1, "uniqueItems": True}
    slug = {"type": "string", "pattern": f"^{SLUG}$"}
    facts = {
        "type": "object",
        "description": "Facts by dotted name; a fact that is not named, or is null, is unknown.",
        "additionalProperties": {"type": ["string", "number", "boolean", "null", "array"]},
    }
    example_list = {"type": "array", "items": facts, "minItems": 1}

    remedy = _object(
        required=("text",),
        text={**text, "description": "What to do about it; a template."},
        find={
            "enum": sorted(language.finders),
            "description": "Who looks for parts in the catalogue.",
        },
    )
    examples = {
        **_object(
            required=("fires", "passes"),
            given={**facts, "description": "Facts that all examples share, unless they say so."},
            **dict.fromkeys(DECISIONS, example_list),
        ),
        "description": "Facts that must trip the rule, must not, or must leave it open.",
    }
    rule = _object(
        required=(
            *("id", "about", "when", "severity", "message", "explanation", "because", "remedy"),
            *("sources", "examples"),
        ),
        id={**slug, "description": "Says the fault; unique, and never used again for another."},
        about={"enum": sorted(language.subjects), "description": "What the rule is asked of."},
        kinds={
            "type": "array",
            "items": {"enum": sorted(kinds)},
            "minItems": 1,
            "uniqueItems": True,
            "description": "The only kinds it is asked of, where the subject has kinds.",
        },
        when={**text, "description": "The condition under which the rule fires."},
        severity={"enum": list(SEVERITIES)},
        message={**text, "description": "One sentence that can be read aloud; a template."},
        explanation={**text, "description": "Why it is so, for print; a template."},
        because={**texts, "description": "The facts shown as evidence, by dotted name."},
        remedy=remedy,
        sources={**texts, "description": "Where it is written, or common practice."},
        cautions={"type": "array", "items": text, "description": "Dangers; templates."},
        examples=examples,
    )
    override = _object(
        required=("rule", "reason"),
        rule={**slug, "description": "The id of the rule."},
        severity={"enum": list(SEVERITIES), "description": "What it is to be."},
        off={"const": True, "description": "Never ask it; every report will say so."},
        reason={**text, "description": "Why; every report gives it."},
    )
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A family of rules",
        **_object(
            family={**slug, "description": "The family of all rules of this file."},
            rules={"type": "array", "items": rule, "minItems": 1},
            overrides={
                "type": "array",
                "items": override,
                "minItems": 1,
                "description": "Changes to rules of the built-in book.",
            },
        ),
        "anyOf": [{"required": ["family", "rules"]}, {"required": ["overrides"]}],
        "dependentRequired": {"rules": ["family"], "family": ["rules"]},
    }


def _object(required: tuple[str, ...] = (), **properties: Any) -> dict[str, Any]:
    form: dict[str, Any] = {
        "type": "object",
        "properties": properties,
        "additionalProperties": False,
    }
    return {**form, "required": list(required)} if required else form
