import re
import threading
from pathlib import Path

import pytest

from rules import engine
from rules.engine import (
    Book,
    Changed,
    Evidence,
    Subject,
    SwitchedOff,
    example_outcomes,
    load_book,
)
from rules.language import FIRES, Language, Predicate, SubjectType
from rules.schema import Flag, Number, Record
from tests.rules.small_language import JOINT, LANGUAGE, PART, PREDICATES

JOINTS = """\
family: joints
rules:
  - id: flare-screwed-into-o-ring-port
    about: joint
    when: a.system == "flare-37" and b.system == "orb" and mating == "threads-no-seal"
    severity: error
    message: "{a.name} screws into {b.name} but will not seal."
    explanation: >-
      Both ends carry the same thread, but a cone
      has nothing to seat on in {b.name}.
    because: [mating, a.system, b.bore_mm, pressure_kpa]
    remedy: {text: "Put an adapter between {a.name} and {b.name}.", find: adapter-between}
    sources: [SAE J1926-1, SAE J514]
    cautions: ["Fuel weeps from {b.name} at {pressure_kpa}."]
    examples:
      given: {a.system: flare-37, b.system: orb}
      fires: [{mating: threads-no-seal}]
      passes: [{mating: seals-with}]
      cannot-tell: [{}]
  - id: bore-steps-down
    about: joint
    when: b.bore_mm < a.bore_mm
    severity: warning
    message: "{b.name} is narrower."
    explanation: It is.
    because: [a.bore_mm, b.bore_mm]
    remedy: {text: Take a wider one.}
    sources: [common practice]
    examples:
      fires: [{a.bore_mm: 8, b.bore_mm: 7.9}]
      passes: [{a.bore_mm: 8, b.bore_mm: 8}]
"""

PARTS = """\
family: materials
rules:
  - id: brass-anywhere
    about: part
    when: material == "brass"
    severity: note
    message: "{name} is brass."
    explanation: It is.
    because: [material]
    remedy: {text: Take another.}
    sources: [common practice]
    examples:
      fires: [{material: brass}]
      passes: [{material: nbr}]
  - id: brass-adapter
    about: part
    kinds: [adapter, pump]
    when: material == "brass"
    severity: warning
    message: "{name} is brass."
    explanation: It is.
    because: [material]
    remedy: {text: Take another.}
    sources: [common practice]
    examples:
      fires: [{material: brass}]
      passes: [{material: nbr}]
"""

SHOP = """\
overrides:
  - {rule: brass-anywhere, off: true, reason: We sell only brass.}
  - {rule: bore-steps-down, severity: note, reason: Nobody minds.}
family: materials
rules:
  - id: long-hose
    about: part
    kinds: [hose-assembly]
    when: length_m > 3
    severity: note
    message: "{name} is {length_m} long."
    explanation: It is.
    because: [length_m]
    remedy: {text: Cut it.}
    sources: [common practice]
    examples:
      fires: [{length_m: 3.001}]
      passes: [{length_m: 3}]
"""


@pytest.fixture(scope="module")
def directories(tmp_path_factory) -> tuple[Path, Path]:
    built_in, shop = tmp_path_factory.mktemp("book"), tmp_path_factory.mktemp("shop")
    (built_in / "VERSION").write_text("2026.11\n")
    (built_in / "joints.yaml").write_text(JOINTS)
    (built_in / "deeper").mkdir()
    (built_in / "deeper" / "parts.yml").write_text(PARTS)
    (built_in / ".joints.yaml").write_text("half a line [")
    (shop / "own.yaml").write_text(SHOP)
    return built_in, shop


@pytest.fixture
def book(directories) -> Book:
    return load_book(LANGUAGE, directories[:1])


@pytest.fixture
def shop_book(directories) -> Book:
    return load_book(LANGUAGE, directories)


def joint(**facts: object) -> Subject:
    return Subject("joint", None, JOINT.build({k.replace("__", "."): v for k, v in facts.items()}))


def part(kind: str, **facts: object) -> Subject:
    return Subject("part", kind, PART.build(facts))


FLARE_IN_PORT = {
    "name": "tube to rail",
    "a__name": "tube.b",
    "a__system": "flare-37",
    "a__bore_mm": 7.9375,
    "b__name": "rail.inlet",
    "b__system": "orb",
    "mating": "threads-no-seal",
    "pressure_kpa": 420.0,
}


def ids(rulings) -> list[tuple[str, str]]:
    return [(ruling.rule.id, ruling.outcome.decision) for ruling in rulings]


