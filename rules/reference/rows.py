"""The rows of the reference tables. Each field is a column of the CSV file of that name.

Every row says where its facts come from (`source`, ids of `sources.csv`) and how well they are
known (`confidence`). Lengths are millimetres, pressures kPa gauge, torques newton metres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

from rules.vocabulary import (
    Confidence,
    Gender,
    PortForm,
    System,
)

HowRead = Literal[
    "page",
    "opening",
    "scope",
    "abstract",
    "summary",
    "excerpt",
    "title page",
    "memory",
    "computed",
    "none",
]
"""How much of a source was read."""

JoinsBy = Literal["thread", "end-form", "barb", "tube", "compression", "hose", "seat", "name"]
"""What decides whether two ends of a system go together."""

ThreadSeal = Literal[
    "cone", "o-ring", "washer", "washer-or-o-ring", "crush-washer", "sealant", "thread"
]
"""What seals a threaded joint of a system."""

LookAlikeFit = Literal["enters-loose", "starts-then-jams", "other-pitch", "taper-only"]
"""What happens when the smaller thread of a look-alike pair goes into the larger."""

Fit = Literal[
    "same",
    "taper-only",
    "other-pitch",
    "enters-loose",
    "starts-then-jams",
    "too-big-same-pitch",
    "too-big-other-pitch",
    "apart",
    "equal",
    "smaller",
    "larger",
    "over-stretched",
    "hard-stretch",
    "stretch",
    "close",
    "loose",
    "too-loose",
    "same-construction",
    "other-construction",
    "by-name",
    "other-form",
    "same-half",
]
"""How the entering end stands to the receiving end, before seals are looked at.

Threads: `same` to `apart`. Diameters: `equal`, `smaller`, `larger` (the entering end against the
receiving one). Hose on a barb: `over-stretched` to `too-loose`. Hose ends: by construction.
`by-name`: only the size text decides; `other-form`: the two join in different ways; `same-half`:
neither enters the other.
"""

Verdict = Literal[
    "seals",
    "seals-with",
    "conditional",
    "threads-no-seal",
    "starts-then-jams",
    "no-fit",
    "unknown",
]
"""Whether two ends make a tight joint. `seals-with` needs the parts named."""

Reason = Literal[
    "matched",
    "gender",
    "size",
    "seat",
    "seal",
    "thread",
    "taper",
    "look-alike",
    "pitch",
    "form",
    "construction",
    "diameter",
    "bead",
    "unrecorded",
]
"""What the verdict hangs on."""

NeedPart = Literal[
    "o-ring",
    "crush-washer",
    "bonded-washer",
    "flat-gasket",
    "flare-sleeve",
    "sealant",
    "clamp",
    "banjo-bolt",
    "jam-nut",
    "back-up-ring",
    "cutting-ring",
    "compression-sleeve",
]
"""What a joint may need beside its two ends."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where facts come from. `title` is what a report cites."""

    FILE: ClassVar[str] = "sources.csv"
    KEY: ClassVar[tuple[str, ...]] = ("source",)

    source: str
    title: str
    how_read: HowRead
    supports: str | None


@dataclass(frozen=True, slots=True)
class ConnectionSystem:
    """A way of joining: its standard, how it is sized and what a port of it has by definition."""

    FILE: ClassVar[str] = "systems.csv"
    KEY: ClassVar[tuple[str, ...]] = ("system",)

    system: System
    name: str
    standard: str | None
    joins_by: JoinsBy
    sized_by: str
    implied_port_form: PortForm | None
    implied_bead: bool | None
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class ThreadForm:
    """One physical thread, whatever standards use it. `major_mm` of a taper is at full thread."""

    FILE: ClassVar[str] = "same_threads.csv"
    KEY: ClassVar[tuple[str, ...]] = ("thread",)

    thread: str
    major_mm: float
    pitch_mm: float
    tpi: float | None
    flank_deg: float
    taper: bool
    members: tuple[str, ...]
    source: tuple[str, ...]
    confidence: Confidence


