"""Time carts of up to 60 lines and more, replacements and mates, on catalogues small and large.

    python -m tests.benchmarks.bench_routing

The large catalogue of 100,000 parts is made of the demo shop's parts many times over at other
prices, and of adapters between all the ends of the trade that the tables know. Times are of one
process on one core, the catalogue left out of garbage collection as the server does. `first` is the
first cart with its application and vehicle, whose conditions decide which parts serve; `again` is
the median of the same cart asked again. `x` is how many times as long it takes as the complete cart
of the same shop.
"""

import gc
import itertools
import resource
import statistics
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from rules.assembly import Vehicle
from rules.cart import Cart
from rules.carts import check_cart
from rules.catalogue import Catalogue, catalogue
from rules.check import load_rules
from rules.interchange import mates, prepare, replacements
from rules.parts import Component, Price, read_component
from rules.reference import reference
from rules.routing import Routing, Templates, load_templates, route
from rules.routing.offers import Offers
from seed_data import demo_assemblies, demo_components, demo_vehicles

PARTS = 100_000
ROUNDS = 7
DASHES = ("-4", "-6", "-8", "-10", "-12")
THREADS = (
    *(("flare-37", size) for size in DASHES),
    *(("orb", size) for size in DASHES),
    *(("npt", size) for size in ("1/8", "1/4", "3/8", "1/2")),
    *(("bspp", size) for size in ("1/8", "1/4", "3/8", "1/2")),
    *(("metric-flat", size) for size in ("M12x1.5", "M14x1.5", "M16x1.5", "M18x1.5")),
    *(("iso-6149", size) for size in ("M14x1.5", "M16x1.5")),
    *(("quick-connect", size) for size in ("5/16", "3/8")),
)
FORMS_MM = {"5/16": 7.89, "3/8": 9.49}


def end(system: str, size: str, gender: str) -> dict[str, Any]:
    """A port's connection with what its system needs besides."""
    port: dict[str, Any] = {
        "role": "either",
        "connection": {"system": system, "size": size, "gender": gender},
        "bore": "7 mm",
        "boss_material": "stainless-steel-300",
        "angle": "0 deg",
        "swivel": gender == "female",
    }
    if system == "quick-connect":
        port |= {"diameter": f"{FORMS_MM[size]} mm", "bead": True, "retention": "latch-steel"}
    if system in ("orb", "iso-6149", "bspp", "metric-flat") and gender == "male":
        port["seal"] = {"form": "o-ring", "material": "fkm-a", "included": True}
    return port


def conduits() -> Iterator[Component]:
    """Adapters and hoses between all pairs of ends."""
    ends = [(*thread, gender) for thread in THREADS for gender in ("male", "female")]
    for number, (one, other) in enumerate(itertools.combinations_with_replacement(ends, 2)):
        yield read_component(
            {
                "sku": f"BN-ADP-{number}",
                "name": "Adapter",
                "kind": "adapter",
                "ports": [{"id": "a", **end(*one)}, {"id": "b", **end(*other)}],
                "wetted": [{"part": "body", "material": "stainless-steel-300"}],
                "working_pressure": "70 bar",
                "temperature_least": "-40 degC",
                "temperature_most": "150 degC",
                "spec": {"form": "straight"},
            }
        )


def many_parts() -> Iterator[Component]:
    """The demo shop, then its parts and the conduits again and again at other prices."""
    demo = demo_components()
    yield from demo
    copied = [*conduits(), *(part for part in demo if part.lifecycle == "sold")]
    for number in range(PARTS - len(demo)):
        part = copied[number % len(copied)]
        cents = 2000 + (number * 7919) % 6000
        yield part.model_copy(
            update={
                "sku": f"BN-{number:06d}",
                "price": Price(amount=f"{cents / 100:.2f}", currency="EUR"),
            }
        )


DEMO = "05-pickup-steel-lines"
FORGOTTEN = ("line-in", "back-out")
"""Two adapters of the demo, at the car's own lines; no other part of it takes their places."""


def demo_cart(
    *, without: tuple[str, ...] = (), beside: int = 0, fold: int = 1, boost: str | None = None
) -> Cart:
    """The pickup's cart, changed.

    Args:
        without: refs of what is forgotten; nothing of their SKUs is put beside the rest.
        beside: how many lines of adapters, caps and clamps that nothing asks for are in it as well.
        fold: how many times each adapter of it and beside it is there.
        boost: another application: the pickup with a blower.
    """
    demo = next(each for each in demo_assemblies() if each.slug == DEMO)
    gone = {item.sku for item in demo.request.items if item.ref in without}
    kinds = {part.sku: part.kind for part in demo_components()}
    lines: list[dict[str, Any]] = []
    for item in demo.request.items:
        if item.ref not in without:
            folded = kinds[item.sku or ""] == "adapter" and item.sku not in gone
            times = fold if folded else 1
            cut = {"length": f"{item.length_mm / 1000:g} m"} if item.length_mm else {}
            lines.append({"sku": item.sku, "quantity": item.quantity * times, **cut})
    extra = [
        {"sku": sku, "quantity": fold}
        for sku, kind in kinds.items()
        if kind in ("adapter", "cap", "clamp") and sku not in gone
    ]
    application = dict(demo.body["application"])
    if boost is not None:
        application |= {"induction": "supercharged", "boost": boost}
    return Cart.model_validate(
        {
            "application": application,
            "vehicle": demo.body["vehicle"],
            "lines": [*lines, *extra[:beside]],
        }
    )


