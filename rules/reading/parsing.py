"""From the tokens of a connection text to what its words say."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeAlias, TypeVar

from rules.reading.naming import (
    LONGEST_PHRASE,
    PHRASES,
    STANDARDS,
    Form,
    FormWord,
    GenderWord,
    LeftHand,
    Meaning,
    OpenWord,
    OpenWords,
    Series,
    SystemWord,
)
from rules.reading.opens import OPEN_MEANINGS
from rules.reading.scan import (
    Angle,
    ConeSize,
    Dash,
    Decimal,
    Dotted,
    Inches,
    InchThread,
    Mark,
    MetricThread,
    Millimetres,
    Standard,
    Token,
    Whole,
    Word,
    tokens,
)
from rules.vocabulary import Gender, System

Size: TypeAlias = (
    Dash | Whole | Inches | Millimetres | Decimal | InchThread | MetricThread | ConeSize
)

S = TypeVar("S", bound=Size)


@dataclass(slots=True)
class Parsed:
    """What a text says, word by word.

    Attributes:
        opens: words that name a connection and leave its system open.
        disagreement: a length in two units that are not the same.
        has_key: whether an equals sign says which number is the size.
        unknown: the words that are none of ours.
    """

    systems: set[System] = field(default_factory=set)
    opens: set[OpenWord] = field(default_factory=set)
    genders: set[Gender] = field(default_factory=set)
    forms: set[Form] = field(default_factory=set)
    series: set[str] = field(default_factory=set)
    sizes: list[Size] = field(default_factory=list)
    angles: list[int] = field(default_factory=list)
    dotted: Dotted | None = None
    disagreement: tuple[Inches, Millimetres] | None = None
    left_hand: bool = False
    has_key: bool = False
    unknown: list[str] = field(default_factory=list)

    @property
    def gender(self) -> Gender | None:
        """The gender, if the text says exactly one."""
        return next(iter(self.genders)) if len(self.genders) == 1 else None

    @property
    def names_something(self) -> bool:
        """Whether any word names a system, even an open one."""
        return bool(self.systems or self.opens)

    def of(self, kind: type[S]) -> list[S]:
        """The sizes of one kind."""
        return [size for size in self.sizes if isinstance(size, kind)]


# Letters that are thread codes only right before a size: G1/4, R1/8, Rc 1/4.
_LETTER_CODES: Final[dict[str, SystemWord]] = {
    "g": SystemWord("bspp"),
    "r": SystemWord("bspt", "male"),
    "rc": SystemWord("bspt", "female"),
}
_SILENT_MARKS: Final = frozenset("-,.():;/\"'+_[]")
# The seat angles of the systems here; any other angle is an elbow's.
_SEATS: Final[dict[int, System]] = {37: "flare-37", 45: "flare-45", 24: "din-24-cone"}
_SEAT_WORDS: Final[dict[int, frozenset[OpenWord]]] = {
    37: frozenset({"an", "flare", "cone", "sae"}),
    45: frozenset({"flare", "cone", "sae"}),
    24: frozenset({"cone"}),
}
_ELBOWS: Final = frozenset({30, 45, 60, 90, 120, 150, 180})


def parse(folded: str) -> Parsed:
    """What a folded text says."""
    found = list(tokens(folded))
    parsed = Parsed()
    at = 0
    while at < len(found):
        at += _take(found, at, parsed)
    _settle_lengths(parsed)
    _settle_angles(parsed)
    _settle_words(parsed)
    return parsed


def _take(found: Sequence[Token], at: int, parsed: Parsed) -> int:
    """Read one token or phrase into `parsed`; how many tokens it took."""
    token = found[at]
    match token:
        case Word():
            return _take_words(found, at, parsed)
        case Mark(text="="):
            parsed.has_key = True
        case Mark(text):
            if text not in _SILENT_MARKS:
                parsed.unknown.append(text)
        case Angle(degrees):
            parsed.angles.append(degrees)
        case Standard(name):
            _take_standard(name, parsed)
        case Dotted():
            parsed.dotted = token
        case _:
            parsed.sizes.append(token)
    return 1


def _take_standard(name: str, parsed: Parsed) -> None:
    if name == "j512":  # flares of 45 degrees, and the inverted ones
        parsed.opens.add("double-flare")
    elif system := STANDARDS.get(name):
        parsed.systems.add(system)
    else:
        parsed.unknown.append(name)


def _take_words(found: Sequence[Token], at: int, parsed: Parsed) -> int:
    first = found[at]
    assert isinstance(first, Word)
    if first.text in _LETTER_CODES and isinstance(_after(found, at), Inches | Whole | InchThread):
        _mean((_LETTER_CODES[first.text],), parsed)
        return 1
    words: list[str] = []
    longest: tuple[int, tuple[Meaning, ...]] | None = None
    for index in range(at, len(found)):
        token = found[index]
        if isinstance(token, Word):
            words.append(token.text)
            if meanings := PHRASES.get(tuple(words)):
                longest = index, meanings
        elif not (isinstance(token, Mark) and token.text in "-."):
            break
        if len(words) == LONGEST_PHRASE:
            break
    if longest is None:
        parsed.unknown.append(first.text)
        return 1
    end, meanings = longest
    _mean(meanings, parsed)
    return end - at + 1


def _after(found: Sequence[Token], at: int) -> Token | None:
    return found[at + 1] if at + 1 < len(found) else None


def _mean(meanings: Iterable[Meaning], parsed: Parsed) -> None:
    for meaning in meanings:
        match meaning:
            case SystemWord(system, gender):
                parsed.systems.add(system)
                if gender:
                    parsed.genders.add(gender)
            case OpenWords(name):
                parsed.opens.add(name)
            case GenderWord(gender):
                parsed.genders.add(gender)
            case FormWord(form):
                parsed.forms.add(form)
            case Series(name):
                parsed.series.add(name)
            case LeftHand():
                parsed.left_hand = True


_AGREEMENT: Final = 0.01  # 5/16 inch and 8 mm are 0.8 % apart, 3/8 inch and 10 mm 5 %


def _settle_lengths(parsed: Parsed) -> None:
    """Drop the millimetres beside inches that agree with them; note those that do not."""
    inches, millimetres = parsed.of(Inches), parsed.of(Millimetres)
    if len(inches) != 1 or len(millimetres) != 1:
        return
    converted = float(inches[0].value) * 25.4
    if abs(converted - millimetres[0].value) <= _AGREEMENT * converted:
        parsed.sizes.remove(millimetres[0])
    else:
        parsed.disagreement = inches[0], millimetres[0]


def _settle_angles(parsed: Parsed) -> None:
    """Give 37, 45 and 24 to the seat where the words speak of one; the rest is an elbow's."""
    seated = parsed.opens & {"an", "flare", "cone", "sae"} or "flare-37" in parsed.systems
    for size in parsed.of(Whole):
        lone = len(parsed.sizes) == 1 and not seated
        if size.number in _SEATS.keys() | _ELBOWS and not lone:
            parsed.sizes.remove(size)
            parsed.angles.append(size.number)
    for degrees in parsed.angles:
        seat = _SEATS.get(degrees)
        words = _SEAT_WORDS.get(degrees, frozenset())
        if seat and parsed.opens & words and not parsed.systems - {seat}:
            parsed.systems.add(seat)
            parsed.opens -= words
        if degrees not in _ELBOWS and seat not in parsed.systems:
            parsed.unknown.append(str(degrees))


def _settle_words(parsed: Parsed) -> None:
    """Drop what a plainer word beside it already says. What it contradicts stays, to be told."""
    if "sae" in parsed.opens and "efi" in parsed.forms and not parsed.systems:
        parsed.systems.add("quick-connect")
    for narrow, wide in _INCLUDED:
        if narrow in parsed.systems:
            parsed.systems.discard(wide)
    if len(parsed.systems) == 1:
        system = next(iter(parsed.systems))
        parsed.opens = {w for w in parsed.opens if not OPEN_MEANINGS[w].may_stand_by(system)}
    elif parsed.opens == {"metric"} and parsed.of(MetricThread):
        parsed.opens.clear()


# A system whose usual wording also holds the words of another.
_INCLUDED: Final[tuple[tuple[System, System], ...]] = (
    ("banjo", "metric-flat"),
    ("bspp", "metric-flat"),
    ("compression", "plain-tube"),
    ("spring-lock", "quick-connect"),
)
