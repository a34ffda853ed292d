"""What the reference tables must hold together: every check adds its faults, none stops at one."""

from __future__ import annotations

import itertools
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from typing import Any, get_args

from rules.reference.reading import Fault, R, Tables
from rules.reference.rows import (
    BarbLimit,
    ConnectionSystem,
    DispensingEntry,
    FitLimit,
    FitLimitName,
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
    NeedPart,
    QuickConnectForm,
    ResistanceRow,
    ServiceLimit,
    Source,
    ThreadForm,
    ThreadRow,
    TorqueRow,
    TubeBore,
)
from rules.vocabulary import (
    BarbStyle,
    Construction,
    Marking,
    Material,
    PortForm,
    System,
    words,
)

ROW_TYPES: tuple[type[Any], ...] = (
    Source,
    ConnectionSystem,
    ThreadForm,
    ThreadRow,
    LookAlike,
    MateRow,
    FitLimit,
    BarbLimit,
    QuickConnectForm,
    ServiceLimit,
    HoseBore,
    TubeBore,
    FittingBore,
    MarkingRow,
    MarkingPressure,
    MaterialRow,
    ResistanceRow,
    DispensingEntry,
    FuelRow,
    FuelBand,
    GalvanicPair,
    TorqueRow,
    Loss,
)

Complaint = tuple[int, str]
"""A line and what is wrong there; line 1 stands for the table as a whole."""

Check = Callable[[Tables], Iterable[Complaint]]

DIAMETER_ROUNDING_MM = 0.0015
"""Two diameters rounded to 0.001 mm may differ by this from the step between them."""

NEED = re.compile(r"([a-z-]+(?: \| [a-z-]+)*)(?: x(\d+))?")
"""How `mates.csv` writes a need: alternatives, then how many (`crush-washer x2`)."""

CONDITION = re.compile(r"(enters|receives|either)\.([a-z_]+)(!?=)(.+)")
"""How `mates.csv` writes a condition: an attribute of an end, and its words."""

CONDITION_WORDS: dict[str, tuple[str, ...]] = {
    "port_form": words(PortForm),
    "barb_style": words(BarbStyle),
    "construction": words(Construction),
    "bead": ("yes", "no"),
    "tube_flare_deg": ("0", "37", "45"),
}
"""The attributes that conditions may ask, and the words they may compare with."""


def check(tables: Tables, faults: list[Fault]) -> None:
    """Add to `faults` everything that is wrong between the rows and between the tables."""
    for row_type in ROW_TYPES:
        _collect(faults, row_type, _sources(tables, row_type))
    for row_type, checks in _CHECKS.items():
        for complaints in checks:
            _collect(faults, row_type, complaints(tables))


def _collect(faults: list[Fault], row_type: type[Any], complaints: Iterable[Complaint]) -> None:
    faults.extend(Fault(row_type.FILE, line, message) for line, message in complaints)


# Checks on every table.


def _sources(tables: Tables, row_type: type[Any]) -> Iterator[Complaint]:
    if row_type is Source:
        return
    known = {row.source for row in tables.of(Source)}
    for line, row in tables.numbered(row_type):
        if not row.source:
            yield line, "source: is blank"
        for source in row.source:
            if source not in known:
                yield line, f"source: {source!r} is not in {Source.FILE}"


def _covers(row_type: type[R], column: str, wanted: Iterable[str]) -> Check:
    """Every word must have a row."""

    def complain(tables: Tables) -> Iterator[Complaint]:
        found = {getattr(row, column) for row in tables.of(row_type)}
        if not found:
            return  # the table could not be read, which is its own fault
        for word in wanted:
            if word not in found:
                yield 1, f"{column} {word!r} has no row"

    return complain


def _rises(row_type: type[R], *columns: str) -> Check:
    """Recorded values must not fall from one column to the next."""

    def complain(tables: Tables) -> Iterator[Complaint]:
        for line, row in tables.numbered(row_type):
            recorded = [
                (column, value) for column in columns if (value := getattr(row, column)) is not None
            ]
            for (low, lower), (high, higher) in itertools.pairwise(recorded):
                if lower > higher:
                    yield line, f"{low} {lower:g} is above {high} {higher:g}"

    return complain


