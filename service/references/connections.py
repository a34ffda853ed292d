"""`/v1/connections`: systems, sizes, what mates with what, and what only looks alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, ConfigDict, Field

from rules.reference import End, Mating, Reference, Thread, mate, reference
from rules.reference.rows import (
    ConnectionSystem,
    JoinsBy,
    LookAlike,
    LookAlikeFit,
    MateRow,
    NeedPart,
    QuickConnectForm,
    ThreadSeal,
    Verdict,
)
from rules.vocabulary import Gender, System
from service.problems import problem_responses
from service.references.shared import Quantity, Shown, Sourced, not_known

router = APIRouter(prefix="/v1/connections", tags=["connections"])

LONGEST_SIZE = 40

SystemInPath = Annotated[System, Path(description="A connection system.", examples=["flare-37"])]


class SystemFilters(BaseModel):
    """Which systems to list."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    system: System | None = Field(
        default=None, description="Only this system.", examples=["flare-37"]
    )
    size: str | None = Field(
        default=None,
        max_length=LONGEST_SIZE,
        description="Only systems that have this size, as the standard writes it.",
        examples=["-6"],
    )


class SystemSummary(Sourced):
    """A way of joining."""

    system: System = Field(description="Its id, as connections name it.")
    name: str = Field(description="Its name in the trade.")
    standard: str | None = Field(description="The published standard; `null` where there is none.")
    joins_by: JoinsBy = Field(description="What decides whether two ends of it go together.")
    sized_by: str = Field(description="How its sizes are counted.")
    sizes: tuple[str, ...] = Field(
        description="Sizes the tables hold; empty where a size is a measure, not a list."
    )
    note: str | None = Field(description="What else is worth knowing.")


class SystemList(Shown):
    """Ways of joining."""

    items: tuple[SystemSummary, ...] = Field(description="Those that match the filters.")


class MateRule(Sourced):
    """A row of the mating table: what becomes of one end entering another."""

    rule: str = Field(description="Its id.")
    enters: tuple[str, ...] = Field(description="Systems of the entering end; `*` is any.")
    enters_gender: tuple[Gender, ...] = Field(description="Its gender; empty is any.")
    receives: tuple[str, ...] = Field(
        description="Systems of the receiving end; `*` is any, `same` the entering end's."
    )
    receives_gender: tuple[Gender, ...] = Field(description="Its gender; empty is any.")
    either_way: bool = Field(description="Whether it holds with the ends swapped.")
    fit: tuple[str, ...] = Field(description="How the two threads or diameters must stand.")
    given: tuple[str, ...] = Field(description="What else must be so for the row to apply.")
    verdict: Verdict = Field(description="What becomes of it.")
    needs: tuple[str, ...] = Field(description="What else the joint needs.")
    why: str = Field(description="One sentence.")
    remedy: str = Field(description="What to do about it.")


class SystemDetails(SystemSummary):
    """A way of joining, with the rows that decide what it mates with."""

    mating_rules: tuple[MateRule, ...] = Field(
        description="Rows of the mating table that may decide about an end of it."
    )


class ThreadData(Sourced):
    """The thread of a size."""

    designation: str = Field(
        description="Names the physical thread; equal designations screw together.",
        examples=["9/16-18"],
    )
    external: str = Field(description="The male thread as its standard writes it.")
    internal: str = Field(description="The female thread as its standard writes it.")
    major: Quantity = Field(description="Major diameter; of a taper at full thread.")
    pitch: Quantity = Field(description="Pitch.")
    threads_per_inch: float | None = Field(description="For threads counted so.")
    flank_angle: Quantity = Field(description="Angle between the flanks.")
    taper: bool = Field(description="Whether the thread is tapered.")
    seat_angle: Quantity | None = Field(description="Angle of a conical seat.")
    seal: ThreadSeal = Field(description="What seals the joint.")
    seal_part: str | None = Field(description="Which seal, where the tables say.")
    tube_outside_diameter: str | None = Field(description="Tube of this size, in inches.")
    standard: str = Field(description="The standard that defines it.")
    note: str | None = Field(description="What else is worth knowing.")


class EndFormData(Sourced):
    """An end form of a quick connect."""

    diameter: Quantity = Field(description="Outside diameter of the end form.")
    names: tuple[str, ...] = Field(description="Names that settle it.")
    loose_names: tuple[str, ...] = Field(
        description="Names that are used for it and for the tube behind it: they settle nothing."
    )
    tube: Quantity = Field(description="Outside diameter of the tube behind it.")
    note: str | None = Field(description="What else is worth knowing.")


class SizeOfSystem(Shown):
    """A size of a system."""

    system: System = Field(description="The system.")
    size: str = Field(description="The size, as its standard writes it.", examples=["-6"])


