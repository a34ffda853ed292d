"""Time the pipe-network solver and EPANET on the same networks.

    python -m tests.benchmarks.bench_hydraulics

All are timed in alternating rounds of one process; only their ratios are to be quoted. EPANET is
timed through its Python toolkit, with its project's deletion and without: deleting frees megabytes
of hash tables, which costs next to nothing or more than all the rest, as the allocator pleases.
"""

import statistics
import time
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from epanet import toolkit as en

from rules.hydraulics import Network, Points, solve
from tests.published import epanet_oracle
from tests.published.test_hydraulics_epanet import CASES, LIGHT

ROUNDS = 11
PASSES = 20
BATCH = 1000
FEW = 8


class Timing(NamedTuple):
    name: str
    us_per_point: float


def compare(network: Network, demands: list[dict[str, float]]) -> list[Timing]:
    """Median time of each way to solve one operating point, in microseconds."""
    demand = demands[len(demands) // 2]
    spread = np.linspace(0.5, 1.0, BATCH)
    batch = Points(*LIGHT, demand_lph={node: q * spread for node, q in demand.items()})
    few = Points(*LIGHT, demand_lph={node: q * spread[-FEW:] for node, q in demand.items()})
    kept = epanet_oracle.build(network, *LIGHT, demand, 0)
    taken = {node: en.getnodeindex(kept, node) for node in demand}
    doomed: list[int] = []

    def epanet_whole() -> None:
        epanet_oracle.run(project := epanet_oracle.build(network, *LIGHT, demand, 0))
        en.deleteproject(project)

    def epanet_build_and_solve() -> None:
        epanet_oracle.run(project := epanet_oracle.build(network, *LIGHT, demand, 0))
        doomed.append(project)

    def epanet_one_point_more() -> None:
        for node, q in demand.items():
            en.setnodevalue(kept, taken[node], en.BASEDEMAND, q / 3600.0)
        epanet_oracle.run(kept)

    def build_and_solve() -> None:
        assert solve(Network(network.nodes, network.links), one_point(demand)).solved[0]

    def build_and_solve_few() -> None:
        assert solve(Network(network.nodes, network.links), few).solved.all()

    def solve_one() -> None:
        assert solve(network, one_point(demand)).solved[0]

    def solve_batch() -> None:
        assert solve(network, batch).solved.all()

    ways: dict[str, tuple[Callable[[], None], int, int]] = {
        "EPANET: build, solve, delete": (epanet_whole, PASSES, 1),
        "EPANET: build, solve": (epanet_build_and_solve, PASSES, 1),
        "EPANET: one point more of a kept project": (epanet_one_point_more, PASSES, 1),
        "here: build, solve one point": (build_and_solve, PASSES, 1),
        f"here: build, solve {FEW} points, per point": (build_and_solve_few, PASSES, FEW),
        "here: solve one point": (solve_one, PASSES, 1),
        f"here: solve {BATCH} points, per point": (solve_batch, 1, BATCH),
    }
    times: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(ROUNDS):
        for name, (way, passes, points) in ways.items():
            began = time.perf_counter()
            for _ in range(passes):
                way()
            times[name].append((time.perf_counter() - began) / (passes * points) * 1e6)
            while doomed:
                en.deleteproject(doomed.pop())
    en.deleteproject(kept)
    return [Timing(name, statistics.median(values)) for name, values in times.items()]


def one_point(demand: dict[str, float]) -> Points:
    return Points(*LIGHT, demand_lph=demand)


def main() -> None:
    for name, (network, demands) in CASES.items():
        timings = compare(network, demands)
        whole, built = timings[0].us_per_point, timings[1].us_per_point
        print(f"\n{name}: {len(network.links)} links, {len(network.nodes)} nodes")
        print(f"  {'':44}{'us/point':>10}{'EPANET with delete':>20}{'without':>10}")
        for timing in timings:
            took = timing.us_per_point
            print(f"  {timing.name:44}{took:10.1f}{whole / took:19.2f}x{built / took:9.2f}x")


if __name__ == "__main__":
    main()
