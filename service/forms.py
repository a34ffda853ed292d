"""The forms that the OpenAPI document describes, asked what would be right at a place.

What an error message expects is read from the document that callers read, so that the two cannot
contradict each other.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import Any, Final, TypeAlias

from pydantic import TypeAdapter

Schema: TypeAlias = Mapping[str, Any]
Parts: TypeAlias = Sequence[str | int]

_MOST_FIELDS: Final = 40
_NOUNS: Final[Mapping[str, str]] = {
    "string": "a text",
    "integer": "a whole number",
    "number": "a number",
    "boolean": "`true` or `false`",
    "array": "a list",
    "object": "an object",
    "null": "`null`",
}


class Forms:
    """The forms of all operations of one OpenAPI document.

    Args:
        document: the document, or how to make it, which is done when it is first needed.
    """

    def __init__(self, document: Mapping[str, Any] | Callable[[], Mapping[str, Any]]) -> None:
        self._given = document

    @cached_property
    def _document(self) -> Mapping[str, Any]:
        return self._given() if callable(self._given) else self._given

    @cached_property
    def _schemas(self) -> Mapping[str, Any]:
        found: Mapping[str, Any] = self._document.get("components", {}).get("schemas", {})
        return found

    @cached_property
    def _operations(self) -> Mapping[str, Mapping[str, Any]]:
        return {
            operation["operationId"]: operation
            for path in self._document.get("paths", {}).values()
            for operation in path.values()
            if isinstance(operation, dict) and "operationId" in operation
        }

    def body(self, operation_id: str) -> Form | None:
        """The form of an operation's JSON body."""
        operation = self._operations.get(operation_id, {})
        content = operation.get("requestBody", {}).get("content", {})
        schema = content.get("application/json", {}).get("schema")
        return None if schema is None else Form(schema, self._schemas)

    def parameter(self, operation_id: str, place: str, name: str) -> Form | None:
        """The form of a parameter of an operation."""
        for parameter in self._operations.get(operation_id, {}).get("parameters", ()):
            same_name = parameter["name"].casefold() == name.casefold()
            if parameter["in"] == place and same_name:
                described = {"description": parameter.get("description", "")}
                return Form({**described, **parameter["schema"]}, self._schemas)
        return None

    def parameter_names(self, operation_id: str, place: str) -> tuple[str, ...]:
        """The parameters of an operation in one part of the request."""
        parameters = self._operations.get(operation_id, {}).get("parameters", ())
        return tuple(each["name"] for each in parameters if each["in"] == place)


def form_of(value: TypeAdapter[Any]) -> Form:
    """The form of a value's JSON."""
    schema = value.json_schema(by_alias=True)
    return Form(schema, schema.get("$defs", {}))


class Form:
    """One JSON Schema with the definitions that it refers to."""

    def __init__(self, schema: Schema, definitions: Mapping[str, Schema]) -> None:
        self._schema = schema
        self._definitions = definitions

    def at(self, parts: Parts, value: object) -> Form | None:
        """The form of the place that keys and indexes lead to in a value of this form.

        `value` tells the members of a tagged union apart.
        """
        here: Form | None = self
        for part in parts:
            if here is None:
                return None
            here = here._member(part, value)
            value = _inside(value, part)
        return here

    def fields(self, value: object) -> tuple[str, ...]:
        """Names of the fields an object of this form may have."""
        names: dict[str, None] = {}
        for alternative in self._alternatives(value):
            names.update(dict.fromkeys(alternative.get("properties", ())))
        return tuple(names)

    def expected(self) -> str:
        """What would be right here, in words."""
        nouns = list(dict.fromkeys(self._nouns()))
        said = " or ".join(noun for noun in nouns if noun != "`null`") or " or ".join(nouns)
        if description := self._described("description"):
            said = f"{said}: {_first_sentence(description)}"
        if examples := self._described("examples"):
            said = f"{said}, such as `{json.dumps(examples[0], ensure_ascii=False)}`"
        return said

    def _resolved(self, schema: Schema) -> Schema:
        while "$ref" in schema:
            aside = {key: value for key, value in schema.items() if key != "$ref"}
            schema = {**self._definitions[schema["$ref"].rpartition("/")[2]], **aside}
        return schema

    def _alternatives(self, value: object) -> Iterator[Schema]:
        """The plain schemas that a value may follow; one, where its tag says which."""
        schema = self._resolved(self._schema)
        members = schema.get("anyOf") or schema.get("oneOf")
        if members is None:
            yield schema
            return
        tagged = schema.get("discriminator", {})
        if tagged and isinstance(value, Mapping):
            tag = value.get(tagged["propertyName"])
            reference = tagged["mapping"].get(tag) if isinstance(tag, str) else None
            members = members if reference is None else [{"$ref": reference}]
        for member in members:
            yield from Form(member, self._definitions)._alternatives(value)

    def _member(self, part: str | int, value: object) -> Form | None:
        members = [
            found
            for alternative in self._alternatives(value)
            if (found := _member_of(alternative, part)) is not None
        ]
        if not members:
            return None
        return Form(members[0] if len(members) == 1 else {"anyOf": members}, self._definitions)

    def _described(self, key: str) -> Any:
        schema = self._resolved(self._schema)
        plain = [each for each in self._alternatives(None) if each.get("type") != "null"]
        return schema.get(key) or (plain[0].get(key) if len(plain) == 1 else None)

    def _nouns(self) -> Iterator[str]:
        words: list[str] = []
        for alternative in self._alternatives(None):
            if "enum" in alternative or "const" in alternative:
                words.extend(alternative.get("enum") or [alternative["const"]])
            elif fields := list(alternative.get("properties", ())):
                shown = ", ".join(f"`{name}`" for name in fields[:_MOST_FIELDS])
                yield f"an object with {shown}"
            else:
                yield _NOUNS.get(alternative.get("type", ""), "a value")
        if words:
            yield "one of " + ", ".join(f"`{word}`" for word in words)


def _member_of(schema: Schema, part: str | int) -> Schema | None:
    if isinstance(part, str):
        found = schema.get("properties", {}).get(part)
    else:
        first = schema.get("prefixItems", ())
        found = first[part] if part < len(first) else schema.get("items")
    return found if isinstance(found, Mapping) else None


def _inside(value: object, part: str | int) -> object:
    if isinstance(value, Mapping):
        return value.get(part)
    if isinstance(value, Sequence) and isinstance(part, int) and part < len(value):
        return value[part]
    return None


def _first_sentence(text: str) -> str:
    return text.strip().partition("\n")[0].partition(". ")[0].rstrip(".")
