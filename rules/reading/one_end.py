"""One end of a connection text: which system it names, which size, and what is open."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any, Final, cast

from rules.reading.bare import (
    bare_decimal,
    bare_inches,
    bare_metric_diameter,
    bare_millimetres,
    bare_number,
    bare_thread,
    connection,
    dotted,
    no_such_thread,
    option,
    other_pitches,
    quick_connects_called,
    unmarked_metric,
)
from rules.reading.naming import ALWAYS_MALE, WORDS, OpenWord, write_connection
from rules.reading.opens import OPEN_MEANINGS
from rules.reading.outcome import (
    Reading,
    ReadingOption,
    ambiguous,
    certain,
    partial,
    unreadable,
)
from rules.reading.parsing import Parsed, parse
from rules.reading.scan import (
    ConeSize,
    Dash,
    Decimal,
    Inches,
    InchThread,
    MetricThread,
    Millimetres,
    Whole,
)
from rules.reading.sizing import (
    DASH_SYSTEMS,
    METRIC_SYSTEMS,
    PIPE_SYSTEMS,
    THREADED_SYSTEMS,
    form_size,
    is_closed,
    sizes_meant,
    sizes_of,
    sizes_of_diameter,
)
from rules.reading.text import near, reducer_option
from rules.reference import reference
from rules.vocabulary import Gender, System

_WHAT_IS_IT: Final = "What standard is it, what size, and male or female?"
_SIXTEENTH: Final = Fraction(1, 16)


def read_end(folded: str, *, on_adapter: bool) -> Reading:
    """Read one end from folded text; `on_adapter` where the text says it is the end of one."""
    parsed = parse(folded)
    reading = _understood(parsed, on_adapter=on_adapter)
    if parsed.unknown:
        return _with_unknown_words(folded, parsed, reading, on_adapter=on_adapter)
    return reading


def _with_unknown_words(
    folded: str, parsed: Parsed, reading: Reading, *, on_adapter: bool
) -> Reading:
    """No text is certain while a word of it means nothing to us."""
    word = parsed.unknown[0]
    for guess in near(word, WORDS):
        corrected = parse(folded.replace(word, guess, 1))
        other = _understood(corrected, on_adapter=on_adapter)
        if other.certainty == "certain" and not corrected.unknown:
            return ambiguous(f"Does `{word}` mean `{guess}`?", other.readings)
    if reading.certainty == "certain":
        return partial(
            reading.canonical,
            f"What does `{word}` mean here?",
            (f"the word `{word}`", *reading.unknown),
            reading.readings,
        )
    if reading.certainty == "partial":
        return replace(reading, unknown=(*reading.unknown, f"the word `{word}`"))
    return reading


def _understood(parsed: Parsed, *, on_adapter: bool) -> Reading:
    """The reading of the words we know."""
    if parsed.dotted:
        return dotted(parsed.dotted)
    if parsed.disagreement:
        return _two_lengths(parsed, *parsed.disagreement)
    if parsed.left_hand:
        return _left_handed(parsed)
    if len(parsed.systems) > 1 or (parsed.systems and parsed.opens):
        return _two_systems(parsed)
    if parsed.systems:
        return _one_system(next(iter(parsed.systems)), parsed)
    if parsed.opens:
        return _open_systems(parsed, on_adapter=on_adapter)
    return _no_system(parsed)


def _two_lengths(parsed: Parsed, inches: Inches, millimetres: Millimetres) -> Reading:
    system = next(iter(parsed.systems)) if len(parsed.systems) == 1 else None
    return ambiguous(
        f"{inches.size} inch and {millimetres.size} are not the same: which one measures right?",
        [
            ReadingOption(connection(system, size, parsed.gender), write_connection(system, size))
            for size in (inches.size, millimetres.size)
        ],
    )


def _left_handed(parsed: Parsed) -> Reading:
    threads = [thread.designation for thread in parsed.of(InchThread)]
    threads += [thread.designation for thread in parsed.of(MetricThread)]
    thread = threads[0] if len(threads) == 1 else None
    system = next(iter(parsed.systems)) if len(parsed.systems) == 1 else None
    if not (thread or system):
        return unreadable(_WHAT_IS_IT)
    canonical = connection(system, None, parsed.gender, thread=thread, hand="left")
    label = write_connection(system, thread, parsed.gender)
    return partial(
        canonical,
        "Is the thread really left-handed? No fuel connection known here has one.",
        ("system", "size"),
        [ReadingOption(canonical, f"{label}, left-handed")],
    )


def _two_systems(parsed: Parsed) -> Reading:
    """Words that name different systems and no sign of two ends."""
    named = [
        *sorted(parsed.systems),
        *(s for word in sorted(parsed.opens) for s in OPEN_MEANINGS[word].systems),
    ]
    options = [
        option(system, size, parsed.gender)
        for system in dict.fromkeys(named)
        for size in sizes_of(system, parsed.sizes) or (None,)
    ]
    return ambiguous("Two kinds of connection are named: which one is it?", options)


def _gender(system: System, parsed: Parsed) -> Gender | None:
    gender = parsed.gender
    if gender is None and system in ALWAYS_MALE and not parsed.genders:
        return "male"
    # A boss fitting that swivels is the adjustable male stud.
    if gender is None and system == "orb" and "swivel" in parsed.forms:
        return "male"
    return gender


def _one_system(system: System, parsed: Parsed) -> Reading:
    gender = _gender(system, parsed)
    if missing := _missing_pitch(system, gender, parsed):
        return missing
    if system == "quick-connect" and (called := _quick_connect_by_name(parsed)):
        return called
    for token in parsed.sizes:
        if isinstance(token, InchThread | MetricThread) and (known := _other(token)):
            return no_such_thread(token, known)
    tokens = _tokens_for(system, parsed)
    if not tokens:
        return _without_size(system, gender)
    sizes = sizes_of(system, tokens)
    if len(sizes) == 1:
        return _checked(system, _sized(system, sizes[0], gender, parsed), parsed)
    if sizes:
        return ambiguous(
            f"Which size: {' or '.join(sizes)}?", [option(system, s, gender) for s in sizes]
        )
    return _no_such_size(system, gender, parsed)


def _other(token: InchThread | MetricThread) -> tuple[str, ...]:
    """Other pitches of the diameter; none where the text leaves the pitch out."""
    left_out = isinstance(token, MetricThread) and token.pitch is None
    return () if left_out else other_pitches(token)


def _checked(system: System, reading: Reading, parsed: Parsed) -> Reading:
    """A certain reading unless a word beside it does not go with it."""
    if reading.certainty != "certain":
        return reading
    halves: tuple[Gender, Gender] = ("bolt", "ring") if system == "banjo" else ("male", "female")
    canonical = cast(dict[str, Any], reading.canonical)
    if parsed.genders - set(halves):
        options = [option(system, canonical["size"], half) for half in halves]
        question = f"Is it the {halves[0]} or the {halves[1]}?"
        return partial({**canonical, "gender": None}, question, ("gender",), options)
    if elsewhere := _measured_elsewhere(system, parsed):
        return partial(
            canonical,
            f"Is the {elsewhere} the size of the connection, or of the hose or tube?",
            (f"what the {elsewhere} measures",),
            reading.readings,
        )
    return reading


def _measured_elsewhere(system: System, parsed: Parsed) -> str | None:
    """A length that the word beside it gives to a hose or a tube and not to the thread."""
    by_thread = system in DASH_SYSTEMS | PIPE_SYSTEMS | {"inverted-flare"}
    of_hose = parsed.forms & {"hose", "bore"}
    of_tube = parsed.forms & {"tube"} and system in PIPE_SYSTEMS
    lengths = parsed.of(Inches)
    return lengths[0].size if by_thread and lengths and (of_hose or of_tube) else None


def _tokens_for(system: System, parsed: Parsed) -> list[Any]:
    """The size tokens that count for a system: a cone size names its own thread."""
    if system == "din-24-cone" and len(parsed.sizes) > 1:
        return [t for t in parsed.sizes if not isinstance(t, MetricThread)] or parsed.sizes
    if system == "plain-tube" and _outside_and_bore(parsed):
        return parsed.of(Millimetres)[:1]
    return list(parsed.sizes)


def _outside_and_bore(parsed: Parsed) -> tuple[float, float] | None:
    """The two diameters of `10 mm x 8 mm`."""
    lengths = [token.value for token in parsed.of(Millimetres)]
    if "cross" not in parsed.forms or len(lengths) != 2 or lengths[0] <= lengths[1]:
        return None
    return lengths[0], lengths[1]


def _without_size(system: System, gender: Gender | None) -> Reading:
    unknown = ["size"] if gender else ["size", "gender"]
    label = write_connection(system, None, gender)
    return partial(
        connection(system, None, gender),
        f"What size is the {write_connection(system)}?",
        unknown,
        [ReadingOption(connection(system, None, gender), f"{label} of any size")],
    )


def _sized(system: System, size: str, gender: Gender | None, parsed: Parsed) -> Reading:
    canonical = connection(system, size, gender)
    if system == "plain-tube" and (diameters := _outside_and_bore(parsed)):
        canonical["bore"] = {"value": diameters[1], "unit": "mm"}
    if len(parsed.genders) > 1:
        options = [option(system, size, g) for g in sorted(parsed.genders)]
        return partial(canonical, "Is it male or female?", ("gender",), options)
    label = write_connection(system, size, gender)
    if _unmarked_twice(parsed):
        fraction = parsed.of(Inches)[0].size
        return partial(
            canonical,
            f"What is the {fraction} in it: the thread, the bore or the tube?",
            (f"the number {fraction}",),
            [ReadingOption(canonical, label)],
        )
    return certain(canonical, label, unknown=() if gender else ("gender",))


def _unmarked_twice(parsed: Parsed) -> bool:
    """A fraction and a whole number side by side, and no sign says which is the size."""
    return bool(parsed.of(Inches) and parsed.of(Whole)) and not parsed.has_key


def _missing_pitch(system: System, gender: Gender | None, parsed: Parsed) -> Reading | None:
    """A thread's diameter, or the bore of a banjo, without a pitch."""
    if len(parsed.sizes) != 1 or system not in METRIC_SYSTEMS | {"banjo", "bubble-flare"}:
        return None
    match parsed.sizes[0]:
        case MetricThread(diameter, pitch=None):
            thread = f"M{diameter}"
        case Millimetres(value) if system == "banjo":
            thread = f"M{value:g}"
        case Inches() as inches if system == "banjo":
            thread = inches.size
        case _:
            return None
    return partial(
        connection(system, None, gender, thread=thread),
        f"What is the pitch of the {thread} thread?",
        ["pitch"] if gender else ["pitch", "gender"],
        [option(system, size, gender) for size in sizes_of_diameter(system, thread)],
    )


