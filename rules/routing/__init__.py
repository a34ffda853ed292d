"""Routing: how the parts of a cart go together, and what is missing from it."""

from rules.routing.outcome import (
    Ask,
    BoughtPart,
    Completion,
    Compromise,
    LeftOver,
    Missing,
    Objective,
    Option,
    Rest,
    Routing,
)
from rules.routing.route import route, routed_request
from rules.routing.template import Template, Templates, load_templates

__all__ = [
    "Ask",
    "BoughtPart",
    "Completion",
    "Compromise",
    "LeftOver",
    "Missing",
    "Objective",
    "Option",
    "Rest",
    "Routing",
    "Template",
    "Templates",
    "load_templates",
    "route",
    "routed_request",
]
