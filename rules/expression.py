"""A checked condition as a tree: written out as Python, and decided in three-valued logic.

The tree is what `rules.language` makes of a condition's text. `compiled` turns it into a Python
function for the case that every fact it asks is recorded. `weighing` turns it into one that decides
by Kleene's three-valued logic when some are not: it returns a value where the known facts settle it
(`False and unknown` is false), else an `Open`, which names what the answer hangs on.
"""

from __future__ import annotations

import keyword
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Literal, NoReturn, TypeAlias

from rules.facttypes import UNKNOWN, FactType, NotRecorded
from rules.schema import Fact

# The tree -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Constant:
    """A number, a word, a flag, or a set of numbers or words to look in."""

    value: float | str | bool | frozenset[float | str]


@dataclass(frozen=True, slots=True)
class Asked:
    """A fact."""

    fact: Fact


@dataclass(frozen=True, slots=True)
class Operation:
    """Arithmetic, a comparison, membership or negation: undecided when any operand is.

    `form` is the Python text with a `{}` for each operand; `function` computes the same from their
    values.
    """

    form: str
    function: Callable[..., Any]
    operands: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Junction:
    """`and` or `or`: one operand can settle it whatever the others are."""

    word: Literal["and", "or"]
    operands: tuple[Node, ...]


@dataclass(frozen=True)
class Predicate:
    """A named question a condition may ask, answered by Python code or a table.

    `function` takes one plain value for each of `parameters` and returns a value of the type
    `result`, or UNKNOWN when it has no answer. While an argument is UNKNOWN it is not called and
    the answer is unknown, unless `takes_unknown`; then it gets UNKNOWN, and must not give an answer
    that recording the fact could overturn. It must answer every value its parameters allow, and
    the same arguments always the same. `label` names it for people ("the mating table").
    """

    name: str
    parameters: tuple[FactType, ...]
    result: FactType
    function: Callable[..., Any]
    label: str = ""
    takes_unknown: bool = False

    def __post_init__(self) -> None:
        if not self.name.isidentifier() or keyword.iskeyword(self.name):
            raise ValueError(f"{self.name!r} cannot be the name of a predicate")
        if not self.label:
            object.__setattr__(self, "label", self.name.replace("_", " "))


@dataclass(frozen=True, slots=True)
class Call:
    """A question to a predicate."""

    predicate: Predicate
    operands: tuple[Node, ...]


Node: TypeAlias = Constant | Asked | Operation | Junction | Call


def facts_of(node: Node) -> Iterator[Fact]:
    """Yield the facts a condition asks, from left to right, each once."""
    found = (each.fact for each in _walk(node) if isinstance(each, Asked))
    yield from {fact.path: fact for fact in found}.values()


def _walk(node: Node) -> Iterator[Node]:
    yield node
    if isinstance(node, Operation | Junction | Call):
        for operand in node.operands:
            yield from _walk(operand)


# Three-valued logic ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Unanswered:
    """A predicate that was asked about recorded facts and had no answer.

    `label` is its name for people ("the mating table"), `facts` the paths it was asked about.
    """

    predicate: str
    label: str
    facts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Open:
    """An undecided value: the unrecorded facts and the unanswered questions it hangs on."""

    unrecorded: tuple[str, ...] = ()
    unanswered: tuple[Unanswered, ...] = ()


def weighing(node: Node) -> Callable[[Any], Any]:
    """Return a function of the top record that decides a node in three-valued logic.

    It returns the value, or an `Open` where the known facts leave it so. Made once for each
    condition: catalogues are never complete, so this is no rare path.
    """
    match node:
        case Constant(value):
            return lambda _: value
        case Asked(fact):
            return _weighing_fact(fact)
        case Operation(_, function, operands):
            return _weighing_operation(function, [weighing(each) for each in operands])
        case Junction(word, operands):
            return _weighing_junction(word == "or", [weighing(each) for each in operands])
        case Call():
            return _weighing_call(node, [weighing(each) for each in node.operands])


