"""Every fault of a rule book is reported, at once and at its place."""

from pathlib import Path

import jsonschema
import pytest
import yaml

from rules.engine import BookFaults, book_form_schema, load_book
from tests.rules.small_language import LANGUAGE

GOOD = """\
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
    because: [mating, a.system, b.system]
    remedy:
      text: Put an adapter between {a.name} and {b.name}.
      find: adapter-between
    sources: [SAE J1926-1, SAE J514]
    cautions:
      - A weeping fuel joint under the bonnet is a fire.
    examples:
      given: {a.system: flare-37, b.system: orb}
      fires:
        - {mating: threads-no-seal}
      passes:
        - {mating: seals-with}
      cannot-tell:
        - {}
"""

PART_RULE = """
  - id: brass-part
    about: part
    kinds: [adapter, pump]
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
"""


@pytest.fixture(autouse=True)
def directory(tmp_path, monkeypatch):
    """A built-in book in the directory `book`, which is named from where the test runs."""
    monkeypatch.chdir(tmp_path)
    write("book/VERSION", "2026.11\n")
    write("book/joints.yaml", GOOD)


def write(path: str, content: str | bytes) -> None:
    Path(path).parent.mkdir(exist_ok=True, parents=True)
    Path(path).write_bytes(content if isinstance(content, bytes) else content.encode())


def told(*directories: str) -> str:
    with pytest.raises(BookFaults) as caught:
        load_book(LANGUAGE, [Path(each) for each in directories or ("book",)])
    return str(caught.value)


def edited(edit: str, content: str) -> tuple[str, str]:
    """Read "-" lines, "+" lines and what is to be told; return the new content and the latter."""
    lines = edit.splitlines()
    old = "".join(f"{line[1:]}\n" for line in lines if line.startswith("-"))
    new = "".join(f"{line[1:]}\n" for line in lines if line.startswith("+"))
    told = [line for line in lines if line[:1] not in ("-", "+")]
    assert content.count(old) == 1
    return content.replace(old, new), "\n".join(told)


def blocks(text: str) -> list[str]:
    return text.strip("\n").split("\n\n")