# Threads.


def _thread_forms_used(tables: Tables) -> Iterator[Complaint]:
    forms = {row.thread: row for row in tables.of(ThreadForm)}
    for line, row in tables.numbered(ThreadRow):
        form = forms.get(row.thread)
        name = f"{row.system} {row.size}"
        if form is None:
            yield line, f"thread: {row.thread!r} is not in {ThreadForm.FILE}"
        elif name not in form.members:
            yield (
                line,
                f"{ThreadForm.FILE} does not list {name!r} among the members of {row.thread!r}",
            )


def _thread_members(tables: Tables) -> Iterator[Complaint]:
    threads = {f"{row.system} {row.size}": row.thread for row in tables.of(ThreadRow)}
    for line, form in tables.numbered(ThreadForm):
        if not form.members:
            yield line, "members: is blank"
        for member in form.members:
            if member not in threads:
                yield line, f"members: {member!r} is not in {ThreadRow.FILE}"
            elif threads[member] != form.thread:
                yield line, f"members: {member!r} has the thread {threads[member]!r}"


def _pitch_agrees(tables: Tables) -> Iterator[Complaint]:
    for line, form in tables.numbered(ThreadForm):
        if form.tpi is not None and abs(form.pitch_mm * form.tpi - 25.4) > 0.02:
            yield line, f"{form.tpi:g} threads an inch are not a pitch of {form.pitch_mm:g} mm"


def _threads_only_of_threaded_systems(tables: Tables) -> Iterator[Complaint]:
    joins = {row.system: row.joins_by for row in tables.of(ConnectionSystem)}
    for line, row in tables.numbered(ThreadRow):
        if joins.get(row.system, "thread") != "thread":
            yield line, f"system: {row.system!r} does not join by thread"


def _lookalikes(tables: Tables) -> Iterator[Complaint]:
    forms = {row.thread: row for row in tables.of(ThreadForm)}
    seen: dict[frozenset[str], int] = {}
    for line, row in tables.numbered(LookAlike):
        pair = frozenset((row.smaller, row.larger))
        if pair in seen:
            yield line, f"{row.smaller} and {row.larger} are already on line {seen[pair]}"
        seen.setdefault(pair, line)
        smaller, larger = forms.get(row.smaller), forms.get(row.larger)
        for name, form in ((row.smaller, smaller), (row.larger, larger)):
            if form is None:
                yield line, f"thread {name!r} is not in {ThreadForm.FILE}"
        if smaller is None or larger is None:
            continue
        step = larger.major_mm - smaller.major_mm
        if step < 0:
            yield line, f"{row.smaller} is larger than {row.larger}"
        if abs(step - row.major_step_mm) > DIAMETER_ROUNDING_MM:
            yield line, f"major_step_mm: {row.major_step_mm:g} should be {step:.3f}"
        pitch_step = abs(larger.pitch_mm - smaller.pitch_mm)
        if abs(pitch_step - row.pitch_step_mm) > DIAMETER_ROUNDING_MM:
            yield line, f"pitch_step_mm: {row.pitch_step_mm:g} should be {pitch_step:.4f}"
        if row.flank_overlap > 1:
            yield line, f"flank_overlap: {row.flank_overlap:g} is above 1"


# Mating.


def _systems_of_mates(tables: Tables) -> Iterator[Complaint]:
    for line, row in tables.numbered(MateRow):
        for column in ("enters", "enters_gender", "receives", "receives_gender"):
            if not getattr(row, column):
                yield line, f"{column}: is blank"


def _needs_of_mates(tables: Tables) -> Iterator[Complaint]:
    known = set(get_args(NeedPart))
    for line, row in tables.numbered(MateRow):
        for text in row.needs:
            match = NEED.fullmatch(text)
            if match is None:
                yield line, f"needs: {text!r} should be like 'crush-washer x2'"
                continue
            for part in match[1].split(" | "):
                if part not in known:
                    yield line, f"needs: {part!r} is not one of {', '.join(sorted(known))}"
        if (row.verdict == "seals-with") != bool(row.needs) and row.verdict in (
            "seals",
            "seals-with",
        ):
            yield line, f"verdict {row.verdict!r} does not go with needs {'; '.join(row.needs)!r}"


