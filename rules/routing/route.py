"""Routing a cart: from part numbers to joints, and to what is missing.

routing = route(cart, catalogue, load_templates())
report = check(routed_request(cart, routing), catalogue, book)
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import cached_property

from rules.assembly import Item, Joint, Request
from rules.cart import Cart
from rules.catalogue import Catalogue
from rules.circuit import AssemblyFault, AssemblyFaults, Circuit, place
from rules.faces import face_of, grade
from rules.routing.completion import Hole, Holes, find_holes, option_of, supply_holes
from rules.routing.fitness import Conditions, conditions_of
from rules.routing.insertion import Inserter, absent
from rules.routing.joining import Joined, is_cut, join
from rules.routing.layout import Layout, lay_out
from rules.routing.leftovers import Explainer, OpenEnd, Surroundings
from rules.routing.offers import Offers
from rules.routing.outcome import (
    Ask,
    Completion,
    Compromise,
    LeftOver,
    Objective,
    Rest,
    Routing,
)
from rules.routing.pieces import GROUPED, Contents, Lot, read_cart
from rules.routing.plan import BOUGHT, COMPROMISES, LEFT_OVER, UNFILLED, Plan, Solver, port_line
from rules.routing.seating import Seated, seat
from rules.routing.sizing import Sizing
from rules.routing.spares import Why, left_over, spares
from rules.routing.supplies import Supplied, packs_used, supply
from rules.routing.template import Template, Templates


def route(
    cart: Cart,
    catalogue: Catalogue,
    templates: Templates,
    *,
    barred: frozenset[str] = frozenset(),
) -> Routing:
    """Find how the parts of a cart go together, what is missing and what is left over.

    Args:
        cart: the cart.
        catalogue: what the shop sells.
        templates: the circuits that a cart may be laid out by.
        barred: SKUs that are not to be offered.

    Raises:
        AssemblyFaults: the cart names parts, ports, fuels, vehicles or a layout that do not exist.
    """
    return _Router(cart, catalogue, templates, barred).route()


def routed_request(cart: Cart, routing: Routing, *, completed: bool = False) -> Request:
    """A routed cart as an assembly that can be checked.

    Args:
        cart: the cart.
        routing: what `route` found for it.
        completed: whether the first option for each thing missing is taken as bought.
    """
    items = {item.ref: item for item in routing.items}
    joints = {frozenset(joint.ends): joint for joint in routing.joints}
    for completion in routing.completion if completed else ():
        for ref in completion.options[0].in_place_of:
            items.pop(ref, None)
        for part in completion.options[0].parts if completion.options else ():
            held = items.get(part.ref)
            items[part.ref] = Item.model_validate(
                {
                    "ref": part.ref,
                    "sku": part.sku,
                    "quantity": part.quantity + (held.quantity if held else 0),
                    "line": part.line,
                    "length": None
                    if part.length_mm is None
                    else {"value": part.length_mm, "unit": "mm"},
                }
            )
        for joint in completion.options[0].undoes if completion.options else ():
            joints.pop(frozenset(joint.ends), None)
        for joint in completion.options[0].joints if completion.options else ():
            held_joint = joints.get(frozenset(joint.ends))
            joints[frozenset(joint.ends)] = (
                joint if held_joint is None else _merged(held_joint, joint)
            )
    bought = {
        part.ref for completion in routing.completion for part in completion.options[0].parts
    } - routing.origins.keys()
    # Built without its validation: of a cart that has no place for anything nothing is left.
    return Request.model_construct(
        application=cart.application,
        vehicle=cart.vehicle,
        items=tuple(items[ref] for ref in sorted(items)),
        joints=tuple(sorted(joints.values(), key=lambda joint: joint.ends)),
        outside=tuple(
            each
            for each in routing.outside
            if completed or each.port.partition(".")[0] not in bought
        ),
    )


def _merged(one: Joint, other: Joint) -> Joint:
    uses = tuple(dict.fromkeys((*one.uses, *other.uses)))
    return one.model_copy(update={"uses": uses})


def _rank(plan: Plan) -> tuple[int, ...]:
    """Plans of different templates by what must count; then the template's own preference."""
    aims = plan.aims
    return (
        *(aims[UNFILLED], aims[COMPROMISES], aims[BOUGHT]),
        plan.layout.template.preference,
    )