FORM = """
-    about: joint
+    about: joints
book/joints.yaml:4:12: there is no subject "joints"; did you mean "joint"?
        about: joints
               ^^^^^^

-    severity: error
+    severity: fatal
book/joints.yaml:6:15: there is no severity "fatal"; one of error, note, warning
        severity: fatal
                  ^^^^^

-      find: adapter-between
+      find: adaptor-between
book/joints.yaml:14:13: there is no finder "adaptor-between"; did you mean "adapter-between"?
          find: adaptor-between
                ^^^^^^^^^^^^^^^

-    sources: [SAE J1926-1, SAE J514]
+    source: [SAE J1926-1, SAE J514]
book/joints.yaml:3:5: a rule needs "sources"
      - id: flare-screwed-into-o-ring-port
        ^^
book/joints.yaml:15:5: a rule has no "source"; did you mean "sources"?
        source: [SAE J1926-1, SAE J514]
        ^^^^^^

-    severity: error
+    severity: error
+    severity: note
book/joints.yaml:7:5: "severity" is given twice
        severity: note
        ^^^^^^^^

-    sources: [SAE J1926-1, SAE J514]
+    sources: []
book/joints.yaml:15:14: sources must not be empty
        sources: []
                 ^^

-    sources: [SAE J1926-1, SAE J514]
+    sources: SAE J514
book/joints.yaml:15:14: sources must be a list, not "SAE J514"
        sources: SAE J514
                 ^^^^^^^^

-    sources: [SAE J1926-1, SAE J514]
+    sources: [SAE J514, 2026, SAE J514]
book/joints.yaml:15:25: each of sources must be text; YAML reads 2026 as a number: put it in quotes
        sources: [SAE J514, 2026, SAE J514]
                            ^^^^
book/joints.yaml:15:31: "SAE J514" is listed twice
        sources: [SAE J514, 2026, SAE J514]
                                  ^^^^^^^^

-      text: Put an adapter between {a.name} and {b.name}.
book/joints.yaml:13:7: remedy needs "text"
          find: adapter-between
          ^^^^

-    remedy:
-      text: Put an adapter between {a.name} and {b.name}.
-      find: adapter-between
+    remedy: Put an adapter between.
book/joints.yaml:12:13: remedy must be a mapping, not "Put an adapter between."
        remedy: Put an adapter between.
                ^^^^^^^^^^^^^^^^^^^^^^^

-    severity: error
+    severity: yes
book/joints.yaml:6:15: severity must be text; YAML reads yes as true or false: put it in quotes
        severity: yes
                  ^^^

-    message: "{a.name} screws into {b.name} but will not seal."
+    message: {a.name} screws
book/joints.yaml:7:23: not valid YAML: while parsing a block mapping, did not find expected key
        message: {a.name} screws
                          ^

-    message: "{a.name} screws into {b.name} but will not seal."
+    message:
book/joints.yaml:7:13: message must not be blank
        message:
                ^

-    message: "{a.name} screws into {b.name} but will not seal."
+    message: [no, text]
book/joints.yaml:7:14: message must be text, not a list
        message: [no, text]
                 ^^^^^^^^^^

-  - id: flare-screwed-into-o-ring-port
+  - id: Flare_In_Port
book/joints.yaml:3:9: id must be small letters and digits joined by hyphens, not "Flare_In_Port"
      - id: Flare_In_Port
            ^^^^^^^^^^^^^

-    about: joint
+    about: joint
+    kinds: [adapter]
book/joints.yaml:5:12: a joint does not come in kinds
        kinds: [adapter]
               ^^^^^^^^^

-family: joints
book/joints.yaml:1:1: "family" and "rules" go together
    rules:
    ^^^^^

-family: joints
+family: joints
+rulez: []
book/joints.yaml:2:1: a rule file has no "rulez"; did you mean "rules"?
    rulez: []
    ^^^^^

-  - id: flare-screwed-into-o-ring-port
+  - ? [id]
+    : flare
book/joints.yaml:3:7: a key must be a word
      - ? [id]
          ^^^^
book/joints.yaml:3:7: a rule needs "id"
      - ? [id]
          ^^^^

-    severity: error
+    severity: !!python/name:os.system error
book/joints.yaml:6:15: the tag "tag:yaml.org,2002:python/name:os.system" is not allowed
        severity: !!python/name:os.system error
                  ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
"""