@dataclass(frozen=True, slots=True)
class ThreadRow:
    """A size of a system: its thread and what seals it."""

    FILE: ClassVar[str] = "threads.csv"
    KEY: ClassVar[tuple[str, ...]] = ("system", "size")

    system: System
    size: str
    thread: str
    external: str
    internal: str
    tube_od_in: str | None
    seat_deg: float | None
    seal: ThreadSeal
    seal_part: str | None
    standard: str
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class LookAlike:
    """Two threads near enough to be taken for each other.

    Chosen by arithmetic: major diameters within 6 % and pitches within 10 %, or diameters within
    2 % at any pitch, and the male larger than the minor diameter of the female
    (`major - 1.0825 * pitch`). `flank_overlap` is the share of the female thread the male touches.
    `larger_starts_too`: the larger one exceeds the smaller by no more than thread tolerance.
    """

    FILE: ClassVar[str] = "lookalikes.csv"
    KEY: ClassVar[tuple[str, ...]] = ("smaller", "larger")

    smaller: str
    larger: str
    major_step_mm: float
    pitch_step_mm: float
    flank_overlap: float
    when_smaller_enters: LookAlikeFit
    larger_starts_too: bool
    source: tuple[str, ...]
    confidence: Confidence


@dataclass(frozen=True, slots=True)
class MateRow:
    """What becomes of an end of one system entering an end of another.

    A row applies when systems, genders, sizes and fit are among those it names (blank: any) and all
    its `given` conditions hold. Rows that name systems and conditions go before rows that name
    systems, and these before rows for any system (`*`). `decides` is no for facts that a specialist
    wants to read but that the two ends alone cannot decide.
    """

    FILE: ClassVar[str] = "mates.csv"
    KEY: ClassVar[tuple[str, ...]] = ("rule_id",)

    rule_id: str
    enters: tuple[System | Literal["*"], ...]
    enters_gender: tuple[Gender, ...]
    receives: tuple[System | Literal["*", "same"], ...]
    receives_gender: tuple[Gender, ...]
    either_way: bool
    sizes: Literal["same", "other"] | None
    fit: tuple[Fit, ...]
    given: tuple[str, ...]
    if_unrecorded: Literal["ask", "skip"] | None
    decides: bool
    verdict: Verdict
    reason: Reason
    needs: tuple[str, ...]
    why: str
    remedy: str
    sizes_note: str | None
    source: tuple[str, ...]
    confidence: Confidence

    @property
    def level(self) -> int:
        """0 for a row of named systems with conditions, 1 without, 2 for a row of any system."""
        if "*" in self.enters:
            return 2
        return 0 if self.given else 1

    def speaks_of(self, entering: System, receiving: System) -> bool:
        """Whether the row may decide between two systems, whatever their sizes."""
        return self._reads(entering, receiving) or (
            self.either_way and self._reads(receiving, entering)
        )

    def _reads(self, first: System, second: System) -> bool:
        if "*" not in self.enters and first not in self.enters:
            return False
        if "same" in self.receives:
            return first == second
        return "*" in self.receives or second in self.receives


@dataclass(frozen=True, slots=True)
class FitLimit:
    """A tolerance between two diameters, in millimetres."""

    FILE: ClassVar[str] = "fit_limits.csv"
    KEY: ClassVar[tuple[str, ...]] = ("limit",)

    limit: Literal[
        "quick-connect-diameter",
        "tube-diameter",
        "ring-clearance",
        "ring-interference",
        "injector-diameter",
    ]
    value_mm: float
    why: str
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class BarbLimit:
    """How far the bore of a hose may differ from its barb, for barbs of a range of diameters.

    Up to `close_mm` over is fit for injection pressure, up to `loose_mm` over a clamp may take up
    without pressure; up to `stretch_mm` under is the usual stretch, up to `hard_stretch_mm` the
    last that goes on.
    """

    FILE: ClassVar[str] = "barb_limits.csv"
    KEY: ClassVar[tuple[str, ...]] = ("barb_from_mm",)

    barb_from_mm: float
    barb_below_mm: float | None
    close_mm: float
    loose_mm: float
    stretch_mm: float
    hard_stretch_mm: float
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class QuickConnectForm:
    """An end form of SAE J2044. `loose_names` are used for it, and also for the tube it sits on."""

    FILE: ClassVar[str] = "quick_connect_forms.csv"
    KEY: ClassVar[tuple[str, ...]] = ("diameter_mm",)

    diameter_mm: float
    names: tuple[str, ...]
    loose_names: tuple[str, ...]
    parent_tube_mm: float
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None
