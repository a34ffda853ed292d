"""The language of conditions: a checked subset of Python's expression syntax.

    a.system == "flare-37" and b.system in ("orb", "iso-6149") and not seals(a.form, b.form)

It has comparisons, `and`/`or`/`not`, `in` over a written list or a set-valued fact, `+ - * /`,
numbers, words, `True`/`False`, facts by dotted name and calls of declared predicates; nothing
else. A text is checked against a schema before anything is evaluated, and everything wrong with it
is reported at once: a misspelt fact, a number against a word, a word outside its vocabulary, kPa
against bar, a division by what may be zero.

A checked condition has three outcomes: it fires, it passes, or one cannot tell because the answer
hangs on facts that nobody recorded.
"""

from __future__ import annotations

import ast
import io
import keyword
import operator
import re
import tokenize
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal, NoReturn, TypeAlias

from rules.expression import (
    Asked,
    Call,
    Constant,
    Junction,
    Node,
    Open,
    Operation,
    Unanswered,
    compiled,
    facts_of,
    weighing,
)
from rules.schema import (
    Fact,
    FactType,
    Flag,
    NotRecorded,
    Number,
    Schema,
    Text,
    Vocabulary,
    Word,
    Words,
    did_you_mean,
)

LONGEST_SOURCE = 600
DEEPEST_SOURCE = 24
LARGEST_NUMBER = 1e15


# What conditions may speak about --------------------------------------------------------------


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


@dataclass(frozen=True)
class SubjectType:
    """Something rules are about: its facts and, where it comes in kinds, their vocabulary."""

    schema: Schema
    kinds: Vocabulary | None = None


@dataclass(frozen=True)
class Language:
    """All that a rule book may speak about.

    `subjects` by the word after `about:`; `finders` are the names that may stand after a remedy's
    `find:`.
    """

    subjects: Mapping[str, SubjectType]
    predicates: Sequence[Predicate] = ()
    finders: frozenset[str] = frozenset()


# Outcomes -------------------------------------------------------------------------------------