TEXTS = """
-    when: a.system == "flare-37" and b.system == "orb" and mating == "threads-no-seal"
+    when: a.sytem == "flare-37" and b.system == "orbb"
book/joints.yaml:5:11: there is no fact "a.sytem"; did you mean "a.system"?
        when: a.sytem == "flare-37" and b.system == "orbb"
              ^^^^^^^
book/joints.yaml:5:49: "orbb" is no connection system; did you mean "orb"?
        when: a.sytem == "flare-37" and b.system == "orbb"
                                                    ^^^^^^

-    when: a.system == "flare-37" and b.system == "orb" and mating == "threads-no-seal"
+    when: 'a.system == "flare-37" and a.name != "it''s" and b.system == "orbb"'
book/joints.yaml:5:73: "orbb" is no connection system; did you mean "orb"?
        when: 'a.system == "flare-37" and a.name != "it''s" and b.system == "orbb"'
                                                                            ^^^^^^

-    when: a.system == "flare-37" and b.system == "orb" and mating == "threads-no-seal"
+    when: "a.name == \\"\\u00bd \\x41\\" and b.system == \\"orbb\\""
book/joints.yaml:5:54: "orbb" is no connection system; did you mean "orb"?
        when: "a.name == \\"\\u00bd \\x41\\" and b.system == \\"orbb\\""
                                                         ^^^^^^^

-    when: a.system == "flare-37" and b.system == "orb" and mating == "threads-no-seal"
+    when: a.system == "flare-37"
+      and b.system ==
+      "orbb" and a.nam == "x"
book/joints.yaml:7:7: "orbb" is no connection system; did you mean "orb"?
          "orbb" and a.nam == "x"
          ^^^^^^
book/joints.yaml:7:18: there is no fact "a.nam"; did you mean "a.name"?
          "orbb" and a.nam == "x"
                     ^^^^^

-    when: a.system == "flare-37" and b.system == "orb" and mating == "threads-no-seal"
+    when: >-
+      a.system == "flare-37"
+
+      and b.system == "orbb"
book/joints.yaml:8:23: "orbb" is no connection system; did you mean "orb"?
          and b.system == "orbb"
                          ^^^^^^

-    when: a.system == "flare-37" and b.system == "orb" and mating == "threads-no-seal"
+    when: |
+      a.system == "flare-37"
+        and b.system == "orbb"
+        and a.nam == "x"
book/joints.yaml:7:25: "orbb" is no connection system; did you mean "orb"?
            and b.system == "orbb"
                            ^^^^^^
book/joints.yaml:8:13: there is no fact "a.nam"; did you mean "a.name"?
            and a.nam == "x"
                ^^^^^

-    when: a.system == "flare-37" and b.system == "orb" and mating == "threads-no-seal"
+    when: "a.swivel \\
+      and b.system == 'orbb'"
book/joints.yaml:6:23: "orbb" is no connection system; did you mean "orb"?
          and b.system == 'orbb'"
                          ^^^^^^

-    when: a.system == "flare-37" and b.system == "orb" and mating == "threads-no-seal"
+    when: a.bore_mm = 8
book/joints.yaml:5:21: the rule language writes "==" for "is equal to"
        when: a.bore_mm = 8
                        ^

-    when: a.system == "flare-37" and b.system == "orb" and mating == "threads-no-seal"
+    when: "orb" == a.system
book/joints.yaml:5:17: not valid YAML: while parsing a block mapping, did not find expected key; \
a text that begins with a quote mark must be quoted whole, or follow on the next line after ">-"
        when: "orb" == a.system
                    ^

-    message: "{a.name} screws into {b.name} but will not seal."
+    message: "{a.nam} screws into {b} but {will not seal."
book/joints.yaml:7:15: there is no fact "a.nam"; did you mean "a.name"?
        message: "{a.nam} screws into {b} but {will not seal."
                  ^^^^^^^
book/joints.yaml:7:35: "b" is a record; name one of its facts, such as b.name
        message: "{a.nam} screws into {b} but {will not seal."
                                      ^^^
book/joints.yaml:7:43: this brace stands alone; one that is meant is written "{{"
        message: "{a.nam} screws into {b} but {will not seal."
                                              ^

-      has nothing to seat on in {b.name}.
+      has nothing to seat on in {b.port}.
book/joints.yaml:10:33: there is no fact "b.port"
          has nothing to seat on in {b.port}.
                                    ^^^^^^^^

-      text: Put an adapter between {a.name} and {b.name}.
+      text: Put an adapter between {a.dash} and {b.name}.
book/joints.yaml:13:36: there is no fact "a.dash"
          text: Put an adapter between {a.dash} and {b.name}.
                                       ^^^^^^^^

-      - A weeping fuel joint under the bonnet is a fire.
+      - A weeping fuel joint under the {bonnet} is a fire.
book/joints.yaml:17:40: there is no fact "bonnet"
          - A weeping fuel joint under the {bonnet} is a fire.
                                           ^^^^^^^^

-    because: [mating, a.system, b.system]
+    because: [mating, a, b.sistem, a.name]
book/joints.yaml:11:23: "a" is a record; name one of its facts, such as a.name
        because: [mating, a, b.sistem, a.name]
                          ^
book/joints.yaml:11:26: there is no fact "b.sistem"; did you mean "b.system"?
        because: [mating, a, b.sistem, a.name]
                             ^^^^^^^^
book/joints.yaml:11:36: "a.name" declares no origin, so it is no evidence
        because: [mating, a, b.sistem, a.name]
                                       ^^^^^^
"""

