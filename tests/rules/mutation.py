"""Mutants of a rule's condition: do the examples of the rule notice a small change to it?

    assert surviving_mutants(rule, language) == []

Every comparison and arithmetic operator is replaced by its neighbours, `and` by `or` and back,
`not` is taken away, every number is nudged, every word is replaced by another of its vocabulary,
every flag is turned round, and every list loses one member at a time.
"""

import ast
from collections.abc import Iterator

from rules.language import Condition, ConditionFaults, Language, compile_condition
from rules.rule import Rule
from rules.schema import Vocabulary, Word, Words

NEIGHBOURS: dict[type[ast.AST], tuple[type[ast.AST], ...]] = {
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Lt: (ast.LtE, ast.Gt),
    ast.LtE: (ast.Lt,),
    ast.Gt: (ast.GtE, ast.Lt),
    ast.GtE: (ast.Gt,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
    ast.Add: (ast.Sub,),
    ast.Sub: (ast.Add,),
    ast.Mult: (ast.Div,),
    ast.Div: (ast.Mult,),
    ast.And: (ast.Or,),
    ast.Or: (ast.And,),
}
LARGEST_COUNT = 100
NUDGE = 0.001


def surviving_mutants(rule: Rule, language: Language) -> list[str]:
    """Return the changes to a rule's condition that none of its examples notices."""
    return [
        description
        for description, mutant in mutants(rule, language)
        if all(
            mutant.decide(example.facts).decision == example.expected for example in rule.examples
        )
    ]


def mutants(rule: Rule, language: Language) -> Iterator[tuple[str, Condition]]:
    """Yield every change to a rule's condition that is still a condition, and what it gives."""
    schema = language.subjects[rule.about].schema
    source = " ".join(rule.condition.source.split())
    vocabularies = _vocabularies(language)
    for old in ast.walk(ast.parse(source, mode="eval").body):
        if not isinstance(old, ast.expr):
            continue
        for new in _changes(old, vocabularies, source):
            changed = _spliced(source, old, new)
            try:
                mutant = compile_condition(changed, schema, language.predicates)
            except ConditionFaults:
                continue
            yield f"{ast.unparse(old)}  became  {ast.unparse(new)}", mutant


def _vocabularies(language: Language) -> list[Vocabulary]:
    types = [
        *(fact.type for each in language.subjects.values() for fact in each.schema.facts.values()),
        *(parameter for each in language.predicates for parameter in each.parameters),
        *(each.result for each in language.predicates),
    ]
    return list(dict.fromkeys(each.vocabulary for each in types if isinstance(each, Word | Words)))


def _spliced(source: str, old: ast.expr, new: ast.expr) -> str:
    encoded = source.encode()  # places in a syntax tree count bytes
    before, after = encoded[: old.col_offset], encoded[old.end_col_offset :]
    return f"{before.decode()}({ast.unparse(new)}){after.decode()}"


def _changes(node: ast.expr, vocabularies: list[Vocabulary], source: str) -> Iterator[ast.expr]:
    match node:
        case ast.Compare(left, ops, comparators):
            for index, op in enumerate(ops):
                for other in NEIGHBOURS[type(op)]:
                    changed = [*ops[:index], other(), *ops[index + 1 :]]
                    yield ast.Compare(left, changed, comparators)  # type: ignore[arg-type]
        case ast.BoolOp(op, values):
            for other in NEIGHBOURS[type(op)]:
                yield ast.BoolOp(other(), values)  # type: ignore[arg-type]
        case ast.BinOp(left, op, right):
            for other in NEIGHBOURS[type(op)]:
                yield ast.BinOp(left, other(), right)  # type: ignore[arg-type]
        case ast.UnaryOp(ast.Not(), operand):
            yield operand
        case ast.Tuple(members) | ast.List(members):
            for index in range(len(members)):
                yield ast.Tuple([*members[:index], *members[index + 1 :]], ast.Load())
        case ast.Constant(bool() as flag):
            yield ast.Constant(not flag)
        case ast.Constant(int() | float() as number):
            yield from map(ast.Constant, _nudged(number))
        case ast.Constant(str() as word):
            for vocabulary in vocabularies:
                if word in vocabulary:
                    yield from map(ast.Constant, _another(word, vocabulary, source))


def _nudged(number: float) -> tuple[float, float]:
    if isinstance(number, int) and number <= LARGEST_COUNT:
        return number - 1, number + 1
    nudge = (number or 1) * NUDGE
    return round(number - nudge, 12), round(number + nudge, 12)


def _another(word: str, vocabulary: Vocabulary, source: str) -> list[str]:
    others = [each for each in vocabulary if each != word]
    # One that the condition does not name would be a new mistake, not a repeated word.
    return [each for each in others if f'"{each}"' not in source][:1] or others[:1]
