"""The programme against brute force: on small carts and catalogues nothing is better than it says.

A small circuit of a pump, a filter and a rail is laid out with random parts between. The other side
tries every way to put pieces in every link, with no tables of faces, no bounds and no solver.
"""

import itertools
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.cart import Cart
from rules.catalogue import Catalogue, catalogue
from rules.facts.joint import part_end
from rules.parts import Component, read_component
from rules.reference.mating import End, mate
from rules.routing import Templates, load_templates, route

ENDS = {
    "f6m": ("flare-37", "-6", "male"),
    "f6f": ("flare-37", "-6", "female"),
    "f8m": ("flare-37", "-8", "male"),
    "f8f": ("flare-37", "-8", "female"),
    "o6m": ("orb", "-6", "male"),
    "o6f": ("orb", "-6", "female"),
}

CIRCUIT = """
id: small
name: A small circuit
preference: 1
serves: [return, returnless, unstated]
stations:
  pump:
    kinds: [pump]
    ports:
      out: {roles: [outlet]}
  filter:
    kinds: [filter]
    ports:
      in: {roles: [inlet]}
      out: {roles: [outlet]}
  rail:
    kinds: [rail]
    ports:
      in: {roles: [inlet]}
links:
  - {from: pump.out, to: filter.in, line: return, by: anything}
  - {from: filter.out, to: rail.in, line: return, by: anything}
"""


def port(name: str, role: str, end: str) -> dict[str, Any]:
    system, size, gender = ENDS[end]
    found: dict[str, Any] = {
        "id": name,
        "role": role,
        "connection": {"system": system, "size": size, "gender": gender},
        "bore": "8 mm",
        "boss_material": "stainless-steel-300",
    }
    if system == "orb" and gender == "male":
        found["seal"] = {"form": "o-ring", "material": "fkm-a", "included": True}
    return found


def part(sku: str, kind: str, cents: int, *ports: dict[str, Any]) -> Component:
    return read_component(
        {
            "sku": sku,
            "name": sku,
            "kind": kind,
            "ports": list(ports),
            "wetted": [{"part": "body", "material": "stainless-steel-300"}],
            "working_pressure": "70 bar",
            "temperature_least": "-40 degC",
            "temperature_most": "150 degC",
            "price": {"amount": f"{cents / 100:.2f}", "currency": "EUR"},
        }
    )


def adapter(sku: str, one: str, other: str, cents: int) -> Component:
    return part(sku, "adapter", cents, port("a", "either", one), port("b", "either", other))


def stations(ends: tuple[str, str, str, str]) -> list[Component]:
    pump_out, filter_in, filter_out, rail_in = ends
    return [
        part("PUMP", "pump", 100, port("out", "outlet", pump_out)),
        part(
            "FILTER",
            "filter",
            100,
            port("in", "inlet", filter_in),
            port("out", "outlet", filter_out),
        ),
        part("RAIL", "rail", 100, port("in", "inlet", rail_in)),
    ]


@pytest.fixture(scope="module")
def templates(tmp_path_factory: pytest.TempPathFactory) -> Templates:
    directory: Path = tmp_path_factory.mktemp("circuits")
    (directory / "small.yaml").write_text(CIRCUIT)
    return load_templates(directory)


# Brute force ------------------------------------------------------------------------------------

Score = tuple[int, int, int, int]
"""Links left open, parts to buy, parts left over, cents."""


@dataclass(frozen=True)
class Filling:
    """One way to fill a link: the adapters in it, whoever they come from."""

    skus: tuple[str, ...]


def joins(one: tuple[Component, str], other: tuple[Component, str]) -> bool:
    return seals(*(end_at(owner, name) for owner, name in (one, other)))


def end_at(owner: Component, name: str) -> End:
    (own,) = [each for each in owner.ports if each.id == name]
    return part_end(owner, own)


@cache
def seals(one: End, other: End) -> bool:
    return mate(one, other).verdict in ("seals", "seals-with")


def rows_from(
    start: tuple[Component, str], parts: list[Component]
) -> Iterator[tuple[tuple[Component, ...], tuple[Component, str]]]:
    """Every row of parts that joins a port, with the port it ends with.

    A row that comes back to a sort of end it has left could do without what lies between.
    """
    waiting: list[tuple[tuple[Component, ...], tuple[Component, str], frozenset[str]]] = [
        ((), start, frozenset({sort_of(start)}))
    ]
    while waiting:
        row, end, left = waiting.pop()
        yield row, end
        for each in parts:
            for entry, leave in (("a", "b"), ("b", "a")):
                sort = sort_of((each, leave))
                if sort not in left and joins(end, (each, entry)):
                    waiting.append(((*row, each), (each, leave), left | {sort}))


