"""Each case of the trade is answered in one place, or named as not covered with the reason."""

import re
from collections import Counter

from tests.published import test_cases, test_flow_cases, test_routing_cases

OF_ASSEMBLIES = test_cases.ASSEMBLIES.keys()

# Asked here as an assembly or a behaviour, and elsewhere for its figures or as a cart.
ALSO_IN_FLOW = {"FC-070", "FC-104", "FC-109", "FC-116"}
ALSO_AS_CARTS = {"FC-002", "FC-012", "FC-013", "FC-016", "FC-088"}


def asked_in(module: object) -> set[str]:
    """The cases that the tests of a module name, in their own names or their parameters."""
    found = set()
    for name, test in vars(module).items():
        if name.startswith("test_"):
            found |= {f"FC-{number}" for number in re.findall(r"fc_(\d{3})", name)}
            for mark in getattr(test, "pytestmark", ()):
                found |= set(re.findall(r"FC-\d{3}", repr(mark.args)))
    return found


def test_every_case_has_one_place():
    places = Counter(
        [*OF_ASSEMBLIES, *test_cases.BEHAVIOUR, *test_cases.OF_FLOW, *test_cases.NOT_COVERED]
    )

    assert places.keys() == test_cases.CASES.keys()
    assert set(places.values()) == {1}
    assert len(places) == 83


def test_what_is_said_to_be_asked_elsewhere_is_asked_there():
    assert asked_in(test_flow_cases) == test_cases.OF_FLOW | ALSO_IN_FLOW
    assert asked_in(test_routing_cases) == ALSO_AS_CARTS
    here = OF_ASSEMBLIES | test_cases.BEHAVIOUR
    assert here >= ALSO_IN_FLOW | ALSO_AS_CARTS


def test_what_is_not_covered_says_why():
    assert all(test_cases.NOT_COVERED.values())
