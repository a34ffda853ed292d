"""What is recorded of a part's passages, and what stands for what is not.

A bore is never read off a dash number. Where none is recorded, the smallest and the largest known
bore of that size bracket it: the ledger is asked twice, for the best and for the worst, and an
answer that is the same at both is an answer.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from rules.circuit import PlacedItem, PlacedPort
from rules.facts.case import Gap
from rules.facts.flow.practice import LONGEST_PITCH_MM, ROUGHEST_SHARE, SMOOTH_MM
from rules.reference import Reference

# Ends that are the tube or the hose itself and no fitting on it.
_OWN_ENDS = frozenset({"hose-end", "plain-tube", "beaded-tube", "compression", "inverted-flare"})
_HOSES = ("hose-assembly", "bulk-hose")
_BODIES = (*_HOSES, "hard-line", "rail")


@dataclass(frozen=True, slots=True)
class Shortfall:
    """Something that is not recorded and that the flow hangs on.

    Attributes:
        gap: what, and of what.
        line: the line it is in, `None` where that is not known.
        low, high: what stands for it; both `None` where nothing can.
        unit: of `low` and `high`.
    """

    gap: Gap
    line: str | None
    low: float | None = None
    high: float | None = None
    unit: str = "mm"

    @property
    def bounded(self) -> bool:
        """Whether both ends are known."""
        return self.low is not None


@dataclass
class Ledger:
    """Looks up bores, lengths and roughness at one end of what is known."""

    table: Reference
    worst: bool
    shortfalls: dict[Gap, Shortfall] = field(default_factory=dict)

    def lacks(self, what: str, of: str, line: str | None) -> None:
        """Note something that nothing can stand for."""
        gap = Gap(what, of)
        self.shortfalls.setdefault(gap, Shortfall(gap, line))

    def between(
        self, what: str, of: str, line: str | None, wide: float, narrow: float, unit: str = "mm"
    ) -> float:
        """Note something between two values and return the end that is asked for.

        `wide` is the value that lets more fuel through.
        """
        gap = Gap(what, of)
        low, high = sorted((wide, narrow))
        self.shortfalls.setdefault(gap, Shortfall(gap, line, low, high, unit))
        return narrow if self.worst else wide

    def port_bore(self, port: PlacedPort, line: str | None) -> float | None:
        """The hole through a port [mm]; `None` where nothing bounds it."""
        if port.port.bore_mm is not None:
            return port.port.bore_mm
        body = recorded_body_bore(port.item)
        system = port.port.connection.system if port.port.connection else None
        if body is not None and system in _OWN_ENDS:
            return body
        bracket = self._bracket(port)
        if bracket is None:
            self.lacks("bore", port.name, line)
            return None
        low, high = bracket
        if body is not None and port.item.kind in _HOSES:
            # The nipple of a hose end is gripped inside the hose.
            low, high = min(low, body), min(high, body)
        return self.between("bore", port.name, line, high, low)

    def _bracket(self, port: PlacedPort) -> tuple[float, float] | None:
        """The smallest and the largest known bore of the port's size."""
        connection = port.port.connection
        if connection is None or connection.size is None:
            return None
        return known_bores(self.table, connection.size)

    def body_bore(self, item: PlacedItem, line: str | None) -> float | None:
        """The bore of a hose, a tube or a rail between its ends [mm]."""
        recorded = recorded_body_bore(item)
        if recorded is not None:
            return recorded
        bracket = self._body_bracket(item)
        if bracket is None:
            self.lacks("bore", item.ref, line)
            return None
        low, high = bracket
        return self.between("bore", item.ref, line, high, low)

    def _body_bracket(self, item: PlacedItem) -> tuple[float, float] | None:
        spec: Any = item.part.spec
        if item.kind in _HOSES:
            size = getattr(spec, "size", None) or _common_size(item)
            return self.table.bore_bracket_mm(size, spec.construction) if size else None
        if item.kind == "hard-line" and spec.outside_diameter_mm is not None:
            bores = [
                row.bore_mm
                for row in self.table.tube_bores
                if abs(row.od_mm - spec.outside_diameter_mm) < 0.05
            ]
            return (min(bores), max(bores)) if bores else None
        return None

    def length(self, item: PlacedItem, line: str | None) -> float | None:
        """The length of a hose, a tube [mm]; `None` where nobody stated it."""
        length = item.item.length_mm or getattr(item.part.spec, "length_mm", None)
        if length is None:
            self.lacks("length", item.ref, line)
        return length

    def pitch(self, rail: PlacedItem, seats: int, line: str | None) -> float:
        """The distance between two injectors of a rail [mm]."""
        spec: Any = rail.part.spec
        if spec.injector_pitch_mm is not None:
            return float(spec.injector_pitch_mm)
        if spec.length_mm is not None:
            return float(spec.length_mm) / seats
        return self.between("injector pitch", rail.ref, line, 1.0, LONGEST_PITCH_MM)

    def roughness(self, item: PlacedItem, bore_mm: float, line: str | None) -> float:
        """Height of the wall's roughness [mm]."""
        construction = getattr(item.part.spec, "construction", "drawn")
        if construction == "ptfe-convoluted":
            return ROUGHEST_SHARE * bore_mm
        if construction is None:
            rough = ROUGHEST_SHARE * bore_mm
            return self.between("construction", item.ref, line, SMOOTH_MM, rough, "mm of roughness")
        return SMOOTH_MM


def recorded_body_bore(item: PlacedItem) -> float | None:
    """The bore that the catalogue records of a hose, a tube or a rail itself."""
    return item.part.spec.bore_mm if item.kind in _BODIES else None  # type: ignore[union-attr]


def _common_size(item: PlacedItem) -> str | None:
    sizes = {port.port.connection.size for port in item.ports if port.port.connection}
    return sizes.pop() if len(sizes) == 1 else None


@lru_cache(maxsize=256)
def known_bores(table: Reference, size: str) -> tuple[float, float] | None:
    """The smallest and the largest known bore of a dash, hoses and fittings alike [mm]."""
    bores = [*(table.bore_bracket_mm(size) or ())]
    bores += [row.bore_mm for row in table.fitting_bores if row.size == size]
    return (min(bores), max(bores)) if bores else None
