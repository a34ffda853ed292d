"""The mutants themselves: a rule with sharp examples has no survivors, and a dull one is caught."""

import pytest

from rules.engine import Rule, load_book
from tests.rules.mutation import mutants, surviving_mutants
from tests.rules.small_language import LANGUAGE

RULE = """\
family: any
rules:
  - id: any
    about: {about}
    when: >-
      {when}
    severity: error
    message: Any.
    explanation: Any.
    because: [material]
    remedy: {{text: Any.}}
    sources: [common practice]
    examples:
      fires: {fires}
      passes: {passes}
"""


@pytest.fixture
def rule(tmp_path):
    def load(when: str, fires: str, passes: str, about: str = "part") -> Rule:
        text = RULE.format(when=when, fires=fires, passes=passes, about=about)
        if about == "joint":
            text = text.replace("[material]", "[mating]")
        (tmp_path / "VERSION").write_text("1")
        (tmp_path / "any.yaml").write_text(text)
        return load_book(LANGUAGE, [tmp_path]).rule("any")

    return load


def changes(rule: Rule) -> list[str]:
    return [description.replace("  became  ", " -> ") for description, _ in mutants(rule, LANGUAGE)]


class TestMutants:
    def test_of_words_lists_and_logic(self, rule):
        any_rule = rule(
            'material in ("nbr", "brass") and not submerged',
            "[{material: nbr, submerged: false}]",
            "[{material: nbr, submerged: true}]",
        )
        assert changes(any_rule) == [
            "material in ('nbr', 'brass') and (not submerged) ->"
            " material in ('nbr', 'brass') or not submerged",
            "material in ('nbr', 'brass') -> material not in ('nbr', 'brass')",
            "not submerged -> submerged",
            "('nbr', 'brass') -> ('brass',)",
            "('nbr', 'brass') -> ('nbr',)",
            "'nbr' -> 'fkm-a'",
            "'brass' -> 'fkm-a'",
        ]

    @pytest.mark.parametrize(
        ("when", "fires", "passes", "expected"),
        [
            ("wall_mm < 1.5", 1, 2, ["wall_mm <= 1.5", "wall_mm > 1.5", "1.4985", "1.5015"]),
            ("wall_mm <= 3", 3, 4, ["wall_mm < 3", "2", "4"]),
            ("wall_mm > 700", 800, 1, ["wall_mm >= 700", "wall_mm < 700", "699.3", "700.7"]),
            ("wall_mm >= 0.0", 0, -1, ["wall_mm > 0.0", "-0.001", "0.001"]),
            ("wall_mm == 2", 2, 3, ["wall_mm != 2", "1", "3"]),
            ("wall_mm != 2", 3, 2, ["wall_mm == 2", "1", "3"]),
            ("wall_mm not in (2,)", 3, 2, ["wall_mm in (2,)", "1", "3"]),
            (
                "wall_mm * 2 > wall_mm",
                1,
                -1,
                ["wall_mm * 2 >= wall_mm", "wall_mm * 2 < wall_mm", "wall_mm / 2", "1", "3"],
            ),
            (
                "wall_mm + 1.0 == 3",
                2,
                3,
                ["wall_mm + 1.0 != 3", "wall_mm - 1.0", "2", "4", "0.999", "1.001"],
            ),
        ],
    )
    def test_of_comparisons_and_numbers(self, rule, when, fires, passes, expected):
        any_rule = rule(when, f"[{{wall_mm: {fires}}}]", f"[{{wall_mm: {passes}}}]")
        assert [each.partition(" -> ")[2] for each in changes(any_rule)] == expected

    def test_of_flags_and_the_arguments_of_predicates(self, rule):
        any_rule = rule(
            "submerged == True or swelling(material, 0.5) > 0.1",
            "[{submerged: true}]",
            "[{submerged: false, material: brass}]",
        )
        found = changes(any_rule)
        assert "True -> False" in found
        assert "0.5 -> 0.4995" in found

    def test_of_a_condition_over_several_lines_in_any_script(self, rule):
        any_rule = rule(
            'name != "½ ключ"\n      and quantity > 3',
            "[{name: x, quantity: 4}]",
            "[{name: ½ ключ, quantity: 4}, {name: x, quantity: 3}]",
        )
        assert "quantity > 3 -> quantity >= 3" in changes(any_rule)
        assert surviving_mutants(any_rule, LANGUAGE) == []


class TestSurvivors:
    def test_sharp_examples_leave_none(self, rule):
        any_rule = rule(
            'mating in ("never", "threads-no-seal") and b.bore_mm < a.bore_mm',
            "[{mating: never, a.bore_mm: 8, b.bore_mm: 7},"
            " {mating: threads-no-seal, a.bore_mm: 8, b.bore_mm: 7}]",
            "[{mating: never, a.bore_mm: 8, b.bore_mm: 8},"
            " {mating: seals-with, a.bore_mm: 8, b.bore_mm: 7}]",
            about="joint",
        )
        assert surviving_mutants(any_rule, LANGUAGE) == []

    def test_dull_examples_are_named_by_what_they_miss(self, rule):
        any_rule = rule(
            'material == "nbr" and ethanol_fraction > 0.1',
            "[{material: nbr, ethanol_fraction: 0.85}]",
            "[{material: brass, ethanol_fraction: 0.85}, {material: nbr, ethanol_fraction: 0.05}]",
        )
        assert surviving_mutants(any_rule, LANGUAGE) == [
            "ethanol_fraction > 0.1  became  ethanol_fraction >= 0.1",
            "0.1  became  0.0999",
            "0.1  became  0.1001",
        ]