EXAMPLES = """
-      passes:
-        - {mating: seals-with}
book/joints.yaml:19:7: the set of examples needs "passes"
          given: {a.system: flare-37, b.system: orb}
          ^^^^^

-      fires:
-        - {mating: threads-no-seal}
+      fires: []
book/joints.yaml:20:14: fires must not be empty
          fires: []
                 ^^

-        - {mating: threads-no-seal}
+        - {mating: never}
book/joints.yaml:21:11: this example should trip the rule, but passes
            - {mating: never}
              ^^^^^^^^^^^^^^^

-        - {mating: seals-with}
+        - {mating: threads-no-seal}
book/joints.yaml:23:11: this example should pass, but trips it
            - {mating: threads-no-seal}
              ^^^^^^^^^^^^^^^^^^^^^^^^^

-        - {mating: seals-with}
+        - a.system: null
book/joints.yaml:23:11: this example should pass, but leaves it open: a.system, mating are not given
            - a.system: null
              ^^^^^^^^

-        - {}
+        - {mating: never}
book/joints.yaml:25:11: this example should leave the rule open, but passes
            - {mating: never}
              ^^^^^^^^^^^^^^^

-        - {mating: threads-no-seal}
+        - {mateing: threads-no-seal, a: 3, a.bore_mm: 0, b.bore_mm: wide}
book/joints.yaml:21:12: there is no fact "mateing"; did you mean "mating"?
            - {mateing: threads-no-seal, a: 3, a.bore_mm: 0, b.bore_mm: wide}
               ^^^^^^^
book/joints.yaml:21:38: "a" is a record; name one of its facts, such as a.name
            - {mateing: threads-no-seal, a: 3, a.bore_mm: 0, b.bore_mm: wide}
                                         ^
book/joints.yaml:21:55: a.bore_mm: must be more than zero, not 0
            - {mateing: threads-no-seal, a: 3, a.bore_mm: 0, b.bore_mm: wide}
                                                          ^
book/joints.yaml:21:69: b.bore_mm: must be a number in mm, not "wide"
            - {mateing: threads-no-seal, a: 3, a.bore_mm: 0, b.bore_mm: wide}
                                                                        ^^^^

-      given: {a.system: flare-37, b.system: orb}
+      given: {a.system: flare-38, b.system: 6}
book/joints.yaml:19:25: a.system: "flare-38" is no connection system; did you mean "flare-37"?
          given: {a.system: flare-38, b.system: 6}
                            ^^^^^^^^
book/joints.yaml:19:45: b.system: must be a word (connection system), not 6; put it in quotes
          given: {a.system: flare-38, b.system: 6}
                                                ^

-        - {mating: threads-no-seal}
+        - {mating: threads-no-seal, mating: never, a.swivel: 1}
book/joints.yaml:21:37: "mating" is given twice
            - {mating: threads-no-seal, mating: never, a.swivel: 1}
                                        ^^^^^^
book/joints.yaml:21:62: a.swivel: must be true or false, not 1
            - {mating: threads-no-seal, mating: never, a.swivel: 1}
                                                                 ^

-        - {mating: threads-no-seal}
+        - {mating: threads-no-seal, a.bore_mm: 010, b.bore_mm: 1:30, pressure_kpa: .inf}
book/joints.yaml:21:48: a.bore_mm: must be a plain decimal number, not 010
            - {mating: threads-no-seal, a.bore_mm: 010, b.bore_mm: 1:30, pressure_kpa: .inf}
                                                   ^^^
book/joints.yaml:21:64: b.bore_mm: must be a plain decimal number, not 1:30
            - {mating: threads-no-seal, a.bore_mm: 010, b.bore_mm: 1:30, pressure_kpa: .inf}
                                                                   ^^^^
book/joints.yaml:21:84: pressure_kpa: must be a plain decimal number, not .inf
            - {mating: threads-no-seal, a.bore_mm: 010, b.bore_mm: 1:30, pressure_kpa: .inf}
                                                                                       ^^^^

-        - {mating: threads-no-seal}
+        - {mating: {is: never}, a.name: [[tube]]}
book/joints.yaml:21:20: mating: must be a value, not a mapping
            - {mating: {is: never}, a.name: [[tube]]}
                       ^^^^^^^^^^^
book/joints.yaml:21:41: a.name: must be a value, not a list
            - {mating: {is: never}, a.name: [[tube]]}
                                            ^^^^^^^^

-        - {mating: threads-no-seal}
+        - threads-no-seal
book/joints.yaml:21:11: an example must be a mapping, not "threads-no-seal"
            - threads-no-seal
              ^^^^^^^^^^^^^^^
"""


