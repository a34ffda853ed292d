"""Why a part of the cart has no place: the nearest reason, in words that help at the counter."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from rules.assembly import Item
from rules.faces import Face, grade, mating
from rules.parts import Component, edge_name
from rules.reading import write_connection
from rules.reference import Reference
from rules.reference.mating import End
from rules.routing.outcome import LeftOver
from rules.routing.pieces import CONDUITS, HOSES, Lot
from rules.routing.spares import Why, left_over
from rules.routing.template import Station, Template, Wanted

_SEX, _SIZE, _UNRECORDED, _SEAL, _ONE_END = 0, 1, 20, 30, 40
_FITTINGS = CONDUITS - HOSES
_JOINED = "Everything is joined without it."
_UNITS = {"um": "um", "kpa": "kPa", "mm": "mm", "v": "V", "a": "A", "lph": "L/h", "l": "L"}


@dataclass(frozen=True, slots=True)
class OpenEnd:
    """An end of what is missing: a port that the cart's parts do not reach.

    `closes` is whether a cap is what is missing from it.
    """

    port: str
    face: Face
    closes: bool = False


@dataclass(frozen=True, slots=True)
class LongRun:
    """A run for which a hose has to be bought."""

    name: str
    run_mm: float
    entry: Face
    exit: Face


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a left-over part may come near to.

    Attributes:
        template: the circuit.
        modelled: kinds of part that some circuit has a place for.
        keeps: stations that the car keeps.
        open_ends: the ends beside what is missing.
        long_runs: the runs for which a hose has to be bought.
        at_car: ends that are taken to join the car, with what they join there.
        unsealed: pairs of ends that the caller has joined and that do not seal.
        placed: the parts that have a place, with their faces.
    """

    template: Template
    modelled: Collection[str]
    keeps: Collection[str]
    open_ends: Sequence[OpenEnd]
    long_runs: Sequence[LongRun]
    at_car: Sequence[tuple[OpenEnd, str]]
    unsealed: Sequence[tuple[OpenEnd, OpenEnd]]
    placed: Sequence[tuple[str, Component, frozenset[Face]]]


