"""What is put on the joints: seals, sleeves, clamps, sealant, counted against what is in the list.

A list rarely says which clamp goes where. What a joint names in `uses` is its own; the rest of the
list is handed out to the joints that need it, in the order of their names, until it is used up.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping

from rules import parts
from rules.circuit import Circuit, PlacedItem, PlacedJoint
from rules.reference.mating import Mating, Need
from rules.schema import UNKNOWN, Maybe

SEAL_PARTS = frozenset({"o-ring", "bonded-washer", "crush-washer", "flat-gasket"})
SLEEVE_PARTS = frozenset({"flare-sleeve", "compression-sleeve"})


class Supplies:
    """What each joint of a circuit gets, and what it lacks."""

    def __init__(self, circuit: Circuit, matings: Mapping[PlacedJoint, Mating]) -> None:
        self._circuit = circuit
        self._matings = matings
        self._named = {item for joint in circuit.joints for item in joint.uses}
        self._loose_clamps = _items(circuit, parts.ClampSpec, self._named)
        self._loose_sealants = _items(circuit, parts.SealantSpec, self._named)
        self._lacking = self._hand_out_seals()

    def _hand_out_seals(self) -> Mapping[PlacedJoint, tuple[tuple[Need, bool | None], ...]]:
        """For each joint, the seals that neither end brings and the list does not hold."""
        stock: Counter[PlacedItem] = Counter()
        for item in _items(self._circuit, parts.SealSpec, self._named):
            stock[item] = item.item.quantity * (item.part.spec.pieces or 1)  # type: ignore[union-attr]
        lacking: dict[PlacedJoint, tuple[tuple[Need, bool | None], ...]] = {}
        for joint, mating in self._matings.items():
            short = []
            for need in mating.needs:
                wanted = need.count * joint.pieces
                if need.provided or self._named_supply(joint, need):
                    continue
                if _take(stock, need, joint, wanted):
                    continue
                short.append((need, need.provided))
            lacking[joint] = tuple(short)
        return lacking

    @staticmethod
    def _named_supply(joint: PlacedJoint, need: Need) -> bool:
        return any(_serves(item, need, joint) for item in joint.uses)

    def lacking(self, joint: PlacedJoint) -> tuple[Need, ...]:
        """The seals and sleeves of a joint that neither end brings and the list does not hold."""
        return tuple(need for need, _ in self._lacking[joint])

    def clamps_at(self, joint: PlacedJoint) -> tuple[PlacedItem, ...]:
        """The clamps that are meant for a joint: those it names, else the loose ones."""
        named = tuple(i for i in joint.uses if isinstance(i.part.spec, parts.ClampSpec))
        return named or (tuple(self._loose_clamps) if self._needs_clamp(joint) else ())

    def seal_missing(self, joint: PlacedJoint) -> Maybe[bool]:
        """Whether an O-ring, washer or gasket is missing; banjo washers are counted together."""
        return self._missing(joint, SEAL_PARTS - _counted_together(joint))

    def sleeve_missing(self, joint: PlacedJoint) -> Maybe[bool]:
        """Whether a flare nut lacks the sleeve that presses the tube."""
        return self._missing(joint, SLEEVE_PARTS)

    def _missing(self, joint: PlacedJoint, wanted: Iterable[str]) -> Maybe[bool]:
        short = [known for need, known in self._lacking[joint] if set(need.parts) & set(wanted)]
        if not short:
            return False
        return True if False in short else UNKNOWN

    def seal_wanted(self, joint: PlacedJoint) -> str:
        """The seals a joint needs, in words."""
        needs = [n for n in self._matings[joint].needs if set(n.parts) & SEAL_PARTS]
        return "; ".join(_in_words(need) for need in needs) or "none"

    @staticmethod
    def washer_reused(joint: PlacedJoint) -> bool:
        """Whether a washer named for the joint was fitted before."""
        return any(
            isinstance(item.part.spec, parts.SealSpec) and item.part.spec.reused is True
            for item in joint.uses
        )

    def clamp(self, joint: PlacedJoint) -> Maybe[str]:
        """Style of the clamp on a joint: the one named, else the only style in the list."""
        candidates = self.clamps_at(joint)
        if not candidates:
            return "none"
        styles = {_clamp_spec(item).style for item in candidates}
        style = styles.pop()
        return UNKNOWN if styles or style is None else style

    def clamp_fits(self, joint: PlacedJoint) -> Maybe[bool]:
        """Whether the clamp's range covers the outside of the hose; true where there is none."""
        candidates = self.clamps_at(joint)
        if not candidates:
            return True
        outside = [
            end.item.part.spec.outside_diameter_mm
            for end in joint.ends
            if isinstance(end.item.part.spec, parts.HoseMarks)
        ]
        fits = [covers(_clamp_spec(c), d) for c in candidates for d in outside]
        if not fits or None in fits:
            return UNKNOWN
        return any(fits)

    def _needs_clamp(self, joint: PlacedJoint) -> bool:
        return any("clamp" in need.parts for need in self._matings[joint].needs)

    def sealant(self, joint: PlacedJoint) -> str:
        """What is on the thread: as stated, else the list's sealant where the joint wants some."""
        if joint.sealant is not None:
            return joint.sealant
        wants = any("sealant" in need.parts for need in self._matings[joint].needs)
        named = [i for i in joint.uses if isinstance(i.part.spec, parts.SealantSpec)]
        for item in named or (self._loose_sealants if wants else []):
            assert isinstance(item.part.spec, parts.SealantSpec)
            if item.part.spec.sealant is not None:
                return item.part.spec.sealant
        return "none"


def _items(circuit: Circuit, spec: type, named: set[PlacedItem]) -> list[PlacedItem]:
    return [
        item
        for item in circuit.items.values()
        if isinstance(item.part.spec, spec) and item not in named
    ]


def _clamp_spec(item: PlacedItem) -> parts.ClampSpec:
    assert isinstance(item.part.spec, parts.ClampSpec)
    return item.part.spec


def covers(clamp: parts.ClampSpec, outside_mm: float | None) -> bool | None:
    """Whether a clamp's range holds a hose's outside diameter; `None` where either is unknown."""
    least, most = clamp.least_diameter_mm, clamp.most_diameter_mm
    if outside_mm is None or least is None or most is None:
        return None
    return least <= outside_mm <= most


def _counted_together(joint: PlacedJoint) -> frozenset[str]:
    banjo = any(
        end.port.connection is not None and end.port.connection.system == "banjo"
        for end in joint.ends
    )
    return frozenset({"crush-washer"}) if banjo else frozenset()


def _serves(item: PlacedItem, need: Need, joint: PlacedJoint) -> bool:
    spec = item.part.spec
    if not isinstance(spec, parts.SealSpec) or spec.form not in need.parts:
        return False
    sizes = {e.port.connection.size for e in joint.ends if e.port.connection} | {need.size}
    return spec.size is None or spec.size in sizes


def _take(stock: Counter[PlacedItem], need: Need, joint: PlacedJoint, wanted: int) -> bool:
    for item, left in stock.items():
        if left >= wanted and _serves(item, need, joint):
            stock[item] -= wanted
            return True
    return False


def _in_words(need: Need) -> str:
    names = [part.replace("-", " ").replace("o ring", "O-ring") for part in need.parts]
    what = " or ".join(names) + (f" {need.size}" if need.size else "")
    return f"{need.count} x {what}" if need.count > 1 else what
