"""Why a part of the cart has no place: the nearest reason, in words that help at the counter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from rules.assembly import Item
from rules.faces import Face, grade, mating
from rules.parts import Component
from rules.reading import write_connection
from rules.reference import Reference
from rules.reference.mating import End
from rules.routing.outcome import LeftOver, Reason
from rules.routing.pieces import CONDUITS, HOSES, Lot
from rules.routing.template import Station, Template

_SEX, _SIZE, _UNRECORDED, _SEAL, _ONE_END = 0, 1, 20, 30, 40


@dataclass(frozen=True, slots=True)
class OpenEnd:
    """An end of what is missing: a port that the cart's parts do not reach."""

    port: str
    face: Face


@dataclass(frozen=True, slots=True)
class LongRun:
    """A run for which a hose has to be bought."""

    name: str
    run_mm: float
    entry: Face
    exit: Face


@dataclass(frozen=True, slots=True)
class _Why:
    rank: int
    reason: Reason
    beside: str | None
    message: str


class Explainer:
    """Explains left-over parts of one routing."""

    def __init__(
        self,
        template: Template,
        tables: Reference,
        open_ends: Sequence[OpenEnd],
        long_runs: Sequence[LongRun],
        placed: Sequence[tuple[str, Component, frozenset[Face]]],
    ) -> None:
        self._template = template
        self._tables = tables
        self._open_ends = open_ends
        self._long_runs = long_runs
        self._placed = placed

    def left_over(self, lot: Lot, items: Sequence[Item]) -> LeftOver:
        """One entry for the pieces of a lot that are left."""
        why = self._why(lot, items)
        return LeftOver(
            sku=lot.part.sku,
            name=lot.part.name,
            refs=tuple(item.ref for item in items),
            quantity=sum(item.quantity for item in items),
            reason=why.reason,
            beside=why.beside,
            message=why.message,
        )

    def _why(self, lot: Lot, items: Sequence[Item]) -> _Why:
        if lot.part.kind not in CONDUITS | {"cap"}:
            return self._no_station(lot)
        near = min(self._near(lot), key=lambda why: why.rank, default=None)
        if near is not None and near.rank < _ONE_END:
            return near
        short = next(self._too_short(lot, items), None)
        return short or self._same_as_placed(lot) or near or _NOT_NEEDED

    # Parts that stand in stations

    def _no_station(self, lot: Lot) -> _Why:
        part = lot.part
        takers = [station for station in self._stations() if station.takes(part)]
        if not takers:
            return _Why(
                0, "for-another-circuit", None, f"{self._template.name} has no place for it."
            )
        kinds = {kind for station in takers for kind in station.kinds}
        taken = next((ref for ref, other, _ in self._placed if other.kind in kinds), None)
        if taken is not None:
            return _Why(0, "duplicate", taken, f"Its place is taken by {taken}.")
        why = min(self._near(lot), key=lambda why: why.rank, default=None)
        return why or _Why(0, "not-needed", None, "No port of this circuit is left for it.")

    def _stations(self) -> Iterator[Station]:
        template = self._template
        yield from template.stations.values()
        yield from template.inline.values()
        yield from template.branches.values()

    # Hoses, adapters and caps

    def _near(self, lot: Lot) -> Iterator[_Why]:
        """How each end of a part stands to each end that is open."""
        for open_end in self._open_ends:
            for port, face in lot.faces.items():
                why = self._beside(port, face, open_end)
                if why is not None:
                    yield why

    def _beside(self, port: str, face: Face, open_end: OpenEnd) -> _Why | None:
        own, other = face.end, open_end.face.end
        beside = open_end.port
        if grade(face, open_end.face) is not None:
            return _Why(
                _ONE_END,
                "reaches-one-end-only",
                beside,
                f"Its end `{port}` joins {beside}, its other end joins nothing there.",
            )
        how = mating(own, other)
        ends = f"it has {_said(own)}, {beside} is {_said(other)}"
        if how.verdict == "unknown":
            listed = ", ".join(how.missing).replace("a.", "its ").replace("b.", f"{beside} ")
            return _Why(_UNRECORDED, "not-recorded", beside, f"Not recorded: {listed}.")
        if own.system == other.system and own.size == other.size and own.gender == other.gender:
            return _Why(_SEX, "wrong-sex", beside, f"Both ends are of one sex: {ends}.")
        apart = self._sizes_apart(own, other)
        if apart is not None:
            return _Why(_SIZE + abs(apart), "wrong-size", beside, f"{_steps(apart)}: {ends}.")
        if how.reason == "diameter" and how.gap_mm is not None:
            # The gap is what the receiving end has over the entering one; `a` is this part's own.
            larger = (how.gap_mm > 0) != (how.enters == "a")
            gap = f"{abs(how.gap_mm):g} mm too {'large' if larger else 'small'}"
            return _Why(_SIZE, "wrong-size", beside, f"It is {gap}: {ends}.")
        if how.thread is not None:
            return _Why(
                _SEAL, "wrong-seal", beside, f"The thread is the same, the seal is not: {ends}."
            )
        return None

    def _sizes_apart(self, own: End, other: End) -> int | None:
        """How many sizes of their standard two ends are apart; positive where the own is larger."""
        if own.system is None or own.system != other.system or own.size == other.size:
            return None
        sizes = self._tables.sizes(own.system)
        if own.size not in sizes or other.size not in sizes:
            return None
        return sizes.index(own.size) - sizes.index(other.size)

    def _too_short(self, lot: Lot, items: Sequence[Item]) -> Iterator[_Why]:
        if lot.part.kind not in HOSES:
            return
        faces = set(lot.faces.values())
        for run in self._long_runs:
            longest = max((lot.length_of(item) or 0.0 for item in items), default=0.0)
            if {run.entry, run.exit} == faces and 0.0 < longest < run.run_mm:
                short, whole = (run.run_mm - longest) / 1000.0, run.run_mm / 1000.0
                message = f"It is {short:g} m too short for {run.name}, which is {whole:g} m."
                yield _Why(0, "too-short", run.name, message)

    def _same_as_placed(self, lot: Lot) -> _Why | None:
        faces = frozenset(lot.faces.values())
        for ref, part, others in self._placed:
            if part.kind == lot.part.kind and others == faces:
                return _Why(
                    0,
                    "duplicate",
                    ref,
                    f"Every place for it is taken, by {ref} and others like it.",
                )
        return None


_NOT_NEEDED = _Why(0, "not-needed", None, "Everything is joined without it.")


def _said(end: End) -> str:
    if end.system is None:
        return "an end that nobody recorded"
    return write_connection(end.system, end.size, end.gender)


def _steps(apart: int) -> str:
    count = "One size" if abs(apart) == 1 else f"{abs(apart)} sizes"
    return f"{count} too {'large' if apart > 0 else 'small'}"


def spare_group(part: Component, refs: Iterable[str], quantity: int, message: str) -> LeftOver:
    """Pieces of a group, such as clamps, beyond what the circuit takes."""
    return LeftOver(
        sku=part.sku,
        name=part.name,
        refs=tuple(refs),
        quantity=quantity,
        reason="more-than-needed",
        message=message,
    )