class TestJudge:
    def test_returns_what_fires_and_what_cannot_tell(self, book):
        [fires, open_] = book.judge([joint(**FLARE_IN_PORT)])
        assert (fires.rule.id, fires.outcome) == ("flare-screwed-into-o-ring-port", FIRES)
        assert open_.rule.id == "bore-steps-down"
        assert open_.outcome.unrecorded == ("b.bore_mm",)

    def test_what_passes_leaves_no_trace(self, book):
        facts = {**FLARE_IN_PORT, "mating": "seals-with", "b__bore_mm": 9}
        assert book.judge([joint(**facts)]) == []

    def test_order_is_that_of_the_subjects_then_of_the_rules(self, book):
        brass, nbr = part("adapter", material="brass"), part("adapter", material="nbr")
        rulings = book.judge([brass, nbr, joint(**FLARE_IN_PORT), brass])
        assert ids(rulings) == [
            ("brass-anywhere", "fires"),
            ("brass-adapter", "fires"),
            ("flare-screwed-into-o-ring-port", "fires"),
            ("bore-steps-down", "cannot-tell"),
            ("brass-anywhere", "fires"),
            ("brass-adapter", "fires"),
        ]
        assert rulings[0].subject is brass

    def test_a_rule_is_asked_only_of_its_kinds(self, book):
        assert ids(book.judge([part("hose-assembly", material="brass")])) == [
            ("brass-anywhere", "fires")
        ]
        assert [rule.id for rule in book.rules_for("part", "pump")] == [
            "brass-anywhere",
            "brass-adapter",
        ]

    @pytest.mark.parametrize(
        ("about", "kind", "message"),
        [
            ("run", None, "the rules know no subject run; they know joint, part"),
            ("part", "pipe", "no part of kind pipe; they know adapter, hose-assembly, pump"),
            ("part", None, "no part of kind None; they know adapter, hose-assembly, pump"),
            ("joint", "pump", "no joint of kind pump; they know no kind"),
        ],
    )
    def test_a_subject_the_language_does_not_declare_is_refused(self, book, about, kind, message):
        with pytest.raises(ValueError, match=message):
            book.judge([Subject(about, kind, Record())])