def _conditions_of_mates(tables: Tables) -> Iterator[Complaint]:
    for line, row in tables.numbered(MateRow):
        if bool(row.given) != bool(row.if_unrecorded):
            yield line, "if_unrecorded: must be ask or skip where there is a condition, else blank"
        for text in row.given:
            match = CONDITION.fullmatch(text)
            if match is None:
                yield line, f"given: {text!r} should be like 'receives.port_form=plain-tapped'"
                continue
            _, attribute, _, listed = match.groups()
            if attribute not in CONDITION_WORDS:
                yield line, f"given: {attribute!r} is not one of {', '.join(CONDITION_WORDS)}"
                continue
            for word in listed.split():
                if word not in CONDITION_WORDS[attribute]:
                    allowed = ", ".join(CONDITION_WORDS[attribute])
                    yield line, f"given: {word!r} is not one of {allowed}"


def _overlapping_mates(tables: Tables) -> Iterator[Complaint]:
    """Two rows of one level that could both decide the same pair of ends."""
    rows = [(line, row) for line, row in tables.numbered(MateRow) if row.decides]
    reach = {row.rule_id: _reach(row) for _, row in rows}
    for (first_line, first), (line, row) in itertools.combinations(rows, 2):
        if first.level == row.level and _overlap(first, row, reach):
            yield line, f"{row.rule_id} and {first.rule_id} of line {first_line} may both apply"


def _reach(row: MateRow) -> frozenset[tuple[str, str]]:
    """The pairs of systems a row speaks of, entering first; empty for rows of any system."""
    if row.level >= 2:
        return frozenset()
    receives = [row.enters if word == "same" else (word,) for word in row.receives]
    pairs = {
        (entering, receiving)
        for entering in row.enters
        for receiving in itertools.chain.from_iterable(receives)
    }
    if row.either_way:
        pairs |= {(receiving, entering) for entering, receiving in pairs}
    return frozenset(pairs)


def _overlap(first: MateRow, second: MateRow, reach: dict[str, frozenset[tuple[str, str]]]) -> bool:
    if first.level < 2 and reach[first.rule_id].isdisjoint(reach[second.rule_id]):
        return False
    if set(first.enters_gender).isdisjoint(second.enters_gender):
        return False
    if set(first.receives_gender).isdisjoint(second.receives_gender):
        return False
    if first.sizes and second.sizes and first.sizes != second.sizes:
        return False
    if first.fit and second.fit and set(first.fit).isdisjoint(second.fit):
        return False
    return not _exclude_each_other(first, second)


def _exclude_each_other(first: MateRow, second: MateRow) -> bool:
    """Whether a condition of one row rules out a condition of the other."""
    allowed = _allowed_words(first)
    return any(
        key in allowed and allowed[key].isdisjoint(found)
        for key, found in _allowed_words(second).items()
    )


def _allowed_words(row: MateRow) -> dict[tuple[str, str], set[str]]:
    allowed: dict[tuple[str, str], set[str]] = {}
    for text in row.given:
        match = CONDITION.fullmatch(text)
        if match is None or match[2] not in CONDITION_WORDS:
            continue
        side, attribute, operator, listed = match.groups()
        named = set(listed.split())
        allowed[side, attribute] = (
            named if operator == "=" else set(CONDITION_WORDS[attribute]) - named
        )
    return allowed


def _sides_without_match(tables: Tables) -> Iterator[Complaint]:
    """The rows of any system must catch whatever no other row names."""
    caught = {fit for row in tables.of(MateRow) if row.level >= 2 for fit in row.fit}
    if tables.of(MateRow):
        for fit in ("same", "apart", "other-form", "by-name", "same-half", "too-big-same-pitch"):
            if fit not in caught:
                yield 1, f"no row for any system covers the fit {fit!r}"


# Diameters.