class NeededPart(Shown):
    """Something a joint needs beside its two ends."""

    parts: tuple[NeedPart, ...] = Field(description="Any one of these serves.")
    count: int = Field(description="How many.")
    size: str | None = Field(description="Which one, where the tables say.")


class MateAnswer(Shown):
    """What becomes of two ends that share a thread."""

    enters: SizeOfSystem = Field(description="The end that goes in.")
    receives: SizeOfSystem = Field(description="The end that takes it.")
    verdict: Verdict = Field(
        description="`unknown` where it hangs on something this question does not say."
    )
    possible: tuple[Verdict, ...] = Field(description="Every verdict left open, the best first.")
    missing: tuple[str, ...] = Field(description="What an unknown hangs on.")
    needs: tuple[NeededPart, ...] = Field(description="What else the joint needs.")
    why: str = Field(description="One sentence.")
    remedy: str = Field(description="What to do about it.")
    sources: tuple[str, ...] = Field(description="Titles of the sources.")


class LookAlikeThread(Sourced):
    """A thread near enough to be taken for this one."""

    designation: str = Field(description="The other thread.", examples=["M14x1.5"])
    used_by: tuple[SizeOfSystem, ...] = Field(description="Sizes that have it.")
    is_larger: bool = Field(description="Whether the other thread is the larger one.")
    when_smaller_enters: LookAlikeFit = Field(
        description="What happens when the smaller goes into the larger."
    )
    larger_starts_too: bool = Field(description="Whether the larger starts in the smaller as well.")
    major_step: Quantity = Field(description="Difference of the major diameters.")
    pitch_step: Quantity = Field(description="Difference of the pitches.")


class ConnectionDetails(SizeOfSystem):
    """A size of a system: its thread or end form, its mates and its look-alikes."""

    thread: ThreadData | None = Field(description="Its thread; `null` where it has none.")
    end_form: EndFormData | None = Field(description="Its end form, for quick connects.")
    mates: tuple[MateAnswer, ...] = Field(
        description="What becomes of it with every size that has the same thread."
    )
    look_alikes: tuple[LookAlikeThread, ...] = Field(
        description="Threads that are taken for it by mistake."
    )


@router.get(
    "",
    operation_id="list_connections",
    summary="List the connection systems",
    responses=problem_responses("invalid-request"),
)
async def list_connections(wanted: Annotated[SystemFilters, Query()]) -> SystemList:
    """Every way of joining that the tables know, with its sizes."""
    return systems(wanted.system, wanted.size)


@router.get(
    "/{system}",
    operation_id="read_connection_system",
    summary="Read a connection system",
    responses=problem_responses("invalid-request"),
)
async def read_connection_system(system: SystemInPath) -> SystemDetails:
    """A system with the rows of the mating table that may decide about an end of it."""
    return system_details(system)


@router.get(
    "/{system}/{size:path}",
    operation_id="read_connection",
    summary="Read a size of a connection system",
    responses=problem_responses("invalid-request", "not-found"),
)
async def read_connection(
    system: SystemInPath,
    size: Annotated[
        str,
        Path(
            max_length=LONGEST_SIZE,
            description="The size as the standard writes it, slashes as they are.",
            examples=["-6"],
        ),
    ],
) -> ConnectionDetails:
    """A size with its thread, what becomes of it with each equal thread, and its look-alikes."""
    return connection_details(system, size)


def systems(system: System | None = None, size: str | None = None) -> SystemList:
    """The connection systems that match."""
    tables = reference()
    summaries = (_summary(tables, row) for row in tables.systems.values())
    return SystemList(
        items=tuple(
            each
            for each in summaries
            if system in (None, each.system) and (size is None or size in each.sizes)
        )
    )


def system_details(system: System) -> SystemDetails:
    """A system with the rows that decide about it."""
    tables = reference()
    summary = _summary(tables, tables.systems[system])
    rules = tuple(
        _mate_rule(tables, row)
        for row in tables.mates.values()
        if any(
            row.speaks_of(system, other) or row.speaks_of(other, system) for other in tables.systems
        )
    )
    return SystemDetails(**dict(summary), mating_rules=rules)


def connection_details(system: System, size: str) -> ConnectionDetails:
    """A size of a system.

    Raises:
        Problem: the tables hold no such size.
    """
    tables = reference()
    thread = tables.thread(system, size)
    form = tables.quick_connect_form(size) if system == "quick-connect" else None
    if thread is None and form is None:
        raise not_known(f"size of {system}", size, _sizes(tables, system))
    return ConnectionDetails(
        system=system,
        size=size,
        thread=None if thread is None else _thread(thread),
        end_form=None if form is None else _end_form(tables, form),
        mates=() if thread is None else tuple(_mates(tables, thread)),
        look_alikes=() if thread is None else tuple(_look_alikes(tables, thread)),
    )