CARTS = {
    "complete, 20 lines beside it": demo_cart(beside=20),
    "complete, every adapter twice": demo_cart(fold=2),
    "2 adapters forgotten": demo_cart(without=FORGOTTEN),
    "2 adapters forgotten, 23 lines beside it": demo_cart(without=FORGOTTEN, beside=23),
    "2 adapters forgotten, every other of the shop beside it": demo_cart(
        without=FORGOTTEN, beside=1000
    ),
    "2 adapters forgotten, every other of the shop twice": demo_cart(
        without=FORGOTTEN, beside=1000, fold=2
    ),
}


def roomy(vehicle: Vehicle) -> Vehicle:
    """The vehicle without the run that the demo's reference hose is short of."""
    runs = tuple(run for run in vehicle.runs if run.name != "regulator to manifold")
    return vehicle.model_copy(update={"runs": runs})


def timed(call: Callable[[], Any]) -> tuple[float, float]:
    """Milliseconds of the first call, and the median of some more."""
    times = []
    for _ in range(ROUNDS + 1):
        started = time.perf_counter()
        call()
        times.append((time.perf_counter() - started) * 1e3)
    return times[0], statistics.median(times[1:])


def shown(routing: Routing) -> str:
    """What a routing came to, in a few words."""
    links = sum(each.what == "link" for each in routing.unfilled)
    proved = "proved" if routing.proved_best else "NOT PROVED"
    return f"{links} links missing, {routing.objective.bought} to buy, {proved}"


def time_carts(name: str, shop: Catalogue, templates: Templates) -> None:
    """Print the times of carts on a shop."""
    whole = 0.0
    for what, cart in CARTS.items():
        first, again = timed(lambda c=cart: route(c, shop, templates))  # type: ignore[misc]
        whole = whole or again
        print(
            f"{name}: {len(cart.lines)} lines, {what}: first {first:.0f} ms, again {again:.0f} ms, "
            f"x {again / whole:.1f} ({shown(route(cart, shop, templates))})"
        )
    book = load_rules()
    cart = demo_cart(without=FORGOTTEN, beside=23)
    _, again = timed(lambda: check_cart(cart, shop, book, templates))
    print(
        f"{name}: the fourth of them with both reports: again {again:.0f} ms, x {again / whole:.1f}"
    )
    other = demo_cart(without=FORGOTTEN, beside=23, boost="0.4 bar")
    first, _ = timed(lambda: route(other, shop, templates))
    print(f"{name}: the same with a blower: first {first:.0f} ms, x {first / whole:.1f}")


def time_interchange(name: str, shop: Catalogue) -> None:
    """Print the times of replacements and mates on a shop."""
    for sku, port in (("HF-HSE-6-FF", "a"), ("HF-ADP-ORB6-JIC6M", "a"), ("HF-PMP-255", "outlet")):
        part = shop.parts[sku]
        first, again = timed(lambda p=part: replacements(shop, p, ("E10",)))  # type: ignore[misc]
        print(f"{name}: replacements of {sku}: first {first:.1f} ms, again {again:.2f} ms")
        first, again = timed(lambda p=part, e=port: mates(shop, p, e))  # type: ignore[misc]
        count = mates(shop, part, port).count
        print(f"{name}: {count} mates of {sku}.{port}: first {first:.1f} ms, again {again:.2f} ms")


def resident_mb() -> float:
    """The memory that the process has, on Linux."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 2**20


def main() -> None:
    """Print the times."""
    reference()
    templates = load_templates()
    vehicles = [roomy(vehicle) for vehicle in demo_vehicles()]
    for name, make in (("demo shop", demo_components), ("large shop", lambda: tuple(many_parts()))):
        parts = make()
        gc.collect()
        gc.freeze()
        started, before_mb = time.perf_counter(), resident_mb()
        shop = catalogue(1, parts, vehicles)
        held, held_mb = time.perf_counter(), resident_mb()
        shop.derived(Offers)
        prepare(shop)
        indexed = time.perf_counter()
        print(
            f"{name}: {len(shop.parts)} parts, snapshot {(held - started) * 1e3:.0f} ms and "
            f"{held_mb - before_mb:.0f} MB, its indexes {(indexed - held) * 1e3:.0f} ms and "
            f"{resident_mb() - held_mb:.0f} MB"
        )
        gc.collect()
        gc.freeze()
        time_carts(name, shop, templates)
        time_interchange(name, shop)


if __name__ == "__main__":
    main()