class Explainer:
    """Explains left-over parts of one routing."""

    def __init__(self, tables: Reference, beside: Surroundings) -> None:
        self._tables = tables
        self._beside_it = beside

    def left_over(self, lot: Lot, items: Sequence[Item]) -> LeftOver:
        """One entry for the pieces of a lot that are left, all of one length."""
        refs = tuple(item.ref for item in items)
        quantity = sum(item.quantity for item in items)
        return left_over(lot.part, refs, quantity, self._why(lot, items), items[0].length_mm)

    def _why(self, lot: Lot, items: Sequence[Item]) -> Why:
        if lot.part.kind not in CONDUITS | {"cap"}:
            return self._no_station(lot)
        between = next(self._between_unsealed(lot), None)
        if between is not None:
            return between
        near = min(self._near(lot), key=lambda each: each[0], default=None)
        if near is not None and near[0] < _ONE_END:
            return near[1]
        short = next(self._too_short(lot, items), None)
        found = short or self._same_as_placed(lot) or (near[1] if near else None)
        return next(self._at_car(lot), None) or found or self._unlike(lot)

    # Parts that stand in stations

    def _no_station(self, lot: Lot) -> Why:
        part = lot.part
        takers = [station for station in self._stations() if station.takes(part)]
        if not takers:
            return self._unsuited(part)
        kept = next((each.id for each in takers if each.id in self._beside_it.keeps), None)
        if kept is not None:
            name = kept.replace("-", " ")
            return Why("not-needed", f"The car keeps its own {name}.")
        kinds = {kind for station in takers for kind in station.kinds}
        placed = self._beside_it.placed
        taken = next((ref for ref, other, _ in placed if other.kind in kinds), None)
        if taken is not None:
            return Why("duplicate", f"Its place is taken by {taken}.", taken)
        near = min(self._near(lot), key=lambda each: each[0], default=None)
        return near[1] if near else Why("not-needed", "No port of this circuit is left for it.")

    def _unsuited(self, part: Component) -> Why:
        """What its specification lacks for the station of its kind."""
        name = self._beside_it.template.name
        if part.kind not in self._beside_it.modelled:
            what = part.kind.replace("-", " ")
            message = f"No circuit says how a {what} is joined: settle its joints in `joints`."
            return Why("not-recorded", message)
        for station in self._stations():
            failing = [wanted for wanted in station.where if not wanted.met_by(part)]
            if part.kind in station.kinds and failing:
                return _lacking(part, station.id.replace("-", " "), failing[0])
        return Why("for-another-circuit", f"There is no place for it in this circuit: {name}.")

    def _stations(self) -> Iterator[Station]:
        template = self._beside_it.template
        yield from template.stations.values()
        yield from template.inline.values()
        yield from template.branches.values()

    # Hoses, adapters and caps

    def _near(self, lot: Lot) -> Iterator[tuple[int, Why]]:
        """How each end of a part stands to each end that is open, the nearest with the least."""
        for open_end in self._open_to(lot):
            for port, face in lot.faces.items():
                near = self._beside(port, face, open_end)
                if near is not None:
                    yield near

    def _open_to(self, lot: Lot) -> list[OpenEnd]:
        """The open ends that a part may be for: a cap goes where nothing else is to go."""
        caps = lot.part.kind == "cap"
        return [each for each in self._beside_it.open_ends if each.closes or not caps]

    def _beside(self, port: str, face: Face, open_end: OpenEnd) -> tuple[int, Why] | None:
        own, other = face.end, open_end.face.end
        beside = open_end.port
        if grade(face, open_end.face) is not None:
            message = f"Its end `{port}` joins {beside}, its other end joins nothing there."
            return _ONE_END, Why("reaches-one-end-only", message, beside)
        how = mating(own, other)
        ends = f"it has {_said(own)}, {beside} is {_said(other)}"
        if how.verdict == "unknown":
            listed = ", ".join(_named(missing, beside) for missing in how.missing)
            return _UNRECORDED, Why("not-recorded", f"Not recorded: {listed}.", beside)
        if own.system == other.system and own.size == other.size and own.gender == other.gender:
            return _SEX, Why("wrong-sex", f"Both ends are of one sex: {ends}.", beside)
        apart = self._sizes_apart(own, other)
        if apart is not None:
            why = Why("wrong-size", f"{_steps(apart)}: {ends}.", beside)
            return _SIZE + abs(apart), why
        if how.reason == "diameter" and how.gap_mm is not None:
            # The gap is what the receiving end has over the entering one; `a` is this part's own.
            larger = (how.gap_mm > 0) != (how.enters == "a")
            gap = f"{abs(how.gap_mm):g} mm too {'large' if larger else 'small'}"
            return _SIZE, Why("wrong-size", f"It is {gap}: {ends}.", beside)
        if how.thread is not None:
            message = f"The thread is the same, the seal is not: {ends}."
            return _SEAL, Why("wrong-seal", message, beside)
        return None

    def _sizes_apart(self, own: End, other: End) -> int | None:
        """How many sizes of their standard two ends are apart; positive where the own is larger."""
        if own.system is None or own.system != other.system or own.size == other.size:
            return None
        sizes = self._tables.sizes(own.system)
        if own.size not in sizes or other.size not in sizes:
            return None
        return sizes.index(own.size) - sizes.index(other.size)

    def _too_short(self, lot: Lot, items: Sequence[Item]) -> Iterator[Why]:
        if lot.part.kind not in HOSES:
            return
        faces = set(lot.faces.values())
        for run in self._beside_it.long_runs:
            longest = max((lot.length_of(item) or 0.0 for item in items), default=0.0)
            if {run.entry, run.exit} == faces and 0.0 < longest < run.run_mm:
                short, whole = (run.run_mm - longest) / 1000.0, run.run_mm / 1000.0
                message = f"It is {short:g} m too short for {run.name}, which is {whole:g} m."
                yield Why("too-short", message, run.name)

    def _same_as_placed(self, lot: Lot) -> Why | None:
        faces = frozenset(lot.faces.values())
        alike = [
            ref
            for ref, part, others in self._beside_it.placed
            if part.kind == lot.part.kind and others == faces
        ]
        if not alike:
            return None
        several = f" and {alike[1]}" if len(alike) == 2 else " and others like it"
        by = alike[0] + (several if len(alike) > 1 else "")
        return Why("duplicate", f"Every place for it is taken, by {by}.", alike[0])

    def _at_car(self, lot: Lot) -> Iterator[Why]:
        """A part that would join an end of the car of which nobody has said what it is."""
        for open_end, what in self._beside_it.at_car:
            for face in lot.faces.values():
                if lot.part.kind in _FITTINGS and grade(face, open_end.face) is not None:
                    message = (
                        f"It may go on {open_end.port}, which is taken to join the {what}: what "
                        f"end the car has there is not recorded."
                    )
                    yield Why("not-recorded", message, open_end.port)

    def _between_unsealed(self, lot: Lot) -> Iterator[Why]:
        """A part that goes between two ends that are joined without it and do not seal."""
        for pair in self._beside_it.unsealed:
            for one, other in (pair, pair[::-1]):
                ports = list(lot.faces.items())
                if any(
                    first != second
                    and grade(near, one.face) is not None
                    and grade(far, other.face) is not None
                    for first, near in ports
                    for second, far in ports
                ):
                    message = (
                        f"It goes between {one.port} and {other.port}, which are joined without it "
                        "and do not seal."
                    )
                    yield Why("not-needed", message, one.port)

    def _unlike(self, lot: Lot) -> Why:
        """Nothing else is to be said: what is open has ends of another form."""
        open_ends = self._open_to(lot)
        if not open_ends:
            caps = lot.part.kind == "cap" and self._beside_it.open_ends
            message = "No port is left for it to close." if caps else _JOINED
            return Why("not-needed", message)
        open_end = open_ends[0]
        own = " and ".join(dict.fromkeys(_said(face.end) for face in lot.faces.values()))
        message = (
            f"No end of it joins what is open: it has {own}, {open_end.port} is "
            f"{_said(open_end.face.end)}."
        )
        return Why("wrong-form", message, open_end.port)