def _quick_connect_by_name(parsed: Parsed) -> Reading | None:
    """A quick connect by the millimetres of the tube behind it, which do not settle the form."""
    millimetres = parsed.of(Millimetres)
    if len(millimetres) != 1 or len(parsed.sizes) != 1:
        return None
    token = millimetres[0]
    if sizes_meant("quick-connect", token):
        return None
    called = [
        replace(o, canonical={**cast(dict[str, Any], o.canonical), "gender": parsed.gender})
        for o in quick_connects_called(token.value)
    ]
    tube = ReadingOption(
        {"value": token.value, "unit": "mm", "of": "tube behind the connector"},
        f"a connector for {token.size} tube, whatever its end form",
    )
    return ambiguous(
        f"Is {token.size} the end form it clicks onto, or the tube behind it?", [*called, tube]
    )


def _no_such_size(system: System, gender: Gender | None, parsed: Parsed) -> Reading:
    each = [size for token in parsed.sizes for size in sizes_meant(system, token)]
    if len(each) > 1:
        return ambiguous(
            f"The sizes disagree: is it {' or '.join(dict.fromkeys(each))}?",
            [option(system, size, gender) for size in dict.fromkeys(each)],
        )
    if system in PIPE_SYSTEMS and (dashes := parsed.of(Dash)):
        sixteenths = Inches(dashes[0].number * _SIXTEENTH)
        options = [option(system, size, gender) for size in sizes_meant(system, sixteenths)]
        if options:
            question = f"Is that {sixteenths.size} pipe, counted in sixteenths?"
            return ambiguous(question, options)
    known = _known_sizes(system)
    name = write_connection(system)
    if known:
        return unreadable(f"There is no such size of {name}. Which is it: {', '.join(known)}?")
    return unreadable(f"Which size of {name} is it?")


