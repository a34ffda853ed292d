"""Words that name a connection without settling its system, and what each can mean."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.reading.naming import OpenWord
from rules.reading.outcome import ReadingOption
from rules.vocabulary import System


@dataclass(frozen=True, slots=True)
class OpenMeaning:
    """What an open word can mean.

    Attributes:
        systems: the systems it can name by itself.
        question: what settles it.
        beside: further systems whose own name it may stand beside, adding nothing.
        others: what else it can be that is no connection of ours.
        keeps_size: all its systems share the thread of a size, so that the size is certain.
    """

    systems: tuple[System, ...]
    question: str
    beside: tuple[System, ...] = ()
    others: tuple[ReadingOption, ...] = ()
    keeps_size: bool = False

    def may_stand_by(self, system: System) -> bool:
        """Whether the word may stand beside the name of a system."""
        return system in self.systems or system in self.beside


OPEN_MEANINGS: Final[dict[OpenWord, OpenMeaning]] = {
    "an": OpenMeaning(
        ("flare-37", "orb"),
        "Does it seal on a cone, or with an O-ring in a port?",
        beside=("hose-end",),
        keeps_size=True,
    ),
    "o-ring": OpenMeaning(
        ("orb", "orfs", "iso-6149"),
        "Is the O-ring round the thread of a port, or in a groove on the flat face?",
        beside=("injector-seat", "bspp"),
        keeps_size=True,
    ),
    "flare": OpenMeaning(
        ("flare-37", "flare-45", "inverted-flare"),
        "Is the flare 37 degrees, 45 degrees, or inverted inside the port?",
        beside=("bubble-flare",),
    ),
    "cone": OpenMeaning(
        ("flare-37", "flare-45", "din-24-cone"),
        "How many degrees has the cone: 24, 37 or 45?",
        beside=("nps", "inverted-flare"),
    ),
    "double-flare": OpenMeaning(
        ("flare-45", "inverted-flare"), "Does the tube's nut screw over the fitting, or into it?"
    ),
    "bsp": OpenMeaning(("bspp", "bspt"), "Is the thread parallel or tapered?"),
    "pipe": OpenMeaning(
        ("npt", "bspp", "bspt"),
        "Is the pipe thread American (NPT) or British (BSP)?",
        beside=("nptf", "nps"),
    ),
    "metric": OpenMeaning(
        ("iso-6149", "metric-flat", "banjo", "bubble-flare", "din-24-cone"),
        "What seals the metric thread: a cone, an O-ring or a washer?",
    ),
    "sae": OpenMeaning(
        ("orb", "flare-45", "quick-connect", "flare-37"),
        "Is it an O-ring port, a flare, or a quick connect?",
        beside=("orfs", "inverted-flare", "spring-lock", "hose-end"),
    ),
    "push-lock": OpenMeaning(
        ("quick-connect", "barb"),
        "Does it click onto a tube end, or push into a hose?",
        beside=("hose-end",),
    ),
    "qd": OpenMeaning(
        ("quick-connect", "dry-break"),
        "Is it the fuel-line click connector, a dry-break coupling, or a hydraulic coupling?",
        beside=("spring-lock",),
        others=(ReadingOption({"of": "hydraulic coupling"}, "a hydraulic quick coupling"),),
    ),
}
