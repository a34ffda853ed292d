"""Whether two ends make a joint: the tables decide, this module asks them.

`mate(a, b)` finds which end enters the other, how it stands to it (same thread, look-alike, hose
too loose on its barb ...), and the row of `mates.csv` that says what becomes of it.

An attribute that is `None` is not recorded. Where the answer hangs on it the verdict is `unknown`
and `missing` names it; where every possible value gives the same answer, that answer stands.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from typing import Any, Literal, cast, get_args

from rules.reference.checks import CONDITION, NEED
from rules.reference.lookup import Reference, Thread, reference
from rules.reference.rows import Fit, MateRow, NeedPart, Reason, Verdict
from rules.vocabulary import (
    BarbStyle,
    Confidence,
    Construction,
    Gender,
    Material,
    PortForm,
    System,
)

Side = Literal["a", "b"]
_BETTER_FIRST: tuple[Verdict, ...] = get_args(Verdict)
_GENDERS: tuple[Gender, ...] = get_args(Gender)


@dataclass(frozen=True, slots=True)
class End:
    """One end of a joint. `None` is *not recorded*.

    Attributes:
        system: the standard the end is made to.
        size: as the standard writes it (`-6`, `3/8`, `M14x1.5`, `8 mm`).
        gender: which half; a cut hose is female, a tube end male.
        diameter_mm: measured diameter of a barb, an end form, a tube, a ring bore or a seat.
        bead: whether a tube end has a bead.
        port_form: how the mouth of a threaded port is machined.
        seal_included: whether the seal of this end comes with it.
        barb_style: how a barb grips.
        construction: of the hose, or of the hose that a hose end was made for.
        bore_mm: of a hose.
        boss_material: what a threaded boss is made of.
        tube_flare_deg: half angle of the flare on a tube behind a nut.
    """

    system: System | None
    size: str | None = None
    gender: Gender | None = None
    diameter_mm: float | None = None
    bead: bool | None = None
    port_form: PortForm | None = None
    seal_included: bool | None = None
    barb_style: BarbStyle | None = None
    construction: Construction | None = None
    bore_mm: float | None = None
    boss_material: Material | None = None
    tube_flare_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Need:
    """Something a joint needs beside its ends.

    Attributes:
        parts: what serves, any one of them.
        count: how many.
        size: which one (`AS568-906`), where the tables say.
        provided: whether an end brings it; `None` where nobody recorded it.
    """

    parts: tuple[NeedPart, ...]
    count: int = 1
    size: str | None = None
    provided: bool | None = None


@dataclass(frozen=True, slots=True)
class Mating:
    """What becomes of two ends put together.

    Attributes:
        verdict: `unknown` where it hangs on something not recorded.
        reason: what the verdict hangs on.
        rule_id: the row of `mates.csv` that decided; `None` for `unknown`.
        enters: which end goes into the other; `None` where neither does or it is not known.
        needs: what else the joint needs.
        why: one sentence.
        remedy: what to do about it; `none` where nothing needs doing.
        sources: titles of the sources of the row.
        confidence: how well the row is known.
        thread: designation of the thread where both ends have the same one.
        a_thread: designation of the thread of the first end, where it has a known one.
        b_thread: the same of the second end.
        gap_mm: receiving diameter less entering diameter: thread majors, hose bore over barb,
            connector over end form; `None` where not both are known.
        missing: for `unknown`, the attributes it hangs on (`a.size`, `b.bore_mm`).
        possible: every verdict that the recorded facts leave open, the best first.
        outcomes: the same with the reason each would have; empty where anything may come of it.
    """

    verdict: Verdict
    reason: Reason
    rule_id: str | None
    enters: Side | None
    needs: tuple[Need, ...]
    why: str
    remedy: str
    sources: tuple[str, ...]
    confidence: Confidence | None
    thread: str | None
    a_thread: str | None
    b_thread: str | None
    gap_mm: float | None
    missing: tuple[str, ...]
    possible: tuple[Verdict, ...]
    outcomes: tuple[tuple[Verdict, Reason], ...] = ()

    @property
    def could_seal(self) -> bool:
        """Whether the recorded facts leave open that the joint is tight."""
        return any(verdict in ("seals", "seals-with", "conditional") for verdict in self.possible)


# Which half goes into which; a bolt goes into a port or through a ring, a ring lies on a port.
_ENTERS: frozenset[tuple[Gender, Gender]] = frozenset(
    {
        ("male", "female"),
        ("bolt", "female"),
        ("bolt", "ring"),
        ("male", "ring"),
        ("ring", "female"),
    }
)


def mate(a: End, b: End, tables: Reference | None = None) -> Mating:
    """What becomes of two ends put together. `mate(b, a)` says the same with the ends swapped."""
    tables = tables or reference()
    if a.system is None or b.system is None:
        missing = [f"{side}.system" for side, end in _sides(a, b) if end.system is None]
        return _unknown(tables, a, b, missing, _BETTER_FIRST[:-1])
    if a.gender is None or b.gender is None:
        return _over_genders(tables, a, b)
    if a.system == b.system == "flange":
        # A bolted flange has no halves.
        return _decide(tables, a, b, enters=None)
    if (a.gender, b.gender) in _ENTERS:
        return _decide(tables, a, b, enters="a")
    if (b.gender, a.gender) in _ENTERS:
        return _swapped(_decide(tables, b, a, enters="a"))
    return _neither_enters(tables, a, b)


def _sides(a: End, b: End) -> tuple[tuple[Side, End], tuple[Side, End]]:
    return ("a", a), ("b", b)


def _over_genders(tables: Reference, a: End, b: End) -> Mating:
    """Every gender that an end without one may have, and what they have in common."""
    outcomes = [
        mate(replace(a, gender=first), replace(b, gender=second), tables)
        for first in _genders(a)
        for second in _genders(b)
    ]
    possible = _ordered(verdict for outcome in outcomes for verdict in outcome.possible)
    if len(possible) == 1:
        return replace(outcomes[0], enters=None)
    missing = [f"{side}.gender" for side, end in _sides(a, b) if end.gender is None]
    open_ = dict.fromkeys(pair for outcome in outcomes for pair in outcome.outcomes)
    return replace(_unknown(tables, a, b, missing, possible), outcomes=tuple(open_))


def _genders(end: End) -> tuple[Gender, ...]:
    if end.gender is not None:
        return (end.gender,)
    return _GENDERS if end.system == "banjo" else ("male", "female")


def _neither_enters(tables: Reference, a: End, b: End) -> Mating:
    """Two ends of one half; where they would not join as two halves either, that is the reason."""
    form: Fit = "other-form"
    strangers = all(fit.fits == {form} for fit in (_fit(tables, a, b), _fit(tables, b, a)))
    fit = form if strangers else "same-half"
    row = next(row for row in tables.mates.values() if fit in row.fit)
    return _from_row(tables, row, a, b, enters=None, fit=_Known())


@dataclass(frozen=True, slots=True)
class _Known:
    """The fits that the recorded facts leave open, and what is missing to tell them apart."""

    fits: frozenset[Fit] = frozenset()
    missing: tuple[str, ...] = ()
    gap_mm: float | None = None


def _decide(tables: Reference, a: End, b: End, enters: Side | None) -> Mating:
    """The verdict for `a` entering `b`."""
    fit = _fit(tables, a, b)
    decided: MateRow | None = None
    open_rows: list[MateRow] = []
    missing: list[str] = []
    for level in tables.mate_rows(_system(a), _system(b)):
        for row in level:
            holds, lacking = _holds(tables, row, a, b, fit)
            if holds is None:
                open_rows.append(row)
                missing.extend(lacking)
            elif holds and decided is None:
                decided = row
        if decided is not None:
            break
    rows = [*open_rows, *([decided] if decided else [])]
    possible = _ordered(row.verdict for row in rows)
    if len(possible) != 1:
        open_ = dict.fromkeys((row.verdict, row.reason) for row in rows)
        unknown = _unknown(tables, a, b, missing, possible, enters, fit.gap_mm)
        return replace(unknown, outcomes=tuple(open_))
    return _from_row(tables, decided or rows[0], a, b, enters, fit)


Outcome = tuple[bool | None, tuple[str, ...]]
"""Whether something holds (`None`: cannot tell), and the attributes it then hangs on."""


def _holds(tables: Reference, row: MateRow, a: End, b: End, fit: _Known) -> Outcome:
    """Whether a row applies to `a` entering `b`."""
    if a.gender not in row.enters_gender or b.gender not in row.receives_gender:
        return False, ()
    lacking: list[str] = []
    for holds, names in _outcomes(tables, row, a, b, fit):
        if holds is False:
            return False, ()
        lacking += names
    return (None if lacking else True), tuple(lacking)


def _outcomes(tables: Reference, row: MateRow, a: End, b: End, fit: _Known) -> Iterator[Outcome]:
    yield _fit_holds(row, fit)
    yield _size_holds(tables, row, a, b)
    for text in row.given:
        yield _condition_holds(tables, text, row, a, b)


def _size_holds(tables: Reference, row: MateRow, a: End, b: End) -> Outcome:
    if row.sizes is None:
        return True, ()
    unsettled = _unsettled_sizes(tables, a, b)
    if unsettled:
        return None, unsettled
    return (a.size == b.size) == (row.sizes == "same"), ()


def _unsettled_sizes(tables: Reference, a: End, b: End) -> tuple[str, ...]:
    """The ends whose size is not recorded, or is none the tables hold for that system."""
    return tuple(
        f"{side}.size"
        for side, end in _sides(a, b)
        if end.size is None
        or (tables.sizes(_system(end)) and tables.thread(_system(end), end.size) is None)
    )


def _fit_holds(row: MateRow, fit: _Known) -> Outcome:
    if not row.fit or fit.fits <= set(row.fit):
        return True, ()
    if fit.fits.isdisjoint(row.fit):
        return False, ()
    return None, fit.missing


def _condition_holds(tables: Reference, text: str, row: MateRow, a: End, b: End) -> Outcome:
    side, attribute, wanted, within = _condition(text)
    ends = {"enters": (("a", a),), "receives": (("b", b),), "either": _sides(a, b)}[side]
    unrecorded: list[str] = []
    for name, end in ends:
        value = _recorded(tables, end, attribute)
        if value is None:
            unrecorded.append(f"{name}.{attribute}")
        elif (value in wanted) == within:
            return True, ()
    if unrecorded and row.if_unrecorded == "ask":
        return None, tuple(unrecorded)
    return False, ()


@cache
def _condition(text: str) -> tuple[str, str, frozenset[str], bool]:
    """Whose attribute a condition asks, which, its words, and whether it must be among them."""
    match = CONDITION.fullmatch(text)
    if match is None:
        raise AssertionError(text)  # refused at load
    side, attribute, operator, listed = match.groups()
    return side, attribute, frozenset(listed.split()), operator == "="


def _recorded(tables: Reference, end: End, attribute: str) -> str | None:
    """An attribute as the tables write it, or what the system says of it by definition."""
    value: Any = getattr(end, attribute)
    if value is None and attribute in ("port_form", "bead"):
        value = getattr(tables.systems[_system(end)], f"implied_{attribute}")
    if value is None:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float | int) else str(value)


def _system(end: End) -> System:
    return cast(System, end.system)


def _from_row(
    tables: Reference, row: MateRow, a: End, b: End, enters: Side | None, fit: _Known
) -> Mating:
    a_thread, b_thread = _designation(tables, a), _designation(tables, b)
    return Mating(
        verdict=row.verdict,
        reason=row.reason,
        rule_id=row.rule_id,
        enters=enters,
        needs=tuple(_need(tables, text, a, b) for text in row.needs),
        why=row.why,
        remedy=row.remedy,
        sources=tables.cite(row.source),
        confidence=row.confidence,
        thread=a_thread if a_thread == b_thread else None,
        a_thread=a_thread,
        b_thread=b_thread,
        gap_mm=fit.gap_mm,
        missing=(),
        possible=(row.verdict,),
        outcomes=((row.verdict, row.reason),),
    )


def _unknown(
    tables: Reference,
    a: End,
    b: End,
    missing: Iterable[str],
    possible: tuple[Verdict, ...],
    enters: Side | None = None,
    gap_mm: float | None = None,
) -> Mating:
    names = tuple(sorted(set(missing)))
    a_thread, b_thread = _designation(tables, a), _designation(tables, b)
    return Mating(
        verdict="unknown",
        reason="unrecorded",
        rule_id=None,
        enters=enters,
        needs=(),
        why=f"It hangs on {' and '.join(names)}, not recorded or not in the tables.",
        remedy=f"Record {' and '.join(names)}.",
        sources=(),
        confidence=None,
        thread=a_thread if a_thread == b_thread else None,
        a_thread=a_thread,
        b_thread=b_thread,
        gap_mm=gap_mm,
        missing=names,
        possible=possible,
    )


def _need(tables: Reference, text: str, a: End, b: End) -> Need:
    match = NEED.fullmatch(text)
    if match is None:
        raise AssertionError(text)  # refused at load
    parts = cast("tuple[NeedPart, ...]", tuple(match[1].split(" | ")))
    thread = _known_thread(tables, a)
    return Need(
        parts=parts,
        count=int(match[2] or 1),
        size=thread.seal_part if thread and len(parts) == 1 and parts[0] in _SIZED else None,
        provided=_provided(parts, a, b),
    )


_SIZED: frozenset[NeedPart] = frozenset({"o-ring", "crush-washer"})
_NOT_SEALS: frozenset[NeedPart] = frozenset({"clamp", "sealant", "banjo-bolt"})


def _provided(parts: tuple[NeedPart, ...], a: End, b: End) -> bool | None:
    """Whether a seal comes with an end; a sleeve belongs to the nut, other seals to the male."""
    if not _NOT_SEALS.isdisjoint(parts):
        return None
    if a.seal_included or b.seal_included:
        return True
    return b.seal_included if "flare-sleeve" in parts else a.seal_included


def _swapped(mating: Mating) -> Mating:
    """The same answer with the ends named the other way round."""
    other: dict[Side | None, Side | None] = {"a": "b", "b": "a", None: None}
    names = tuple(sorted(_swap_name(name) for name in mating.missing))
    return replace(
        mating,
        enters=other[mating.enters],
        a_thread=mating.b_thread,
        b_thread=mating.a_thread,
        missing=names,
        why=_swap_names(mating.why, mating.missing, names),
        remedy=_swap_names(mating.remedy, mating.missing, names),
    )


def _swap_name(name: str) -> str:
    return ("b" if name[0] == "a" else "a") + name[1:]


def _swap_names(text: str, old: tuple[str, ...], new: tuple[str, ...]) -> str:
    return text.replace(" and ".join(old), " and ".join(new)) if old else text


def _ordered(verdicts: Iterable[Verdict]) -> tuple[Verdict, ...]:
    return tuple(sorted(set(verdicts), key=_BETTER_FIRST.index))


def _designation(tables: Reference, end: End) -> str | None:
    thread = _known_thread(tables, end)
    return thread.designation if thread else None


def _known_thread(tables: Reference, end: End) -> Thread | None:
    if end.system is None or end.size is None:
        return None
    return tables.thread(end.system, end.size)


# How the entering end stands to the receiving end.


def _fit(tables: Reference, a: End, b: End) -> _Known:
    entering, receiving = _system(a), _system(b)
    how = tables.systems[entering].joins_by, tables.systems[receiving].joins_by
    if how == ("thread", "thread"):
        if a.gender == "bolt" and b.gender == "ring":
            return _diameters(
                _thread_major(tables, a),
                _first(b.diameter_mm, _thread_major(tables, b), _nominal_mm(b.size)),
                tables.fit_limits_mm["ring-interference"],
                tables.fit_limits_mm["ring-clearance"],
                ("a.size", "b.diameter_mm"),
            )
        return _OTHER_FORM if "ring" in (a.gender, b.gender) else _thread_fit(tables, a, b)
    if how[1] == "end-form" and how[0] in ("end-form", "tube"):
        limit = tables.fit_limits_mm["quick-connect-diameter"]
        first, second = _form_mm(tables, a), _form_mm(tables, b)
        return _diameters(first, second, limit, limit, ("a.diameter_mm", "b.diameter_mm"))
    if how == ("hose", "hose"):
        return _constructions(a, b)
    if how[1] == "hose" and how[0] in ("barb", "tube"):
        return _hose_on(tables, _barb_mm(a), _hose_bore_mm(b))
    if how[1] == "compression" and how[0] in ("tube", "compression"):
        return _nominal_diameters(a, b, tables.fit_limits_mm["tube-diameter"])
    if how == ("seat", "seat"):
        return _nominal_diameters(a, b, tables.fit_limits_mm["injector-diameter"])
    if entering == receiving and how == ("name", "name"):
        return _Known(frozenset({"by-name"}))
    return _OTHER_FORM


_OTHER_FORM = _Known(frozenset({"other-form"}))


def _thread_fit(tables: Reference, a: End, b: End) -> _Known:
    unsettled = _unsettled_sizes(tables, a, b)
    if any(end.size is not None and _known_thread(tables, end) is None for end in (a, b)):
        # A size that the tables do not hold may be any thread at all.
        return _Known(_THREAD_FITS, unsettled)
    if unsettled:
        fits = frozenset(
            _fit_of_threads(tables, entering, receiving)
            for entering in _possible_threads(tables, a)
            for receiving in _possible_threads(tables, b)
        )
        return _Known(fits, unsettled)
    entering, receiving = _possible_threads(tables, a)[0], _possible_threads(tables, b)[0]
    fit = _fit_of_threads(tables, entering, receiving)
    gap = round(receiving.major_mm - entering.major_mm, 3)
    return _Known(frozenset({fit}), gap_mm=gap)


_THREAD_FITS: frozenset[Fit] = frozenset(
    {
        *("same", "taper-only", "other-pitch", "enters-loose", "starts-then-jams"),
        *("too-big-same-pitch", "too-big-other-pitch", "apart"),
    }
)


def _possible_threads(tables: Reference, end: End) -> tuple[Thread, ...]:
    known = _known_thread(tables, end)
    return (known,) if known else tables.threads_of(_system(end))


def _fit_of_threads(tables: Reference, entering: Thread, receiving: Thread) -> Fit:
    if entering.designation == receiving.designation:
        return "same"
    pair = tables.lookalike(entering.designation, receiving.designation)
    if pair is None:
        return "apart"
    fit = pair.when_smaller_enters
    enters_smaller = entering.designation == pair.smaller
    if enters_smaller or pair.larger_starts_too or fit in ("taper-only", "other-pitch"):
        return fit
    return "too-big-same-pitch" if fit == "enters-loose" else "too-big-other-pitch"


def _thread_major(tables: Reference, end: End) -> float | None:
    thread = _known_thread(tables, end)
    return thread.major_mm if thread else None


def _diameters(
    entering_mm: float | None,
    receiving_mm: float | None,
    under_mm: float,
    over_mm: float,
    names: tuple[str, str],
) -> _Known:
    if entering_mm is None or receiving_mm is None:
        missing = tuple(
            name
            for name, value in zip(names, (entering_mm, receiving_mm), strict=True)
            if value is None
        )
        return _Known(frozenset({"equal", "smaller", "larger"}), missing)
    gap = round(receiving_mm - entering_mm, 3)
    if -under_mm <= gap <= over_mm:
        return _Known(frozenset({"equal"}), gap_mm=gap)
    return _Known(frozenset({"smaller" if gap > 0 else "larger"}), gap_mm=gap)


def _nominal_diameters(a: End, b: End, limit_mm: float) -> _Known:
    return _diameters(
        _first(a.diameter_mm, _nominal_mm(a.size)),
        _first(b.diameter_mm, _nominal_mm(b.size)),
        limit_mm,
        limit_mm,
        ("a.diameter_mm", "b.diameter_mm"),
    )


def _form_mm(tables: Reference, end: End) -> float | None:
    """The diameter of an end form: measured, or of the form its name settles."""
    if end.diameter_mm is not None or end.size is None:
        return end.diameter_mm
    if end.system != "quick-connect":
        return _nominal_mm(end.size)
    form = tables.quick_connect_form(end.size)
    return form.diameter_mm if form else None


def _barb_mm(end: End) -> float | None:
    if end.diameter_mm is not None:
        return end.diameter_mm
    dash = re.fullmatch(r"-(\d+)", end.size or "")
    if dash and end.barb_style == "push-on":
        # A push-on barb is sized by the bore of its hose, in sixteenths of an inch.
        return int(dash[1]) * 25.4 / 16
    return _nominal_mm(end.size)


def _hose_bore_mm(end: End) -> float | None:
    if end.bore_mm is not None:
        return end.bore_mm
    # Clamped hose is sized by its bore; a dash number never gives one.
    if end.construction in ("rubber-clamped", "rubber-submersible"):
        return _nominal_mm(end.size)
    return None


def _hose_on(tables: Reference, barb_mm: float | None, bore_mm: float | None) -> _Known:
    if barb_mm is None or bore_mm is None:
        missing = [] if barb_mm else ["a.diameter_mm"]
        missing += [] if bore_mm else ["b.bore_mm"]
        return _Known(_BARB_FITS, tuple(missing))
    limit = tables.barb_limit(barb_mm)
    gap = round(bore_mm - barb_mm, 3)
    steps: tuple[tuple[float, Fit], ...] = (
        (-limit.hard_stretch_mm, "over-stretched"),
        (-limit.stretch_mm, "hard-stretch"),
        (0.0, "stretch"),
    )
    for below_mm, fit in steps:
        if gap < below_mm:
            return _Known(frozenset({fit}), gap_mm=gap)
    for to_mm, fit in ((limit.close_mm, "close"), (limit.loose_mm, "loose")):
        if gap <= to_mm:
            return _Known(frozenset({fit}), gap_mm=gap)
    return _Known(frozenset({"too-loose"}), gap_mm=gap)


_BARB_FITS: frozenset[Fit] = frozenset(
    {"over-stretched", "hard-stretch", "stretch", "close", "loose", "too-loose"}
)


def _constructions(a: End, b: End) -> _Known:
    if a.construction is None or b.construction is None:
        missing = tuple(
            f"{side}.construction" for side, end in _sides(a, b) if end.construction is None
        )
        return _Known(frozenset({"same-construction", "other-construction"}), missing)
    same = a.construction == b.construction
    return _Known(frozenset({"same-construction" if same else "other-construction"}))


_FRACTION = re.compile(r"(?:(\d+) )?(\d+)/(\d+)")


def _nominal_mm(size: str | None) -> float | None:
    """The diameter a size text states: `8.5 mm`, or inches as `3/8`, `1 1/4` or `1`."""
    if size is None:
        return None
    if size.endswith(" mm"):
        try:
            return float(size[:-3])
        except ValueError:
            return None
    match = _FRACTION.fullmatch(size)
    if match:
        whole, top, bottom = match.groups()
        return float(int(whole or 0) + Fraction(int(top), int(bottom))) * 25.4
    return int(size) * 25.4 if size in ("1", "2") else None


def _first(*values: float | None) -> float | None:
    return next((value for value in values if value is not None), None)