Decision: TypeAlias = Literal["fires", "passes", "cannot-tell"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a condition says of a record.

    When it cannot tell, `unrecorded` holds the dotted paths of the unrecorded facts the answer
    hangs on and `unanswered` the predicates that were asked and had no answer. Facts that could not
    change the answer are not among them.
    """

    decision: Decision
    unrecorded: tuple[str, ...] = ()
    unanswered: tuple[Unanswered, ...] = ()


FIRES = Outcome("fires")
PASSES = Outcome("passes")


@dataclass(frozen=True, slots=True)
class Condition:
    """A checked and compiled condition.

    `facts` are those it asks, from left to right. `holds` is the compiled text: True or False when
    every fact it came to is recorded; else it raises `NotRecorded` or returns something else, and
    `weigh` has to decide. `decide` does both.
    """

    source: str
    facts: tuple[Fact, ...] = field(repr=False)
    holds: Callable[[Any], Any] = field(repr=False, compare=False)
    _weighing: Callable[[Any], Any] = field(repr=False, compare=False)

    def decide(self, facts: Any) -> Outcome:
        """Decide the condition for a record."""
        try:
            answer = self.holds(facts)
        except NotRecorded:
            return self.weigh(facts)
        if answer is True:
            return FIRES
        return PASSES if answer is False else self.weigh(facts)

    def weigh(self, facts: Any) -> Outcome:
        """Decide the condition for a record in three-valued logic."""
        answer = self._weighing(facts)
        if isinstance(answer, Open):
            return Outcome("cannot-tell", answer.unrecorded, answer.unanswered)
        return FIRES if answer else PASSES


# Compiling ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong with a text, and where in it: `offset` and `length` in characters."""

    message: str
    offset: int
    length: int


class TextFaults(ValueError):
    """Everything that is wrong with a text of a rule, from left to right."""

    def __init__(self, source: str, faults: Iterable[Fault]) -> None:
        self.source = source
        self.faults = sorted(set(faults), key=lambda fault: (fault.offset, fault.message))
        super().__init__("; ".join(f"at {each.offset}: {each.message}" for each in self.faults))


class ConditionFaults(TextFaults):
    """Everything that is wrong with the text of a condition, from left to right."""


def compile_condition(source: str, schema: Schema, predicates: Iterable[Predicate]) -> Condition:
    """Check the text of a condition against a schema and compile it.

    Raises `ConditionFaults` holding all its faults.
    """
    expression, text = _parsed(source)
    checker = _Checker(text, schema, {each.name: each for each in predicates})
    condition = checker.condition(expression)
    if checker.faults:
        raise ConditionFaults(source, checker.faults)
    return Condition(source, tuple(facts_of(condition)), compiled(condition), weighing(condition))


def _parsed(source: str) -> tuple[ast.expr, _SourceText]:
    def refuse(message: str, offset: int = 0, length: int = 1) -> NoReturn:
        raise ConditionFaults(source, [Fault(message, offset, length)])

    if not source.strip():
        refuse("a condition is missing")
    if len(source) > LONGEST_SOURCE:
        refuse(
            f"a condition has at most {LONGEST_SOURCE} characters, this has {len(source)};"
            " split the rule, or ask a predicate",
            LONGEST_SOURCE,
        )
    if "\\" in source:
        refuse("backslashes are not part of the rule language", source.index("\\"))

    # Line breaks become blanks of the same width, so that places stay places in the source.
    flat = re.sub(r"\s", " ", source)
    indent = len(flat) - len(flat.lstrip())
    text = _SourceText(flat.strip(), indent)
    try:
        expression = ast.parse(text.text, mode="eval").body
    except SyntaxError as error:
        refuse(*_syntax_fault(text, error))
    except (ValueError, RecursionError, MemoryError):
        refuse("cannot be read as a condition")

    if (comment := _comment(text.text)) is not None:
        refuse("a condition holds no comment; put it on a YAML line of its own", comment + indent)
    if (depth := _depth(expression)) > DEEPEST_SOURCE:
        refuse(
            f"a condition nests at most {DEEPEST_SOURCE} deep, this {depth};"
            " split the rule, or ask a predicate"
        )
    return expression, text


@dataclass(frozen=True)
class _SourceText:
    """The text that was parsed, and how far into the source it begins."""

    text: str
    indent: int

    @cached_property
    def _encoded(self) -> bytes:
        return self.text.encode()

    def place(self, first: ast.expr, last: ast.expr | None = None) -> tuple[int, int]:
        """Return offset and length in the source of a node, or from one node to another."""
        start = self._characters(first.col_offset)
        end = self._characters((last or first).end_col_offset or 0)
        return start + self.indent, end - start

    def of(self, node: ast.expr) -> str:
        """Return the text of a node."""
        offset, length = self.place(node)
        return self.text[offset - self.indent : offset - self.indent + length]

    def _characters(self, encoded_length: int) -> int:
        return len(self._encoded[:encoded_length].decode())


_FOREIGN_OPERATORS = {
    r"&&": 'the rule language writes "and" for "&&"',
    r"\|\|": 'the rule language writes "or" for "||"',
    r"<>": 'the rule language writes "!=" for "<>"',
    r"!(?!=)": 'the rule language writes "not" for "!"',
    r"(?<![=!<>])=(?!=)": 'the rule language writes "==" for "is equal to"',
}


def _syntax_fault(text: _SourceText, error: SyntaxError) -> tuple[str, int, int]:
    """Return message, offset and length; a habit from another language is named as such."""
    last = len(text.text) - 1
    if error.offset:
        offset = min(error.offset - 1, last)
        length = max(1, (error.end_offset or 0) - error.offset)
        message = f"cannot be read as a condition: {error.msg}"
    else:
        offset, length, message = last, 1, "cannot be read as a condition: it ends too early"
    for foreign, advice in _FOREIGN_OPERATORS.items():
        if found := re.search(foreign, text.text):
            message, offset, length = advice, found.start(), found.end() - found.start()
            break
    return message, text.indent + offset, length


def _comment(text: str) -> int | None:
    """Return where a comment begins, which would otherwise swallow the rest of the condition."""
    tokens = tokenize.generate_tokens(io.StringIO(text).readline)
    return next((each.start[1] for each in tokens if each.type == tokenize.COMMENT), None)


def _depth(expression: ast.expr) -> int:
    deepest = 0
    waiting: list[tuple[ast.AST, int]] = [(expression, 1)]
    while waiting:  # not by recursion: the text may be deeper than Python's own stack
        node, depth = waiting.pop()
        deepest = max(deepest, depth)
        for child in ast.iter_child_nodes(node):
            # Operators and contexts are nodes of the syntax tree too, but add no depth.
            waiting.append((child, depth + isinstance(child, ast.expr)))
    return deepest


# Units ----------------------------------------------------------------------------------------


def _dimensions(unit: str | None) -> Counter[str]:
    """Read "kg/s", "mm2" or "N.m" as powers of the units in it."""
    powers: Counter[str] = Counter()
    for index, factors in enumerate((unit or "").split("/")):
        for factor in filter(None, re.split(r"[.*]", factors)):
            name, power = re.fullmatch(r"(.*?)(\d*)", factor).groups()  # type: ignore[union-attr]
            if name:  # "1/s" has a factor that is only a number
                powers[name] += int(power or 1) * (-1 if index else 1)
    return _nonzero(powers)


def _nonzero(powers: Counter[str]) -> Counter[str]:
    return Counter({unit: power for unit, power in powers.items() if power})


def _product(left: str | None, right: str | None, sign: int) -> str | None:
    """Return the unit of a product (sign 1) or a quotient (sign -1)."""
    powers = _dimensions(left)
    for unit, power in _dimensions(right).items():
        powers[unit] += sign * power
    over = [(unit, power) for unit, power in sorted(powers.items()) if power > 0]
    under = [(unit, -power) for unit, power in sorted(powers.items()) if power < 0]

    def written(factors: list[tuple[str, int]]) -> str:
        return ".".join(f"{unit}{power if power > 1 else ''}" for unit, power in factors)

    if not under:
        return written(over) or None
    return f"{written(over) or 1}/{'/'.join(written([factor]) for factor in under)}"


# Checking -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Part:
    """A checked part of a condition. A part that is itself at fault has no type, so that one
    mistake is reported once; `literal` is a number, word or flag written in the condition."""

    source: ast.expr
    node: Node
    type: FactType | None
    literal: bool = False


_COMPARISONS: dict[type[ast.cmpop], tuple[str, Callable[[Any, Any], bool]]] = {
    ast.Eq: ("==", operator.eq),
    ast.NotEq: ("!=", operator.ne),
    ast.Lt: ("<", operator.lt),
    ast.LtE: ("<=", operator.le),
    ast.Gt: (">", operator.gt),
    ast.GtE: (">=", operator.ge),
}
_ARITHMETIC: dict[type[ast.operator], tuple[str, Callable[[Any, Any], Any]]] = {
    ast.Add: ("+", operator.add),
    ast.Sub: ("-", operator.sub),
    ast.Mult: ("*", operator.mul),
    ast.Div: ("/", operator.truediv),
}
_MEMBERSHIP: dict[type[ast.cmpop], tuple[str, Callable[[Any, Any], bool]]] = {
    ast.In: ("in", lambda item, container: item in container),
    ast.NotIn: ("not in", lambda item, container: item not in container),
}
_FOREIGN_SYNTAX: dict[type[ast.AST], str] = {
    ast.IfExp: '"if ... else"',
    ast.Lambda: '"lambda"',
    ast.Subscript: "indexing with [ ]",
    ast.NamedExpr: '":="',
    ast.JoinedStr: "a text with placeholders",
    ast.ListComp: '"for"',
    ast.SetComp: '"for"',
    ast.DictComp: '"for"',
    ast.GeneratorExp: '"for"',
    ast.Starred: '"*" before a list',
    ast.Dict: "{ }",
    ast.Set: "{ }",
}
_BOOLEAN = Flag()


class _Checker:
    """Turns a syntax tree into a checked tree, noting every fault on the way."""

    def __init__(self, text: _SourceText, schema: Schema, predicates: Mapping[str, Predicate]):
        self.text = text
        self.schema = schema
        self.predicates = predicates
        self.faults: list[Fault] = []

    def condition(self, expression: ast.expr) -> Node:
        whole = self.part(expression)
        if not self.faults and not isinstance(whole.type, Flag):
            assert whole.type is not None
            self.fault(f"a condition must be true or false, this is {whole.type.describe()}", whole)
        if not self.faults and next(facts_of(whole.node), None) is None:
            self.fault("the condition asks no fact", whole)
        return whole.node

    def fault(self, message: str, first: _Part | ast.expr, last: _Part | None = None) -> None:
        start = first.source if isinstance(first, _Part) else first
        self.faults.append(Fault(message, *self.text.place(start, last.source if last else None)))

    def faulty(self, source: ast.expr, message: str) -> _Part:
        self.fault(message, source)
        return _Part(source, Constant(False), None)

    def part(self, source: ast.expr) -> _Part:
        match source:
            case ast.Constant(value):
                return self.literal(source, value)
            case ast.Name() | ast.Attribute():
                return self.fact(source)
            case ast.Call():
                return self.call(source)
            case ast.BoolOp(op, values):
                return self.junction(source, "and" if isinstance(op, ast.And) else "or", values)
            case ast.UnaryOp(ast.Not(), operand):
                return self.negation(source, operand)
            case ast.UnaryOp(ast.USub(), operand):
                return self.minus(source, operand)
            case ast.BinOp(left, op, right):
                return self.arithmetic(source, left, op, right)
            case ast.Compare():
                return self.comparisons(source)
            case ast.Tuple() | ast.List():
                return self.faulty(source, 'a list may only stand after "in"')
        foreign = _FOREIGN_SYNTAX.get(type(source), self.text.of(source))
        return self.faulty(source, f"{foreign} is not part of the rule language")

    # Leaves

    def literal(self, source: ast.expr, value: object) -> _Part:
        match value:
            case bool():
                return _Part(source, Constant(value), _BOOLEAN, literal=True)
            case str():
                return _Part(source, Constant(value), Text(), literal=True)
            case int() | float() if abs(value) <= LARGEST_NUMBER:
                # As a float, so that no product of long whole numbers can overflow.
                number = Constant(float(value))
                return _Part(source, number, Number(positive=value > 0), literal=True)
            case int() | float():
                return self.faulty(source, "the number is too large")
            case None:
                return self.faulty(
                    source,
                    '"None" is not part of the rule language: a rule that needs a fact nobody'
                    " recorded cannot tell, without being asked to",
                )
        return self.faulty(source, f"{self.text.of(source)} is not part of the rule language")

    def fact(self, source: ast.expr) -> _Part:
        path = _dotted(source)
        if path is None:
            return self.faulty(source, "only records of facts have parts reached by a dot")
        if fact := self.schema.facts.get(path):
            return _Part(source, Asked(fact), fact.type)
        if path in self.predicates:
            return self.faulty(source, f'"{path}" is a predicate; call it: {path}(...)')
        return self.faulty(source, self.schema.refusal(path))

    # Calls

    def call(self, source: ast.Call) -> _Part:
        name = _dotted(source.func) or ""
        if name in self.schema.facts:
            return self.faulty(source.func, f'"{name}" is a fact, not a predicate')
        if not isinstance(source.func, ast.Name):
            return self.faulty(source.func, "a predicate is called by its name alone: name(...)")

        arguments = [self.part(each) for each in source.args if not isinstance(each, ast.Starred)]
        predicate = self.predicates.get(name)
        if predicate is None:
            hint = did_you_mean(name, self.predicates)
            return self.faulty(source.func, f'there is no predicate "{name}"{hint}')
        count = len(predicate.parameters)
        if source.keywords or len(source.args) != count or len(arguments) != count:
            wanted = "1 argument" if count == 1 else f"{count} arguments"
            return self.faulty(source, f"{name} takes {wanted} in order, without names")
        for index, argument in enumerate(arguments):
            what = f"argument {index + 1} of {name}"
            self.argument(what, argument, predicate.parameters[index])
        call = Call(
            predicate.name,
            predicate.label,
            predicate.function,
            predicate.takes_unknown,
            tuple(argument.node for argument in arguments),
        )
        return _Part(source, call, predicate.result)

    def argument(self, what: str, given: _Part, wanted: FactType) -> None:
        match given.type, wanted:
            case None, _:
                return
            case Text(), Word(vocabulary) if given.literal:
                self.word(given, vocabulary)
                return
            case (Word(found), Word(vocabulary)) | (Words(found), Words(vocabulary)):
                suits = found == vocabulary
            case Number(unit), Number(wanted_unit):
                suits = given.literal or _dimensions(unit) == _dimensions(wanted_unit)
            case _:
                suits = type(given.type) is type(wanted)
        if not suits:
            assert given.type is not None
            self.fault(
                f"{what} must be {wanted.describe()}, {self.text.of(given.source)}"
                f" is {given.type.describe()}",
                given,
            )

    # Logic

    def junction(
        self, source: ast.expr, word: Literal["and", "or"], values: list[ast.expr]
    ) -> _Part:
        parts = [self.boolean(each, f'"{word}"') for each in values]
        return _Part(source, Junction(word, tuple(part.node for part in parts)), _BOOLEAN)

    def negation(self, source: ast.expr, operand: ast.expr) -> _Part:
        part = self.boolean(operand, '"not"')
        return _Part(source, Operation("not {}", operator.not_, (part.node,)), _BOOLEAN)

    def boolean(self, source: ast.expr, word: str) -> _Part:
        part = self.part(source)
        if part.type is not None and not isinstance(part.type, Flag):
            self.fault(
                f"{word} needs a yes or no, {self.text.of(source)} is {part.type.describe()}", part
            )
        return part

    # Numbers

    def minus(self, source: ast.expr, operand: ast.expr) -> _Part:
        part = self.number(operand, "-")
        if not isinstance(part.type, Number):
            return part
        if isinstance(part.node, Constant):
            assert isinstance(part.node.value, int | float)
            return _Part(source, Constant(-part.node.value), Number(), literal=True)
        return _Part(source, Operation("-{}", operator.neg, (part.node,)), Number(part.type.unit))

    def number(self, source: ast.expr, sign: str) -> _Part:
        part = self.part(source)
        if part.type is None or isinstance(part.type, Number):
            return part
        return self.faulty(
            source, f'"{sign}" needs numbers, {self.text.of(source)} is {part.type.describe()}'
        )

    def arithmetic(
        self, source: ast.expr, left_source: ast.expr, op: ast.operator, right_source: ast.expr
    ) -> _Part:
        if type(op) not in _ARITHMETIC:
            return self.faulty(source, "arithmetic has + - * / only; for more, ask a predicate")
        sign, function = _ARITHMETIC[type(op)]
        left, right = self.number(left_source, sign), self.number(right_source, sign)
        node = Operation(f"{{}} {sign} {{}}", function, (left.node, right.node))
        if not isinstance(left.type, Number) or not isinstance(right.type, Number):
            return _Part(source, node, None)
        if sign == "/" and _may_be_zero(right):
            self.fault(
                f"{self.text.of(right_source)} may be zero, so nothing can be divided by it", right
            )
        if sign in "*/":
            unit = _product(left.type.unit, right.type.unit, 1 if sign == "*" else -1)
        else:
            unit = self.common_unit(left, right)
        positive = sign != "-" and left.type.positive and right.type.positive
        literal = left.literal and right.literal
        return _Part(source, node, Number(unit, positive=positive), literal)

    def common_unit(self, left: _Part, right: _Part) -> str | None:
        """Return the unit two numbers share; a bare number takes that of the other."""
        assert isinstance(left.type, Number)
        assert isinstance(right.type, Number)
        if left.literal:
            return right.type.unit
        if not right.literal and _dimensions(left.type.unit) != _dimensions(right.type.unit):
            self.mismatch(left, right)
        return left.type.unit

    # Comparisons

    def comparisons(self, source: ast.Compare) -> _Part:
        operands = [source.left, *source.comparators]
        if len(source.ops) > 1 and any(type(op) not in _COMPARISONS for op in source.ops):
            return self.faulty(source, "only == != < <= > >= can be chained")
        links: list[Node] = []
        left = self.part(operands[0])
        for op, right_source in zip(source.ops, operands[1:], strict=True):
            if type(op) in _MEMBERSHIP:
                return self.membership(source, left, _MEMBERSHIP[type(op)], right_source)
            if type(op) not in _COMPARISONS:
                return self.faulty(source, 'write "==" for "is" and "!=" for "is not"')
            sign, function = _COMPARISONS[type(op)]
            right = self.part(right_source)
            self.comparison(left, sign, right)
            links.append(Operation(f"{{}} {sign} {{}}", function, (left.node, right.node)))
            left = right
        node = links[0] if len(links) == 1 else Junction("and", tuple(links))
        return _Part(source, node, _BOOLEAN)

    def comparison(self, left: _Part, sign: str, right: _Part) -> None:
        if left.type is None or right.type is None:
            return
        if left.literal and right.literal:
            self.fault("this compares two constants", left, right)
        elif sign in ("==", "!="):
            self.equality(left, right)
        elif isinstance(left.type, Number) and isinstance(right.type, Number):
            self.common_unit(left, right)
        elif isinstance(left.type, Number) or isinstance(right.type, Number):
            self.mismatch(left, right)
        else:
            self.fault(
                f'"{sign}" needs numbers, {self.text.of(left.source)} is {left.type.describe()}',
                left,
                right,
            )

    def equality(self, left: _Part, right: _Part) -> None:
        match left.type, right.type:
            case Word(vocabulary), Text() if right.literal:
                self.word(right, vocabulary)
            case Text(), Word(vocabulary) if left.literal:
                self.word(left, vocabulary)
            case Word(one), Word(other) if one == other:
                pass
            case (Flag(), Flag()) | (Text(), Text()):
                pass
            case Number(), Number():
                self.common_unit(left, right)
            case (Words(), _) | (_, Words()):
                self.fault('a set of words is asked with "in"', left, right)
            case _:
                self.mismatch(left, right)

    def membership(
        self,
        source: ast.expr,
        item: _Part,
        op: tuple[str, Callable[[Any, Any], bool]],
        container_source: ast.expr,
    ) -> _Part:
        if isinstance(container_source, ast.Tuple | ast.List):
            container = self.written_list(item, container_source)
        else:
            container = self.word_set(item, container_source)
        sign, function = op
        node = Operation(f"{{}} {sign} {{}}", function, (item.node, container))
        return _Part(source, node, _BOOLEAN)

    def written_list(self, item: _Part, source: ast.Tuple | ast.List) -> Node:
        members: list[Any] = []
        if not source.elts:
            self.fault('nothing is ever "in" an empty list', source)
        if item.literal:
            self.fault("this looks for a constant among constants; ask a fact", item)
        for element in source.elts:
            member = self.part(element)
            if member.type is None:
                continue
            if not isinstance(member.node, Constant):
                self.fault("a list holds only words and numbers written out", member)
                continue
            if not item.literal and item.type is not None:
                self.equality(item, member)
            if member.node.value in members:
                self.fault(f"{self.text.of(element)} is listed twice", member)
            members.append(member.node.value)
        return Constant(frozenset(members))

    def word_set(self, item: _Part, source: ast.expr) -> Node:
        container = self.part(source)
        match item.type, container.type:
            case (_, None) | (None, Words()):
                pass
            case Text(), Words(vocabulary) if item.literal:
                self.word(item, vocabulary)
            case Word(found), Words(vocabulary) if found == vocabulary:
                pass
            case _, Words():
                self.mismatch(item, container)
            case _, Text() if container.literal:
                written = self.text.of(source)
                self.fault(f'"in" needs a list; one word is written ({written},)', container)
            case _:
                assert container.type is not None
                self.fault(
                    f'"in" needs a list or a set of words, {self.text.of(source)}'
                    f" is {container.type.describe()}",
                    container,
                )
        return container.node

    def word(self, literal: _Part, vocabulary: Vocabulary) -> None:
        assert isinstance(literal.node, Constant)
        word = literal.node.value
        if word not in vocabulary:
            self.fault(vocabulary.refusal(str(word)), literal)

    def mismatch(self, left: _Part, right: _Part) -> None:
        assert left.type is not None
        assert right.type is not None
        self.fault(
            f"{self.text.of(left.source)} is {left.type.describe()}, {self.text.of(right.source)}"
            f" is {right.type.describe()}: they do not match",
            left,
            right,
        )


def _dotted(source: ast.expr) -> str | None:
    match source:
        case ast.Name(name):
            return name
        case ast.Attribute(value, name):
            before = _dotted(value)
            return None if before is None else f"{before}.{name}"
    return None


def _may_be_zero(divisor: _Part) -> bool:
    if isinstance(divisor.node, Constant):
        return divisor.node.value == 0
    assert isinstance(divisor.type, Number)
    return not divisor.type.positive
