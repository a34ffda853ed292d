"""The parts a shop knows, as one immutable snapshot with the indexes that the rules ask."""

from __future__ import annotations

import difflib
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TypeVar, cast

from rules.assembly import Vehicle
from rules.parts import Component, Port
from rules.quantities import plain_text

T = TypeVar("T")

_GAPS = re.compile(r"[\s_.-]+")
_LEADING_ZEROS = re.compile(r"(?<!\d)0+(?=\d)")


def lookup_key(sku: str) -> str:
    """The key under which look-alike part numbers meet: case, dashes and blanks folded.

    Zeros are kept: `0017` and `17` are two part numbers.
    """
    return _GAPS.sub("-", plain_text(sku)).strip("-").casefold()


def _bare(key: str) -> str:
    """A look-up key without the zeros that begin its groups of digits."""
    return _LEADING_ZEROS.sub("", key)


@dataclass(frozen=True, slots=True)
class PortOfPart:
    """A port together with the catalogue part it belongs to."""

    part: Component
    port: Port


def connection_key(port: Port) -> tuple[str, str | None] | None:
    """System and size of a port, the key of the connection index."""
    if port.connection is None:
        return None
    return (port.connection.system, port.connection.size)


@dataclass(frozen=True)
class Catalogue:
    """All components and vehicles at one revision.

    Build it with `catalogue()`, which fills the indexes.
    """

    revision: int
    parts: Mapping[str, Component]
    vehicles: Mapping[str, Vehicle]
    _by_kind: Mapping[str, tuple[Component, ...]] = field(repr=False)
    _by_connection: Mapping[tuple[str, str | None], tuple[PortOfPart, ...]] = field(repr=False)
    _by_key: Mapping[str, tuple[str, ...]] = field(repr=False)
    _by_bare_key: Mapping[str, tuple[str, ...]] = field(repr=False)
    _derived: dict[object, object] = field(default_factory=dict, repr=False, compare=False)

    def __iter__(self) -> Iterator[Component]:
        return iter(self.parts.values())

    def get(self, sku: str) -> Component | None:
        """The component of this SKU, letter for letter."""
        return self.parts.get(sku)

    def offered(self, kind: str) -> tuple[Component, ...]:
        """The components of a kind that the shop sells, in order of SKU."""
        return self._by_kind.get(kind, ())

    def offered_ports(self, system: str, size: str | None) -> tuple[PortOfPart, ...]:
        """Ports of sold components with this system and size, in order of SKU and port."""
        return self._by_connection.get((system, size), ())

    def derived(self, build: Callable[[Catalogue], T]) -> T:
        """What `build` makes of this snapshot: made once, and kept as long as the snapshot is.

        For indexes that need more than a catalogue knows of itself. Two threads may both build
        one; they build the same.
        """
        if build not in self._derived:
            self._derived[build] = build(self)
        return cast(T, self._derived[build])

    def near(self, sku: str, most: int = 3) -> tuple[str, ...]:
        """Known SKUs that a caller may have meant, best first.

        The same number written with other dashes, blanks or case comes first, then the same with
        the zeros that a spreadsheet drops, then mere resemblance.
        """
        key = lookup_key(sku)
        same = self._by_key.get(key, ())
        same += tuple(s for s in self._by_bare_key.get(_bare(key), ()) if s not in same)
        alike = difflib.get_close_matches(key, self._by_key, n=most, cutoff=0.75)
        found = dict.fromkeys([*same, *(s for k in alike for s in self._by_key[k])])
        return tuple(found)[:most]


def catalogue(
    revision: int, parts: Iterable[Component], vehicles: Iterable[Vehicle] = ()
) -> Catalogue:
    """A catalogue snapshot of these parts and vehicles.

    Args:
        revision: number that rises with each write.
        parts: components, each with a SKU.
        vehicles: vehicles with their fixed parts.

    Raises:
        ValueError: a part has no SKU, or two parts share one.
    """
    by_sku: dict[str, Component] = {}
    for part in parts:
        if part.sku is None:
            raise ValueError(f"`{part.name}` has no SKU.")
        if part.sku in by_sku:
            raise ValueError(f"Two parts have the SKU `{part.sku}`.")
        by_sku[part.sku] = part
    ordered = dict(sorted(by_sku.items()))
    by_kind: defaultdict[str, list[Component]] = defaultdict(list)
    by_connection: defaultdict[tuple[str, str | None], list[PortOfPart]] = defaultdict(list)
    by_key: defaultdict[str, list[str]] = defaultdict(list)
    by_bare_key: defaultdict[str, list[str]] = defaultdict(list)
    for sku, part in ordered.items():
        key = lookup_key(sku)
        by_key[key].append(sku)
        by_bare_key[_bare(key)].append(sku)
        if part.lifecycle != "sold":
            continue
        by_kind[part.kind].append(part)
        for port in part.ports:
            if (connection := connection_key(port)) is not None:
                by_connection[connection].append(PortOfPart(part, port))
    return Catalogue(
        revision=revision,
        parts=MappingProxyType(ordered),
        vehicles=MappingProxyType({v.id: v for v in sorted(vehicles, key=lambda v: v.id)}),
        _by_kind=MappingProxyType({k: tuple(v) for k, v in by_kind.items()}),
        _by_connection=MappingProxyType({k: tuple(v) for k, v in by_connection.items()}),
        _by_key=MappingProxyType({k: tuple(v) for k, v in by_key.items()}),
        _by_bare_key=MappingProxyType({k: tuple(v) for k, v in by_bare_key.items()}),
    )