def _barb_bands(tables: Tables) -> Iterator[Complaint]:
    rows = tables.numbered(BarbLimit)
    if not rows:
        return
    if rows[0][1].barb_from_mm != 0:
        yield rows[0][0], "barb_from_mm: the first band must begin at 0"
    for (_, before), (line, row) in itertools.pairwise(rows):
        if before.barb_below_mm != row.barb_from_mm:
            yield line, "barb_from_mm: must be where the band before ends"
    if rows[-1][1].barb_below_mm is not None:
        yield rows[-1][0], "barb_below_mm: the last band must be open"


def _form_names(tables: Tables) -> Iterator[Complaint]:
    seen: dict[str, int] = {}
    for line, row in tables.numbered(QuickConnectForm):
        for name in (*row.names, *row.loose_names):
            if name in seen:
                yield line, f"name {name!r} is already on line {seen[name]}"
            seen.setdefault(name, line)


# Materials and fuels.


def _ratings_complete(tables: Tables) -> Iterator[Complaint]:
    rated = {(row.material, row.column) for row in tables.of(ResistanceRow)}
    if not rated:
        return
    for material in words(Material):
        for column in get_args(FuelColumn):
            if (material, column) not in rated:
                yield 1, f"{material} has no row for {column}"


def _aliases(tables: Tables) -> Iterator[Complaint]:
    seen: dict[str, int] = {}
    for line, row in tables.numbered(MaterialRow):
        for alias in (row.material, *row.aliases):
            name = alias.casefold()
            if name in seen:
                yield line, f"aliases: {alias!r} is already on line {seen[name]}"
            seen.setdefault(name, line)


def _fuels(tables: Tables) -> Iterator[Complaint]:
    for line, row in tables.numbered(FuelRow):
        percents = (
            row.ethanol_low_percent,
            row.ethanol_nominal_percent,
            row.ethanol_high_percent,
            row.methanol_percent,
        )
        if row.judged and None in percents:
            yield line, "a judged fuel needs its ethanol and methanol percents"
        highest = (row.ethanol_high_percent or 0) + (row.methanol_percent or 0)
        if highest > 100:
            yield line, f"ethanol and methanol together are {highest:g} %"


def _fuel_bands(tables: Tables) -> Iterator[Complaint]:
    """The bands must cover every blend once."""
    by_methanol: dict[tuple[float, float], list[tuple[int, FuelBand]]] = defaultdict(list)
    for line, row in tables.numbered(FuelBand):
        key = row.methanol_above_percent, row.methanol_to_percent
        by_methanol[key].append((line, row))
        if not row.columns:
            yield line, "columns: is blank"
    yield from _gapless("methanol", [(1, *span) for span in by_methanol])
    for rows in by_methanol.values():
        spans = [(line, row.ethanol_above_percent, row.ethanol_to_percent) for line, row in rows]
        yield from _gapless("ethanol", spans)


def _gapless(what: str, spans: list[tuple[int, float, float]]) -> Iterator[Complaint]:
    if not spans:
        return
    ordered = sorted(spans, key=lambda span: span[1])
    edges = [(ordered[0][0], 0.0, ordered[0][1])]
    edges += [(after[0], before[2], after[1]) for before, after in itertools.pairwise(ordered)]
    edges += [(ordered[-1][0], ordered[-1][2], 100.0)]
    for line, ends, begins in edges:
        if ends != begins:
            yield line, f"{what} bands leave a gap or overlap between {ends:g} and {begins:g} %"


def _galvanic(tables: Tables) -> Iterator[Complaint]:
    family = {row.material: row.family for row in tables.of(MaterialRow)}
    seen: dict[frozenset[str], int] = {}
    for line, row in tables.numbered(GalvanicPair):
        pair = frozenset((row.a, row.b))
        if len(pair) == 1:
            yield line, f"{row.a} is paired with itself"
        if pair in seen:
            yield line, f"{row.a} and {row.b} are already on line {seen[pair]}"
        seen.setdefault(pair, line)
        if row.loses not in pair:
            yield line, f"loses: {row.loses!r} is not of the pair"
        for material in (row.a, row.b):
            if family.get(material, "metal") != "metal":
                yield line, f"{material} is not a metal"


# Hoses and torques.