def _weighing_fact(fact: Fact) -> Callable[[Any], Any]:
    read, unrecorded = fact.read, Open(unrecorded=(fact.path,))

    def weigh(facts: Any) -> Any:
        value = read(facts)
        return unrecorded if value is UNKNOWN else value

    return weigh


def _weighing_operation(
    function: Callable[..., Any], operands: list[Callable[[Any], Any]]
) -> Callable[[Any], Any]:
    def weigh(facts: Any) -> Any:
        values = [operand(facts) for operand in operands]
        undecided = _undecided(values)
        return _together(undecided) if undecided else function(*values)

    return weigh


def _weighing_junction(
    settling: bool, operands: list[Callable[[Any], Any]]
) -> Callable[[Any], Any]:
    def weigh(facts: Any) -> Any:
        undecided = []
        for operand in operands:
            value = operand(facts)
            if type(value) is Open:
                undecided.append(value)
            elif bool(value) is settling:
                return settling
        return _together(undecided) if undecided else not settling

    return weigh


def _weighing_call(call: Call, operands: list[Callable[[Any], Any]]) -> Callable[[Any], Any]:
    predicate = call.predicate
    asked = tuple(fact.path for fact in facts_of(call))
    unanswered = Open(unanswered=(Unanswered(predicate.name, predicate.label, asked),))

    def weigh(facts: Any) -> Any:
        values = [operand(facts) for operand in operands]
        undecided = _undecided(values)
        if undecided and not predicate.takes_unknown:
            return _together(undecided)
        try:
            answer = predicate.function(
                *(UNKNOWN if type(each) is Open else each for each in values)
            )
        except NotRecorded:
            answer = UNKNOWN
        if answer is not UNKNOWN:
            return answer
        return _together(undecided) if undecided else unanswered

    return weigh


def _undecided(values: list[Any]) -> list[Open]:
    return [value for value in values if type(value) is Open]


def _together(undecided: list[Open]) -> Open:
    if len(undecided) == 1:
        return undecided[0]
    return Open(
        tuple(dict.fromkeys(path for each in undecided for path in each.unrecorded)),
        tuple(dict.fromkeys(question for each in undecided for question in each.unanswered)),
    )


# Compiled -------------------------------------------------------------------------------------


def compiled(condition: Node) -> Callable[[Any], Any]:
    """Compile a condition to a function of the top record.

    It returns True or False, or else raises `NotRecorded` or returns UNKNOWN; then `weighing` has
    to decide.
    """
    questions = {
        f"ask_{each.predicate.name}": _guarded(each)
        for each in _walk(condition)
        if isinstance(each, Call)
    }
    return _function(f"lambda facts: {_python(condition)}", questions)


def _python(node: Node) -> str:
    match node:
        case Constant(frozenset() as members):
            return f"{{{', '.join(sorted(map(repr, members)))}}}"
        case Constant(value):
            return repr(value)
        case Asked(fact):
            return f"facts.{fact.path}"
        case Operation(form, _, operands):
            return f"({form.format(*map(_python, operands))})"
        case Junction(word, operands):
            return f"({f' {word} '.join(map(_python, operands))})"
        case Call():
            return f"ask_{node.predicate.name}({', '.join(map(_python, node.operands))})"


def _guarded(call: Call) -> Callable[..., Any]:
    """Keep UNKNOWN from a predicate that did not ask for it."""
    predicate = call.predicate
    if predicate.takes_unknown or not predicate.parameters:
        return predicate.function
    names = [f"argument_{index}" for index in range(len(predicate.parameters))]
    arguments, unknown = ", ".join(names), " or ".join(f"{name} is UNKNOWN" for name in names)
    # A text of the right arity: looping over *arguments would cost more than most predicates do.
    return _function(
        f"lambda {arguments}: refuse() if {unknown} else function({arguments})",
        {"UNKNOWN": UNKNOWN, "refuse": _refuse, "function": predicate.function},
    )


def _refuse() -> NoReturn:
    raise NotRecorded("a predicate was asked about a fact that is not recorded")


def _function(text: str, names: dict[str, Any]) -> Callable[..., Any]:
    function: Callable[..., Any] = eval(text, {"__builtins__": {}, **names})
    return function
