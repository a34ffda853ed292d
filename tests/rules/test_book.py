"""The built-in rule book: every example behaves, and no small change to a rule goes unnoticed."""

import pytest

from rules.check import LANGUAGE, load_rules
from rules.rule import Example, Rule
from tests.rules.mutation import surviving_mutants

BOOK = load_rules()
EXAMPLES = [(rule, example) for rule in BOOK.rules for example in rule.examples]


def _name(value: object) -> str:
    if isinstance(value, Rule):
        return value.id
    if isinstance(value, Example):
        return f"{value.expected}-{value.place}"
    return str(value)


@pytest.mark.parametrize(("rule", "example"), EXAMPLES, ids=_name)
def test_example_decides_as_written(rule: Rule, example: Example) -> None:
    assert rule.condition.decide(example.facts).decision == example.expected


@pytest.mark.parametrize("rule", BOOK.rules, ids=_name)
def test_no_mutant_of_a_rule_survives_its_examples(rule: Rule) -> None:
    assert surviving_mutants(rule, LANGUAGE) == []


@pytest.mark.parametrize("rule", BOOK.rules, ids=_name)
def test_a_rule_renders_from_each_firing_example(rule: Rule) -> None:
    for example in rule.examples:
        if example.expected == "fires":
            assert rule.render_message(example.facts)
            assert rule.render_explanation(example.facts)
            assert rule.render_remedy(example.facts)


def test_the_book_holds_every_family() -> None:
    families = {rule.family for rule in BOOK.rules}
    assert families == {"joints", "materials", "pressure", "practice", "lifecycle", "flow"}