def _marking_bands(tables: Tables) -> Iterator[Complaint]:
    by_marking: dict[str, list[tuple[int, MarkingPressure]]] = defaultdict(list)
    for line, row in tables.numbered(MarkingPressure):
        by_marking[row.marking].append((line, row))
    for rows in by_marking.values():
        if rows[0][1].bore_over_mm != 0:
            yield rows[0][0], "bore_over_mm: the first band of a marking must begin at 0"
        for (_, before), (line, row) in itertools.pairwise(rows):
            if before.bore_to_mm != row.bore_over_mm:
                yield line, "bore_over_mm: must be where the band before ends"


def _figures_of_hoses(tables: Tables) -> Iterator[Complaint]:
    pairs = (
        ("bore_mm", "bore_confidence"),
        ("max_working_kpa", "pressure_confidence"),
        ("min_bend_mm", "bend_confidence"),
    )
    for line, row in tables.numbered(HoseBore):
        for figure, confidence in pairs:
            if (getattr(row, figure) is None) != (getattr(row, confidence) is None):
                yield line, f"{figure} and {confidence} must both be given or both be blank"


def _sizes_known(row_type: type[TorqueRow] | type[FittingBore]) -> Check:
    def complain(tables: Tables) -> Iterator[Complaint]:
        known = {(row.system, row.size) for row in tables.of(ThreadRow)}
        for line, row in tables.numbered(row_type):
            if row.system is not None and (row.system, row.size) not in known:
                yield line, f"size: {row.system} {row.size} is not in {ThreadRow.FILE}"

    return complain


def _torque_figures(tables: Tables) -> Iterator[Complaint]:
    for line, row in tables.numbered(TorqueRow):
        figures = {
            "torque": (row.low_nm, row.high_nm),
            "flats": (row.low_flats, row.high_flats),
        }
        given = {method for method, values in figures.items() if None not in values}
        if given != {row.method}:
            yield line, f"a row of method {row.method!r} gives only its own two figures"


def _losses(tables: Tables) -> Iterator[Complaint]:
    for line, row in tables.numbered(Loss):
        if (row.k is None) == (row.formula is None):
            yield line, "give k, or the formula it follows from"


_CHECKS: dict[type[Any], tuple[Check, ...]] = {
    ConnectionSystem: (_covers(ConnectionSystem, "system", words(System)),),
    ThreadRow: (_thread_forms_used, _threads_only_of_threaded_systems),
    ThreadForm: (_thread_members, _pitch_agrees),
    LookAlike: (_lookalikes,),
    MateRow: (
        _systems_of_mates,
        _needs_of_mates,
        _conditions_of_mates,
        _overlapping_mates,
        _sides_without_match,
    ),
    FitLimit: (_covers(FitLimit, "limit", get_args(FitLimitName)),),
    BarbLimit: (
        _barb_bands,
        _rises(BarbLimit, "close_mm", "loose_mm"),
        _rises(BarbLimit, "stretch_mm", "hard_stretch_mm"),
    ),
    QuickConnectForm: (_form_names,),
    HoseBore: (_figures_of_hoses,),
    TubeBore: (_rises(TubeBore, "bore_mm", "od_mm"),),
    FittingBore: (_sizes_known(FittingBore),),
    MarkingRow: (_covers(MarkingRow, "marking", words(Marking)),),
    MarkingPressure: (
        _marking_bands,
        _rises(MarkingPressure, "bore_over_mm", "bore_to_mm"),
    ),
    MaterialRow: (
        _covers(MaterialRow, "material", words(Material)),
        _aliases,
    ),
    ResistanceRow: (_ratings_complete,),
    FuelRow: (
        _fuels,
        _rises(
            FuelRow,
            "ethanol_low_percent",
            "ethanol_nominal_percent",
            "ethanol_high_percent",
        ),
    ),
    FuelBand: (_fuel_bands,),
    GalvanicPair: (_galvanic,),
    TorqueRow: (
        _sizes_known(TorqueRow),
        _torque_figures,
        _rises(TorqueRow, "low_nm", "high_nm"),
        _rises(TorqueRow, "low_flats", "high_flats"),
    ),
    Loss: (_losses, _rises(Loss, "k_low", "k", "k_high")),
}