def _known_sizes(system: System) -> tuple[str, ...]:
    if system == "quick-connect":
        return tuple(
            form_size(form.diameter_mm, form.names) for form in reference().quick_connect_forms
        )
    return reference().sizes(system) if is_closed(system) else ()


def _open_systems(parsed: Parsed, *, on_adapter: bool) -> Reading:
    """Open words alone: what all of them can name together."""
    words = sorted(parsed.opens, key=lambda word: len(OPEN_MEANINGS[word].systems))
    systems = [
        system
        for system in OPEN_MEANINGS[words[0]].systems
        if all(OPEN_MEANINGS[word].may_stand_by(system) for word in words)
    ]
    if not systems:
        return _two_systems(parsed)
    if len(systems) == 1:
        return _one_system(systems[0], parsed)
    return _open_system(words[0], systems, parsed, on_adapter=on_adapter)


def _open_system(
    word: OpenWord, systems: Sequence[System], parsed: Parsed, *, on_adapter: bool
) -> Reading:
    if word == "an" and _is_flare(parsed, on_adapter=on_adapter):
        return _one_system("flare-37", parsed)
    found = OPEN_MEANINGS[word]
    gender = parsed.gender
    if word == "double-flare" and (tube := parsed.of(Inches)):
        return _double_flare(tube[0], gender)
    if not parsed.sizes:
        options = [option(system, None, gender) for system in systems]
        return ambiguous(found.question, (*options, *found.others))
    sized = [(system, size) for system in systems for size in _open_sizes(system, word, parsed)]
    options = [option(system, size, gender, _seen_on(word, system)) for system, size in sized]
    if not sized:
        return unreadable("Which size is it, and in which standard?")
    # A whole thread is enough to know the one system that has it; a number is not.
    if len(sized) == 1 and any(
        isinstance(size, InchThread | MetricThread) for size in parsed.sizes
    ):
        return _one_system(sized[0][0], parsed)
    sizes = {size for _, size in sized}
    if found.keeps_size and len(sizes) == 1 and len(sized) > 1:
        size = next(iter(sizes))
        same = _shared_thread(sized)
        canonical = connection(None, size, gender, **({"thread": same} if same else {}))
        unknown = ("seal",) if gender else ("seal", "gender")
        return partial(canonical, found.question, unknown, options)
    return ambiguous(found.question, (*options, *found.others))


