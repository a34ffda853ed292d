"""`/v1/rules`: the book that judges, open to its readers."""

from __future__ import annotations

import difflib
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request

from rules.engine import Book, Rule, book_form_schema
from service.problems import problem, problem_responses, rendering
from service.rulebook.schemas import BookListing, RuleDetails, RuleFilters, full, listing

router = APIRouter(prefix="/v1/rules", tags=["rules"])


def _book(request: Request) -> Book:
    book: Book = request.app.state.book
    return book


@router.get(
    "",
    operation_id="list_rules",
    summary="List the rules in force",
    responses=problem_responses("invalid-request"),
)
async def list_rules(request: Request, wanted: Annotated[RuleFilters, Query()]) -> BookListing:
    """Rules in the order of the book, with what the shop has changed or switched off."""
    book = _book(request)
    chosen = tuple(
        rule
        for rule in book.rules
        if wanted.about in (None, rule.about)
        and wanted.family in (None, rule.family)
        and wanted.severity in (None, rule.severity)
    )
    return listing(book, chosen)


@router.get("/form", operation_id="read_rule_form", summary="Read the form of a rule file")
async def read_rule_form(request: Request) -> dict[str, Any]:
    """JSON Schema of a file of a rule book, for editors that complete and check as one types."""
    return book_form_schema(_book(request).language)


@router.get(
    "/{rule_id}",
    operation_id="read_rule",
    summary="Read a rule",
    responses=problem_responses("not-found", "invalid-request"),
)
async def read_rule(
    request: Request,
    rule_id: Annotated[
        str,
        Path(
            max_length=120,
            description="The id of a rule in force.",
            examples=["flare-screwed-into-o-ring-port"],
        ),
    ],
) -> RuleDetails:
    """A rule with its condition, sources and every example that it is held to."""
    return full(find_rule(_book(request), rule_id))


def find_rule(book: Book, rule_id: str) -> Rule:
    """The rule of an id.

    Raises:
        Problem: no such rule is in force; near ones are named.
    """
    try:
        return book.rule(rule_id)
    except KeyError:
        known = [rule.id for rule in book.rules]
        asked = rule_id[:120].lower()
        near = difflib.get_close_matches(asked, known, n=3, cutoff=0.5)
        near = near or [each for each in known if asked in each][:3]
        near = near or difflib.get_close_matches(asked, known, n=1, cutoff=0.0)
        hint = f" Did you mean {' or '.join(f'`{each}`' for each in near)}?" if near else ""
        raise problem("not-found", f"No rule `{rendering(rule_id)}` is in force.{hint}") from None
