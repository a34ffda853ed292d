"""Turns what pydantic says about a request into faults with a place, a finding and a way out.

pydantic's locations name more than the body holds: tags of unions, members of unions, wrapping
functions. The pointer is found by walking the real body along the location, and of a union only
the member that the caller meant is reported.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias, cast

from service.forms import Form, Forms
from service.problems import Fault, Place, pointer, rendering

Error: TypeAlias = Mapping[str, Any]
Said: TypeAlias = tuple[str, str | None, str]
"""Detail, what would be right, and code."""

_NAMES_ABSENT: Final = frozenset({"missing", "extra_forbidden"})
"""Errors whose last location is a name, whether the body holds it or not."""

_OTHER_TYPE: Final = frozenset(
    {
        "bool_type",
        "dict_type",
        "float_type",
        "int_type",
        "list_type",
        "model_attributes_type",
        "model_type",
        "string_type",
        "tuple_type",
    }
)
_NO_MEMBER: Final = "no-member"


@dataclass(frozen=True, slots=True)
class _Step:
    """One element of a location: a key of the body, or a label that the body does not hold."""

    key: str | int
    real: bool


@dataclass(frozen=True, slots=True)
class _Located:
    """An error with its location walked along the body."""

    order: int
    steps: tuple[_Step, ...]
    error: Error

    @property
    def parts(self) -> tuple[str | int, ...]:
        return tuple(step.key for step in self.steps if step.real)


def request_faults(
    errors: Iterable[Mapping[str, object]], body: object, forms: Forms, operation_id: str
) -> list[Fault]:
    """Every fault of a request, in the order of its fields.

    Args:
        errors: as `pydantic.ValidationError.errors` gives them, each location beginning with the
            part of the request it lies in.
        body: the body as parsed.
        forms: forms of the service's operations.
        operation_id: the operation that was asked for.
    """
    faults: list[Fault] = []
    in_body: list[Error] = []
    for given in errors:
        error = cast(Error, given)
        place, *inner = error["loc"]
        if place == "body":
            in_body.append({**error, "loc": tuple(inner)})
        elif error["type"] == "extra_forbidden":
            known = forms.parameter_names(operation_id, place)
            faults.append(_unknown_parameter(error, place, str(inner[0]), known))
        else:
            form = forms.parameter(operation_id, place, str(inner[0]))
            faults.append(_parameter_fault(error, place, str(inner[0]), form))
    return faults + body_faults(in_body, body, forms.body(operation_id))


def body_faults(
    errors: Iterable[Mapping[str, object]], body: object, form: Form | None
) -> list[Fault]:
    """Every fault of a value; the errors' locations are relative to it."""
    located = [
        _Located(order, tuple(_walk(error, body)), error)
        for order, error in enumerate(cast(Iterable[Error], errors))
    ]
    told = [each for each in located if not _is_miscounted(each, body)]
    meant = sorted(_meant(told, 0), key=lambda each: each.order)
    return [_body_fault(each, body, form) for each in meant]


# Places ---------------------------------------------------------------------------------------


def _walk(error: Error, body: object) -> Iterator[_Step]:
    """The steps to the value that was refused, and on to the member that its model blames."""
    here = body
    loc: Sequence[str | int] = error["loc"]
    for index, key in enumerate(loc):
        named_last = index == len(loc) - 1 and error["type"] in _NAMES_ABSENT
        tag = isinstance(here, Mapping) and here.get("kind") == key
        real = named_last or (not tag and _holds(here, key))
        yield _Step(key, real)
        if real:
            here = _at(here, (key,))
    for key in error.get("ctx", {}).get("at", ()):
        # A short form has no such member: `["a.x", "b.y"]` stands for an object with `ends`.
        real = _holds(here, key) or (isinstance(here, Mapping) and isinstance(key, str))
        yield _Step(key, real)
        if real:
            here = _at(here, (key,))


def _is_miscounted(located: _Located, body: object) -> bool:
    """Whether a list is called too short only because its members are wrong themselves."""
    found = _at(body, located.parts)
    too_short = located.error["type"] == "too_short"
    return (
        too_short and isinstance(found, list) and len(found) >= located.error["ctx"]["min_length"]
    )


def _holds(here: object, key: str | int) -> bool:
    if isinstance(here, Mapping):
        return key in here
    return isinstance(here, list) and isinstance(key, int) and key < len(here)


def _at(value: object, parts: Iterable[str | int]) -> object:
    for part in parts:
        if not _holds(value, part):
            return None
        value = value[part]  # type: ignore[index]
    return value