def _is_flare(parsed: Parsed, *, on_adapter: bool) -> bool:
    """Whether an AN end is certainly the flare: a male is, and so is the end of a hose or adapter.

    An O-ring boss goes by its own name there; only a port is called by the dash size alone.
    """
    told_by_form = parsed.forms & {"adapter", "hose-end", "swivel", "tube", "nut"}
    return on_adapter or parsed.gender == "male" or bool(told_by_form)


def _double_flare(tube: Inches, gender: Gender | None) -> Reading:
    """A tube end that is certain, while its nut decides which fitting it goes to."""
    found = OPEN_MEANINGS["double-flare"]
    options = [
        option(system, size, gender)
        for system in found.systems
        for size in sizes_meant(system, tube)
    ]
    canonical = connection(None, None, gender, tube_end="45 degree double flare", tube=tube.size)
    return partial(canonical, found.question, ("nut",), options)


def _open_sizes(system: System, word: OpenWord, parsed: Parsed) -> tuple[str, ...]:
    """The sizes of one system under an open word; inches by tube, as such words go."""
    numbers = [token.number for token in parsed.of(Dash)]
    numbers += [token.number for token in parsed.of(Whole)]
    if word == "push-lock" and system == "barb" and numbers:
        return tuple(Inches(number * _SIXTEENTH).size for number in numbers)
    if word == "sae" and system in ("orb", "flare-37") and (inches := parsed.of(Inches)):
        if system == "flare-37":
            return ()
        return tuple(s for s in sizes_of(system, inches) if s == f"-{inches[0].value * 16}")
    return sizes_of(system, parsed.sizes)


