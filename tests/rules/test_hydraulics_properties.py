"""What holds for every network: laws and states, monotony, and no dependence on order."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rules.hydraulics import (
    FixedPressure,
    Junction,
    LocalLoss,
    Network,
    Pipe,
    Points,
    Status,
    solve,
)
from tests.rules.hydraulic_networks import any_network, check_laws, pumped_network

FLUIDS = [(745.0, 0.5), (790.0, 1.2)]
POINTS = Points([rho for rho, _ in FLUIDS], [mu for _, mu in FLUIDS])
SEEDS = st.integers(0, 2**32 - 1)
SLACK = 1e-3


@pytest.mark.parametrize("block", range(10))
def test_the_laws_hold_in_any_network(block):
    """Whatever is joined to whatever: a point is solved and meets every law, or has a reason."""
    for seed in range(20 * block, 20 * block + 20):
        network = any_network(np.random.default_rng(seed))
        solution = solve(network, POINTS)
        for row, (rho, mu) in enumerate(FLUIDS):
            if solution.solved[row]:
                check_laws(network, solution, row, rho, mu)
            else:
                assert solution.reason(row)
                assert np.isnan(solution.pressures_kpa[row]).all()


def test_hardly_a_network_is_left_without_a_verdict():
    """Of senseless networks at most one in a hundred; some of them need the careful iteration."""
    solutions = [solve(any_network(np.random.default_rng(seed)), POINTS) for seed in range(200)]
    status = np.concatenate([solution.status for solution in solutions])
    assert np.count_nonzero(status == Status.NOT_CONVERGED) <= 0.01 * len(status)
    steps = np.concatenate([solution.iterations[solution.solved] for solution in solutions])
    assert np.count_nonzero(steps > 25) > 0


@settings(max_examples=60, deadline=None)
@given(SEEDS)
def test_pumped_networks_always_converge_and_meet_the_laws(seed):
    network = pumped_network(np.random.default_rng(seed))
    solution = solve(network, POINTS)
    for row, (rho, mu) in enumerate(FLUIDS):
        if solution.solved[row]:
            check_laws(network, solution, row, rho, mu)
        else:
            assert solution.status[row] in (Status.PUMP_CANNOT_REACH, Status.OUTSIDE_DATA)


@settings(max_examples=40, deadline=None)
@given(SEEDS, st.floats(0.0, 120.0), st.floats(1.0, 120.0))
def test_more_demand_never_raises_a_pressure(seed, demand, more):
    rng = np.random.default_rng(seed)
    network = pumped_network(rng)
    taps = [n.id for n in network.nodes if isinstance(n, Junction) and n.id[0] in "ab"]
    tap = rng.choice(taps)
    solution = solve(network, Points(745.0, 0.5, demand_lph={tap: [demand, demand + more]}))
    assume(solution.solved.all())
    assert (np.diff(solution.pressures_kpa, axis=0) <= SLACK).all()


@settings(max_examples=40, deadline=None)
@given(SEEDS)
def test_order_of_elements_does_not_matter(seed):
    rng = np.random.default_rng(seed)
    network = pumped_network(rng)
    shuffled = Network(
        [network.nodes[i] for i in rng.permutation(len(network.nodes))],
        [network.links[i] for i in rng.permutation(len(network.links))],
    )
    one, other = solve(network, POINTS), solve(shuffled, POINTS)
    assert one.status.tolist() == other.status.tolist()
    for node in network.nodes:
        assert other.pressure_kpa(node.id) == pytest.approx(
            one.pressure_kpa(node.id), abs=SLACK, nan_ok=True
        )


@st.composite
def two_way_networks(draw):
    """A supply, an outlet, and pipes in series and side by side between them."""
    bores = st.floats(4.0, 14.0)
    lengths = st.floats(100.0, 5000.0)
    rough = st.sampled_from([0.0, 0.0015, 0.02])
    chain = [f"n{i}" for i in range(draw(st.integers(1, 4)))]
    ends = list(zip(["supply", *chain], [*chain, "outlet"], strict=True))
    ends += draw(st.lists(st.sampled_from(ends), max_size=3))
    pipes = [
        Pipe(f"p{i}", *pair, draw(lengths), draw(bores), draw(rough)) for i, pair in enumerate(ends)
    ]
    nodes = [FixedPressure("supply", 300.0), *map(Junction, chain), Junction("outlet")]
    return nodes, pipes


@settings(max_examples=60, deadline=None)
@given(two_way_networks(), st.data(), st.floats(1.0, 600.0), st.floats(1.01, 3.0))
def test_a_wider_pipe_never_lowers_the_pressure_at_the_end(drawn, data, demand, factor):
    nodes, pipes = drawn
    which = data.draw(st.integers(0, len(pipes) - 1))
    wider = [
        Pipe(p.id, p.start, p.end, p.length_mm, p.diameter_mm * factor, p.roughness_mm)
        if i == which
        else p
        for i, p in enumerate(pipes)
    ]
    points = Points(745.0, 0.5, demand_lph={"outlet": demand})
    before = solve(Network(nodes, pipes), points).pressure_kpa("outlet")[0]
    after = solve(Network(nodes, wider), points).pressure_kpa("outlet")[0]
    assert after >= before - SLACK


@settings(max_examples=60, deadline=None)
@given(two_way_networks(), st.data(), st.floats(1.01, 3.0))
def test_a_wider_pipe_never_lowers_the_flow_delivered(drawn, data, factor):
    """Into a tank in the place of the outlet."""
    nodes, pipes = drawn
    nodes = [*nodes[:-1], FixedPressure("outlet")]
    which = data.draw(st.integers(0, len(pipes) - 1))
    wider = list(pipes)
    old = pipes[which]
    wider[which] = Pipe(
        old.id, old.start, old.end, old.length_mm, old.diameter_mm * factor, old.roughness_mm
    )

    def delivered(links):
        solution = solve(Network(nodes, links), Points(745.0, 0.5))
        assert solution.solved[0], solution.reason(0)
        return sum(solution.flow_lph(p.id)[0] for p in links if p.end == "outlet")

    assert delivered(wider) >= delivered(pipes) - SLACK


@settings(max_examples=40, deadline=None)
@given(SEEDS, st.floats(0.0, 0.9))
def test_less_loss_never_lowers_a_pressure_downstream(seed, scale):
    """A part of a chain made better: the pressure at its end."""
    rng = np.random.default_rng(seed)
    names = ["supply", *(f"n{i}" for i in range(4))]
    links = [
        LocalLoss(f"k{i}", names[i], names[i + 1], rng.uniform(0.5, 5.0), rng.uniform(4.0, 10.0))
        for i in range(4)
    ]
    network = Network([FixedPressure("supply", 300.0), *map(Junction, names[1:])], links)
    which = f"k{rng.integers(0, 4)}"
    points = Points(745.0, 0.5, demand_lph={"n3": 250.0}, loss_scale={which: [1.0, scale]})
    before, after = solve(network, points).pressure_kpa("n3")
    assert after >= before - SLACK
