"""Hoses: the marking printed on one, and the bore of one."""

from __future__ import annotations

import re
from typing import Final

from rules.reading.bare import length_option
from rules.reading.outcome import (
    Reading,
    ReadingOption,
    ambiguous,
    certain,
    partial,
    unreadable,
)
from rules.reading.parsing import parse
from rules.reading.scan import Dash, Inches, Millimetres, Whole
from rules.reading.text import near
from rules.vocabulary import Marking, words

_WHAT_IS_PRINTED: Final = "What is printed along the hose?"
_MARKINGS: Final[tuple[str, ...]] = words(Marking)


def _compact(text: str) -> str:
    return re.sub(r"[\s\-./()]", "", text)


_BY_COMPACT: Final = {_compact(marking.lower()): marking for marking in _MARKINGS}
_J30: Final = re.compile(r"(?:sae)?(?:j)?30r(\d{1,2})(?:t[12])?")
_J517: Final = re.compile(r"(?:sae)?(?:j517)?100r(\d{1,2})(?:at|[ab])?")
_CLASS_ALONE: Final = re.compile(r"(?:type)?r(\d{1,2})")
_DIN_TYPE: Final = re.compile(r"din73379(?:type|typ)?([123][a-e])")
_USES: Final = frozenset(
    {"efihose", "fuelinjectionhose", "injectionhose", "fihose", "highpressurefuelhose", "efi"}
)


def read_marking(folded: str) -> Reading:
    """Read what is printed on a hose. The canonical form is a marking of the vocabulary."""
    compact = _compact(folded)
    if found := _J30.fullmatch(compact):
        return _known(f"SAE J30 R{int(found[1])}")
    if found := _J517.fullmatch(compact):
        return _known(f"SAE J517 100R{int(found[1])}")
    if found := _DIN_TYPE.fullmatch(compact):
        return certain("DIN 73379", f"DIN 73379 type {found[1].upper()}")
    if compact == "din73379":
        return partial(
            "DIN 73379",
            "Which type of DIN 73379 is it, such as 2A or 3E?",
            ("type",),
            [ReadingOption("DIN 73379", "DIN 73379 of any type")],
        )
    if found := _CLASS_ALONE.fullmatch(compact):
        return _class_alone(int(found[1]))
    if compact in _USES:
        return _use(folded)
    if marking := _BY_COMPACT.get(compact.replace("mildtl", "milh")):
        return _known(marking)
    if guesses := near(compact, tuple(_BY_COMPACT)):
        return ambiguous(
            f"Is it {' or '.join(_BY_COMPACT[guess] for guess in guesses)}?",
            [ReadingOption(_BY_COMPACT[guess], _BY_COMPACT[guess]) for guess in guesses],
        )
    return unreadable(_WHAT_IS_PRINTED)


def _known(marking: str) -> Reading:
    if marking in _MARKINGS:
        return certain(marking, marking)
    return unreadable(f"There is no {marking} known here. {_WHAT_IS_PRINTED}")


def _class_alone(number: int) -> Reading:
    """`R6`: a class of SAE J30 or J517, or of another standard altogether."""
    candidates = (f"SAE J30 R{number}", f"SAE J517 100R{number}")
    known = [ReadingOption(m, m) for m in candidates if m in _MARKINGS]
    if not known:
        return unreadable(_WHAT_IS_PRINTED)
    other = ReadingOption({"class": f"R{number}"}, f"R{number} of another standard")
    return partial(
        {"class": f"R{number}", "standard": None},
        f"Which standard is printed before the R{number}?",
        ("standard",),
        [*known, other],
    )


def _use(folded: str) -> Reading:
    classes = ("SAE J30 R9", "SAE J30 R11", "SAE J30 R12", "SAE J30 R14")
    options = [ReadingOption(marking, marking) for marking in classes]
    options.append(ReadingOption(None, "a hose with nothing printed on it"))
    return ambiguous(f"`{folded}` is a use and not a class. {_WHAT_IS_PRINTED}", options)


def read_hose_bore(folded: str) -> Reading:
    """Read the size of a hose. The canonical form is `{"bore": {"value", "unit"}}`.

    A dash size does not settle a bore: hoses of one dash size differ by construction.
    """
    parsed = parse(folded)
    if parsed.unknown or parsed.systems or not parsed.sizes:
        return unreadable(_WHICH_BORE)
    if parsed.disagreement:
        inches, millimetres = parsed.disagreement
        return ambiguous(
            f"{inches.size} inch and {millimetres.size} are not the same: which measures right?",
            [_bore(inches), _bore(millimetres)],
        )
    match parsed.sizes:
        case [Dash(number)]:
            return _dash_size(number)
        case [Whole(number)]:
            return _dash_size(number) if parsed.opens else _bare_number(number)
        case [(Inches() | Millimetres()) as length]:
            return _measured(length, outside="tube" in parsed.forms and "bore" not in parsed.forms)
        case _:
            return unreadable(_WHICH_BORE)


_WHICH_BORE: Final = "What is the bore of the hose, in millimetres or inches?"


def _measured(length: Inches | Millimetres, *, outside: bool) -> Reading:
    bore = _bore(length)
    if not outside:
        return certain(bore.canonical, bore.label)
    value, unit, said = _length(length)
    over_all = length_option(value, unit, "hose outside", f"a hose {said} outside")
    return ambiguous(f"{said} outside: what is the bore?", [over_all, bore])


def _bore(length: Inches | Millimetres) -> ReadingOption:
    value, unit, said = _length(length)
    return ReadingOption({"bore": {"value": value, "unit": unit}}, f"a hose of {said} bore")


def _length(length: Inches | Millimetres) -> tuple[float, str, str]:
    if isinstance(length, Inches):
        return float(length.value), "inch", f"{length.size} inch"
    return length.value, "mm", length.size


def _dash_size(number: int) -> Reading:
    return partial(
        {"size": f"-{number}", "bore": None},
        f"What is the bore of that -{number} hose, or how is it built?",
        ("bore",),
        [_of_dash_size(number)],
    )


def _bare_number(number: int) -> Reading:
    return ambiguous(
        f"Is {number} the hose's size, or its bore in mm?",
        [_of_dash_size(number), _bore(Millimetres(float(number)))],
    )


def _of_dash_size(number: int) -> ReadingOption:
    return ReadingOption({"size": f"-{number}"}, f"hose size -{number}, of a bore not yet known")
