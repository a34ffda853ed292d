"""An integer programme with several aims, one after the other, solved by HiGHS.

The first aim is made as small as it can be; of all solutions that reach this, the second is made as
small as it can be; and so on. All numbers are whole, so that what the solver returns can be checked
exactly: the solution is rounded, and its rows and aims are counted again.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import csr_array

NODES = 2000
"""Branches looked at for one aim; beyond that the best found is given, and said not to be proved.

A limit of time would give one answer today and another tomorrow.
"""

_INFEASIBLE = 2

_WEIGHT = 10_000
"""Up to this weight two aims are put into one: the solver tells whole numbers apart up to there."""

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Solved:
    """What a programme comes to.

    Attributes:
        values: of each variable.
        aims: what each aim comes to.
        proved: whether nothing is better, by the solver's own bound for each aim.
    """

    values: tuple[int, ...]
    aims: tuple[int, ...]
    proved: bool


@dataclass
class _Row:
    least: float
    most: float
    terms: dict[int, int] = field(default_factory=dict)


class Programme:
    """Variables with whole numbers from 0 to a limit, rows over them, and aims to make small."""

    def __init__(self, aims: int) -> None:
        self._limits: list[int] = []
        self._costs: list[tuple[int, ...]] = []
        self._rows: dict[Hashable, _Row] = {}
        self._aims = aims

    def variable(self, costs: Sequence[int] = (), *, most: int = 1) -> int:
        """A new variable; `costs` are what one of it adds to each aim, missing ones nothing."""
        self._limits.append(most)
        self._costs.append((*costs, *[0] * (self._aims - len(costs))))
        return len(self._limits) - 1

    def row(self, name: Hashable, least: float = -np.inf, most: float = np.inf) -> None:
        """A new row: what its terms add up to must lie between two numbers."""
        self._rows[name] = _Row(least, most)

    def term(self, name: Hashable, variable: int, factor: int = 1) -> None:
        """Add a variable to a row."""
        terms = self._rows[name].terms
        terms[variable] = terms.get(variable, 0) + factor

    def has_row(self, name: Hashable) -> bool:
        """Whether there is a row of this name."""
        return name in self._rows

    def solve(self, ceilings: Mapping[int, int] | None = None) -> Solved | None:
        """The best solution, or `None` where there is none.

        Args:
            ceilings: what some aims may come to at most. An aim that must come to nothing makes
                the programme small: what adds to it is left out.
        """
        costs = np.array(self._costs, dtype=np.float64).reshape(-1, self._aims)
        upper = np.array(self._limits, dtype=np.float64)
        rows = list(self._rows.values())
        for aim, most in (ceilings or {}).items():
            if most == 0:
                upper[costs[:, aim] > 0] = 0.0
            else:
                terms = {int(i): int(costs[i, aim]) for i in np.nonzero(costs[:, aim])[0]}
                rows.append(_Row(-np.inf, most, terms))
        solver = _Solver(rows, upper)
        for aims in _grouped(costs, upper, range(self._aims)):
            if not solver.minimise(costs, aims):
                return None
        return solver.result(costs) if solver.solve_any() else None

    def least(self, aim: int, limits: Mapping[int, int]) -> int:
        """What an aim must come to at least, with other limits for some variables.

        An aim of which that could not be proved in time may come to nothing.
        """
        costs = np.array(self._costs, dtype=np.float64).reshape(-1, self._aims)
        upper = np.array(self._limits, dtype=np.float64)
        upper[list(limits)] = list(limits.values())
        solver = _Solver(list(self._rows.values()), upper)
        if not solver.minimise(costs, [(aim, 1)]) or not solver.solve_any():
            return 0
        solved = solver.result(costs)
        return solved.aims[aim] if solved.proved else 0


def _grouped(costs: Floats, upper: Floats, aims: Iterable[int]) -> list[list[tuple[int, int]]]:
    """Aims with their weights, neighbours put together where the weights stay small.

    The weight of an aim is more than all that come after it in its group can come to.
    """
    groups: list[list[tuple[int, int]]] = []
    weight = 0
    for aim in reversed(list(aims)):
        span = int(np.abs(costs[:, aim] * upper).sum())
        if span == 0:
            continue
        largest = int(np.abs(costs[:, aim]).max())
        if groups and weight * largest <= _WEIGHT:
            groups[-1].append((aim, weight))
        else:
            groups.append([(aim, 1)])
            weight = 1
        weight *= span + 1
    return [list(reversed(group)) for group in reversed(groups)]


class _Solver:
    def __init__(self, rows: Sequence[_Row], upper: Floats) -> None:
        self._rows = list(rows)
        self._upper = upper
        self._values: Floats | None = None
        self._proved = True

    def minimise(self, costs: Floats, aims: Sequence[tuple[int, int]]) -> bool:
        """Make some aims as small as they can be and keep them so; false where nothing fits."""
        objective = np.zeros(len(self._upper))
        for aim, weight in aims:
            objective += weight * costs[:, aim]
        objective[self._upper == 0] = 0.0
        if not objective.any():
            return True
        if not self._run(objective):
            return False
        assert self._values is not None
        least = float(objective @ self._values)
        if least == 0.0 and (objective >= 0).all():
            self._upper[objective > 0] = 0.0
        else:
            terms = {int(i): int(objective[i]) for i in np.nonzero(objective)[0]}
            self._rows.append(_Row(-np.inf, least, terms))
        return True

    def solve_any(self) -> bool:
        """Find some solution where no aim has asked for one."""
        return self._values is not None or self._run(np.zeros(len(self._upper)))

    def result(self, costs: Floats) -> Solved:
        assert self._values is not None
        aims = self._values @ costs
        return Solved(
            tuple(int(v) for v in self._values), tuple(int(a) for a in aims), self._proved
        )

    def _run(self, objective: Floats) -> bool:
        if not len(self._upper):
            return False
        matrix, least, most = self._matrix()
        found: OptimizeResult = milp(
            objective,
            integrality=np.ones(len(objective)),
            bounds=Bounds(0.0, self._upper),
            constraints=LinearConstraint(matrix, least, most) if len(least) else (),
            options={"mip_rel_gap": 0.0, "node_limit": NODES},
        )
        if found.x is None:
            # Either there is nothing, or nothing was found in as many branches as are looked at.
            self._proved = self._proved and found.status == _INFEASIBLE
            return self._values is not None and found.status != _INFEASIBLE
        values = np.round(found.x)
        inside = matrix @ values
        sound = bool(((inside >= least - 1e-9) & (inside <= most + 1e-9)).all())
        closed = found.status == 0 and not found.mip_gap
        self._proved = self._proved and sound and closed
        self._values = values
        return sound

    def _matrix(self) -> tuple[csr_array, Floats, Floats]:
        rows = [row for row in self._rows if row.terms or row.least > 0 or row.most < 0]
        indices = [variable for row in rows for variable in row.terms]
        values = [float(factor) for row in rows for factor in row.terms.values()]
        starts = np.cumsum([0, *(len(row.terms) for row in rows)])
        shape = (len(rows), len(self._upper))
        matrix = csr_array((values, indices, starts), shape=shape)
        least = np.array([row.least for row in rows])
        most = np.array([row.most for row in rows])
        return matrix, least, most