class TestFaultsOfARule:
    @pytest.mark.parametrize("edit", blocks(FORM) + blocks(TEXTS) + blocks(EXAMPLES))
    def test_are_told_at_their_place(self, edit):
        content, expected = edited(edit, GOOD)
        write("book/joints.yaml", content)
        assert told() == expected

    def test_every_required_key_is_missed(self):
        write("book/joints.yaml", "family: joints\nrules:\n  - about: joint\n")
        source = "\n      - about: joint\n        ^^^^^"
        assert told().splitlines() == [
            line
            for key in (
                *("id", "when", "severity", "message", "explanation", "because", "remedy"),
                *("sources", "examples"),
            )
            for line in f'book/joints.yaml:3:5: a rule needs "{key}"{source}'.splitlines()
        ]

    def test_a_kind_must_be_one_of_the_subject(self):
        write("book/joints.yaml", GOOD + PART_RULE.replace("pump", "pumps"))
        assert told() == (
            'book/joints.yaml:29:22: "pumps" is no kind of part; did you mean "pump"?\n'
            "        kinds: [adapter, pumps]\n"
            "                         ^^^^^"
        )

    def test_a_predicate_without_an_answer_is_named_where_an_example_needs_one(self):
        content = GOOD.replace('and mating == "threads-no-seal"', "or seals(a.system, b.system)")
        content = content.replace("- {mating: seals-with}", "- {a.system: barb, b.system: barb}")
        write("book/joints.yaml", content.replace("      cannot-tell:\n        - {}\n", ""))
        assert told().splitlines()[0] == (
            "book/joints.yaml:23:11: this example should pass,"
            " but leaves it open: the mating table has no answer"
        )


