"""Texts with a grammar of their own: hose shops' codes (`8MJ4MP`) and bolt patterns of flanges."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any, Final

from rules.reading.naming import write_connection
from rules.reading.outcome import Reading, ReadingOption, certain, partial
from rules.reading.text import inch_size
from rules.reference import reference
from rules.vocabulary import Gender, System

# Common practice of hydraulic hose shops, no source: a dash size, M or F, and the form's letters;
# X for a swivel nut. Pipe threads are counted in sixteenths like the rest.
_FORMS: Final[dict[str, System]] = {
    "j": "flare-37",
    "jic": "flare-37",
    "p": "npt",
    "np": "npt",
    "npt": "npt",
    "bspp": "bspp",
    "bspt": "bspt",
    "orb": "orb",
}
_FORM: Final = "jic|j|npt|np|p|bspp|bspt|orb"
_END: Final = rf"(\d{{1,2}})([mf])({_FORM})(x?)"
_ONE_END: Final = re.compile(_END)
_TWO_ENDS: Final = re.compile(_END + _END)
_HOSE_END: Final = re.compile(rf"(\d{{1,2}})([a-z]{{1,2}}){_END}(45|90)?([a-z]{{0,4}})")


def read_code(folded: str) -> Reading | None:
    """The reading of a compact code; `None` where the text is none."""
    if two := _TWO_ENDS.fullmatch(folded):
        ends = [_end(*two.groups()[:4]), _end(*two.groups()[4:])]
        if all(ends):
            return certain({"ends": ends}, " to ".join(map(_label, ends)))
    elif one := _ONE_END.fullmatch(folded):
        if end := _end(*one.groups()):
            return certain(end, _label(end))
    elif hose_end := _HOSE_END.fullmatch(folded):
        return _hose_end(hose_end)
    return None


_BOLTED: Final = re.compile(
    r"(?:bolted )?(?:flange )?(?P<size>(?:\d{1,3}(?:\.\d)? mm, )?\d{1,2} ?x ?m\d{1,2})(?: flange)?"
    r"(?: (?P<gender>male|female))?"
)


def read_flange(folded: str) -> Reading | None:
    """The reading of a flange by its bolts, `120 mm, 12 x M5 flange`; `None` for other texts."""
    found = _BOLTED.fullmatch(folded)
    if not found or "flange" not in folded:
        return None
    size = re.sub(r" ?x ?m", " x M", found["size"])
    canonical = {"system": "flange", "size": size, "gender": found["gender"]}
    return certain(canonical, _label(canonical), unknown=() if found["gender"] else ("gender",))


def _end(number: str, gender: str, form: str, swivel: str) -> dict[str, Any]:
    """The connection of one end; empty where the system has no such size."""
    system = _FORMS[form]
    size = (
        inch_size(Fraction(int(number), 16))
        if system in ("npt", "bspp", "bspt")
        else f"-{int(number)}"
    )
    if size not in reference().sizes(system):
        return {}
    which: Gender = "male" if gender == "m" else "female"
    end: dict[str, Any] = {"system": system, "size": size, "gender": which}
    return end | {"swivel": True} if swivel else end


def _label(end: dict[str, Any]) -> str:
    return write_connection(end["system"], end["size"], end["gender"])


def _hose_end(found: re.Match[str]) -> Reading | None:
    hose, series, number, gender, form, swivel, angle, suffix = found.groups()
    socket = {"system": "hose-end", "size": f"-{int(hose)}", "gender": "male"}
    end = _end(number, gender, form, swivel)
    if not end:
        return None
    canonical: dict[str, Any] = {"ends": [socket, end]}
    label = f"a hose end for hose size -{int(hose)} to {_label(end)}"
    if angle:
        canonical["angle"] = {"value": float(angle), "unit": "deg"}
        label += f", {angle} degrees"
    return partial(
        canonical,
        "Which maker's hose and hose-end series is it for?",
        tuple(f"the letters `{part}`" for part in (series, suffix) if part),
        [ReadingOption(canonical, label)],
    )
