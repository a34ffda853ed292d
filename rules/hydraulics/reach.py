"""Which nodes can be reached from which, past pumps that stand and valves as they are."""

from collections.abc import Callable, Iterable

import numpy as np
import numpy.typing as npt

from .layout import ACTIVE, OPEN, Layout

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


def shut_off(layout: Layout, stopped: BoolArray, state: IntArray) -> BoolArray:
    """(B, nodes) which nodes no path joins to a given pressure, for the valves' states (B, V).

    An active regulator carries no pressure across, but gives one to the node it holds.
    """
    barred = np.concatenate((stopped, state != OPEN), axis=1)
    if not barred.any():
        return np.zeros((len(state), len(layout.nodes)), dtype=np.bool_)

    def mask(row: int) -> BoolArray:
        carries = _carries(layout, stopped[row])
        carries[layout.ordinary :] = state[row] == OPEN
        held = layout.valves.controlled[state[row] == ACTIVE]
        fixed = range(layout.junctions, len(layout.nodes))
        return ~_reached(layout, [*fixed, *held.tolist()], carries, carries)

    return _by_pattern(np.concatenate((stopped, state), axis=1), mask)


def stranded(layout: Layout, stopped: BoolArray, demand: FloatArray) -> BoolArray:
    """(B, N) which junctions have a demand that nothing can supply, whatever the valves do.

    A negative demand, a feed, is stranded where nothing can take it away.
    """

    def dry(row: int) -> BoolArray:
        carries = _carries(layout, stopped[row])
        no_valve = carries.copy()
        no_valve[layout.ordinary :] = False
        fixed = range(layout.junctions, len(layout.nodes))
        supplied = _reached(layout, fixed, carries, no_valve)
        drained = _reached(layout, fixed, no_valve, carries)
        return np.stack((~supplied, ~drained))

    ends = _by_pattern(stopped, dry)[:, :, : layout.junctions]
    return (ends[:, 0] & (demand > 0.0)) | (ends[:, 1] & (demand < 0.0))


def _carries(layout: Layout, stopped: BoolArray) -> BoolArray:
    carries = np.ones(len(layout.links), dtype=np.bool_)
    carries[: layout.pumps] = ~stopped
    return carries


def _by_pattern(patterns: npt.NDArray[np.generic], of_row: Callable[[int], BoolArray]) -> BoolArray:
    """One answer for each row; equal rows are asked once."""
    answers: dict[bytes, BoolArray] = {}
    rows = []
    for row, pattern in enumerate(patterns):
        key = pattern.tobytes()
        if key not in answers:
            answers[key] = of_row(row)
        rows.append(answers[key])
    return np.stack(rows)


def _reached(
    layout: Layout, sources: Iterable[int], forward: BoolArray, backward: BoolArray
) -> BoolArray:
    """Nodes reached from the sources by links that may be gone forward or backward."""
    onward: list[list[int]] = [[] for _ in layout.nodes]
    ends = zip(
        layout.start.tolist(), layout.end.tolist(), forward.tolist(), backward.tolist(), strict=True
    )
    for start, end, may_forward, may_backward in ends:
        if may_forward:
            onward[start].append(end)
        if may_backward:
            onward[end].append(start)
    waiting = list(sources)
    reached = [False] * len(layout.nodes)
    while waiting:
        node = waiting.pop()
        if not reached[node]:
            reached[node] = True
            waiting += onward[node]
    return np.array(reached)
