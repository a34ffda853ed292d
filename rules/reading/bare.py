"""Sizes that name nothing: a bare number, fraction, length or thread, with all they can be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any, Final

from rules.reading.naming import write_connection
from rules.reading.outcome import Reading, ReadingOption, ambiguous, partial, unreadable
from rules.reading.scan import Dotted, InchThread, MetricThread
from rules.reading.sizing import PIPE_SYSTEMS, THREADED_SYSTEMS, form_size, sizes_of
from rules.reading.text import inch_size, millimetre_size
from rules.reference import reference
from rules.vocabulary import Gender, System


def connection(
    system: System | None, size: str | None, gender: Gender | None = None, **more: Any
) -> dict[str, Any]:
    """The canonical form of a connection; `more` holds what else the text settles."""
    return {"system": system, "size": size, "gender": gender, **more}


def option(
    system: System, size: str | None, gender: Gender | None = None, why: str = ""
) -> ReadingOption:
    """A connection as one reading of a text."""
    label = write_connection(system, size, gender)
    return ReadingOption(connection(system, size, gender), f"{label}, {why}" if why else label)


def length_option(value: float, unit: str, of: str, label: str) -> ReadingOption:
    """A length of something that is no connection by itself."""
    return ReadingOption({"value": value, "unit": unit, "of": of}, label)


def thread_label(system: System, size: str) -> str:
    """What a rule laid across the thread shows, to tell one reading from another."""
    thread = reference().thread(system, size)
    return f"{thread.major_mm:.1f} mm across the thread" if thread else ""


def bare_number(number: int) -> Reading:
    """A number that may be a dash size, millimetres or a count: never guessed."""
    dash = f"-{number}"
    options = [
        option(system, dash, why=thread_label(system, dash))
        for system in ("flare-37", "orb")
        if dash in reference().sizes(system)
    ]
    options += [
        ReadingOption(connection("hose-end", dash), f"a hose of size {dash}"),
        ReadingOption({"value": float(number), "unit": "mm"}, f"{number} mm"),
    ]
    if pitches := METRIC_PITCHES.get(str(number)):
        options.append(
            ReadingOption(
                {"thread": f"M{number}"}, f"M{number} thread, pitch {' or '.join(pitches)}"
            )
        )
    options.append(ReadingOption({"value": float(number), "unit": "pieces"}, f"{number} pieces"))
    return ambiguous(f"{number} of what: a flare, an O-ring port, a hose or millimetres?", options)


def bare_inches(value: Fraction) -> Reading:
    """A fraction of an inch that may be a pipe thread, a tube, a hose or an end form."""
    size = inch_size(value)
    options: list[ReadingOption] = []
    if size in reference().sizes("npt"):
        options.append(option("npt", size, why=thread_label("npt", size)))
    millimetres = float(value * Fraction(254, 10))
    options.append(option("plain-tube", size, "male", f"{millimetres:.2f} mm outside"))
    dash = f"-{value * 16}"
    options += [
        option(system, dash, why=f"a flare for {size} tube")
        for system in ("flare-37", "flare-45")
        if dash in reference().sizes(system)
    ]
    options.append(option("barb", size, "male", "for a hose of that bore"))
    if form := reference().quick_connect_form(size):
        options.append(
            option(
                "quick-connect",
                form_size(form.diameter_mm, form.names),
                why=f"{form.diameter_mm:.2f} mm across the end form",
            )
        )
    options += [
        length_option(float(value), "inch", "hose bore", f"a hose of {size} inch bore"),
        ReadingOption({"value": float(value), "unit": "inch"}, f"{size} inch of something else"),
    ]
    return ambiguous(
        f"{size} of what: a pipe thread, a tube, a hose, or a quick-connect end?", options
    )


def bare_millimetres(value: float) -> Reading:
    """A length that may be a tube, a hose bore, an end form or a hole."""
    size = millimetre_size(value)
    options = [
        option("plain-tube", size, "male", "measured outside"),
        length_option(value, "mm", "hose bore", f"a hose of {size} bore"),
        *quick_connects_called(value),
        length_option(value, "mm", "hole", f"a hole of {size}"),
    ]
    return ambiguous(f"Is {size} the outside of a tube, the bore of a hose, or a hole?", options)


def quick_connects_called(value: float) -> tuple[ReadingOption, ...]:
    """The end forms that the trade calls by this many millimetres."""
    name = millimetre_size(value)
    return tuple(
        option(
            "quick-connect",
            form_size(form.diameter_mm, form.names),
            why=f"{form.diameter_mm:.2f} mm across the end form",
        )
        for form in reference().quick_connect_forms
        if name in form.loose_names or abs(form.diameter_mm - value) <= 0.01
    )


# Threads per inch of ASME B1.1 by diameter and series, from memory.
INCH_THREADS: Final[Mapping[str, Mapping[str, str]]] = {
    "1/4": {"unf": "28", "unc": "20", "unef": "32"},
    "5/16": {"unf": "24", "unc": "18", "unef": "32"},
    "3/8": {"unf": "24", "unc": "16", "unef": "32"},
    "7/16": {"unf": "20", "unc": "14", "unef": "28"},
    "1/2": {"unf": "20", "unc": "13", "unef": "28"},
    "9/16": {"unf": "18", "unc": "12", "unef": "24"},
    "5/8": {"unf": "18", "unc": "11", "unef": "24"},
    "3/4": {"unf": "16", "unc": "10", "unef": "20"},
    "7/8": {"unf": "14", "unc": "9", "unef": "20"},
    "1": {"unf": "12", "unc": "8", "unef": "20", "uns": "14"},
}
# Pitches of ISO 261 by diameter, from memory, in the order they are met on fuel parts.
METRIC_PITCHES: Final[Mapping[str, tuple[str, ...]]] = {
    "8": ("1", "1.25", "0.75"),
    "10": ("1", "1.25", "1.5", "0.75"),
    "12": ("1.5", "1.25", "1.75", "1"),
    "14": ("1.5", "1.25", "2", "1"),
    "16": ("1.5", "2", "1"),
    "18": ("1.5", "2.5", "2", "1"),
    "20": ("1.5", "2.5", "2", "1"),
    "22": ("1.5", "2.5", "2", "1"),
    "24": ("1.5", "3", "2", "1"),
}


def other_pitches(token: InchThread | MetricThread) -> tuple[str, ...]:
    """The threads of a diameter, where the standard has none with the pitch of the text."""
    if isinstance(token, MetricThread):
        pitches = METRIC_PITCHES.get(token.diameter, ())
        known = [f"M{token.diameter}x{pitch}" for pitch in pitches]
    else:
        diameter = inch_size(token.diameter)
        known = [f"{diameter}-{pitch}" for pitch in INCH_THREADS.get(diameter, {}).values()]
    if token.designation in known or connections_with(token):
        return ()
    return tuple(known)


def no_such_thread(token: InchThread | MetricThread, known: Sequence[str]) -> Reading:
    """A pitch that the diameter does not have: likely a slip of typing."""
    return ambiguous(
        f"There is no {token.designation} thread: is it {' or '.join(known)}?",
        [
            ReadingOption(connection(None, None, thread=thread), f"{thread} thread")
            for thread in known
        ],
    )


def connections_with(token: InchThread | MetricThread) -> tuple[tuple[System, str], ...]:
    """System and size of every connection in the tables that has this thread."""
    return tuple(
        (system, size)
        for system in THREADED_SYSTEMS
        for size in sizes_of(system, [token])
        if reference().thread(system, size)
    )


def _bolted(system: System, gender: Gender | None) -> Gender | None:
    """A banjo has bolts and rings, not males and females."""
    return None if system == "banjo" else gender


def dotted(token: Dotted) -> Reading:
    """A dot where a blank or a slash was meant: flagged, never corrected in silence."""
    as_written = (
        {"value": token.as_inches, "unit": "inch"}
        if token.as_inches is not None
        else {"text": token.text}
    )
    return ambiguous(
        f"Is {token.text} meant as {token.meant} of an inch?",
        [
            ReadingOption({"size": token.meant, "unit": "inch"}, f"{token.meant} inch"),
            ReadingOption(as_written, f"{token.text} as it stands"),
        ],
    )


def unmarked_metric(token: MetricThread) -> Reading:
    """`14x1.5`: a metric thread whose M was left out, or a dimension."""
    designation = token.designation
    return partial(
        connection(None, None, thread=designation),
        f"Is that the thread {designation}?",
        ("whether it is a thread", "seal", "gender"),
        [
            *(option(system, size) for system, size in connections_with(token)),
            dimension_option(designation.removeprefix("M")),
        ],
    )


def dimension_option(sides: str) -> ReadingOption:
    """Two lengths of a part, `14x1.5`, that are no thread."""
    return ReadingOption(
        {"of": "dimension", "text": sides}, f"a part {sides.replace('x', ' by ')} mm"
    )


def bare_decimal(value: float) -> Reading:
    """A number with decimals and no unit: inches or millimetres."""
    options = [ReadingOption({"value": value, "unit": "mm"}, f"{value:g} mm")]
    if size := sixteenths_called(value):
        options.insert(
            0, ReadingOption({"size": size, "unit": "inch"}, f"{size} inch, written as a decimal")
        )
    return ambiguous(f"Is {value:g} in inches or in millimetres?", options)


def sixteenths_called(value: float) -> str | None:
    """The fraction that a decimal of up to three inches stands for: `3/8` for 0.375."""
    fraction = Fraction(value).limit_denominator(64)
    binary = fraction.denominator & (fraction.denominator - 1) == 0
    if 0 < value <= 3 and binary and abs(float(fraction) - value) < _DECIMAL_ROUNDING:
        return inch_size(fraction)
    return None


_DECIMAL_ROUNDING: Final = 0.0006  # .313 for 5/16


def bare_thread(token: InchThread | MetricThread, gender: Gender | None = None) -> Reading:
    """A thread whose seal nobody named."""
    if known := other_pitches(token):
        return no_such_thread(token, known)
    found = connections_with(token)
    plain = ReadingOption(
        {"thread": token.designation, "of": "bolt or stud"},
        f"a {token.designation} bolt or stud, no fuel connection",
    )
    sizes = {size for _, size in found}
    options = [option(system, size, _bolted(system, gender)) for system, size in found]
    if any(system in PIPE_SYSTEMS for system, _ in found):
        return ambiguous(_PIPE_QUESTION, options)
    return partial(
        connection(
            None,
            next(iter(sizes)) if len(sizes) == 1 else None,
            gender,
            thread=token.designation,
        ),
        f"What seals the {token.designation} thread: a cone, an O-ring or a washer?",
        ("seal",) if gender else ("seal", "gender"),
        (*options, plain),
    )


_PIPE_QUESTION: Final = "Is the pipe thread tapered (NPT), parallel (NPS) or British (BSP)?"


def bare_metric_diameter(diameter: str) -> Reading:
    """A metric thread without a pitch."""
    pitches = METRIC_PITCHES.get(diameter, ())
    options = [
        ReadingOption(
            connection(None, None, thread=f"M{diameter}x{pitch}"),
            f"M{diameter}x{pitch} thread",
        )
        for pitch in pitches
    ]
    question = f"What is the pitch of the M{diameter} thread?"
    return ambiguous(question, options) if options else unreadable(question)