def _sizes(tables: Reference, system: System) -> tuple[str, ...]:
    if system == "quick-connect":
        forms = tables.quick_connect_forms
        return tuple(form.names[0] if form.names else f"{form.diameter_mm:g} mm" for form in forms)
    return tables.sizes(system)


def _summary(tables: Reference, row: ConnectionSystem) -> SystemSummary:
    return SystemSummary(
        system=row.system,
        name=row.name,
        standard=row.standard,
        joins_by=row.joins_by,
        sized_by=row.sized_by,
        sizes=_sizes(tables, row.system),
        note=row.note,
        sources=tables.cite(row.source),
        confidence=row.confidence,
    )


def _mate_rule(tables: Reference, row: MateRow) -> MateRule:
    return MateRule(
        rule=row.rule_id,
        enters=row.enters,
        enters_gender=row.enters_gender,
        receives=row.receives,
        receives_gender=row.receives_gender,
        either_way=row.either_way,
        fit=row.fit,
        given=row.given,
        verdict=row.verdict,
        needs=row.needs,
        why=row.why,
        remedy=row.remedy,
        sources=tables.cite(row.source),
        confidence=row.confidence,
    )


def _thread(thread: Thread) -> ThreadData:
    return ThreadData(
        designation=thread.designation,
        external=thread.external,
        internal=thread.internal,
        major=_mm(thread.major_mm),
        pitch=_mm(thread.pitch_mm),
        threads_per_inch=thread.tpi,
        flank_angle=_deg(thread.flank_deg),
        taper=thread.taper,
        seat_angle=None if thread.seat_deg is None else _deg(thread.seat_deg),
        seal=thread.seal,
        seal_part=thread.seal_part,
        tube_outside_diameter=thread.tube_od_in,
        standard=thread.standard,
        note=thread.note,
        sources=thread.sources,
        confidence=thread.confidence,
    )


def _end_form(tables: Reference, form: QuickConnectForm) -> EndFormData:
    return EndFormData(
        diameter=_mm(form.diameter_mm),
        names=form.names,
        loose_names=form.loose_names,
        tube=_mm(form.parent_tube_mm),
        note=form.note,
        sources=tables.cite(form.source),
        confidence=form.confidence,
    )


def _mates(tables: Reference, thread: Thread) -> Iterator[MateAnswer]:
    for other in tables.threads_designated(thread.designation):
        yield _mated(tables, thread, other)
        if other.system != thread.system:
            yield _mated(tables, other, thread)


def _mated(tables: Reference, entering: Thread, receiving: Thread) -> MateAnswer:
    found = mate(
        End(entering.system, entering.size, _half(entering.system, "male")),
        End(receiving.system, receiving.size, _half(receiving.system, "female")),
        tables,
    )
    return MateAnswer(
        enters=SizeOfSystem(system=entering.system, size=entering.size),
        receives=SizeOfSystem(system=receiving.system, size=receiving.size),
        verdict=found.verdict,
        possible=found.possible,
        missing=found.missing,
        needs=tuple(_needs(found)),
        why=found.why,
        remedy=found.remedy,
        sources=found.sources,
    )


def _half(system: System, usual: Gender) -> Gender:
    """Banjos have their own words: the bolt goes in, the ring lies on a port."""
    if system != "banjo":
        return usual
    return "bolt" if usual == "male" else "ring"


def _needs(found: Mating) -> Iterator[NeededPart]:
    for need in found.needs:
        yield NeededPart(parts=need.parts, count=need.count, size=need.size)


def _look_alikes(tables: Reference, thread: Thread) -> Iterator[LookAlikeThread]:
    others = {
        other.designation: None for system in tables.systems for other in tables.threads_of(system)
    }
    for designation in others:
        if (row := tables.lookalike(thread.designation, designation)) is not None:
            yield _look_alike(tables, designation, row)


def _look_alike(tables: Reference, designation: str, row: LookAlike) -> LookAlikeThread:
    return LookAlikeThread(
        designation=designation,
        used_by=tuple(_used_by(tables.threads_designated(designation))),
        is_larger=row.larger == designation,
        when_smaller_enters=row.when_smaller_enters,
        larger_starts_too=row.larger_starts_too,
        major_step=_mm(row.major_step_mm),
        pitch_step=_mm(row.pitch_step_mm),
        sources=tables.cite(row.source),
        confidence=row.confidence,
    )


def _used_by(threads: Iterable[Thread]) -> Iterator[SizeOfSystem]:
    for thread in threads:
        yield SizeOfSystem(system=thread.system, size=thread.size)


def _mm(value: float) -> Quantity:
    return Quantity(value=value, unit="mm")


def _deg(value: float) -> Quantity:
    return Quantity(value=value, unit="deg")
