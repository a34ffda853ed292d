"""Examples of answers for the OpenAPI document: what the service really says about the demo shop.

They are made when the document is first asked for, so that none can go stale.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from fastapi.encoders import jsonable_encoder

from rules.catalogue import catalogue
from rules.check import load_rules
from rules.engine import book_form_schema
from seed_data import demo_assemblies, demo_components, demo_vehicles
from service.checks.judging import judged
from service.explanations import problem_class
from service.health import Alive, Ready
from service.readings.endpoints import EXAMPLE, TextToRead, answer
from service.references.connections import connection_details, system_details, systems
from service.references.fuels import fuel_details, known_fuels
from service.references.materials import known_materials, material_details
from service.rulebook.schemas import full, listing
from service.settings import Settings

SHOWN_ASSEMBLY: Final = "07-flare-into-o-ring-port"
MOST_MEMBERS: Final = 2
"""Members of a list that an example shows."""


def proposal_example() -> dict[str, Any]:
    """A request to check, as a caller writes it."""
    return next(each.body for each in demo_assemblies() if each.slug == SHOWN_ASSEMBLY)


def answer_examples() -> dict[str, Any]:
    """An answer of each operation that has no example of its own, by operation id."""
    book = load_rules()
    shown_rule = book.rules[0]
    answers: Mapping[str, Any] = {
        "read_text": answer(TextToRead.model_validate(EXAMPLE)),
        "list_connections": systems(),
        "read_connection_system": system_details("flare-37"),
        "read_connection": connection_details("flare-37", "-6"),
        "list_materials": known_materials(),
        "read_material": material_details("nbr"),
        "list_fuels": known_fuels(),
        "read_fuel": fuel_details("E85"),
        "list_rules": listing(book, book.rules),
        "read_rule": full(shown_rule),
        "read_rule_form": book_form_schema(book.language),
        "read_liveness": Alive(),
        "read_readiness": Ready(book=book.version, catalogue_revision=1, catalogue_fault=None),
        "list_problems": (problem_class("invalid-request"), problem_class("not-found")),
        "read_problem": problem_class("invalid-request"),
    }
    short = {name: shortened(jsonable_encoder(found)) for name, found in answers.items()}
    return {**short, "check_assembly": _report()}


def _report() -> Any:
    shop = catalogue(1, demo_components(), demo_vehicles())
    shown = next(each.request for each in demo_assemblies() if each.slug == SHOWN_ASSEMBLY)
    report = judged(shown, shop, load_rules(), Settings())
    return report.model_dump(mode="json")


def shortened(value: Any) -> Any:
    """The value with its lists cut to `MOST_MEMBERS`, those that name required keys left whole."""
    if isinstance(value, dict):
        return {
            key: inner if key == "required" else shortened(inner) for key, inner in value.items()
        }
    if isinstance(value, list):
        return [shortened(inner) for inner in value[:MOST_MEMBERS]]
    return value
