"""The words of the trade for connections, and our own way of writing one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from rules.vocabulary import Gender, System

OpenWord = Literal[
    "an", "sae", "bsp", "o-ring", "flare", "double-flare", "cone", "push-lock", "qd", "pipe",
    "metric",
]  # fmt: skip
"""A word that names a connection without naming one system."""

Form = Literal[
    "adapter", "fitting", "hose-end", "swivel", "plug", "cap", "port", "tube", "hose", "bore",
    "nut", "thread", "efi", "cross", "filler",
]  # fmt: skip
"""A word about the part that carries the connection."""


@dataclass(frozen=True, slots=True)
class SystemWord:
    """Words that name one system, some with a gender in them."""

    system: System
    gender: Gender | None = None


@dataclass(frozen=True, slots=True)
class OpenWords:
    """Words that leave the system open."""

    name: OpenWord


@dataclass(frozen=True, slots=True)
class GenderWord:
    """Male, female, bolt or ring."""

    gender: Gender


@dataclass(frozen=True, slots=True)
class LeftHand:
    """A left-hand thread."""


@dataclass(frozen=True, slots=True)
class Series:
    """The series of a unified thread: `unf`."""

    name: str


@dataclass(frozen=True, slots=True)
class FormWord:
    """A word about the part that carries the connection."""

    form: Form


Meaning = SystemWord | OpenWords | GenderWord | LeftHand | Series | FormWord

_SYSTEM_PHRASES: Final[dict[System, str]] = {
    "flare-37": "jic | jic flare | an flare",
    "flare-45": "sae flare",
    "inverted-flare": "inverted flare | inv flare | inverted",
    "bubble-flare": "bubble flare | bubble | iso flare | din flare | iso bubble flare",
    "orb": "orb | org | o ring boss | oring boss | o ring port | oring port | stor | boss",
    "orfs": "orfs | ors | face seal | o ring face seal | oring face seal",
    "npt": "npt | n p t | anpt | npt thread",
    "nptf": "nptf | n p t f | dryseal",
    "nps": "nps | npsm | npsf | n p s",
    "bspp": "bspp | bsp parallel | parallel bsp | bsp p | pf",
    "bspt": "bspt | bsp taper | bsp tapered | taper bsp | bsp t | pt",
    "iso-6149": "metric o ring | metric oring | metric o ring boss | metric o ring port",
    "metric-flat": "metric flat | flat seat | flat face | flat washer seat | bonded seal"
    " | bonded washer | washer seal",
    "banjo": "banjo | banjo fitting",
    "quick-connect": "quick connect | quick connector | quick connects | quickconnect | qc"
    " | quick disconnect | efi quick connect | efi quick connector | efi qc",
    "spring-lock": "spring lock | springlock | garter spring | spring lock coupling",
    "dry-break": "dry break | drybreak | dry break coupling",
    "barb": "barb | barbed | hose barb | barbed fitting | hosebarb",
    "beaded-tube": "beaded tube | beaded | beaded hard line",
    "plain-tube": "plain tube | hard line | hardline | tube od | tubing od | od tube",
    "compression": "compression | compression fitting | olive | ferrule",
    "hose-end": "hose socket",
    "injector-seat": "injector seat | injector o ring seat | injector oring seat",
    "flange": "flange | bolted flange",
}
_OPEN_PHRASES: Final[dict[OpenWord, str]] = {
    "an": "an | a n",
    "sae": "sae | s a e",
    "bsp": "bsp | b s p",
    "o-ring": "o ring | oring",
    "flare": "flare | flared",
    "double-flare": "double flare | double flared",
    "push-lock": "push lock | pushlock | push on",
    "qd": "qd | q d | quick release",
    "pipe": "pipe | pipe thread",
    "metric": "metric",
    "cone": "cone",
}
_FORM_PHRASES: Final[dict[Form, str]] = {
    "adapter": "adapter | adaptor | adapters | union | reducer | coupler | coupling",
    "fitting": "fitting | fittings | connection | connector",
    "hose-end": "hose end | hose ends",
    "swivel": "swivel | swivelling | swiveling",
    "plug": "plug",
    "cap": "cap",
    "port": "port | rail | pump | filter | regulator",
    "tube": "tube | tubing | od | o d | \u00f8 | dia",
    "hose": "hose",
    "bore": "id | i d | bore",
    "nut": "nut",
    "thread": "thread | threaded | threads",
    "efi": "efi",
    "filler": "straight | elbow | the | a | with | end | ends | form | size | style | type",
    "cross": "x",
}
_GENDER_PHRASES: Final[dict[Gender, str]] = {
    "male": "male | m | macho | masculino | maschio | mannlich | aussengewinde | ag | mas"
    " | hane | mannelijk | zewnetrzny | utvandig",
    "female": "female | f | femea | hembra | femenino | femelle | femmina | weiblich"
    " | innengewinde | ig | fem | hona | vrouwelijk | wewnetrzny | invandig",
    "bolt": "bolt",
    "ring": "ring | eye",
}
_LEFT_HAND: Final = (
    "lh | l h | left | left hand | left handed | left hand thread | left thread | lht"
    " | links | linksgewinde | linke | izquierda | izquierdo | rosca izquierda | gauche"
    " | a gauche | pas a gauche | filetage a gauche | sinistra | sinistro | sinistrorsa | sx"
    " | stanga | filet stanga | esquerda | esquerdo | rosca esquerda | lewa | lewy | lewoskretny"
    " | gwint lewy | levy | levotocivy | leva | balmenet | balos | vanster | vanstergangad"
    " | venstre | vasen | vasenkatinen | linkse | linkse draad | sol | sol dis"
    " | \u043b\u0435\u0432\u0430\u044f | \u043b\u0435\u0432\u044b\u0438"
    " | \u5de6 | \u5de6\u30cd\u30b7 | \u5de6\u306d\u3057"
)
_SERIES: Final = "un unc unf unef uns unj unjf unjc unr unrf"


def _phrases() -> dict[tuple[str, ...], tuple[Meaning, ...]]:
    table: dict[tuple[str, ...], tuple[Meaning, ...]] = {}

    def add(phrases: str, *meanings: Meaning) -> None:
        for phrase in phrases.split(" | "):
            table[tuple(phrase.split())] = meanings

    for system, phrases in _SYSTEM_PHRASES.items():
        add(phrases, SystemWord(system))
    for name, phrases in _OPEN_PHRASES.items():
        add(phrases, OpenWords(name))
    for form, phrases in _FORM_PHRASES.items():
        add(phrases, FormWord(form))
    for gender, phrases in _GENDER_PHRASES.items():
        add(phrases, GenderWord(gender))
    add("banjo bolt", SystemWord("banjo", "bolt"))
    add("banjo ring | banjo eye", SystemWord("banjo", "ring"))
    add(_LEFT_HAND, LeftHand())
    for series in _SERIES.split():
        add(series, Series(series))
    # The gender glued to the code, before or after: MNPT, NPTM. NPTF is the dryseal thread.
    for code, system in _GENDERED_CODES.items():
        for letter, gender in _GENDER_LETTERS.items():
            add(f"{letter}{code}", SystemWord(system, gender))
            if f"{code}{letter}" != "nptf":
                add(f"{code}{letter}", SystemWord(system, gender))
    add("mp | mpt | male pipe", SystemWord("npt", "male"))
    add("fp | fpt | female pipe", SystemWord("npt", "female"))
    return table


_GENDERED_CODES: Final[dict[str, System]] = {
    "npt": "npt", "nptf": "nptf", "bspp": "bspp", "bspt": "bspt", "jic": "flare-37", "orb": "orb",
}  # fmt: skip
_GENDER_LETTERS: Final[dict[str, Gender]] = {"m": "male", "f": "female"}

PHRASES: Final = _phrases()
"""Words, in order, to what they mean."""
LONGEST_PHRASE: Final = max(map(len, PHRASES))
WORDS: Final = tuple(sorted({word for words in PHRASES for word in words}))

STANDARDS: Final[dict[str, System]] = {
    "j514": "flare-37",
    "iso84342": "flare-37",
    "as4395": "flare-37",
    "ms33656": "flare-37",
    "j1926": "orb",
    "j19261": "orb",
    "j19262": "orb",
    "j19263": "orb",
    "iso11926": "orb",
    "iso119261": "orb",
    "j1453": "orfs",
    "iso84343": "orfs",
    "iso228": "bspp",
    "iso2281": "bspp",
    "iso1179": "bspp",
    "iso7": "bspt",
    "iso71": "bspt",
    "iso6149": "iso-6149",
    "iso61491": "iso-6149",
    "iso9974": "metric-flat",
    "iso99741": "metric-flat",
    "din3852": "metric-flat",
    "iso84341": "din-24-cone",
    "din2353": "din-24-cone",
    "iso4038": "bubble-flare",
    "j2044": "quick-connect",
}
"""Published standards to the system they name, blanks and dashes removed."""

_WRITTEN: Final[dict[System, str]] = {
    "flare-37": "37 degree flare {size}",
    "flare-45": "45 degree flare {size}",
    "inverted-flare": "{size} inverted flare",
    "bubble-flare": "{size} bubble flare",
    "orb": "O-ring boss {size}",
    "orfs": "O-ring face seal {size}",
    "npt": "{size} NPT",
    "nptf": "{size} NPTF",
    "nps": "{size} NPS",
    "bspp": "{size} BSPP",
    "bspt": "{size} BSPT",
    "iso-6149": "{size} metric O-ring port",
    "metric-flat": "{size} flat washer seat",
    "din-24-cone": "24 degree cone {size}",
    "banjo": "{size} banjo",
    "quick-connect": "{size} quick connect",
    "spring-lock": "{size} spring lock",
    "dry-break": "dry break {size}",
    "barb": "{size} barb",
    "beaded-tube": "{size} beaded tube",
    "plain-tube": "{size} plain tube",
    "compression": "{size} compression fitting",
    "hose-end": "hose socket {size}",
    "injector-seat": "{size} injector seat",
    "flange": "{size} flange",
}


ALWAYS_MALE: Final[frozenset[System]] = frozenset({"barb", "plain-tube", "beaded-tube"})
"""Systems whose own end is the male half by nature, so that nobody says so."""


def write_connection(
    system: System | None, size: str | None = None, gender: Gender | None = None
) -> str:
    """A connection in plain words: `37 degree flare -6 male`, `3/8 NPT female`.

    What is not known is left out; `read_connection` reads the text back to the same connection.
    """
    words = _WRITTEN[system] if system else "{size}"
    said = "" if system in ALWAYS_MALE and gender == "male" else gender or ""
    written = " ".join(f"{words.format(size=size or '')} {said}".split())
    return written or "a connection"