class _Router:
    def __init__(
        self, cart: Cart, catalogue: Catalogue, templates: Templates, barred: frozenset[str]
    ) -> None:
        self.cart = cart
        self.catalogue = catalogue
        self.templates = templates
        self.contents: Contents = read_cart(cart, catalogue)
        self.conditions: Conditions = conditions_of(self.contents.probe, barred)
        self.offers: Offers = catalogue.derived(Offers)
        self.sizing = Sizing(self.contents.probe, catalogue, self.offers, self.conditions)
        self.solver = Solver(self.contents, self.conditions, self.offers)
        self.layouts: dict[tuple[str, bool], Layout] = {}
        self.cuts: dict[str, float] = {}

    def route(self) -> Routing:
        plan, joined = self.joined()
        seated = seat(plan.layout, joined, self.contents, self.offers.currency)
        holes = find_holes(plan, joined, seated, self.offers, self.conditions, self.sizing)
        holes.holes += self.recommended(plan, joined)
        items = self.placed_items(joined, seated, plan.layout)
        joints = self.all_joints(holes)
        circuit = self.completed(items, joints, holes, joined)
        supplied = supply(
            circuit,
            items.keys() | self.vehicle,
            self.catalogue,
            self.offers,
            self.conditions,
            self.contents.runs,
        )
        all_holes = [*holes.holes, *supply_holes(supplied.short, joined)]
        return Routing(
            layout=plan.layout.template.id,
            layout_name=plan.layout.template.name,
            items=tuple(self.with_pieces(items, supplied)),
            origins=self.origins(seated),
            joints=tuple(_with_uses(joints, supplied, items)),
            outside=(*self.cart.outside, *joined.assumed),
            assumed=tuple(joined.assumed),
            unfilled=tuple(hole.missing for hole in all_holes),
            completion=tuple(self.completions(all_holes, supplied, items)),
            left_over=tuple(self.left_over(plan, joined, seated, holes, circuit, supplied)),
            rests=tuple(self.rests(joined, supplied)),
            compromises=tuple(self.compromises(joined)),
            asks=tuple(self.asks(items, all_holes)),
            objective=_objective(plan),
            proved_best=plan.proved,
        )

    def joined(self) -> tuple[Plan, Joined]:
        """The plan with its pieces; bulk hose is cut where its rest spares another piece."""
        while True:
            plan = self.plan()
            joined = join(plan, self.contents, self.conditions)
            cut = next(self.sparing_cuts(joined), None)
            if cut is None:
                return plan, joined
            ref, length_mm = cut
            self.cuts[ref] = length_mm
            self.contents = read_cart(self.cart, self.catalogue, self.cuts)
            self.layouts.clear()

    def sparing_cuts(self, joined: Joined) -> Iterator[tuple[str, float]]:
        """Pieces of bulk hose whose rest does for a run that another is to be bought for."""
        bulk = [
            (stand, filled.run_mm)
            for filled in joined.filled
            for stand in filled.stands
            if stand.part.kind == "bulk-hose" and filled.run_mm is not None
        ]
        for bought, run_mm in bulk:
            for own, own_mm in bulk:
                whole_mm = own.item.length_mm or 0.0
                same = bought.bought and not own.bought and own.part.sku == bought.part.sku
                pinned = own.item.ref in self.named
                if same and not pinned and whole_mm - own_mm >= run_mm:
                    yield own.item.ref, own_mm

    @cached_property
    def named(self) -> frozenset[str]:
        """Refs that the caller has joined: their pieces stay whole."""
        ends = [end for joint in self.cart.joints for end in joint.ends]
        ends += [outside.port for outside in self.cart.outside]
        return frozenset(end.partition(".")[0] for end in ends)

    # Which template

    def plan(self) -> Plan:
        """The best plan, what is only recommended left out unless the cart is made for it.

        It is where the cart holds hoses or adapters that are left over without it, or where
        something stays open that does not with it.
        """
        plan = self.best_plan(recommended=False)
        if not absent(plan.layout.template, self.contents.lots, self.conditions):
            return plan
        other = self.best_plan(recommended=True)
        return min(plan, other, key=lambda each: (each.aims[UNFILLED], each.aims[LEFT_OVER]))

    def recommended(self, plan: Plan, joined: Joined) -> list[Hole]:
        """What is recommended and neither in the cart nor reckoned with in the plan."""
        if any(unit.bought for unit in plan.layout.units):
            return []
        inserter = Inserter(plan, joined, self.offers, self.conditions, self.sizing)
        stations = absent(plan.layout.template, self.contents.lots, self.conditions)
        return [inserter.hole(each) for each in stations if each.id not in self.cart.keeps]

    def best_plan(self, *, recommended: bool) -> Plan:
        """The best plan over the templates that may apply.

        The templates are tried in the order of their preference, first without buying anything:
        one that takes every part and leaves nothing open needs no comparison.
        """
        layouts = [self.laid_out(template, recommended) for template in self.applicable()]
        plans: list[Plan | None] = []
        for layout in layouts:
            plan = self.solved(layout, buying=False)
            if plan is not None and not plan.aims[UNFILLED]:
                return plan
            plans.append(plan)
        ranked: list[Plan] = []
        for layout, held in zip(layouts, plans, strict=True):
            if held is None and any(self.is_behind(layout, plan) for plan in ranked):
                continue
            plan = held or self.solved(layout, buying=True)
            if plan is not None:
                ranked.append(plan)
        best = min(ranked, key=_rank)
        best.proved = all(plan.proved for plan in ranked)
        return best

    @staticmethod
    def is_behind(layout: Layout, plan: Plan) -> bool:
        """Whether a layout that has no plan without buying cannot come before a plan.

        It leaves something open, makes a compromise or buys at least one part.
        """
        least = layout.least_unfilled
        if plan.aims[UNFILLED] != least or plan.aims[COMPROMISES]:
            return plan.aims[UNFILLED] < least
        return plan.aims[BOUGHT] <= max(1, layout.least_bought)

    def solved(self, layout: Layout, *, buying: bool) -> Plan | None:
        return self.solver.solve(layout, buying=buying)

    def laid_out(self, template: Template, recommended: bool) -> Layout:
        layout = self.layouts.get((template.id, recommended))
        if layout is None:
            layout = lay_out(
                template,
                self.cart,
                self.contents,
                self.conditions,
                self.sizing,
                recommended=recommended,
            )
            self.layouts[template.id, recommended] = layout
        return layout

    def applicable(self) -> list[Template]:
        """Templates for the application's circuit and the kinds of part there are."""
        if self.cart.layout is not None:
            return [self.asked_for(self.cart.layout)]
        circuit = self.cart.application.circuit or "unstated"
        kinds = {lot.part.kind for lot in self.contents.lots}
        serving = [each for each in self.templates.templates if circuit in each.serves]
        fitting = [
            each
            for each in serving
            if kinds.issuperset(each.holds) and kinds.isdisjoint(each.without)
        ]
        return fitting or serving or list(self.templates.templates)

    def asked_for(self, layout: str) -> Template:
        template = self.templates.get(layout)
        if template is None:
            known = ", ".join(f"`{each.id}`" for each in self.templates.templates)
            raise AssemblyFaults(
                [
                    AssemblyFault(
                        "/layout", layout, f"There is no layout `{layout}`.", f"one of {known}"
                    )
                ]
            )
        return template

    # Items and joints

    def placed_items(self, joined: Joined, seated: Seated, layout: Layout) -> dict[str, Item]:
        """The cart's own parts that have a place, by ref; those settled by the caller always."""
        stands = [*joined.nodes.values(), *seated.stands]
        stands += [stand for filled in joined.filled for stand in filled.stands]
        stands += [stand for closed in joined.closed for stand in closed.stands]
        own = self.contents.pointers
        items = {
            stand.item.ref: stand.item
            for stand in stands
            if not stand.bought and (stand.item.ref in own or stand.part.kind == "injector")
        }
        for lot in self.contents.lots:
            if lot.settled and lot.source == "cart":
                items |= {item.ref: items.get(item.ref, item) for item in lot.items}
                items |= {item.ref: item for item in self.settled_caps(lot, joined, layout)}
        settled = {end.partition(".")[0] for joint in self.contents.joints for end in joint.ends}
        for group in self.contents.groups:
            if group.kind != "injector" or group.ref in settled:
                items.setdefault(group.ref, group.item)
        return {ref: items[ref] for ref in sorted(items) if ref in own or ref not in self.vehicle}

    def settled_caps(self, lot: Lot, joined: Joined, layout: Layout) -> Iterator[Item]:
        """Caps that the caller has put on a port, with the line that the port is in."""
        (item,) = lot.items
        if lot.part.kind != "cap" or item.line is not None:
            return
        stations = {slot.id: slot.station for slot in layout.slots}
        stands = {stand.item.ref: (node, stand) for node, stand in joined.nodes.items()}
        for joint in self.contents.joints:
            ends = [end.split(".") for end in joint.ends]
            for (ref, _), (beside, port) in (ends, ends[::-1]):
                node, stand = stands.get(beside, ("", None))
                if ref == item.ref and stand is not None and node in stations:
                    line = port_line(stations[node], stand.part, port, layout)
                    yield item.model_copy(update={"line": line})

    @property
    def vehicle(self) -> frozenset[str]:
        probe = self.contents.probe
        return frozenset(ref for ref, item in probe.items.items() if item.origin == "vehicle")

    def all_joints(self, holes: Holes) -> list[Joint]:
        """The settled joints as the caller wrote them, and those found."""
        joints = {frozenset(joint.ends): joint for joint in holes.joints}
        joints.update({frozenset(joint.ends): joint for joint in self.cart.joints})
        vehicle = self.catalogue.vehicles.get(self.cart.vehicle or "")
        for joint in vehicle.joints if vehicle else ():
            joints.pop(frozenset(joint.ends), None)
        return sorted(joints.values(), key=lambda joint: joint.ends)

    def completed(
        self, items: dict[str, Item], joints: Iterable[Joint], holes: Holes, joined: Joined
    ) -> Circuit:
        """The circuit as it would be with the first way for each hole."""
        everything = dict(items)
        all_joints = list(joints)
        for hole in holes.holes:
            for way in hole.ways[:1]:
                everything = {k: v for k, v in everything.items() if k not in way.in_place_of}
                all_joints = [joint for joint in all_joints if joint not in way.undoes]
                for stand in way.stands:
                    held = everything.get(stand.item.ref)
                    more = stand.item.quantity + (held.quantity if held else 0)
                    everything[stand.item.ref] = stand.item.model_copy(update={"quantity": more})
                all_joints += way.joints
        request = Request.model_construct(
            application=self.cart.application,
            vehicle=self.cart.vehicle,
            items=tuple(everything.values()),
            joints=tuple(all_joints),
            outside=(*self.cart.outside, *joined.assumed),
        )
        return place(request, self.catalogue)

    # The answer

    def completions(
        self, holes: Iterable[Hole], supplied: Supplied, items: dict[str, Item]
    ) -> Iterator[Completion]:
        for hole in holes:
            options = []
            for way in hole.ways:
                joints = tuple(_with_uses(way.joints, supplied, items))
                options.append(option_of(replace(way, joints=joints), self.offers.currency))
            if options:
                yield Completion(missing=hole.missing.id, options=tuple(options))

    def left_over(
        self,
        plan: Plan,
        joined: Joined,
        seated: Seated,
        holes: Holes,
        circuit: Circuit,
        supplied: Supplied,
    ) -> Iterator[LeftOver]:
        explainer = Explainer(
            self.contents.probe.reference, self.surroundings(plan, joined, holes, circuit)
        )
        for lot in self.contents.lots:
            left = joined.left[lot.key]
            if lot.source == "cart" and not lot.settled:
                for _, alike in itertools.groupby(sorted(left, key=_length), _length):
                    yield explainer.left_over(lot, list(alike))
        for group, pieces in seated.left:
            yield left_over(group.part, (group.ref,), pieces, self.unseated(plan, seated))
        yield from spares(self.contents.groups, supplied, self.cart.keeps)

    def unseated(self, plan: Plan, seated: Seated) -> Why:
        kept = any(
            "injector" in station.kinds
            for station in plan.layout.template.stations.values()
            if station.id in self.cart.keeps
        )
        if kept:
            return Why("more-than-needed", "The car keeps its own injectors.")
        if seated.part is not None:
            return Why("more-than-needed", "All seats are taken.")
        return Why("more-than-needed", "No rail seats it.")

    def surroundings(
        self, plan: Plan, joined: Joined, holes: Holes, circuit: Circuit
    ) -> Surroundings:
        placed = [
            (item.ref, item.part, frozenset(face_of(item.part, p) for p in item.part.ports))
            for item in circuit.items.values()
        ]
        ports = {port.name: port for item in circuit.items.values() for port in item.ports}
        faces = {name: face_of(port.item.part, port.port) for name, port in ports.items()}
        unsealed = [
            (OpenEnd(one, faces[one]), OpenEnd(other, faces[other]))
            for one, other in (joint.ends for joint in self.contents.joints)
            if one in faces and other in faces and grade(faces[one], faces[other]) is None
        ]
        at_car = [
            (OpenEnd(each.port, faces[each.port]), each.to)
            for each in joined.assumed
            if each.port in faces and each.line != "vent"
        ]
        return Surroundings(
            template=plan.layout.template,
            modelled=self.templates.kinds,
            keeps=self.cart.keeps,
            open_ends=holes.open_ends,
            long_runs=holes.long_runs,
            at_car=at_car,
            unsealed=unsealed,
            placed=placed,
        )

    def origins(self, seated: Seated) -> dict[str, str]:
        """Where each ref comes from; part of a group comes from where the group does."""
        known = dict(self.contents.pointers)
        known |= {ref: known[whole] for ref, whole in seated.divided.items() if whole in known}
        return known

    def with_pieces(self, items: dict[str, Item], supplied: Supplied) -> Iterator[Item]:
        """The items, of seals, clamps and wiring only as many as joints and parts take."""
        for ref, item in items.items():
            group = self.contents.probe.items.get(ref)
            if group is None or group.kind not in GROUPED - {"injector"}:
                yield item
                continue
            used = packs_used(group, supplied)
            if used:
                yield item.model_copy(update={"quantity": used})

    def rests(self, joined: Joined, supplied: Supplied) -> Iterator[Rest]:
        """What is left of the cart's bulk hose and wire beyond the runs of the vehicle."""
        placed = [
            (stand.item, filled.run_mm)
            for filled in joined.filled
            for stand in filled.stands
            if not stand.bought and stand.part.kind == "bulk-hose"
        ]
        placed += [
            (self.contents.probe.items[ref].item, wish.run_mm)
            for wish in supplied.wishes
            if wish.kind == "wire"
            for ref in wish.got
            if ref in self.contents.pointers
        ]
        for item, run_mm in {item.ref: (item, run_mm) for item, run_mm in placed}.values():
            if run_mm is not None and (item.length_mm or 0.0) > run_mm:
                yield Rest.model_validate(
                    {
                        "of": item.ref,
                        "sku": item.sku,
                        "used": {"value": run_mm, "unit": "mm"},
                        "rest": {"value": (item.length_mm or 0.0) - run_mm, "unit": "mm"},
                    }
                )

    def compromises(self, joined: Joined) -> Iterator[Compromise]:
        for joint in joined.conditional:
            yield Compromise(
                ends=joint.ends,
                why="It seals only under a condition, and nothing sold joins the two outright.",
            )

    def asks(self, items: dict[str, Item], holes: Iterable[Hole]) -> Iterator[Ask]:
        """Lengths of what is to be cut, where the vehicle states no run for it."""
        for item in items.values():
            placed = self.contents.probe.items.get(item.ref)
            if placed is not None and item.length_mm is None and is_cut(placed.part):
                yield Ask(of=item.ref, what="length")
        for hole in holes:
            for way in hole.ways[:1]:
                for stand in way.stands:
                    cut = is_cut(stand.part) or stand.part.kind == "wire"
                    if cut and stand.item.length_mm is None:
                        yield Ask(of=stand.item.ref, what="length")


def _with_uses(
    joints: Iterable[Joint], supplied: Supplied, items: dict[str, Item]
) -> Iterator[Joint]:
    for joint in joints:
        name = " and ".join(sorted(joint.ends))
        uses = [ref for ref in supplied.uses.get(name, ()) if ref in items]
        if uses:
            both = tuple(dict.fromkeys((*joint.uses, *uses)))
            yield joint.model_copy(update={"uses": both})
        else:
            yield joint


def _length(item: Item) -> float:
    return item.length_mm or 0.0


def _objective(plan: Plan) -> Objective:
    unfilled, compromises, bought, left_over, misplaced, price, drop = plan.aims
    return Objective(
        unfilled=unfilled,
        compromises=compromises,
        bought=bought,
        left_over=left_over,
        misplaced=misplaced,
        price_cents=price,
        drop=drop,
    )
