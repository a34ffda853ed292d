"""Time a cart of 60 lines, and replacements and mates, on a catalogue of 100,000 parts.

    python -m tests.benchmarks.bench_routing

The catalogue is made of the demo shop's parts many times over at other prices, and of adapters and
hoses between all the ends of the trade that the tables know. Times are of one process on one core;
`cold` is the first question to a catalogue, `warm` the same one again.
"""

import itertools
import statistics
import time
from collections.abc import Callable, Iterator
from typing import Any

from rules.assembly import Vehicle
from rules.cart import Cart
from rules.carts import check_cart
from rules.catalogue import Catalogue, catalogue
from rules.check import load_rules
from rules.interchange import mates, replacements
from rules.parts import Component, Price, read_component
from rules.reference import reference
from rules.routing import Routing, load_templates, route
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


def cart_of_sixty(*, without: int) -> Cart:
    """The pickup's cart with other lines beside it, some of its own left out."""
    demo = next(each for each in demo_assemblies() if each.slug == "05-pickup-steel-lines")
    own = [item for item in demo.request.items if item.ref not in ("line-in", "back-out")[:without]]
    lines = [
        {
            "sku": item.sku,
            "quantity": item.quantity,
            **({"length": f"{item.length_mm / 1000:g} m"} if item.length_mm else {}),
        }
        for item in own
    ]
    extra = [part.sku for part in demo_components() if part.kind in ("adapter", "cap", "clamp")]
    lines += [{"sku": sku} for sku in extra[: 60 - len(lines)]]
    return Cart.model_validate(
        {"application": demo.body["application"], "vehicle": demo.body["vehicle"], "lines": lines}
    )


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
    bought = sum(len(each.options[0].parts) for each in routing.completion)
    proved = "proved" if routing.proved_best else "not proved"
    return f"{len(routing.joints)} joints, {bought} to buy, {len(routing.left_over)} left, {proved}"


def main() -> None:
    """Print the times."""
    reference()
    templates, book = load_templates(), load_rules()
    vehicles = [roomy(vehicle) for vehicle in demo_vehicles()]
    shops: dict[str, Catalogue] = {}
    for name, parts in (("demo shop", demo_components()), ("large shop", tuple(many_parts()))):
        started = time.perf_counter()
        shops[name] = catalogue(1, parts, vehicles)
        took = (time.perf_counter() - started) * 1e3
        print(f"{name}: {len(shops[name].parts)} parts, snapshot in {took:.0f} ms")
    for name, shop in shops.items():
        for without in (0, 2):
            cart = cart_of_sixty(without=without)
            cold, warm = timed(lambda c=cart, s=shop: route(c, s, templates))  # type: ignore[misc]
            what = shown(route(cart, shop, templates))
            missing = f"{without} parts forgotten" if without else "complete"
            print(f"{name}, 60 lines, {missing}: cold {cold:.0f} ms, warm {warm:.1f} ms ({what})")
        _, warm = timed(lambda c=cart, s=shop: check_cart(c, s, book, templates))  # type: ignore[misc]
        print(f"{name}, 60 lines, 2 parts forgotten, with both reports: warm {warm:.1f} ms")
        for sku, port in (
            ("HF-HSE-6-FF", "a"),
            ("HF-ADP-ORB6-JIC6M", "a"),
            ("HF-PMP-255", "outlet"),
        ):
            part = shop.parts[sku]
            cold, warm = timed(lambda p=part, s=shop: replacements(s, p, ("E10",)))  # type: ignore[misc]
            print(f"{name}, replacements of {sku}: cold {cold:.0f} ms, warm {warm:.2f} ms")
            cold, warm = timed(lambda p=part, s=shop, e=port: mates(s, p, e))  # type: ignore[misc]
            count = mates(shop, part, port).count
            print(
                f"{name}, mates of {sku}.{port}: cold {cold:.0f} ms, warm {warm:.2f} ms ({count})"
            )


if __name__ == "__main__":
    main()
