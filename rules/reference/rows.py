"""The rows of the reference tables. Each field is a column of the CSV file of that name.

Every row says where its facts come from (`source`, ids of `sources.csv`) and how well they are
known (`confidence`). Lengths are millimetres, pressures kPa gauge, torques newton metres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

from rules.reference.reading import Signed
from rules.vocabulary import (
    Confidence,
    Construction,
    Gender,
    Marking,
    Material,
    MaterialFamily,
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

FitLimitName = Literal[
    "quick-connect-diameter",
    "tube-diameter",
    "ring-clearance",
    "ring-interference",
    "injector-diameter",
]
"""The tolerances between two diameters that decide a fit."""

FuelColumn = Literal["E0", "E10", "E85", "E98", "M100", "RACE-OX"]
"""The test fuels that materials are rated in."""

Resistant = Literal["suitable", "limited", "unknown", "unsuitable"]
"""How a material stands a fuel, the best first; `unknown` counts worse than `limited`."""

Allowed = Literal["yes", "no", "declared", "unknown"]
"""Whether a marking allows a use; `declared`: only as the sheet of the part says."""

TorqueJoint = Literal[
    "flare-37-nut",
    "flare-37-hose-nut",
    "flare-37-tube-nut",
    "flare-45-hose-nut",
    "orb-stud",
    "iso-6149-stud",
    "worm-drive-clamp",
]
"""What is tightened."""

TorqueCase = Literal[
    "aluminium-tube", "steel-tube", "hose", "steel", "aluminium", "new-hose", "used-hose"
]
"""What the figure was given for: the tube or hose behind the nut, or the material."""


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
    its `given` conditions hold; the most particular row speaks (`level`). `decides` is no for facts
    that a specialist wants to read but that the two ends alone cannot decide.
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
        """How particular the row is; lower decides first.

        0 named systems and conditions, 1 named systems, 2 any system with itself, 3 any systems.
        """
        if "*" in self.enters:
            return 2 if "same" in self.receives else 3
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

    limit: FitLimitName
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


@dataclass(frozen=True, slots=True)
class ServiceLimit:
    """Pressures and temperatures a standard was written for."""

    FILE: ClassVar[str] = "quick_connect_limits.csv"
    KEY: ClassVar[tuple[str, ...]] = ("limit",)

    limit: Literal["sae-j2044", "sae-j2045", "sae-j2260"]
    what: str
    max_working_kpa: float
    max_vacuum_kpa: float | None
    min_temperature_c: Signed | None
    max_temperature_c: Signed | None
    conflict: str | None
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class HoseBore:
    """Bore, working pressure and bend radius of a hose construction and dash, where known.

    Each figure has its own confidence. The dash is not the bore: ask the part for its bore first.
    """

    FILE: ClassVar[str] = "hose_bores.csv"
    KEY: ClassVar[tuple[str, ...]] = ("construction", "standard", "dash")

    construction: Construction
    standard: str
    dash: str
    bore_mm: float | None
    max_working_kpa: float | None
    min_bend_mm: float | None
    bore_confidence: Confidence | None
    pressure_confidence: Confidence | None
    bend_confidence: Confidence | None
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class TubeBore:
    """Bore of a rigid tube by outside diameter and wall; `max_working_kpa` holds for steel."""

    FILE: ClassVar[str] = "tube_bores.csv"
    KEY: ClassVar[tuple[str, ...]] = ("tube_od_in", "wall_mm")

    tube_od_in: str
    wall_mm: float
    od_mm: float
    bore_mm: float
    dash: str
    material: Literal["steel", "any metal"]
    max_working_kpa: float | None
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class FittingBore:
    """The smallest bore through a standard fitting of a size."""

    FILE: ClassVar[str] = "fitting_bores.csv"
    KEY: ClassVar[tuple[str, ...]] = ("system", "size")

    system: System
    size: str
    bore_mm: float
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class MarkingRow:
    """What a marking on a hose allows. `declared`: only as the sheet of the part says.

    `ethanol_limit_percent` blank: no claim known. `injection` is pressure-side use at port
    injection pressure, `injection_return` the return of such a system.
    """

    FILE: ClassVar[str] = "hose_markings.csv"
    KEY: ClassVar[tuple[str, ...]] = ("marking",)

    marking: Marking
    what: str
    injection: Allowed
    submersible: Allowed
    injection_return: Allowed
    ethanol_limit_percent: float | None
    permeation: str | None
    conflict: str | None
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class MarkingPressure:
    """Working pressure that a marking allows for bores over one and up to another diameter."""

    FILE: ClassVar[str] = "marking_pressures.csv"
    KEY: ClassVar[tuple[str, ...]] = ("marking", "bore_over_mm")

    marking: Marking
    bore_over_mm: float
    bore_to_mm: float | None
    max_working_kpa: float
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class MaterialRow:
    """A wetted material and what else it is called."""

    FILE: ClassVar[str] = "materials.csv"
    KEY: ClassVar[tuple[str, ...]] = ("material",)

    material: Material
    name: str
    family: MaterialFamily
    aliases: tuple[str, ...]
    source: tuple[str, ...]
    confidence: Confidence


@dataclass(frozen=True, slots=True)
class ResistanceRow:
    """How a material stands one test fuel. `conflict` gives both sides where sources disagree."""

    FILE: ClassVar[str] = "resistance.csv"
    KEY: ClassVar[tuple[str, ...]] = ("material", "column")

    material: Material
    column: FuelColumn
    rating: Resistant
    reason: str
    condition: str | None
    conflict: str | None
    source: tuple[str, ...]
    confidence: Confidence


@dataclass(frozen=True, slots=True)
class DispensingEntry:
    """An entry of a published list of materials for stationary ethanol dispensing equipment."""

    FILE: ClassVar[str] = "ethanol_dispensing_list.csv"
    KEY: ClassVar[tuple[str, ...]] = ("entry",)

    entry: str
    listed: Literal["compatible", "not-allowed"]
    materials: tuple[Material, ...]
    above_ethanol_percent: float
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class FuelRow:
    """A fuel by id. Percents by volume; blank for fuels that are recognised but not judged.

    `columns` names the columns of `resistance.csv` where the blend alone does not tell them.
    """

    FILE: ClassVar[str] = "fuels.csv"
    KEY: ClassVar[tuple[str, ...]] = ("fuel",)

    fuel: str
    name: str
    ethanol_low_percent: float | None
    ethanol_nominal_percent: float | None
    ethanol_high_percent: float | None
    methanol_percent: float | None
    columns: tuple[FuelColumn, ...]
    judged: bool
    season: str | None
    source: tuple[str, ...]
    confidence: Confidence


@dataclass(frozen=True, slots=True)
class FuelBand:
    """Which columns of `resistance.csv` rate a blend: all of them, the worst counts.

    A band holds what is above its lower and up to its upper bound; 0 belongs to the first band.
    `note` holds for materials of the families in `note_for`.
    """

    FILE: ClassVar[str] = "fuel_bands.csv"
    KEY: ClassVar[tuple[str, ...]] = ("band",)

    band: str
    methanol_above_percent: float
    methanol_to_percent: float
    ethanol_above_percent: float
    ethanol_to_percent: float
    columns: tuple[FuelColumn, ...]
    peak_ethanol_percent: float | None
    note_for: tuple[MaterialFamily, ...]
    note: str | None
    source: tuple[str, ...]
    confidence: Confidence


@dataclass(frozen=True, slots=True)
class GalvanicPair:
    """Two metals that corrode when conductive fuel wets both in contact. `loses` is eaten."""

    FILE: ClassVar[str] = "galvanic.csv"
    KEY: ClassVar[tuple[str, ...]] = ("a", "b")

    a: Material
    b: Material
    loses: Material
    pace: Literal["corrodes", "slow"]
    why: str
    source: tuple[str, ...]
    confidence: Confidence


@dataclass(frozen=True, slots=True)
class TorqueRow:
    """Tightening of a joint: torque, or hex flats past contact of the seats. Advice only."""

    FILE: ClassVar[str] = "torques.csv"
    KEY: ClassVar[tuple[str, ...]] = ("joint", "size", "case", "method")

    joint: TorqueJoint
    system: System | None
    size: str
    case: TorqueCase
    method: Literal["torque", "flats"]
    low_nm: float | None
    high_nm: float | None
    low_flats: float | None
    high_flats: float | None
    lubricated: bool | None
    conflict: str | None
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class Loss:
    """A loss coefficient K: pressure drop over `rho * v**2 / 2` at the velocity in `velocity`.

    `k` may be negative where a branch entrains. Where `formula` is given, K follows from
    `beta`, the small bore over the large one.
    """

    FILE: ClassVar[str] = "losses.csv"
    KEY: ClassVar[tuple[str, ...]] = ("loss",)

    loss: str
    item: str
    angle_deg: float | None
    branch_share: float | None
    line_mm: float | None
    axial_bore_mm: float | None
    cross_holes: int | None
    cross_hole_mm: float | None
    k: Signed | None
    k_low: float | None
    k_high: float | None
    formula: str | None
    velocity: Literal["bore of the fitting", "combined flow", "small bore", "bore of the line"]
    source: tuple[str, ...]
    confidence: Confidence
    note: str | None