def sort_of(end: tuple[Component, str]) -> str:
    owner, name = end
    (own,) = [each for each in owner.ports if each.id == name]
    return str(own.connection)


def fillings(
    start: tuple[Component, str], goal: tuple[Component, str], parts: list[Component]
) -> Iterator[Filling]:
    """Every row of parts that leads from a port to another, without idle parts."""
    rows = {
        tuple(sorted(str(each.sku) for each in row))
        for row, end in rows_from(start, parts)
        if joins(end, goal)
    }
    # A line is not made longer to use up what is there.
    kept: list[Counter[str]] = []
    for row in sorted(rows, key=len):
        if not any(other <= Counter(row) for other in kept):
            kept.append(Counter(row))
            yield Filling(row)


def is_makeshift(
    filling: Filling, others: list[Filling], cart: Counter[str], cents: dict[str, int]
) -> bool:
    """Whether another filling buys and costs no more, with no piece of the cart beside its own.

    What the other has in common with it counts as pieces of the cart, all else as bought.
    """
    own = Counter(filling.skus)
    bought = sum(count for sku, count in own.items() if not cart[sku])
    worth = (bought, sum(cents[sku] for sku in filling.skus), len(filling.skus))
    for other in others:
        shared = Counter({sku: count for sku, count in own.items() if cart[sku]})
        shared &= Counter(other.skus)
        bought = len(other.skus) - shared.total()
        cost = (bought, sum(cents[sku] for sku in other.skus), len(other.skus))
        if cost < worth or (cost == worth and shared.total() < own.total() - worth[0]):
            return True
    return False


def best_by_force(ends: tuple[str, str, str, str], cart: Counter[str], shop: Catalogue) -> Score:
    pump, filt, rail = (shop.parts[sku] for sku in ("PUMP", "FILTER", "RAIL"))
    adapters: list[Component] = [each for each in shop if each.kind == "adapter"]
    cents = {
        str(each.sku): round(float(each.price.amount) * 100) for each in adapters if each.price
    }
    ports = [((pump, "out"), (filt, "in")), ((filt, "out"), (rail, "in"))]
    links: list[list[Filling | None]] = []
    for start, goal in ports:
        found = list(fillings(start, goal, adapters))
        sound = [each for each in found if not is_makeshift(each, found, cart, cents)]
        links.append([None, *sound])
    scores: list[Score] = []
    for choice in itertools.product(*links):
        used = Counter(sku for filling in choice if filling for sku in filling.skus)
        bought = sum((used - cart).values())
        left = sum((cart - used).values())
        price = sum(cents[sku] * count for sku, count in used.items())
        scores.append((sum(filling is None for filling in choice), bought, left, price))
    return min(scores)


# Both together ----------------------------------------------------------------------------------

end_names = st.sampled_from(sorted(ENDS))
four_ends = st.tuples(end_names, end_names, end_names, end_names)
some_adapters = st.lists(
    st.tuples(end_names, end_names, st.integers(1, 999)), min_size=1, max_size=7
)


@given(
    ends=four_ends,
    sold=some_adapters,
    counts=st.lists(st.integers(0, 2), min_size=7, max_size=7),
)
@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
def test_nothing_is_better_than_what_is_found(
    templates: Templates,
    ends: tuple[str, str, str, str],
    sold: list[tuple[str, str, int]],
    counts: list[int],
) -> None:
    adapters = [adapter(f"A{i}", *each) for i, each in enumerate(sold)]
    shop = catalogue(1, [*stations(ends), *adapters])
    held = Counter(
        {str(each.sku): count for each, count in zip(adapters, counts, strict=False) if count}
    )
    lines: list[dict[str, Any]] = [{"sku": sku} for sku in ("PUMP", "FILTER", "RAIL")]
    lines += [{"sku": sku, "quantity": count} for sku, count in sorted(held.items())]
    cart = Cart.model_validate({"application": {"fuel": "E10"}, "layout": "small", "lines": lines})
    routing = route(cart, shop, templates)
    assert routing.proved_best
    found = routing.objective
    stations_cents = 300
    score = (found.unfilled, found.bought, found.left_over, found.price_cents - stations_cents)
    assert score == best_by_force(ends, held, shop)