class TestFaultsOfFiles:
    def test_an_id_is_given_once_in_the_whole_book(self):
        write("book/more.yaml", GOOD)
        assert told() == (
            'book/more.yaml:3:9: "flare-screwed-into-o-ring-port" is the id of the rule at'
            " book/joints.yaml:3 already\n"
            "      - id: flare-screwed-into-o-ring-port\n"
            "            ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^"
        )

    def test_all_faults_of_all_files_come_at_once_in_order(self):
        write("book/a.yaml", "family: [joints")
        write("book/joints.yaml", GOOD.replace("error", "fatal").replace("{a.name}", "{a.nam}"))
        write("book/z.yaml", b"family: caf\xe9\n")
        places = [line for line in told().splitlines() if line.startswith("book/")]
        assert [place.split(" ")[0] for place in places] == [
            "book/a.yaml:1:9:",
            "book/joints.yaml:6:15:",
            "book/joints.yaml:7:15:",
            "book/joints.yaml:13:36:",
            "book/z.yaml:1:12:",
        ]

    @pytest.mark.parametrize(
        ("content", "expected"),
        [
            (b"", "book/joints.yaml: the file is empty"),
            (b"# nothing yet\n", "book/joints.yaml: the file is empty"),
            (
                b"family: joints\nrules: [caf\xe9]\n",
                "book/joints.yaml:2:12: the file is not UTF-8\n"
                "    rules: [caf\ufffd]\n"
                "               ^",
            ),
            (
                b"family: joi\x00nts\n",
                "book/joints.yaml:1:12: the character U+0000 is not allowed in YAML\n"
                "    family: joi\x00nts\n"
                "               ^",
            ),
            (
                b"- 1\n",
                "book/joints.yaml:1:1: a rule file must be a mapping, not a list\n    - 1\n    ^^^",
            ),
            (
                b"{}\n",
                'book/joints.yaml:1:1: a rule file needs "rules" or "overrides"\n    {}\n    ^^',
            ),
            (
                b"family: joints\nrules: []\n",
                "book/joints.yaml:2:8: rules must not be empty\n    rules: []\n           ^^",
            ),
            (
                b"family: joints\n---\nfamily: more\n",
                "book/joints.yaml:2:1: not valid YAML: expected a single document in the stream,"
                " but found another document\n    ---\n    ^",
            ),
            (
                b"family: joints\nrules: [\n\n",
                "book/joints.yaml:2:8: not valid YAML: while parsing a flow node,"
                " did not find expected node content\n"
                "    rules: [\n"
                "           ^",
            ),
            (
                b"family: joints\n\trules: 1\n",
                "book/joints.yaml:2:1: not valid YAML: while scanning a plain scalar, found a tab"
                " character that violates indentation\n    \trules: 1\n    ^",
            ),
            (
                b"family: *joints\n",
                "book/joints.yaml:1:9: not valid YAML: found undefined alias\n"
                "    family: *joints\n"
                "            ^",
            ),
        ],
    )
    def test_a_file_that_is_none(self, content, expected):
        write("book/joints.yaml", content)
        assert told() == expected

    def test_a_directory_that_is_missing_or_holds_no_rules(self):
        Path("empty").mkdir()
        write("empty/notes.txt", "not a rule file")
        assert told("book", "nowhere", "empty").splitlines() == [
            "empty: the directory holds no rule file (*.yaml)",
            "nowhere: there is no such directory",
        ]

    @pytest.mark.parametrize("content", ["", "two words\n", None])
    def test_the_built_in_book_names_its_version(self, content):
        if content is None:
            Path("book/VERSION").unlink()
        else:
            write("book/VERSION", content)
        assert told() == "book/VERSION: must hold the version of the book, such as 2026.11"

    def test_a_byte_order_mark_and_windows_line_ends_move_no_place(self):
        content = GOOD.replace('orb" and', 'orbb" and').replace("{b.name}.", "{b.nam}.")
        write("book/joints.yaml", b"\xef\xbb\xbf" + content.replace("\n", "\r\n").encode())
        windows = told()
        write("book/joints.yaml", content)
        assert windows == told()
        assert windows.count("book/joints.yaml:") == 3

    def test_text_before_a_place_may_be_of_any_script(self):
        content = GOOD.replace('a.system == "flare-37"', 'a.name == "½ ключ 🔧"')
        write("book/joints.yaml", content.replace('"orb" and', '"orbb" and'))
        assert told() == (
            'book/joints.yaml:5:48: "orbb" is no connection system; did you mean "orb"?\n'
            '        when: a.name == "½ ключ 🔧" and b.system == "orbb" and mating =='
            ' "threads-no-seal"\n'
            "                                                   ^^^^^^"
        )


