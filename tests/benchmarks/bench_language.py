"""Compare compiled conditions with the same conditions written by hand as Python functions.

    python -m tests.benchmarks.bench_language

Both run over the same facts in alternating rounds of one process; only their ratio is to be quoted.
"""

import statistics
import time
from collections.abc import Callable, Sequence
from typing import Any

from rules.language import compile_condition
from rules.schema import UNKNOWN, NotRecorded
from tests.rules.small_language import JOINT, PREDICATES, SYSTEMS, EndFacts, JointFacts

ROUNDS = 15
PASSES = 20

CONDITIONS: dict[str, Callable[[Any], Any]] = {
    'a.system == "flare-37" and b.system == "orb" and mating == "threads-no-seal"': lambda f: (
        f.a.system == "flare-37" and f.b.system == "orb" and f.mating == "threads-no-seal"
    ),
    'a.system in ("npt", "barb") and a.material == "aluminium"': lambda f: (
        f.a.system in ("npt", "barb") and f.a.material == "aluminium"
    ),
    "a.bore_mm / b.bore_mm > 1.05 or b.bore_mm / a.bore_mm > 1.05": lambda f: (
        f.a.bore_mm / f.b.bore_mm > 1.05 or f.b.bore_mm / f.a.bore_mm > 1.05
    ),
    'not a.swivel and not b.swivel and mating != "never"': lambda f: (
        not f.a.swivel and not f.b.swivel and f.mating != "never"
    ),
    'pressure_kpa > 700 and (a.system == "barb" or b.system == "barb")': lambda f: (
        f.pressure_kpa > 700 and (f.a.system == "barb" or f.b.system == "barb")
    ),
    'a.system == b.system and mating == "never"': lambda f: (
        f.a.system == f.b.system and f.mating == "never"
    ),
    "8 < a.bore_mm < 10": lambda f: 8 < f.a.bore_mm < 10,
    'a.material == "brass" and b.material in ("aluminium", "zinc-die-cast")': lambda f: (
        f.a.material == "brass" and f.b.material in ("aluminium", "zinc-die-cast")
    ),
}


def joint(index: int, *, bore_known: bool) -> JointFacts:
    """Return one of many joints, of mixed systems, bores and materials."""
    words, materials = tuple(SYSTEMS), ("brass", "aluminium", "nbr")

    def end(name: str, number: int) -> EndFacts:
        return EndFacts(
            name=name,
            system=words[number % len(words)],
            bore_mm=6.0 + number % 5 if bore_known else UNKNOWN,
            swivel=number % 2 == 0,
            material=materials[number % 3],
        )

    mating = ("seals-with", "threads-no-seal", "never")[index % 3]
    ends = end("a", index), end("b", index * 7 + index // 5)
    return JointFacts("joint", *ends, mating, 300.0 + 10 * index)


def by_hand(functions: Sequence[Callable[[Any], Any]], joints: Sequence[JointFacts]) -> int:
    """Count what fires, as a program without rules as data would."""
    fired = 0
    for facts in joints:
        for function in functions:
            if function(facts):
                fired += 1
    return fired


def as_rules(conditions: Sequence[Any], joints: Sequence[JointFacts]) -> int:
    """Count what fires, as the engine asks its rules."""
    fired = 0
    for facts in joints:
        for condition in conditions:
            try:
                answer = condition.holds(facts)
            except NotRecorded:
                answer = UNKNOWN
            if answer is False:
                continue
            if answer is True or condition.weigh(facts).decision == "fires":
                fired += 1
    return fired


def microseconds(run: Callable[[], object], evaluations: int) -> float:
    """Time some passes, per evaluation."""
    start = time.perf_counter()
    for _ in range(PASSES):
        run()
    return (time.perf_counter() - start) / PASSES / evaluations * 1e6


def main() -> None:
    """Print the medians of alternating rounds."""
    functions = list(CONDITIONS.values())
    conditions = [compile_condition(source, JOINT, PREDICATES) for source in CONDITIONS]
    known = [joint(index, bore_known=True) for index in range(60)]
    unknown = [joint(index, bore_known=False) for index in range(60)]
    evaluations = len(conditions) * len(known)
    if by_hand(functions, known) != as_rules(conditions, known):
        raise SystemExit("the conditions and the functions do not agree")

    hand, rules, open_rules = [], [], []
    for _ in range(ROUNDS):
        hand.append(microseconds(lambda: by_hand(functions, known), evaluations))
        rules.append(microseconds(lambda: as_rules(conditions, known), evaluations))
        open_rules.append(microseconds(lambda: as_rules(conditions, unknown), evaluations))

    by_hand_us = statistics.median(hand)
    print(f"{len(conditions)} conditions by {len(known)} joints, median of {ROUNDS} rounds")
    for label, times in (
        ("functions by hand", hand),
        ("compiled conditions", rules),
        ("compiled, bores unknown", open_rules),
    ):
        median = statistics.median(times)
        print(f"{label:24} {median:6.3f} us an evaluation, ratio {median / by_hand_us:.2f}")


if __name__ == "__main__":
    main()
