import pytest

from rules.templates import TemplateFaults, compile_template
from tests.rules.small_language import JOINT, PART


class TestRendering:
    def test_facts_are_shown_as_people_read_them(self):
        template = compile_template(
            "{a.name} ({a.system}, {a.bore_mm}, swivel: {a.swivel}) at {pressure_kpa}", JOINT
        )
        facts = JOINT.build(
            {
                "a.name": "tube.b",
                "a.system": "flare-37",
                "a.bore_mm": 7.9375,
                "a.swivel": True,
                "pressure_kpa": 420.0,
            }
        )
        assert (
            template.render(facts) == "tube.b (37 degree flare, 7.938 mm, swivel: yes) at 4.2 bar"
        )

    def test_what_nobody_recorded_is_called_so(self):
        template = compile_template("{a.name} has a bore of {a.bore_mm}", JOINT)
        facts = JOINT.build({"a.name": "tube.b"})
        assert template.render(facts) == "tube.b has a bore of not recorded"

    def test_sets_of_words(self):
        template = compile_template("marked {markings}", PART)
        facts = PART.build({"markings": ["SAE J30 R10", "SAE J30 R9"]})
        assert template.render(facts) == "marked SAE J30 R9, SAE J30 R10"
        assert template.render(PART.build({"markings": []})) == "marked none"

    @pytest.mark.parametrize(
        ("source", "text"),
        [
            ("", ""),
            ("plain", "plain"),
            ("{name}", "joint"),
            ("{name}{name}.", "jointjoint."),
            ("{{name}}", "{name}"),
            ("{{{name}}}", "{joint}"),
            ("10 % {{}} 100%s", "10 % {} 100%s"),
        ],
    )
    def test_braces_that_are_meant_are_written_twice(self, source, text):
        assert compile_template(source, JOINT).render(JOINT.build({"name": "joint"})) == text


TOLD = """
{a.nam} screws in
^^^^^^^
there is no fact "a.nam"; did you mean "a.name"?

size {a} here
     ^^^
"a" is a record; name one of its facts, such as a.name

{a.bore_mm:.2f}
^^^^^^^^^^^^^^^
a placeholder is the name of a fact alone: {a.bore_mm}

{a.name!r}
^^^^^^^^^^
a placeholder is the name of a fact alone: {a.name}

{ a.name }
^^^^^^^^^^
a placeholder is the name of a fact alone: {a.name}

{}
^^
a placeholder needs the name of a fact

{ }
^^^
a placeholder needs the name of a fact

{a.name
^
this brace stands alone; one that is meant is written "{{"

a.name} is
      ^
this brace stands alone; one that is meant is written "}}"

{a.nam} and {b.name} and {b.bor_mm} and }
^^^^^^^
there is no fact "a.nam"; did you mean "a.name"?
                         ^^^^^^^^^^
there is no fact "b.bor_mm"; did you mean "b.bore_mm"?
                                        ^
this brace stands alone; one that is meant is written "}}"
"""


@pytest.mark.parametrize("expected", TOLD.strip().split("\n\n"))
def test_every_fault_is_told_at_its_place(expected):
    source = expected.partition("\n")[0]
    with pytest.raises(TemplateFaults) as caught:
        compile_template(source, JOINT)
    lines = [source]
    for fault in caught.value.faults:
        lines += [" " * fault.offset + "^" * fault.length, fault.message]
    assert "\n".join(lines) == expected
