"""Ends of parts as far as joining them is concerned, and which of them seal on which.

Many ports are one *face*: all -6 flare males join alike, whatever part they are on. Faces keep the
search small; the mating tables decide, and each pair of faces is asked once.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Literal
from weakref import WeakValueDictionary

from rules import parts
from rules.facts.joint import part_end
from rules.reference import reference
from rules.reference.mating import End, Mating, mate

Grade = Literal[0, 1]
"""How well two faces join: 0 tight, 1 only under a condition."""

_TAPER = frozenset({"npt", "nptf", "bspt"})
_HARD_BOSSES = frozenset({"brass", "bronze", "stainless-steel-300", "carbon-steel"})
_HARD_FAMILIES = frozenset({"steel-zinc-plated", "nickel-plated", "titanium"})


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Face:
    """An end of a part. Of equal faces there is one object, so that they compare at once.

    Attributes:
        end: what the mating tables ask of it, all else left out.
        series: maker's series, where a hose end grips a hose.
        soft: whether it is a taper port in a metal that a taper splits, or in an unknown one.
        pin: name of the joint that the caller has settled for it; it joins nothing else.
    """

    end: End
    series: str | None = None
    soft: bool = False
    pin: str | None = None


def face_of(part: parts.Component, port: parts.Port, pin: str | None = None) -> Face:
    """The face of a port; ports that join alike give equal faces."""
    end = part_end(part, port)
    hose = end.system == "hose-end"
    threaded = end.system is not None and _joins_by(end.system) == "thread"
    series = getattr(part.spec, "series", None) if hose else None
    taper_port = end.system in _TAPER and end.gender == "female"
    boss = port.boss_material
    return _the_one(
        end=End(
            system=end.system,
            size=end.size,
            gender=end.gender,
            diameter_mm=None if threaded and end.system != "banjo" else end.diameter_mm,
            bead=None if threaded else end.bead,
            port_form=end.port_form if threaded else None,
            barb_style=end.barb_style,
            construction=end.construction if hose else None,
            bore_mm=end.bore_mm if hose and end.gender == "female" else None,
            tube_flare_deg=end.tube_flare_deg,
        ),
        series=series,
        soft=taper_port and boss not in _HARD_BOSSES and boss not in _HARD_FAMILIES,
        pin=pin,
    )


class FaceReader:
    """Reads the faces of many parts: what it has seen once it does not work out again."""

    def __init__(self) -> None:
        self._seen: dict[tuple[object, ...], Face] = {}

    def __call__(self, part: parts.Component, port: parts.Port) -> Face:
        """The face of a port."""
        connection, spec = port.connection, part.spec
        key: tuple[object, ...] = (
            *(connection and connection.system, connection and connection.size),
            *(connection and connection.gender, port.diameter_mm, port.bead, port.form),
            *(port.barb_style, port.flare_angle_deg, port.boss_material),
        )
        if connection is not None and connection.system == "hose-end":
            own = port.bore_mm or getattr(spec, "bore_mm", None)
            built = getattr(spec, "construction", getattr(spec, "for_construction", None))
            key = (*key, own, built, getattr(spec, "series", None))
        found = self._seen.get(key)
        if found is None:
            found = self._seen[key] = face_of(part, port)
        return found


_FACES: WeakValueDictionary[tuple[object, ...], Face] = WeakValueDictionary()


def _the_one(end: End, series: str | None, soft: bool, pin: str | None) -> Face:
    key = (end, series, soft, pin)
    found = _FACES.get(key)
    if found is None:
        found = _FACES[key] = Face(end, series, soft, pin)
    return found


@cache
def _joins_by(system: str) -> str:
    return next(row.joins_by for name, row in reference().systems.items() if name == system)


def grade(one: Face, other: Face) -> Grade | None:
    """How well two faces join; `None` where they do not, or where nobody can tell."""
    if one.pin is not None or other.pin is not None:
        # What the caller has joined is joined, and to nothing else; the rules judge it.
        return 0 if one.pin == other.pin and one is not other else None
    if other.end.system not in _partners().get(one.end.system or "", frozenset()):
        return None
    return _grade(one, other)


@lru_cache(maxsize=200_000)
def _grade(one: Face, other: Face) -> Grade | None:
    verdict = mating(one.end, other.end).verdict
    if verdict == "conditional":
        return 1
    if verdict not in ("seals", "seals-with"):
        return None
    taper = {one.end.system, other.end.system} & _TAPER
    splits = bool(taper) and (one.soft or other.soft)
    return 1 if splits or _series_mixed(one, other) else 0


@lru_cache(maxsize=50_000)
def mating(one: End, other: End) -> Mating:
    """What becomes of two ends put together; the same ends meet in cart after cart."""
    return mate(one, other)


def _series_mixed(one: Face, other: Face) -> bool:
    """Whether a hose end of one series would grip a hose of another, or of an unknown one."""
    if not one.end.system == other.end.system == "hose-end":
        return False
    return one.series is None or one.series != other.series


@cache
def _partners() -> Mapping[str, frozenset[str]]:
    """For each system those with which some pair of ends may be tight."""
    tables = reference()
    found: defaultdict[str, set[str]] = defaultdict(set)
    for row in tables.mates.values():
        if not row.decides or row.verdict not in ("seals", "seals-with", "conditional"):
            continue
        for enters in row.enters:
            for receives in row.receives:
                found[enters].add(receives)
                found[receives].add(enters)
    return {system: frozenset(others) for system, others in found.items()}
