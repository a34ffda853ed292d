"""Threads as a drawing or a parts list writes them, whatever they seal with."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, Final

from rules.reading.bare import (
    INCH_THREADS,
    bare_metric_diameter,
    bare_number,
    bare_thread,
    dimension_option,
    dotted,
    length_option,
    no_such_thread,
    option,
    other_pitches,
)
from rules.reading.one_end import read_end
from rules.reading.outcome import (
    Reading,
    ReadingOption,
    ambiguous,
    certain,
    partial,
    unreadable,
)
from rules.reading.parsing import Parsed, parse
from rules.reading.scan import Dash, Inches, InchThread, MetricThread, Whole
from rules.reading.sizing import PIPE_SYSTEMS, PIPES, sizes_of
from rules.reading.text import inch_size
from rules.reference import reference
from rules.vocabulary import System

_WHICH_THREAD: Final = "What are the diameter and the pitch, or the pipe size and its standard?"


def read_thread(folded: str) -> Reading:
    """Read a thread from folded text.

    The canonical form is `{"series", "size", "gender", "hand"}`; `series` is `metric`, `un` or a
    pipe thread's system. What the thread seals with is another question.
    """
    parsed = parse(folded)
    if parsed.dotted:
        return dotted(parsed.dotted)
    if parsed.unknown:
        return _not_understood(parsed)
    pipes = [system for system in parsed.systems if system in PIPE_SYSTEMS]
    if pipes or parsed.opens & {"bsp", "pipe"}:
        return _pipe(folded, pipes, parsed)
    if len(parsed.sizes) > 1:
        return _of_connection(folded)
    if metric := parsed.of(MetricThread):
        return _metric(metric[0], parsed)
    if inch := parsed.of(InchThread):
        return _inch(inch[0], parsed)
    if parsed.systems:
        return _of_connection(folded)
    if parsed.opens or len(parsed.sizes) != 1:
        return unreadable(_WHICH_THREAD)
    match parsed.sizes[0]:
        case Inches(value):
            return _diameter_alone(value)
        case Dash(number) | Whole(number):
            return bare_number(number)
        case _:
            return unreadable(_WHICH_THREAD)


def thread(series: str, size: str, parsed: Parsed | None = None) -> dict[str, Any]:
    """The canonical form of a thread, which is right-handed unless the text says left."""
    left = parsed is not None and parsed.left_hand
    return {
        "series": series,
        "size": size,
        "gender": parsed.gender if parsed and parsed.gender in ("male", "female") else None,
        "hand": "left" if left else "right",
    }


def _label(canonical: dict[str, Any]) -> str:
    series = canonical["series"].upper() if canonical["series"] in PIPE_SYSTEMS else ""
    left = "left-hand" if canonical["hand"] == "left" else ""
    words = (canonical["size"], series, "thread", canonical["gender"] or "", left)
    return " ".join(filter(None, words))


def _certain(canonical: dict[str, Any]) -> Reading:
    return certain(canonical, _label(canonical), unknown=() if canonical["gender"] else ("gender",))


def _not_understood(parsed: Parsed) -> Reading:
    threads = [*(t.designation for t in parsed.of(InchThread))]
    threads += [t.designation for t in parsed.of(MetricThread) if t.pitch]
    word = parsed.unknown[0]
    if len(threads) != 1:
        return unreadable(_WHICH_THREAD)
    series = "metric" if threads[0].startswith("M") else "un"
    return partial(
        {"series": series, "size": threads[0], "gender": parsed.gender, "hand": None},
        f"What does `{word}` mean here?",
        (f"the word `{word}`", "hand"),
        [
            ReadingOption(
                thread(series, threads[0]) | {"hand": hand}, f"{threads[0]} {hand}-hand thread"
            )
            for hand in ("right", "left")
        ],
    )


def _pipe(folded: str, pipes: list[System], parsed: Parsed) -> Reading:
    alone = len(parsed.systems) == 1 and not parsed.opens
    if alone and len(sizes := sizes_of(pipes[0], parsed.sizes)) == 1:
        return _certain(thread(pipes[0], sizes[0], parsed))
    # Open, or of no such size: the connection's own question serves the thread as well.
    return read_end(folded, on_adapter=False)


def _metric(token: MetricThread, parsed: Parsed) -> Reading:
    if token.pitch is None:
        return bare_metric_diameter(token.diameter)
    if known := other_pitches(token):
        return no_such_thread(token, known)
    canonical = thread("metric", token.designation, parsed)
    if not token.marked:
        return partial(
            canonical,
            f"Is that the thread {token.designation}?",
            ("whether it is a thread",),
            [
                ReadingOption(canonical, _label(canonical)),
                dimension_option(token.designation.removeprefix("M")),
            ],
        )
    if token.length:
        return partial(
            canonical,
            f"What is the {token.length}: the length in mm?",
            (f"the number {token.length}",),
            [ReadingOption(canonical, _label(canonical))],
        )
    return _certain(canonical)


def _inch(token: InchThread, parsed: Parsed) -> Reading:
    canonical = thread("un", token.designation, parsed)
    diameter = inch_size(token.diameter)
    if parsed.series and (other := _disagrees(token, parsed)):
        return ambiguous(
            f"{token.designation} is not {' '.join(parsed.series).upper()}: which is right?",
            [
                ReadingOption(thread("un", size, parsed), f"{size} thread")
                for size in (token.designation, f"{diameter}-{other}")
            ],
        )
    if parsed.series or parsed.left_hand:
        return _certain(canonical)
    found = bare_thread(token, parsed.gender)
    if found.certainty != "partial":
        return found
    return partial(canonical, found.question or "", ("seal",), found.readings)


def _disagrees(token: InchThread, parsed: Parsed) -> str | None:
    """The pitch that the named series has at this diameter, if the text has another."""
    by_series = INCH_THREADS.get(inch_size(token.diameter), {})
    named = [by_series[name] for name in parsed.series if name in by_series]
    return named[0] if named and token.per_inch not in named else None


def _of_connection(folded: str) -> Reading:
    """The thread of a connection that names its standard: `-6 JIC` is 9/16-18."""
    found = read_end(folded, on_adapter=False)
    if found.certainty != "certain" or not isinstance(found.canonical, dict):
        return found
    known = reference().thread(found.canonical["system"], found.canonical["size"])
    if known is None:
        return unreadable("Has it a thread at all? None is known for that connection.")
    series = "metric" if known.designation.startswith("M") else "un"
    canonical = thread(series, known.designation)
    canonical["gender"] = found.canonical["gender"]
    return _certain(canonical)


def _diameter_alone(value: Fraction) -> Reading:
    size = inch_size(value)
    options = [
        ReadingOption(thread("un", f"{size}-{pitch}"), f"{size}-{pitch} thread")
        for pitch in INCH_THREADS.get(size, {}).values()
    ]
    options += [option(system, size) for system in PIPES if sizes_of(system, [Inches(value)])]
    options += [
        length_option(float(value), "inch", "spanner", f"a {size} spanner"),
        length_option(float(value), "inch", "hose outside", f"a hose {size} inch outside"),
    ]
    return ambiguous(f"How many threads per inch has the {size} thread?", options)