class TestMemo:
    """A predicate that counts shows how often the rules are asked."""

    @pytest.fixture
    def asked(self) -> list[float]:
        return []

    @pytest.fixture
    def counting(self, asked, tmp_path) -> Book:
        counted = Predicate(
            "counted", (Number("mm"),), Flag(), lambda bore: asked.append(bore) or bore > 6
        )
        text = PARTS.replace('material == "brass"', "counted(wall_mm)")
        text = text.replace("material: brass", "wall_mm: 7").replace("material: nbr", "wall_mm: 6")
        (tmp_path / "VERSION").write_text("1")
        (tmp_path / "parts.yaml").write_text(text)
        language = Language(
            {"part": SubjectType(PART, LANGUAGE.subjects["part"].kinds)},
            (*PREDICATES, counted),
        )
        book = load_book(language, [tmp_path])
        asked.clear()
        return book

    def test_remembers_by_subject_kind_and_memo(self, counting, asked):
        facts = PART.build({"wall_mm": 7})
        first = counting.judge([Subject("part", "hose-assembly", facts, "M")])
        again = counting.judge([Subject("part", "hose-assembly", facts, "M")])
        assert ids(first) == ids(again) == [("brass-anywhere", "fires")]
        assert len(asked) == 1
        counting.judge([Subject("part", "hose-assembly", facts, "N")])
        assert len(asked) == 2
        assert len(counting.judge([Subject("part", "adapter", facts, "M")])) == 2

    def test_asks_anew_without_a_memo(self, counting, asked):
        subject = Subject("part", "hose-assembly", PART.build({"wall_mm": 7}))
        counting.judge([subject, subject])
        assert len(asked) == 2

    def test_a_remembered_ruling_is_of_the_subject_at_hand(self, book):
        one = Subject("part", "pump", PART.build({"name": "one", "material": "brass"}), "brass")
        two = Subject("part", "pump", PART.build({"name": "two", "material": "brass"}), "brass")
        rulings = book.judge([one, two])
        texts = [ruling.rule.render_message(ruling.subject.facts) for ruling in rulings]
        assert texts == ["one is brass.", "one is brass.", "two is brass.", "two is brass."]

    def test_forgets_the_oldest_when_full(self, counting, asked, monkeypatch):
        monkeypatch.setattr(engine, "REMEMBERED_SUBJECTS", 2)
        facts = PART.build({"wall_mm": 7})
        for memo in ("a", "b", "c", "b", "c", "a"):
            counting.judge([Subject("part", "hose-assembly", facts, memo)])
        assert len(asked) == 4

    def test_may_be_asked_from_several_threads(self, book, monkeypatch):
        monkeypatch.setattr(engine, "REMEMBERED_SUBJECTS", 3)
        facts = PART.build({"material": "brass"})
        wrong: list[object] = []

        def ask(start: int) -> None:
            for index in range(300):
                subject = Subject("part", "pump", facts, (start + index) % 7)
                try:
                    if len(book.judge([subject])) != 2:
                        wrong.append(subject)
                except Exception as error:
                    wrong.append(error)

        threads = [threading.Thread(target=ask, args=(start,)) for start in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert wrong == []


class TestRule:
    def test_texts(self, book):
        rule = book.rule("flare-screwed-into-o-ring-port")
        facts = joint(**FLARE_IN_PORT).facts
        assert rule.render_message(facts) == "tube.b screws into rail.inlet but will not seal."
        assert rule.render_explanation(facts) == (
            "Both ends carry the same thread, but a cone has nothing to seat on in rail.inlet."
        )
        assert rule.render_remedy(facts) == "Put an adapter between tube.b and rail.inlet."
        assert rule.render_cautions(facts) == ["Fuel weeps from rail.inlet at 4.2 bar."]
        assert rule.remedy.find == "adapter-between"
        assert rule.sources == ("SAE J1926-1", "SAE J514")
        assert rule.family == "joints"
        assert re.search(r"joints\.yaml:3$", rule.place)

    def test_evidence(self, book):
        rule = book.rule("flare-screwed-into-o-ring-port")
        assert rule.evidence(joint(**FLARE_IN_PORT).facts) == [
            Evidence(
                "mating",
                "mating",
                "threads-no-seal",
                None,
                "tube to rail",
                "reference table, SAE J514",
            ),
            Evidence("a.system", "connection", "37 degree flare", None, "tube.b", "catalogue"),
            Evidence("b.bore_mm", "bore", "not recorded", None, "rail.inlet", "catalogue"),
            Evidence("pressure_kpa", "pressure", 4.2, "bar", "tube to rail", "computed"),
        ]

    def test_examples_and_their_outcomes(self, book):
        rule = book.rule("flare-screwed-into-o-ring-port")
        found = list(example_outcomes(rule))
        assert [example.expected for example, _ in found] == ["fires", "passes", "cannot-tell"]
        assert all(example.expected == outcome.decision for example, outcome in found)
        assert found[0][0].values == {
            "a.system": "flare-37",
            "b.system": "orb",
            "mating": "threads-no-seal",
        }

    def test_an_unknown_id(self, book):
        with pytest.raises(KeyError):
            book.rule("nothing")


class TestBook:
    def test_takes_its_files_from_all_depths_in_order_of_path(self, book):
        assert [rule.id for rule in book.rules] == [
            "brass-anywhere",
            "brass-adapter",
            "flare-screwed-into-o-ring-port",
            "bore-steps-down",
        ]
        assert book.switched_off == ()
        assert book.changed == ()

    def test_a_shop_adds_changes_and_switches_off(self, shop_book):
        assert [rule.id for rule in shop_book.rules] == [
            "brass-adapter",
            "flare-screwed-into-o-ring-port",
            "bore-steps-down",
            "long-hose",
        ]
        assert shop_book.switched_off == (SwitchedOff("brass-anywhere", "We sell only brass."),)
        assert shop_book.changed == (
            Changed("bore-steps-down", "warning", "note", "Nobody minds."),
        )
        assert shop_book.rule("bore-steps-down").severity == "note"

    def test_what_is_switched_off_is_not_asked(self, shop_book):
        rulings = shop_book.judge([part("hose-assembly", material="brass", length_m=4)])
        assert ids(rulings) == [("long-hose", "fires")]

    def test_the_version_is_that_of_the_file(self, book):
        assert book.version == "2026.11"

    def test_the_version_tells_one_shop_from_another(self, directories, tmp_path):
        first = load_book(LANGUAGE, directories).version
        (tmp_path / "own.yaml").write_text(SHOP)
        same = load_book(LANGUAGE, [directories[0], tmp_path]).version
        (tmp_path / "own.yaml").write_text(
            SHOP.replace("severity: note, reason", "off: true, reason")
        )
        other = load_book(LANGUAGE, [directories[0], tmp_path]).version
        assert re.fullmatch(r"2026\.11\+shop\.[0-9a-f]{12}", first)
        assert first == same
        assert first != other