def _seen_on(word: OpenWord, system: System) -> str:
    if word != "an":
        return ""
    return {
        "flare-37": "as on a hose end or an adapter",
        "orb": "as in a port of a rail, pump, filter or regulator",
    }[system]


def _shared_thread(sized: Iterable[tuple[System, str]]) -> str | None:
    threads = {
        thread.designation if (thread := reference().thread(system, size)) else None
        for system, size in sized
    }
    return threads.pop() if len(threads) == 1 else None


def _no_system(parsed: Parsed) -> Reading:
    """A text of sizes alone, or of sizes and words about the part."""
    if not parsed.sizes:
        return unreadable(_WHAT_IS_IT)
    if tube := _tube(parsed):
        return tube
    if len(parsed.sizes) > 1:
        return _several_sizes(parsed)
    match parsed.sizes[0]:
        case Dash(number) | Whole(number):
            return bare_number(number)
        case Inches(value):
            return bare_inches(value)
        case Millimetres(value):
            return bare_millimetres(value)
        case Decimal(value):
            return bare_decimal(value)
        case MetricThread(diameter, pitch=None):
            return bare_metric_diameter(diameter)
        case MetricThread() as thread if not thread.marked:
            return unmarked_metric(thread)
        case InchThread() | MetricThread() as thread:
            return bare_thread(thread, parsed.gender)
        case _:
            return _one_system("din-24-cone", parsed)


def _tube(parsed: Parsed) -> Reading | None:
    """A length measured outside, or called a tube, is a tube's end; `10 mm x 8 mm` its bore too."""
    if "tube" not in parsed.forms or parsed.forms & {"hose", "bore"}:
        return None
    measured = [*parsed.of(Inches), *parsed.of(Millimetres)]
    if len(measured) != len(parsed.sizes) or len(measured) > 2:
        return None
    return _one_system("plain-tube", parsed)


def _several_sizes(parsed: Parsed) -> Reading:
    """Several sizes: a dash and its thread, which agree, or sizes of different things."""
    if any(isinstance(size, ConeSize) for size in parsed.sizes):
        return _one_system("din-24-cone", parsed)
    options = [
        option(system, size, parsed.gender)
        for system in THREADED_SYSTEMS
        for size in sizes_of(system, parsed.sizes)
    ]
    numbers = [token.number for token in parsed.sizes if isinstance(token, Dash | Whole)]
    if len(numbers) == len(parsed.sizes) == 2:
        options = [reducer_option(*numbers)]
    question = "Several sizes and no standard: which connection is it?"
    return ambiguous(question, options) if options else unreadable(_WHAT_IS_IT)