def _lacking(part: Component, station: str, wanted: Wanted) -> Why:
    """That a part may not stand in a station for what its specification says."""
    value = getattr(part.spec, wanted.attribute)
    label, _, suffix = wanted.attribute.rpartition("_")
    unit = _UNITS.get(suffix)
    label = (label if unit else wanted.attribute).replace("_", " ")
    if isinstance(value, bool):
        message = f"It does not serve as the {station}: it has {'a' if value else 'no'} {label}."
        return Why("for-another-circuit", message)
    if wanted.words:
        words = " or ".join(str(word) for word in wanted.words)
        message = f"It does not serve as the {station}: its {label} is {value}, not {words}."
        return Why("for-another-circuit", message)
    over = wanted.most is not None and value > wanted.most
    bound = f"at most {wanted.most:g}" if over else f"at least {wanted.least:g}"
    message = (
        f"It does not serve as the {station}: its {label} is {value:g} {unit}, {bound} {unit} is "
        "wanted."
    )
    if label == "fineness":
        return Why("too-coarse" if over else "too-fine", message)
    return Why("for-another-circuit", message)


def _named(missing: str, beside: str) -> str:
    """An attribute of one of two ends, `a` or `b`, in words."""
    end, _, attribute = missing.partition(".")
    words = edge_name(attribute).replace("_", " ")
    return f"its {words}" if end == "a" else f"{words} of {beside}"


def _said(end: End) -> str:
    if end.system is None:
        return "an end that nobody recorded"
    return write_connection(end.system, end.size, end.gender)


def _steps(apart: int) -> str:
    count = "One size" if abs(apart) == 1 else f"{abs(apart)} sizes"
    return f"{count} too {'large' if apart > 0 else 'small'}"
