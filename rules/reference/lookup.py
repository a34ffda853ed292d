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
from rules.reference.reading import Fault, ReferenceFaults, Tables
from rules.reference.rows import (
    BarbLimit,
    ConnectionSystem,
    FitLimit,
    LookAlike,
    MateRow,
    QuickConnectForm,
    Source,
    ThreadForm,
    ThreadRow,
    ThreadSeal,
)
from rules.vocabulary import Confidence, System

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
        """The rows that may decide between two systems: three levels, the most particular first."""
        return self._mate_rows[entering, receiving]

    @cached_property
    def _mate_rows(self) -> Mapping[tuple[System, System], tuple[tuple[MateRow, ...], ...]]:
        levels: tuple[list[MateRow], ...] = ([], [], [])
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
            if diameter is not None and abs(diameter - form.diameter_mm) <= limit:
                return form
        return None

    def barb_limit(self, barb_mm: float) -> BarbLimit:
        """The limits of hose bore against a barb of this diameter."""
        for row in self._barb_limits:
            if row.barb_below_mm is None or barb_mm < row.barb_below_mm:
                return row
        raise AssertionError("the last barb limit has no upper bound")  # checked at load


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
