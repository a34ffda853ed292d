"""Examples of answers for the OpenAPI document: what the service really says about the demo shop.

They are made when the document is first asked for, so that none can go stale.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from fastapi.encoders import jsonable_encoder

from rules.assembly import Request
from rules.catalogue import Catalogue, catalogue
from rules.check import load_rules
from rules.engine import Book, book_form_schema
from rules.report import Report
from rules.routing import load_templates
from rules.signoff import acceptance
from seed_data import demo_assemblies, demo_carts, demo_components, demo_vehicles
from service.assemblies.schemas import EXAMPLE as EXAMPLE_ASSEMBLY
from service.assemblies.schemas import AssemblyCheck, Checked
from service.checks.judging import drawn, judged, judged_cart
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


def question_examples() -> dict[str, Any]:
    """Requests to check by name: an assembly, and a cart that lacks something."""
    return {
        "assembly": {"summary": "An assembly", "value": proposal_example()},
        "cart": {"summary": "A cart", "value": demo_carts()[0].body},
    }


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
    return {
        **short,
        "check_saved_assembly": _saved_check(_report(book)).model_dump(mode="json"),
        "draw_pressure_line": drawn(*_shown(), Settings()),
    }


def report_examples() -> dict[str, Any]:
    """Answers to the requests of `question_examples`, by the same names."""
    book = load_rules()
    cart = demo_carts()[0].request
    reports = {
        "assembly": ("A report on an assembly", _report(book)),
        "cart": (
            "A report on a cart: its joints, what is missing and what completes it",
            judged_cart(cart, _shop(), book, load_templates(), Settings()),
        ),
    }
    return {
        name: {"summary": summary, "value": report.model_dump(mode="json")}
        for name, (summary, report) in reports.items()
    }


def _shop() -> Catalogue:
    return catalogue(1, demo_components(), demo_vehicles())


def _shown() -> tuple[Request, Catalogue]:
    """The assembly shown, and the shop whose parts it is made of."""
    shown = next(each.request for each in demo_assemblies() if each.slug == SHOWN_ASSEMBLY)
    return shown, _shop()


def _report(book: Book) -> Report:
    return judged(*_shown(), book, Settings())


def _saved_check(report: Report) -> AssemblyCheck:
    """The check of an assembly that was saved when this was the report."""
    return AssemblyCheck(
        assembly=EXAMPLE_ASSEMBLY["id"],
        version=1,
        checked=Checked(
            verdict=report.verdict,
            counts=report.counts,
            fingerprint=report.fingerprint,
            catalogue_revision=report.catalogue_revision,
            book_version=report.book.version,
        ),
        stale=False,
        appeared=(),
        vanished=(),
        report=report,
        sign_offs=acceptance(report, ()),
    )


def shortened(value: Any) -> Any:
    """The value with its lists cut to `MOST_MEMBERS`, those that name required keys left whole."""
    if isinstance(value, dict):
        return {
            key: inner if key == "required" else shortened(inner) for key, inner in value.items()
        }
    if isinstance(value, list):
        return [shortened(inner) for inner in value[:MOST_MEMBERS]]
    return value
