"""Checks the syntax tree of a condition against the facts and predicates it may use.

Every part gets a fact type. A bare number takes the unit of what it is compared with or added to;
products and quotients have units of their own. What is left is a tree that cannot go wrong.
"""

from __future__ import annotations

import ast
import operator
import re
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from rules.expression import (
    Asked,
    Call,
    Constant,
    Junction,
    Node,
    Operation,
    Predicate,
    facts_of,
)
from rules.facttypes import FactType, Flag, Number, Text, Vocabulary, Word, Words, did_you_mean
from rules.schema import Schema
from rules.sourcetext import Fault, SourceText

LARGEST_NUMBER = 1e15


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


class Checker:
    """Turns the syntax tree of a condition into a checked tree, noting every fault on the way."""

    def __init__(self, text: SourceText, schema: Schema, predicates: Mapping[str, Predicate]):
        self._text = text
        self._schema = schema
        self._predicates = predicates
        self.faults: list[Fault] = []

    def condition(self, expression: ast.expr) -> Node:
        """Return the checked tree; it means nothing when there are `faults`."""
        whole = self._part(expression)
        if not self.faults and not isinstance(whole.type, Flag):
            assert whole.type is not None
            self._fault(
                f"a condition must be true or false, this is {whole.type.describe()}", whole
            )
        if not self.faults and next(facts_of(whole.node), None) is None:
            self._fault("the condition asks no fact", whole)
        return whole.node

    def _fault(self, message: str, first: _Part | ast.expr, last: _Part | None = None) -> None:
        start = first.source if isinstance(first, _Part) else first
        self.faults.append(Fault(message, *self._text.place(start, last.source if last else None)))

    def _faulty(self, source: ast.expr, message: str) -> _Part:
        self._fault(message, source)
        return _Part(source, Constant(False), None)

    def _part(self, source: ast.expr) -> _Part:
        match source:
            case ast.Constant(value):
                return self._literal(source, value)
            case ast.Name() | ast.Attribute():
                return self._fact(source)
            case ast.Call():
                return self._call(source)
            case ast.BoolOp(op, values):
                return self._junction(source, "and" if isinstance(op, ast.And) else "or", values)
            case ast.UnaryOp(ast.Not(), operand):
                return self._negation(source, operand)
            case ast.UnaryOp(ast.USub(), operand):
                return self._minus(source, operand)
            case ast.BinOp(left, op, right):
                return self._arithmetic(source, left, op, right)
            case ast.Compare():
                return self._comparisons(source)
            case ast.Tuple() | ast.List():
                return self._faulty(source, 'a list may only stand after "in"')
        foreign = _FOREIGN_SYNTAX.get(type(source), self._text.of(source))
        return self._faulty(source, f"{foreign} is not part of the rule language")

    # Leaves

    def _literal(self, source: ast.expr, value: object) -> _Part:
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
                return self._faulty(source, "the number is too large")
            case None:
                return self._faulty(
                    source,
                    '"None" is not part of the rule language: a rule that needs a fact nobody'
                    " recorded cannot tell, without being asked to",
                )
        return self._faulty(source, f"{self._text.of(source)} is not part of the rule language")

    def _fact(self, source: ast.expr) -> _Part:
        path = _dotted(source)
        if path is None:
            return self._faulty(source, "only records of facts have parts reached by a dot")
        if fact := self._schema.facts.get(path):
            return _Part(source, Asked(fact), fact.type)
        if path in self._predicates:
            return self._faulty(source, f'"{path}" is a predicate; call it: {path}(...)')
        return self._faulty(source, self._schema.refusal(path))

    # Calls

    def _call(self, source: ast.Call) -> _Part:
        name = _dotted(source.func) or ""
        if name in self._schema.facts:
            return self._faulty(source.func, f'"{name}" is a fact, not a predicate')
        if not isinstance(source.func, ast.Name):
            return self._faulty(source.func, "a predicate is called by its name alone: name(...)")

        arguments = [self._part(each) for each in source.args if not isinstance(each, ast.Starred)]
        predicate = self._predicates.get(name)
        if predicate is None:
            hint = did_you_mean(name, self._predicates)
            return self._faulty(source.func, f'there is no predicate "{name}"{hint}')
        count = len(predicate.parameters)
        if source.keywords or len(source.args) != count or len(arguments) != count:
            wanted = "1 argument" if count == 1 else f"{count} arguments"
            return self._faulty(source, f"{name} takes {wanted} in order, without names")
        for index, argument in enumerate(arguments):
            what = f"argument {index + 1} of {name}"
            self._argument(what, argument, predicate.parameters[index])
        call = Call(predicate, tuple(argument.node for argument in arguments))
        return _Part(source, call, predicate.result)

    def _argument(self, what: str, given: _Part, wanted: FactType) -> None:
        match given.type, wanted:
            case None, _:
                return
            case Text(), Word(vocabulary) if given.literal:
                self._word(given, vocabulary)
                return
            case (Word(found), Word(vocabulary)) | (Words(found), Words(vocabulary)):
                suits = found == vocabulary
            case Number(unit), Number(wanted_unit):
                suits = given.literal or _dimensions(unit) == _dimensions(wanted_unit)
            case _:
                suits = type(given.type) is type(wanted)
        if not suits:
            assert given.type is not None
            self._fault(
                f"{what} must be {wanted.describe()}, {self._text.of(given.source)}"
                f" is {given.type.describe()}",
                given,
            )

    # Logic

    def _junction(
        self, source: ast.expr, word: Literal["and", "or"], values: list[ast.expr]
    ) -> _Part:
        parts = [self._boolean(each, f'"{word}"') for each in values]
        return _Part(source, Junction(word, tuple(part.node for part in parts)), _BOOLEAN)

    def _negation(self, source: ast.expr, operand: ast.expr) -> _Part:
        part = self._boolean(operand, '"not"')
        return _Part(source, Operation("not {}", operator.not_, (part.node,)), _BOOLEAN)

    def _boolean(self, source: ast.expr, word: str) -> _Part:
        part = self._part(source)
        if part.type is not None and not isinstance(part.type, Flag):
            self._fault(
                f"{word} needs a yes or no, {self._text.of(source)} is {part.type.describe()}", part
            )
        return part

    # Numbers

    def _minus(self, source: ast.expr, operand: ast.expr) -> _Part:
        part = self._number(operand, "-")
        if not isinstance(part.type, Number):
            return part
        if isinstance(part.node, Constant):
            assert isinstance(part.node.value, int | float)
            return _Part(source, Constant(-part.node.value), Number(), literal=True)
        return _Part(source, Operation("-{}", operator.neg, (part.node,)), Number(part.type.unit))

    def _number(self, source: ast.expr, sign: str) -> _Part:
        part = self._part(source)
        if part.type is None or isinstance(part.type, Number):
            return part
        return self._faulty(
            source, f'"{sign}" needs numbers, {self._text.of(source)} is {part.type.describe()}'
        )

    def _arithmetic(
        self, source: ast.expr, left_source: ast.expr, op: ast.operator, right_source: ast.expr
    ) -> _Part:
        if type(op) not in _ARITHMETIC:
            return self._faulty(source, "arithmetic has + - * / only; for more, ask a predicate")
        sign, function = _ARITHMETIC[type(op)]
        left, right = self._number(left_source, sign), self._number(right_source, sign)
        node = Operation(f"{{}} {sign} {{}}", function, (left.node, right.node))
        if not isinstance(left.type, Number) or not isinstance(right.type, Number):
            return _Part(source, node, None)
        if sign == "/" and _may_be_zero(right):
            self._fault(
                f"{self._text.of(right_source)} may be zero, so nothing can be divided by it", right
            )
        if sign in "*/":
            unit = _product(left.type.unit, right.type.unit, 1 if sign == "*" else -1)
        else:
            unit = self._common_unit(left, right)
        positive = sign != "-" and left.type.positive and right.type.positive
        literal = left.literal and right.literal
        return _Part(source, node, Number(unit, positive=positive), literal)

    def _common_unit(self, left: _Part, right: _Part) -> str | None:
        """Return the unit two numbers share; a bare number takes that of the other."""
        assert isinstance(left.type, Number)
        assert isinstance(right.type, Number)
        if left.literal:
            return right.type.unit
        if not right.literal and _dimensions(left.type.unit) != _dimensions(right.type.unit):
            self._mismatch(left, right)
        return left.type.unit

    # Comparisons

    def _comparisons(self, source: ast.Compare) -> _Part:
        operands = [source.left, *source.comparators]
        if len(source.ops) > 1 and any(type(op) not in _COMPARISONS for op in source.ops):
            return self._faulty(source, "only == != < <= > >= can be chained")
        links: list[Node] = []
        left = self._part(operands[0])
        for op, right_source in zip(source.ops, operands[1:], strict=True):
            if type(op) in _MEMBERSHIP:
                return self._membership(source, left, _MEMBERSHIP[type(op)], right_source)
            if type(op) not in _COMPARISONS:
                return self._faulty(source, 'write "==" for "is" and "!=" for "is not"')
            sign, function = _COMPARISONS[type(op)]
            right = self._part(right_source)
            self._comparison(left, sign, right)
            links.append(Operation(f"{{}} {sign} {{}}", function, (left.node, right.node)))
            left = right
        node = links[0] if len(links) == 1 else Junction("and", tuple(links))
        return _Part(source, node, _BOOLEAN)

    def _comparison(self, left: _Part, sign: str, right: _Part) -> None:
        if left.type is None or right.type is None:
            return
        if left.literal and right.literal:
            self._fault("this compares two constants", left, right)
        elif sign in ("==", "!="):
            self._equality(left, right)
        elif isinstance(left.type, Number) and isinstance(right.type, Number):
            self._common_unit(left, right)
        elif isinstance(left.type, Number) or isinstance(right.type, Number):
            self._mismatch(left, right)
        else:
            self._fault(
                f'"{sign}" needs numbers, {self._text.of(left.source)} is {left.type.describe()}',
                left,
                right,
            )

    def _equality(self, left: _Part, right: _Part) -> None:
        match left.type, right.type:
            case Word(vocabulary), Text() if right.literal:
                self._word(right, vocabulary)
            case Text(), Word(vocabulary) if left.literal:
                self._word(left, vocabulary)
            case Word(one), Word(other) if one == other:
                pass
            case (Flag(), Flag()) | (Text(), Text()):
                pass
            case Number(), Number():
                self._common_unit(left, right)
            case (Words(), _) | (_, Words()):
                self._fault('a set of words is asked with "in"', left, right)
            case _:
                self._mismatch(left, right)

    def _membership(
        self,
        source: ast.expr,
        item: _Part,
        op: tuple[str, Callable[[Any, Any], bool]],
        container_source: ast.expr,
    ) -> _Part:
        if isinstance(container_source, ast.Tuple | ast.List):
            container = self._written_list(item, container_source)
        else:
            container = self._word_set(item, container_source)
        sign, function = op
        node = Operation(f"{{}} {sign} {{}}", function, (item.node, container))
        return _Part(source, node, _BOOLEAN)

    def _written_list(self, item: _Part, source: ast.Tuple | ast.List) -> Node:
        members: list[Any] = []
        if not source.elts:
            self._fault('nothing is ever "in" an empty list', source)
        if item.literal:
            self._fault("this looks for a constant among constants; ask a fact", item)
        for element in source.elts:
            member = self._part(element)
            if member.type is None:
                continue
            if not isinstance(member.node, Constant):
                self._fault("a list holds only words and numbers written out", member)
                continue
            if not item.literal and item.type is not None:
                self._equality(item, member)
            if member.node.value in members:
                self._fault(f"{self._text.of(element)} is listed twice", member)
            members.append(member.node.value)
        return Constant(frozenset(members))

    def _word_set(self, item: _Part, source: ast.expr) -> Node:
        container = self._part(source)
        match item.type, container.type:
            case (_, None) | (None, Words()):
                pass
            case Text(), Words(vocabulary) if item.literal:
                self._word(item, vocabulary)
            case Word(found), Words(vocabulary) if found == vocabulary:
                pass
            case _, Words():
                self._mismatch(item, container)
            case _, Text() if container.literal:
                written = self._text.of(source)
                self._fault(f'"in" needs a list; one word is written ({written},)', container)
            case _:
                assert container.type is not None
                self._fault(
                    f'"in" needs a list or a set of words, {self._text.of(source)}'
                    f" is {container.type.describe()}",
                    container,
                )
        return container.node

    def _word(self, literal: _Part, vocabulary: Vocabulary) -> None:
        assert isinstance(literal.node, Constant)
        word = literal.node.value
        if word not in vocabulary:
            self._fault(vocabulary.refusal(str(word)), literal)

    def _mismatch(self, left: _Part, right: _Part) -> None:
        assert left.type is not None
        assert right.type is not None
        self._fault(
            f"{self._text.of(left.source)} is {left.type.describe()}, {self._text.of(right.source)}"
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