OVERRIDES = """
-    severity: warning
+    severity: error
shop/own.yaml:2:11: "flare-screwed-into-o-ring-port" has the severity error already
      - rule: flare-screwed-into-o-ring-port
              ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^

-  - rule: flare-screwed-into-o-ring-port
+  - rule: flare-screwed-into-oring-port
shop/own.yaml:2:11: there is no rule "flare-screwed-into-oring-port"; did you mean \
"flare-screwed-into-o-ring-port"?
      - rule: flare-screwed-into-oring-port
              ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^

-    reason: We sell a washer that seals it.
shop/own.yaml:2:5: an override needs "reason"
      - rule: flare-screwed-into-o-ring-port
        ^^^^

-    reason: We sell a washer that seals it.
+    reason: " "
shop/own.yaml:4:13: reason must not be blank
        reason: " "
                ^^^

-    severity: warning
shop/own.yaml:2:5: an override has either "severity" or "off: true"
      - rule: flare-screwed-into-o-ring-port
        ^^^^

-    severity: warning
+    severity: warning
+    off: true
shop/own.yaml:2:5: an override has either "severity" or "off: true"
      - rule: flare-screwed-into-o-ring-port
        ^^^^

-    severity: warning
+    off: false
shop/own.yaml:3:10: off can only be true; leave the override out otherwise
        off: false
             ^^^^^

-    severity: warning
+    severity: warn
shop/own.yaml:3:15: there is no severity "warn"; did you mean "warning"?
        severity: warn
                  ^^^^

-  - rule: flare-screwed-into-o-ring-port
+  - rule: flare-screwed-into-o-ring-port
+    off: true
+    reason: No such part in our catalogue.
+  - rule: flare-screwed-into-o-ring-port
shop/own.yaml:5:11: "flare-screwed-into-o-ring-port" is overridden twice
      - rule: flare-screwed-into-o-ring-port
              ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
"""

SHOP = """\
overrides:
  - rule: flare-screwed-into-o-ring-port
    severity: warning
    reason: We sell a washer that seals it.
"""


class TestFaultsOfOverrides:
    @pytest.mark.parametrize("edit", blocks(OVERRIDES))
    def test_are_told_at_their_place(self, edit):
        content, expected = edited(edit, SHOP)
        write("shop/own.yaml", content)
        assert told("book", "shop") == expected

    def test_the_built_in_book_has_none(self):
        write("book/own.yaml", SHOP)
        assert told() == (
            "book/own.yaml:2:3: only a shop's own directory can override a rule\n"
            "      - rule: flare-screwed-into-o-ring-port\n"
            "      ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^"
        )

    def test_one_of_a_rule_that_has_faults_is_not_a_second_fault(self):
        write("book/joints.yaml", GOOD.replace("severity: error", "severity: fatal"))
        write("shop/own.yaml", SHOP)
        assert told("book", "shop").count("shop/own.yaml") == 0


class TestFormSchema:
    SCHEMA = book_form_schema(LANGUAGE)

    def errors(self, content: str) -> list[str]:
        validator = jsonschema.Draft202012Validator(self.SCHEMA)
        return [error.message for error in validator.iter_errors(yaml.safe_load(content))]

    def test_is_a_schema(self):
        jsonschema.Draft202012Validator.check_schema(self.SCHEMA)

    @pytest.mark.parametrize("content", [GOOD, GOOD + PART_RULE, SHOP])
    def test_takes_what_the_reader_takes(self, content):
        assert self.errors(content) == []

    @pytest.mark.parametrize(
        ("content", "part"),
        [
            (GOOD.replace("severity: error", "severity: fatal"), "'fatal' is not one of"),
            (GOOD.replace("about: joint", "about: joints"), "'joints' is not one of"),
            (GOOD.replace("find: adapter", "find: adaptor"), "'adaptor-between' is not one of"),
            (GOOD.replace("sources:", "source:"), "'sources' is a required property"),
            (GOOD.replace("passes:", "pass:"), "'passes' is a required property"),
            (GOOD.replace("id: flare", "id: Flare"), "does not match"),
            (GOOD.replace("family: joints\n", ""), "'family' is a dependency of 'rules'"),
            (SHOP.replace("severity: warning", '"off": false'), "True was expected"),
        ],
    )
    def test_refuses_what_the_reader_refuses(self, content, part):
        assert any(part in error for error in self.errors(content))