# Unions ---------------------------------------------------------------------------------------


def _meant(located: Sequence[_Located], depth: int) -> Iterator[_Located]:
    """The errors that remain when each union speaks for one of its members only."""
    by_step: dict[_Step, list[_Located]] = {}
    for each in located:
        if len(each.steps) == depth:
            yield each
        else:
            by_step.setdefault(each.steps[depth], []).append(each)
    members = {step: group for step, group in by_step.items() if not step.real}
    if len(members) > 1:
        chosen = _chosen(members, depth + 1)
        if chosen is None:
            yield _no_member(list(members.values()), depth)
        else:
            yield from _meant(members[chosen], depth + 1)
    for step, group in by_step.items():
        if step.real or len(members) == 1:
            yield from _meant(group, depth + 1)


def _chosen(members: Mapping[_Step, Sequence[_Located]], depth: int) -> _Step | None:
    """The member of a union that the value is nearest to; none, if it is of no member's type."""
    fitting = [
        step
        for step, group in members.items()
        if not any(
            each.error["type"] in _OTHER_TYPE and not any(s.real for s in each.steps[depth:])
            for each in group
        )
    ]
    return min(fitting, key=lambda step: len(members[step]), default=None)


def _no_member(groups: Sequence[Sequence[_Located]], depth: int) -> _Located:
    first = groups[0][0]
    return _Located(first.order, first.steps[:depth], {**first.error, "type": _NO_MEMBER})


# Words ----------------------------------------------------------------------------------------


def _body_fault(located: _Located, body: object, form: Form | None) -> Fault:
    error, parts = located.error, located.parts
    if error["type"].startswith("union_tag"):
        parts = (*parts, error["ctx"]["discriminator"].strip("'"))
    own = form.at(parts, body) if form else None
    found = _at(body, parts)
    if error["type"] == "extra_forbidden":
        around = form.at(parts[:-1], body) if form else None
        known = around.fields(_at(body, parts[:-1])) if around else ()
        said = _unknown_field(str(parts[-1]), known)
    else:
        said = _said(error, parts, found, own)
    detail, expected, code = said
    return Fault(pointer(parts), rendering(found), detail, expected, code)


def _parameter_fault(error: Error, place: Place, name: str, form: Form | None) -> Fault:
    found = None if error["type"] == "missing" else error["input"]
    detail, expected, code = _said(error, (name,), found, form)
    return Fault(pointer((name,)), rendering(found), detail, expected, code, place)


def _unknown_parameter(error: Error, place: Place, name: str, known: Sequence[str]) -> Fault:
    listed = "one of " + ", ".join(f"`{each}`" for each in known)
    detail = f"`{rendering(name)}` is no parameter of this operation."
    expected = _with_near(name, known, listed)
    found = rendering(error["input"])
    return Fault(pointer((name,)), found, detail, expected, "unknown-parameter", place)


def _said(error: Error, parts: Sequence[str | int], found: object, form: Form | None) -> Said:
    context: Mapping[str, Any] = error.get("ctx", {})
    described = form.expected() if form else None
    kind: str = error["type"]
    if kind in ("too_short", "too_long") and isinstance(found, str):
        kind = f"string_{kind}"
    if kind in ("missing", "union_tag_not_found"):
        return f"{_absent(parts)} is missing.", described, "missing"
    if kind in ("literal_error", "union_tag_invalid", "enum"):
        return _unknown_word(found, _quoted(context))
    if kind == _NO_MEMBER or kind.endswith(("_type", "_parsing", "int_from_float")):
        return f"{_noun(found)} does not fit here.", described, "type"
    if (say := _LIMITS.get(kind)) is not None:
        detail, expected = say(context)
        return detail, expected, "limit"
    if kind == "string_pattern_mismatch":
        form_in_words = _FORMS_IN_WORDS.get(context["pattern"], described)
        return "The text does not have the form this field takes.", form_in_words, "form"
    if kind == "finite_number":
        return "The number is not finite.", "a finite number", "number"
    detail = str(error["msg"]).removeprefix("Value error, ")
    return detail, context.get("expected") or described, kind.replace("_", "-")


