"""The demo shop put into a database."""

from __future__ import annotations

from rules.catalogue import catalogue
from seed_data import demo_components, demo_vehicles
from service.catalogue import service as components
from service.database import Database, make_engine, migrate, now
from service.vehicles import service as vehicles


def seed(url: str) -> tuple[int, int]:
    """Make the tables of a database and store the demo shop's parts and vehicles in it.

    Returns:
        How many parts, and how many vehicles.

    Raises:
        ValueError: the demo data contradict themselves, or the database holds parts already.
        DatabaseUnavailable: the database does not answer or its file cannot be opened.
    """
    migrate(url)
    database = Database(make_engine(url))
    parts, cars = demo_components(), demo_vehicles()
    moment = now()
    try:
        with database.write() as write:
            known = catalogue(write.revision, parts)
            plan = components.plan(write.connection, parts, "create", known)
            if plan.objections:
                raise ValueError("; ".join(each.detail for each in plan.objections))
            components.carry_out(write, plan, moment)
            for car in cars:
                vehicles.put(write, car, None, "*", known, moment)
    finally:
        database.close()
    return len(parts), len(cars)
