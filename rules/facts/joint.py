"""Facts of a joint: two ends, what becomes of them together, and what is put on the joint."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache, partial
from typing import Annotated, get_args

from rules import parts
from rules.circuit import Circuit, PlacedItem, PlacedJoint, PlacedPort
from rules.facts.application import AppFacts
from rules.facts.case import WHICH_LINE, Case, Gap, recorded
from rules.facts.part import pressure_gaps, pressure_in
from rules.facts.supplies import Supplies
from rules.facts.words import (
    BARBS,
    CLAMPS,
    CONSTRUCTIONS,
    FAMILIES,
    FORMS,
    GENDERS,
    KINDS,
    LINES,
    MATERIALS,
    RETENTIONS,
    SEALANTS,
    SYSTEMS,
)
from rules.reading import write_connection
from rules.reference.mating import End, Mating, mate
from rules.reference.rows import NeedPart, Reason, Verdict
from rules.schema import (
    UNKNOWN,
    Flag,
    Maybe,
    Number,
    Record,
    Text,
    Unknown,
    Vocabulary,
    Word,
    Words,
)

MATINGS = Vocabulary(
    "mating",
    tuple(v for v in get_args(Verdict) if v != "unknown"),
    {
        "seals-with": "seals with the right part between",
        "conditional": "seals under a condition",
        "threads-no-seal": "screws together but does not seal",
        "starts-then-jams": "starts, then jams",
        "no-fit": "does not go together",
    },
)
REASONS = Vocabulary("reason of a mating", get_args(Reason))
NEEDS = Vocabulary("need of a joint", get_args(NeedPart))

_TABLE = "reference table of mating ends"

# What makes each kind of end tight, as a person at the bench would say it.
_SEAL_OF = {
    "flare-37": "37 degree cone",
    "flare-45": "45 degree cone",
    "inverted-flare": "flare on an inner seat",
    "bubble-flare": "bubble flare on an inner seat",
    "orb": "O-ring in the mouth of the port",
    "orfs": "O-ring in a flat face",
    "npt": "taper thread with sealant",
    "nptf": "dry-seal taper thread",
    "nps": "none on the thread",
    "bspp": "washer or O-ring at the face",
    "bspt": "taper thread with sealant",
    "iso-6149": "O-ring in the mouth of the port",
    "metric-flat": "washer on a flat face",
    "din-24-cone": "24 degree cone",
    "banjo": "washers on flat faces",
    "quick-connect": "O-rings in the connector",
    "barb": "hose stretched over a barb",
    "beaded-tube": "hose clamped behind a bead",
    "compression": "sleeve squeezed on a tube",
    "injector-seat": "O-ring in a bore",
    "flange": "gasket",
}


@dataclass(frozen=True, slots=True)
class EndFacts(Record):
    """One end of a joint."""

    name: Annotated[str, Text(label="port", origin="request")]
    part: Annotated[str, Text(label="part", origin="request")]
    kind: Annotated[str, Word(KINDS, label="kind of part", origin="catalogue")]
    system: Annotated[Maybe[str], Word(SYSTEMS, label="connection", origin="catalogue")]
    size: Annotated[Maybe[str], Text(label="size", origin="catalogue")]
    gender: Annotated[Maybe[str], Word(GENDERS, label="gender", origin="catalogue")]
    connection: Annotated[Maybe[str], Text(label="connection", origin="catalogue")]
    thread: Annotated[Maybe[str], Text(label="thread", origin="reference table of threads")]
    seal: Annotated[Maybe[str], Text(label="seal", origin="standard of the connection")]
    swivel: Annotated[Maybe[bool], Flag(label="swivel", origin="catalogue")]
    diameter_mm: Annotated[
        Maybe[float], Number("mm", positive=True, label="diameter", origin="catalogue")
    ]
    bore_mm: Annotated[Maybe[float], Number("mm", positive=True, label="bore", origin="catalogue")]
    form: Annotated[Maybe[str], Word(FORMS, label="mouth of the port", origin="catalogue")]
    barb_style: Annotated[Maybe[str], Word(BARBS, label="barb style", origin="catalogue")]
    boss_material: Annotated[Maybe[str], Word(MATERIALS, label="boss material", origin="catalogue")]
    boss_family: Annotated[
        Maybe[str], Word(FAMILIES, label="kind of boss material", origin="reference table")
    ]
    plastic_boss: Annotated[bool, Flag(label="boss of plastic", origin="catalogue")]
    construction: Annotated[
        Maybe[str], Word(CONSTRUCTIONS, label="hose construction", origin="catalogue")
    ]
    retention: Annotated[Maybe[str], Word(RETENTIONS, label="held by", origin="catalogue")]
    origins: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class JointFacts(Record):
    """A joint. End `a` goes into end `b`; where neither does, the order is alphabetical."""

    name: Annotated[str, Text(label="joint", origin="request")]
    a: EndFacts
    b: EndFacts
    app: AppFacts
    mating: Annotated[Maybe[str], Word(MATINGS, label="together", origin=_TABLE)]
    reason: Annotated[Maybe[str], Word(REASONS, label="hangs on", origin=_TABLE)]
    why: Annotated[str, Text(label="why", origin=_TABLE)]
    advice: Annotated[str, Text(label="advice", origin=_TABLE)]
    may_seal: Annotated[bool, Flag(label="may seal as far as is known", origin=_TABLE)]
    mating_open: Annotated[bool, Flag(label="verdict of the tables is open", origin=_TABLE)]
    gap_mm: Annotated[Maybe[float], Number("mm", label="gap", origin="computed")]
    line: Annotated[Maybe[str], Word(LINES, label="line", origin="computed from the joints")]
    in_tank: Annotated[Maybe[bool], Flag(label="inside the tank", origin="computed")]
    in_engine_bay: Annotated[bool, Flag(label="in the engine bay", origin="request")]
    pressure_kpa: Annotated[
        Maybe[float],
        Number("kPa", shown="bar", label="pressure it sees", origin="computed: base plus boost"),
    ]
    ratings_stated: Annotated[
        bool, Flag(label="working pressure of both parts stated", origin="catalogue")
    ]
    needs: Annotated[frozenset[str], Words(NEEDS, label="needs", origin=_TABLE)]
    seal_missing: Annotated[Maybe[bool], Flag(label="seal missing", origin="computed")]
    seal_wanted: Annotated[str, Text(label="seal wanted", origin=_TABLE)]
    sleeve_missing: Annotated[Maybe[bool], Flag(label="sleeve missing", origin="computed")]
    washer_reused: Annotated[bool, Flag(label="washer was fitted before", origin="request")]
    clamp: Annotated[Maybe[str], Word(CLAMPS, label="clamp", origin="request")]
    clamp_fits: Annotated[Maybe[bool], Flag(label="clamp fits the hose", origin="catalogue")]
    sealant: Annotated[str, Word(SEALANTS, label="sealant", origin="request")]
    thread_seals: Annotated[bool, Flag(label="the thread seals", origin="standard")]
    series_differ: Annotated[Maybe[bool], Flag(label="series differ", origin="catalogue")]
    corrode: Annotated[Maybe[bool], Flag(label="metals corrode each other", origin=_TABLE)]
    like_metals: Annotated[Maybe[bool], Flag(label="like metals that gall", origin="catalogue")]
    origins: Mapping[str, str] = field(default_factory=dict)


def joint_cases(circuit: Circuit, app: AppFacts) -> Iterator[Case]:
    """A case for each joint, those that go without saying included."""
    matings = matings_of(circuit)
    supplies = Supplies(circuit, matings)
    for joint, mating in matings.items():
        yield _case(joint, mating, supplies, circuit, app)


def matings_of(circuit: Circuit) -> Mapping[PlacedJoint, Mating]:
    """What becomes of each joint by the mating tables."""
    return {joint: _mate(end_of(joint.first), end_of(joint.second)) for joint in circuit.joints}


@lru_cache(maxsize=10_000)
def _mate(a: End, b: End) -> Mating:
    """The same ends meet in cart after cart."""
    return mate(a, b)


def end_of(port: PlacedPort) -> End:
    """What the mating tables need to know of a port."""
    return part_end(port.item.part, port.port)


def part_end(part: parts.Component, port: parts.Port) -> End:
    """The same for a port of a part that is not placed anywhere."""
    spec = part.spec
    construction = None
    bore = port.bore_mm
    if isinstance(spec, parts.HoseMarks):
        construction = spec.construction
        bore = bore or spec.bore_mm
    elif isinstance(spec, parts.HoseEndSpec):
        construction = spec.for_construction
    connection = port.connection
    return End(
        system=connection.system if connection else None,
        size=connection.size if connection else None,
        gender=connection.gender if connection else None,
        diameter_mm=port.diameter_mm,
        bead=port.bead,
        port_form=port.form,
        seal_included=port.seal.included if port.seal else None,
        barb_style=port.barb_style,
        construction=construction,
        bore_mm=bore,
        boss_material=port.boss_material,
        tube_flare_deg=port.flare_angle_deg,
    )


def _case(
    joint: PlacedJoint, mating: Mating, supplies: Supplies, circuit: Circuit, app: AppFacts
) -> Case:
    first, second = joint.ends
    turned = mating.enters == "b" or (mating.enters is None and second.name < first.name)
    a, b = (second, first) if turned else (first, second)
    a_facts, b_facts = _end_facts(a, circuit), _end_facts(b, circuit)
    line = circuit.lines.get(a) or circuit.lines.get(b)
    pressure = pressure_in(line, app)
    open_verdict = mating.verdict == "unknown"
    clamp = supplies.clamp(joint)
    facts = JointFacts(
        name=joint.name,
        a=a_facts,
        b=b_facts,
        app=app,
        mating=UNKNOWN if open_verdict else mating.verdict,
        reason=UNKNOWN if open_verdict else mating.reason,
        why=mating.why,
        advice="" if mating.remedy == "none" else mating.remedy,
        may_seal=mating.could_seal,
        mating_open=open_verdict,
        gap_mm=recorded(mating.gap_mm),
        line=recorded(line),
        in_tank=_in_tank(a.item, b.item, circuit),
        in_engine_bay="engine-bay" in (a.item.item.placement, b.item.item.placement),
        pressure_kpa=pressure,
        ratings_stated=None
        not in (a.item.part.working_pressure_kpa, b.item.part.working_pressure_kpa),
        needs=frozenset(part for need in mating.needs for part in need.parts),
        seal_missing=supplies.seal_missing(joint),
        seal_wanted=supplies.seal_wanted(joint),
        sleeve_missing=supplies.sleeve_missing(joint),
        washer_reused=supplies.washer_reused(joint),
        clamp=clamp,
        clamp_fits=supplies.clamp_fits(joint),
        sealant=supplies.sealant(joint),
        thread_seals=_thread_seals(a_facts.system, b_facts.system),
        series_differ=_series_differ(a, b),
        corrode=_corrode(a, b, circuit),
        like_metals=_like_metals(a_facts, b_facts),
    )
    return Case(
        about="joint",
        kind=None,
        facts=facts,
        refs=tuple(dict.fromkeys((first.item.ref, second.item.ref))),
        ports=(first.name, second.name),
        pointer=joint.pointer,
        missing=partial(_missing, joint, mating, (a, b), line, app),
        sources=_standards(a_facts, b_facts, circuit),
        outcomes=(
            tuple({"mating": verdict, "reason": reason} for verdict, reason in mating.outcomes)
            if open_verdict
            else ()
        ),
        settled=frozenset({"mating", "reason"} if open_verdict and not mating.could_seal else ()),
    )


def _end_facts(port: PlacedPort, circuit: Circuit) -> EndFacts:
    end = end_of(port)
    thread = circuit.reference.thread(end.system, end.size) if end.system and end.size else None
    boss = port.port.boss_material
    family = circuit.reference.material(boss).family if boss else None
    where = "catalogue" if port.item.origin == "catalogue" else port.item.origin
    return EndFacts(
        name=port.name,
        part=port.item.ref,
        kind=port.item.kind,
        system=recorded(end.system),
        size=recorded(end.size),
        gender=recorded(end.gender),
        connection=(
            UNKNOWN if end.system is None else write_connection(end.system, end.size, end.gender)
        ),
        thread=recorded(thread.designation if thread else None),
        seal=UNKNOWN if end.system is None else _SEAL_OF.get(end.system, "by its own design"),
        swivel=recorded(port.port.swivel),
        diameter_mm=recorded(end.diameter_mm),
        bore_mm=recorded(end.bore_mm),
        form=recorded(end.port_form),
        barb_style=recorded(end.barb_style),
        boss_material=recorded(boss),
        boss_family=recorded(family),
        plastic_boss=family == "plastic",
        construction=recorded(end.construction),
        retention=recorded(port.port.retention),
        origins=(
            {}
            if where == "catalogue"
            else dict.fromkeys(
                ("system", "size", "gender", "connection", "bore_mm", "construction"), where
            )
        ),
    )


def _standards(a: EndFacts, b: EndFacts, circuit: Circuit) -> tuple[str, ...]:
    """The standards that the two ends are made to."""
    systems = [s for s in (a.system, b.system) if not isinstance(s, Unknown)]
    rows = (row for name, row in circuit.reference.systems.items() if name in systems)
    named = (standard for row in rows if row.standard for standard in row.standard.split(", "))
    return tuple(dict.fromkeys(named))


def _in_tank(one: PlacedItem, other: PlacedItem, circuit: Circuit) -> Maybe[bool]:
    """A joint lies in the fuel where one of its parts does."""
    known = (circuit.lies_in_tank[one], circuit.lies_in_tank[other])
    if True in known:
        return True
    return UNKNOWN if None in known else False


_SEALING_THREADS = frozenset({"npt", "nptf", "bspt"})


def _thread_seals(a: Maybe[str], b: Maybe[str]) -> bool:
    return any(isinstance(s, str) and s in _SEALING_THREADS for s in (a, b))


def _series_differ(a: PlacedPort, b: PlacedPort) -> Maybe[bool]:
    """Whether hose and hose end are of different series; only asked where a hose end grips."""
    series = {
        item.part.spec.series
        for item in (a.item, b.item)
        if isinstance(item.part.spec, (parts.HoseEndSpec, parts.HoseMarks))
    }
    grips = any(isinstance(item.part.spec, parts.HoseEndSpec) for item in (a.item, b.item))
    system = a.port.connection.system if a.port.connection else None
    if not grips or system != "hose-end":
        return False
    return UNKNOWN if None in series else len(series) > 1


def _corrode(a: PlacedPort, b: PlacedPort, circuit: Circuit) -> Maybe[bool]:
    one, other = a.port.boss_material, b.port.boss_material
    if one is None or other is None:
        return UNKNOWN
    return circuit.reference.galvanic(one, other) is not None


_GALLING = frozenset({"aluminium", "aluminium-anodised", "stainless-steel-300"})


def _like_metals(a: EndFacts, b: EndFacts) -> Maybe[bool]:
    if isinstance(a.boss_material, Unknown) or isinstance(b.boss_material, Unknown):
        return UNKNOWN
    threaded = not isinstance(a.thread, Unknown)
    return threaded and a.boss_material == b.boss_material and a.boss_material in _GALLING


# The mating tables name attributes of `End`; people know them by these words.
_ATTRIBUTE_WORDS = {
    "system": "connection",
    "size": "size",
    "gender": "gender",
    "diameter_mm": "diameter",
    "bead": "bead",
    "port_form": "mouth of the port",
    "barb_style": "barb style",
    "construction": "hose construction",
    "bore_mm": "bore",
    "tube_flare_deg": "flare angle",
}


_OF_THE_PART = frozenset({"construction"})


def _end_gap(port: PlacedPort, attribute: str) -> Gap:
    of = port.item.ref if attribute in _OF_THE_PART else port.name
    connection = port.port.connection
    if attribute == "size" and connection is not None and connection.size is not None:
        return Gap(f"thread of size {connection.size}", of)
    return Gap(_ATTRIBUTE_WORDS[attribute], of)


def _missing(
    joint: PlacedJoint,
    mating: Mating,
    ends: tuple[PlacedPort, PlacedPort],
    line: str | None,
    app: AppFacts,
) -> Mapping[str, tuple[Gap, ...]]:
    first, second = joint.ends
    sides = {"a": first, "b": second}
    hangs_on = tuple(
        _end_gap(sides[side], attribute)
        for side, _, attribute in (name.partition(".") for name in mating.missing)
    )
    pressure = pressure_gaps(line, app, joint.name)
    metals = tuple(
        Gap("boss material", port.name) for port in joint.ends if port.port.boss_material is None
    )
    found = {
        "mating": hangs_on,
        "reason": hangs_on,
        "seal_missing": (Gap("included seal", joint.name),),
        "sleeve_missing": (Gap("included sleeve", joint.name),),
        "line": (Gap("line", joint.name, WHICH_LINE),),
        "pressure_kpa": pressure,
        "app.peak_pressure_kpa": pressure,
        "clamp": (Gap("clamp style", joint.name),),
        "clamp_fits": (Gap("clamp range or outside diameter of the hose", joint.name),),
        "series_differ": (Gap("series of hose and hose end", joint.name),),
        "corrode": metals,
        "like_metals": metals,
        "in_tank": (Gap("mount", "the pump"),),
    }
    for side, port in zip(("a", "b"), ends, strict=True):
        found[f"{side}.thread"] = (Gap("size", port.name),)
        found[f"{side}.boss_family"] = (Gap("boss material", port.name),)
        found[f"{side}.construction"] = (Gap("hose construction", port.item.ref),)
    return found
