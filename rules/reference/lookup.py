"""The reference tables loaded, checked against each other, and asked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

from rules.reference.checks import ROW_TYPES, check
from rules.reference.reading import Fault, R, ReferenceFaults, Tables
from rules.reference.rows import (
    Allowed,
    BarbLimit,
    ConnectionSystem,
    DispensingEntry,
    FitLimit,
    FittingBore,
    FuelBand,
    FuelColumn,
    FuelRow,
    GalvanicPair,
    HoseBore,
    LookAlike,
    Loss,
    MarkingPressure,
    MarkingRow,
    MaterialRow,
    MateRow,
    QuickConnectForm,
    ResistanceRow,
    ServiceLimit,
    Source,
    ThreadForm,
    ThreadRow,
    ThreadSeal,
    TorqueCase,
    TorqueJoint,
    TorqueRow,
    TubeBore,
)
from rules.vocabulary import Confidence, Construction, Marking, Material, System

K = TypeVar("K")
V = TypeVar("V")


@dataclass(frozen=True, slots=True)
class Thread:
    """A size of a system with the dimensions of its thread, in millimetres and degrees.

    `designation` names the physical thread (`9/16-18`, `M14x1.5`, `1/4-18 NPT`); two sizes with the
    same designation screw together, whether they seal or not.
    """

    system: System
    size: str
    designation: str
    external: str
    internal: str
    major_mm: float
    pitch_mm: float
    tpi: float | None
    flank_deg: float
    taper: bool
    seat_deg: float | None
    seal: ThreadSeal
    seal_part: str | None
    tube_od_in: str | None
    standard: str
    sources: tuple[str, ...]
    confidence: Confidence
    note: str | None


@dataclass(frozen=True, slots=True)
class HoseMarking:
    """What a marking on a hose allows, with the working pressures it is known to allow."""

    marking: Marking
    what: str
    injection: Allowed
    submersible: Allowed
    injection_return: Allowed
    ethanol_limit_percent: float | None
    permeation: str | None
    pressures: tuple[MarkingPressure, ...]
    conflict: str | None
    sources: tuple[str, ...]
    confidence: Confidence
    note: str | None

    def working_pressure(self, bore_mm: float | None) -> MarkingPressure | None:
        """The working pressure allowed at a bore; `None` where the tables do not know one.

        An unknown bore is answered only where the pressure is the same at every bore.
        """
        if bore_mm is None:
            return self.pressures[0] if len(self.pressures) == 1 else None
        for pressure in self.pressures:
            if pressure.bore_to_mm is None or bore_mm <= pressure.bore_to_mm:
                return pressure
        return None


class Reference:
    """All reference tables, immutable. Ask it; do not read the files."""

    def __init__(self, tables: Tables) -> None:
        self._tables = tables
        self.sources: Mapping[str, Source] = _frozen((row.source, row) for row in tables.of(Source))
        self.systems: Mapping[System, ConnectionSystem] = _frozen(
            (row.system, row) for row in tables.of(ConnectionSystem)
        )
        self.mates: Mapping[str, MateRow] = _frozen(
            (row.rule_id, row) for row in tables.of(MateRow)
        )
        self.quick_connect_forms: tuple[QuickConnectForm, ...] = tables.of(QuickConnectForm)
        self.fit_limits_mm: Mapping[str, float] = _frozen(
            (row.limit, row.value_mm) for row in tables.of(FitLimit)
        )
        self.quick_connect_limits: Mapping[str, ServiceLimit] = _frozen(
            (row.limit, row) for row in tables.of(ServiceLimit)
        )
        self.hose_bores: tuple[HoseBore, ...] = tables.of(HoseBore)
        self.tube_bores: tuple[TubeBore, ...] = tables.of(TubeBore)
        self.fitting_bores: tuple[FittingBore, ...] = tables.of(FittingBore)
        self.materials: Mapping[Material, MaterialRow] = _frozen(
            (row.material, row) for row in tables.of(MaterialRow)
        )
        self.fuels: Mapping[str, FuelRow] = _frozen((row.fuel, row) for row in tables.of(FuelRow))
        self.fuel_bands: tuple[FuelBand, ...] = tables.of(FuelBand)
        self.dispensing_list: tuple[DispensingEntry, ...] = tables.of(DispensingEntry)
        self.galvanic_pairs: tuple[GalvanicPair, ...] = tables.of(GalvanicPair)
        self.torques: tuple[TorqueRow, ...] = tables.of(TorqueRow)
        self.losses: Mapping[str, Loss] = _frozen((row.loss, row) for row in tables.of(Loss))
        self._resistance = _frozen(
            ((row.material, row.column), row) for row in tables.of(ResistanceRow)
        )
        self._galvanic = _frozen((frozenset((row.a, row.b)), row) for row in self.galvanic_pairs)
        self._barb_limits = tables.of(BarbLimit)
        self._lookalikes = _frozen(
            (frozenset((row.smaller, row.larger)), row) for row in tables.of(LookAlike)
        )

    @cached_property
    def _threads(self) -> Mapping[System, Mapping[str, Thread]]:
        forms = {row.thread: row for row in self._tables.of(ThreadForm)}
        threads: dict[System, dict[str, Thread]] = defaultdict(dict)
        for row in self._tables.of(ThreadRow):
            form = forms[row.thread]
            threads[row.system][row.size] = Thread(
                system=row.system,
                size=row.size,
                designation=row.thread,
                external=row.external,
                internal=row.internal,
                major_mm=form.major_mm,
                pitch_mm=form.pitch_mm,
                tpi=form.tpi,
                flank_deg=form.flank_deg,
                taper=form.taper,
                seat_deg=row.seat_deg,
                seal=row.seal,
                seal_part=row.seal_part,
                tube_od_in=row.tube_od_in,
                standard=row.standard,
                sources=self.cite(row.source),
                confidence=row.confidence,
                note=row.note,
            )
        return MappingProxyType(dict(threads))

    def rows(self, row_type: type[R]) -> tuple[R, ...]:
        """All rows of a table by its row type, in the order of its file."""
        return self._tables.of(row_type)

    def cite(self, sources: tuple[str, ...]) -> tuple[str, ...]:
        """The titles of sources, as a report prints them."""
        return tuple(self.sources[source].title for source in sources)

    def thread(self, system: System, size: str) -> Thread | None:
        """The thread of a size of a system; `None` where the tables hold no such size."""
        return self._threads.get(system, {}).get(size)

    def sizes(self, system: System) -> tuple[str, ...]:
        """The sizes of a system in the tables, in their order; empty for unthreaded systems."""
        return tuple(self._threads.get(system, ()))

    def threads_of(self, system: System) -> tuple[Thread, ...]:
        """Every thread of a system in the tables, in their order."""
        return tuple(self._threads.get(system, {}).values())

    def threads_designated(self, designation: str) -> tuple[Thread, ...]:
        """Every size of every system with this thread: `9/16-18` is flare, boss, banjo and face."""
        return tuple(
            thread
            for sizes in self._threads.values()
            for thread in sizes.values()
            if thread.designation == designation
        )

    def same_thread(self, a: tuple[System, str], b: tuple[System, str]) -> bool | None:
        """Whether two sizes have one thread; `None` where the tables hold one of them not."""
        first, second = self.thread(*a), self.thread(*b)
        if first is None or second is None:
            return None
        return first.designation == second.designation

    def lookalike(self, a: str, b: str) -> LookAlike | None:
        """The look-alike pair of two thread designations, in either order."""
        return self._lookalikes.get(frozenset((a, b)))

    def mate_rows(self, entering: System, receiving: System) -> tuple[tuple[MateRow, ...], ...]:
        """The rows that may decide between two systems: by level, the most particular first."""
        return self._mate_rows[entering, receiving]

    @cached_property
    def _mate_rows(self) -> Mapping[tuple[System, System], tuple[tuple[MateRow, ...], ...]]:
        levels: tuple[list[MateRow], ...] = ([], [], [], [])
        for row in self.mates.values():
            if row.decides:
                levels[row.level].append(row)
        return {
            (entering, receiving): tuple(
                tuple(row for row in level if row.speaks_of(entering, receiving))
                for level in levels
            )
            for entering in self.systems
            for receiving in self.systems
        }

    def quick_connect_form(self, name_or_size: str | float) -> QuickConnectForm | None:
        """The end form of a name (`5/16`) or of a measured diameter (`7.89`, `"7.89 mm"`).

        `None` for a name the trade also uses for the tube behind the form (`8 mm`, `10 mm`): it
        does not settle the form.
        """
        diameter = _millimetres(name_or_size) if isinstance(name_or_size, str) else name_or_size
        limit = self.fit_limits_mm["quick-connect-diameter"]
        for form in self.quick_connect_forms:
            if name_or_size in form.names:
                return form
            if diameter is not None and round(abs(diameter - form.diameter_mm), 3) <= limit:
                return form
        return None

    def barb_limit(self, barb_mm: float) -> BarbLimit:
        """The limits of hose bore against a barb of this diameter."""
        for row in self._barb_limits:
            if row.barb_below_mm is None or barb_mm < row.barb_below_mm:
                return row
        raise AssertionError("the last barb limit has no upper bound")  # checked at load

    def hose_bore(self, construction: Construction, dash: str) -> tuple[HoseBore, ...]:
        """Every known hose of a construction and dash; they differ in bore, so ask the part."""
        return tuple(
            row for row in self.hose_bores if row.construction == construction and row.dash == dash
        )

    def bore_bracket_mm(
        self, dash: str, construction: Construction | None = None
    ) -> tuple[float, float] | None:
        """The smallest and the largest known bore of a dash; `None` where none is known."""
        bores = [
            row.bore_mm
            for row in self.hose_bores
            if row.dash == dash
            and row.bore_mm is not None
            and construction in (None, row.construction)
        ]
        return (min(bores), max(bores)) if bores else None

    def fitting_bore(self, system: System, size: str) -> FittingBore | None:
        """The smallest bore through a standard fitting; `None` where the tables know none."""
        return next(
            (row for row in self.fitting_bores if (row.system, row.size) == (system, size)), None
        )

    def tube_bore(self, tube_od_in: str, wall_mm: float) -> TubeBore | None:
        """The bore of a rigid tube by outside diameter (`3/8`) and wall, to 0.01 mm of wall."""
        return next(
            (
                row
                for row in self.tube_bores
                if row.tube_od_in == tube_od_in and abs(row.wall_mm - wall_mm) < 0.01
            ),
            None,
        )

    def marking(self, marking: Marking) -> HoseMarking:
        """What a marking on a hose allows."""
        return self._markings[marking]

    @cached_property
    def _markings(self) -> Mapping[Marking, HoseMarking]:
        pressures: dict[Marking, list[MarkingPressure]] = defaultdict(list)
        for pressure in self._tables.of(MarkingPressure):
            pressures[pressure.marking].append(pressure)
        return {
            row.marking: HoseMarking(
                marking=row.marking,
                what=row.what,
                injection=row.injection,
                submersible=row.submersible,
                injection_return=row.injection_return,
                ethanol_limit_percent=row.ethanol_limit_percent,
                permeation=row.permeation,
                pressures=tuple(pressures[row.marking]),
                conflict=row.conflict,
                sources=self.cite(row.source),
                confidence=row.confidence,
                note=row.note,
            )
            for row in self._tables.of(MarkingRow)
        }

    def material(self, material: Material) -> MaterialRow:
        """A wetted material: its name, family and what else it is called."""
        return self.materials[material]

    def resistance(self, material: Material, column: FuelColumn) -> ResistanceRow:
        """How a material stands one of the test fuels."""
        return self._resistance[material, column]

    def fuel(self, fuel: str) -> FuelRow | None:
        """A fuel by its id (`E85`); `None` for an id the tables do not hold."""
        return self.fuels.get(fuel)

    def galvanic(self, a: Material, b: Material) -> GalvanicPair | None:
        """What two metals do to each other in conductive fuel; `None` for pairs without a row."""
        return self._galvanic.get(frozenset((a, b)))

    def torque(
        self, joint: TorqueJoint, size: str, case: TorqueCase | None = None
    ) -> tuple[TorqueRow, ...]:
        """Tightening figures of a joint and size, of one case or of all. Advice only."""
        return tuple(
            row
            for row in self.torques
            if (row.joint, row.size) == (joint, size) and case in (None, row.case)
        )

    def loss(self, loss: str) -> Loss:
        """A loss coefficient by id (`elbow-90-forged`).

        Raises:
            KeyError: for an id the tables do not hold.
        """
        return self.losses[loss]


def _millimetres(text: str) -> float | None:
    number, blank, unit = text.partition(" ")
    if not blank or unit != "mm":
        return None
    try:
        return float(number)
    except ValueError:
        return None


def _frozen(pairs: Iterable[tuple[K, V]]) -> Mapping[K, V]:
    return MappingProxyType(dict(pairs))


def load(directory: Path) -> Reference:
    """Read and check the tables of a directory.

    Raises:
        ReferenceFaults: with every fault of every table, by file and line.
    """
    faults: list[Fault] = []
    tables = Tables(directory, ROW_TYPES, faults)
    check(tables, faults)
    if faults:
        raise ReferenceFaults(faults)
    return Reference(tables)


@cache
def reference() -> Reference:
    """The tables of this package, loaded once.

    Raises:
        ReferenceFaults: with every fault of every table, by file and line.
    """
    return load(Path(str(files("rules.reference"))))