_FORMS_IN_WORDS: Final[Mapping[str, str]] = {
    r"^[a-z0-9](?:[a-z0-9_-]*[a-z0-9])?$": (
        "lower-case letters and digits, with `-` and `_` between them, such as `feed-line`"
    ),
    r"^[A-Za-z0-9](?:[A-Za-z0-9._/+-]*[A-Za-z0-9])?$": (
        "letters and digits without accents, with `.`, `_`, `/`, `+` and `-` between them and no "
        "blanks, such as `LW-ADP-0601`"
    ),
    r"^[A-Za-z0-9][A-Za-z0-9-]*$": (
        "a fuel's id from `/v1/fuels`: letters, digits and hyphens, such as `E85`"
    ),
    r"^\d{1,9}(?:\.\d{1,2})?$": "digits, with at most two after a decimal point, such as `18.50`",
    r"^[0-9a-f]{32}$": "32 digits and letters from `a` to `f`, as a report gives them",
    r"^[0-9A-Za-z-]{1,64}$": "an id as it was given when it was saved: letters, digits, hyphens",
    r"^[\x21-\x7e]+$": "letters, digits and signs without accents and blanks",
    r"^[A-Z]{3}$": "the three capital letters of a currency, such as `EUR`",
    r"^[a-z0-9](?:[a-z0-9_-]*[a-z0-9])?\.[a-z0-9](?:[a-z0-9_-]*[a-z0-9])?$": (
        "an item's `ref` and one of its ports with a point between, such as `feed.a`"
    ),
}
"""What the patterns of the API's document ask for."""


def _members(context: Mapping[str, Any], key: str) -> str:
    count = context[key]
    return f"{count} member{'' if count == 1 else 's'}"


def _characters(context: Mapping[str, Any], key: str) -> str:
    count = context[key]
    return f"{count} character{'' if count == 1 else 's'}"


_LIMITS: Final[Mapping[str, Callable[[Mapping[str, Any]], tuple[str, str]]]] = {
    "greater_than": lambda c: ("The number is too small.", f"a number above {c['gt']:g}"),
    "greater_than_equal": lambda c: ("The number is too small.", f"a number from {c['ge']:g} up"),
    "less_than": lambda c: ("The number is too large.", f"a number below {c['lt']:g}"),
    "less_than_equal": lambda c: ("The number is too large.", f"a number up to {c['le']:g}"),
    "string_too_short": lambda c: (
        "The text is too short.",
        f"at least {_characters(c, 'min_length')}",
    ),
    "string_too_long": lambda c: (
        "The text is too long.",
        f"at most {_characters(c, 'max_length')}",
    ),
    "too_short": lambda c: ("The list is too short.", f"at least {_members(c, 'min_length')}"),
    "too_long": lambda c: ("The list is too long.", f"at most {_members(c, 'max_length')}"),
}


def _absent(parts: Sequence[str | int]) -> str:
    if not parts:
        return "The body"
    last = parts[-1]
    return f"Member {last + 1}" if isinstance(last, int) else f"`{last}`"


def _noun(found: object) -> str:
    if found is None:
        return "`null`"
    if isinstance(found, bool):
        return "`true`" if found else "`false`"
    if isinstance(found, str):
        return "A text"
    if isinstance(found, int | float):
        return "A number"
    return "An object" if isinstance(found, Mapping) else "A list"


def _quoted(context: Mapping[str, Any]) -> tuple[str, ...]:
    listed = context.get("expected") or context.get("expected_tags") or ""
    return tuple(re.findall(r"'([^']*)'", str(listed)))


def _unknown_word(found: object, known: Sequence[str]) -> Said:
    listed = "one of " + ", ".join(f"`{word}`" for word in known)
    if not isinstance(found, str):
        return f"{_noun(found)} does not fit here.", listed, "type"
    detail = f"`{rendering(found)}` is not a word known here."
    return detail, _with_near(found, known, listed), "unknown-word"


def _unknown_field(name: str, known: Sequence[str]) -> Said:
    listed = "one of the fields " + ", ".join(f"`{field}`" for field in known)
    detail = f"`{rendering(name)}` is no field of this object."
    return detail, _with_near(name, known, listed) if known else None, "unknown-field"


def _with_near(word: str, known: Sequence[str], listed: str) -> str:
    near = nearest(word, known)
    return f"did you mean `{near[0]}`? It is {listed}" if near else listed


def nearest(word: str, known: Sequence[str], most: int = 1) -> list[str]:
    """The known words that may be meant, one that differs in case alone before all others."""
    folded = word[:80].casefold()
    by_case: dict[str, list[str]] = {}
    for each in known:
        by_case.setdefault(each.casefold(), []).append(each)
    if same := by_case.get(folded):
        return same[:most]
    close = difflib.get_close_matches(folded, by_case, n=most, cutoff=0.5)
    return [each for key in close for each in by_case[key]][:most]
