"""Networks drawn at random, and the laws of a solution checked one element at a time.

The check is written from the definitions, in scalars and with `fluids`, and shares no code with the
solver but the friction factor, which has its own tests.
"""

from math import pi, sqrt

import fluids
import numpy as np

from rules.hydraulics import (
    BackPressureRegulator,
    CheckValve,
    FixedPressure,
    Junction,
    Link,
    LocalLoss,
    LossCurve,
    MeasuredLoss,
    Network,
    Orifice,
    Pipe,
    Pump,
    PumpCurve,
    ReducingRegulator,
    Solution,
    ValveState,
    friction_factor,
)
from rules.hydraulics.curves import evaluate, odd_table, table

GRAVITY_M_S2 = 9.80665
CLOSE = 1e-3


def any_network(rng: np.random.Generator) -> Network:
    """Anything joined to anything, most of it senseless: rings of regulators, opposed pumps."""
    nodes = [
        FixedPressure(f"f{i}", rng.choice([0.0, 0.0, 100.0, 300.0]))
        for i in range(rng.integers(1, 4))
    ]
    nodes += [
        Junction(f"j{i}", rng.choice([0.0, 0.0, 50.0, 150.0, -20.0]), rng.choice([0.0, 1.0]))
        for i in range(rng.integers(2, 12))
    ]
    names = [nodes[i].id for i in rng.permutation(len(nodes))]
    pairs = [(names[i], names[rng.integers(0, i)]) for i in range(1, len(names))]
    pairs += [
        tuple(rng.choice(names, 2, replace=False)) for _ in range(rng.integers(0, len(names)))
    ]
    links = [
        _any_link(rng, f"l{i}", *(pair if rng.random() < 0.5 else pair[::-1]))
        for i, pair in enumerate(pairs)
    ]
    return Network(nodes, links)


def _any_link(rng: np.random.Generator, name: str, start: str, end: str) -> Link:
    kind = rng.choice(list(_DRAW))
    return _DRAW[kind](rng, (name, str(start), str(end)))


_DRAW = {
    "pipe": lambda rng, ends: Pipe(
        *ends, rng.uniform(50.0, 5000.0), rng.uniform(4.0, 16.0), rng.choice([0.0, 0.0015, 0.05])
    ),
    "bend": lambda rng, ends: Pipe(*ends, 500.0, rng.uniform(4.0, 16.0), 0.0015, rng.uniform(0, 3)),
    "loss": lambda rng, ends: LocalLoss(*ends, rng.uniform(0.1, 10.0), rng.uniform(4.0, 16.0)),
    "orifice": lambda rng, ends: Orifice(*ends, 0.8, rng.uniform(0.8, 4.0)),
    "filter": lambda rng, ends: MeasuredLoss(
        *ends,
        LossCurve(np.cumsum(rng.uniform(20, 150, 5)), np.cumsum(rng.uniform(0.5, 10.0, 5))),
    ),
    "pump": lambda rng, ends: Pump(*ends, [_pump_curve(rng)]),
    "check": lambda rng, ends: CheckValve(
        *ends, rng.uniform(0.5, 5.0), rng.uniform(4.0, 12.0), rng.choice([0.0, 0.0, 5.0])
    ),
    "back-pressure": lambda rng, ends: BackPressureRegulator(
        *ends, rng.choice([100.0, 300.0, 400.0]), rng.uniform(1.0, 20.0), rng.uniform(3.0, 8.0)
    ),
    "reducing": lambda rng, ends: ReducingRegulator(
        *ends, rng.choice([50.0, 100.0, 300.0]), rng.uniform(1.0, 20.0), rng.uniform(3.0, 8.0)
    ),
}


def _pump_curve(rng: np.random.Generator) -> PumpCurve:
    size = rng.integers(3, 15)
    rise = np.append(0.0, np.cumsum(rng.uniform(10.0, 120.0, size)))
    steps = rng.choice([1.0, 5.0, 20.0, 150.0], size) * rng.uniform(0.5, 1.0, size)
    return PumpCurve(rise, np.append(0.0, np.cumsum(steps))[::-1])


def pumped_network(rng: np.random.Generator) -> Network:
    """One to three pumps with their valves, a filter, branches with demands, a regulated return."""
    nodes = [FixedPressure("tank"), *map(Junction, ("common", "filtered", "tee"))]
    links: list[Link] = [
        MeasuredLoss(
            "filter", "common", "filtered", LossCurve([100, 300, 600, 3000], [2, 8, 20, 300])
        ),
        Pipe("feed", "filtered", "tee", 4000.0, rng.uniform(7.0, 12.0), 0.0015, 2.0),
    ]
    for i in range(rng.integers(1, 4)):
        flow = rng.uniform(0.5, 1.6) * np.array([400, 380, 360, 340, 320, 300, 280, 260, 150, 0])
        curve = PumpCurve([0, 100, 200, 300, 400, 500, 600, 690, 720, 770], flow)
        nodes += [Junction(f"out{i}"), Junction(f"past{i}")]
        links += [
            Pump(f"pump{i}", "tank", f"out{i}", [curve]),
            CheckValve(f"check{i}", f"out{i}", f"past{i}", 2.0, 8.0, rng.choice([0.0, 3.0])),
            Pipe(f"p{i}", f"past{i}", "common", 200.0, 8.0, 0.0015),
        ]
        if rng.random() < 0.5:
            set_point = rng.choice([550.0, 650.0, 700.0])
            links.append(
                BackPressureRegulator(f"relief{i}", f"out{i}", "tank", set_point, 5.0, 4.0)
            )
    nodes.append(Junction("hold"))
    for i in range(rng.integers(1, 4)):
        nodes += [Junction(f"a{i}", rng.uniform(0, 60)), Junction(f"b{i}", rng.uniform(0, 60))]
        links += [
            Pipe(f"to{i}", "tee", f"a{i}", rng.uniform(200.0, 800.0), 8.0, 0.0015),
            Pipe(f"rail{i}", f"a{i}", f"b{i}", 400.0, 12.0, 0.0015),
            Pipe(f"from{i}", f"b{i}", "hold", 200.0, 8.0, 0.0015),
        ]
    nodes.append(Junction("back"))
    links += [
        BackPressureRegulator("regulator", "hold", "back", rng.choice([300.0, 400.0]), 6.0, 5.0),
        Pipe("return", "back", "tank", 3000.0, rng.uniform(5.0, 10.0), 0.0015),
    ]
    if rng.random() < 0.5:
        links.append(Orifice("jet", "filtered", "tank", 0.8, 1.0))
    return Network(nodes, links)


def check_laws(network: Network, solution: Solution, row: int, rho: float, mu_mpa_s: float) -> None:
    """Assert that every law holds at a solved point, to a thousandth of a kPa or L/h."""
    pressure = dict(zip((n.id for n in network.nodes), solution.pressures_kpa[row], strict=True))
    flow = dict(zip((k.id for k in network.links), solution.flows_lph[row], strict=True))
    height = {node.id: node.elevation_m for node in network.nodes}
    for node in network.nodes:
        if isinstance(node, FixedPressure):
            assert pressure[node.id] == node.pressure_kpa
            continue
        into = sum(flow[k.id] for k in network.links if k.end == node.id)
        out = sum(flow[k.id] for k in network.links if k.start == node.id)
        assert abs(into - out - node.demand_lph) < CLOSE, node
    for link in network.links:
        start, end = pressure[link.start], pressure[link.end]
        if np.isnan(start) or np.isnan(end):
            continue  # shut off: its pressure is open, though a pump may drive flow around in it
        rise = rho * GRAVITY_M_S2 / 1000.0 * (height[link.end] - height[link.start])
        drop = start - end - rise
        if isinstance(link, CheckValve | BackPressureRegulator | ReducingRegulator):
            state = ValveState(solution.state(link.id)[row])
            check_valve(link, state, flow[link.id], start, end, drop, rho, mu_mpa_s)
        else:
            _check_loss(link, flow[link.id], drop, rho, mu_mpa_s)


def check_valve(
    valve, state: ValveState, flow: float, start: float, end: float, drop: float, rho, mu_mpa_s
) -> None:
    """The conditions of each state, and that it is the state they speak for."""
    is_check = isinstance(valve, CheckValve)
    loss = _local_drop_kpa(
        valve.k if is_check else valve.open_k, valve.diameter_mm, flow, rho, mu_mpa_s
    )
    if is_check:
        loss += valve.cracking_pressure_kpa if flow > CLOSE else 0.0
        past, cracking = np.inf, valve.cracking_pressure_kpa
    else:
        backs = isinstance(valve, BackPressureRegulator)
        past = start - valve.set_point_kpa if backs else valve.set_point_kpa - end
        cracking = 0.0
    assert flow > -CLOSE, "nothing passes backwards"
    if state == ValveState.CLOSED:
        assert abs(flow) < CLOSE
        assert past < CLOSE or drop < cracking + CLOSE, "a closed valve that should pass"
    elif state == ValveState.ACTIVE:
        assert abs(past) < CLOSE
        assert drop > loss - CLOSE, "it holds what its own loss does not let it hold"
    else:
        assert state == ValveState.OPEN
        assert past > -CLOSE
        if flow > CLOSE:
            assert abs(drop - loss) < CLOSE + 1e-4 * loss


def _check_loss(link, flow: float, drop: float, rho: float, mu_mpa_s: float) -> None:
    if isinstance(link, Pump):
        curve = table(link.curves[0].pressure_rise_kpa, link.curves[0].flow_lph)
        assert abs(float(evaluate(curve, np.array([-drop]))[0][0]) - flow) < CLOSE
        return
    if isinstance(link, MeasuredLoss):
        curve = odd_table(link.curve.flow_lph, link.curve.drop_kpa)
        expected = float(evaluate(curve, np.array([flow]))[0][0])
    elif isinstance(link, Pipe):
        expected = _local_drop_kpa(link.k, link.diameter_mm, flow, rho, mu_mpa_s)
        reynolds = _reynolds(flow, link.diameter_mm, rho, mu_mpa_s)
        if reynolds > 1e-6:
            f = float(friction_factor(reynolds, link.roughness_mm / link.diameter_mm))
            k = fluids.K_from_f(f, L=link.length_mm, D=link.diameter_mm)
            lost = fluids.dP_from_K(k, rho=rho, V=_velocity(flow, link.diameter_mm)) / 1000.0
            expected += np.copysign(lost, flow)
    else:
        k = link.k if isinstance(link, LocalLoss) else link.discharge_coefficient**-2
        expected = _local_drop_kpa(k, link.diameter_mm, flow, rho, mu_mpa_s)
    assert abs(drop - expected) < CLOSE + 1e-6 * abs(expected), link


def _velocity(flow_lph: float, diameter_mm: float) -> float:
    return flow_lph / 3.6e6 / (pi / 4.0 * (diameter_mm / 1000.0) ** 2)


def _reynolds(flow_lph: float, diameter_mm: float, rho: float, mu_mpa_s: float) -> float:
    return abs(_velocity(flow_lph, diameter_mm)) * diameter_mm * rho / mu_mpa_s


def _local_drop_kpa(k: float, diameter_mm: float, flow_lph: float, rho: float, mu_mpa_s) -> float:
    """K rho V |V| / 2, linear below about Re 10."""
    reynolds = _reynolds(flow_lph, diameter_mm, rho, mu_mpa_s)
    creeping = 10.0 / (diameter_mm * rho / mu_mpa_s)
    velocity = _velocity(flow_lph, diameter_mm)
    assert reynolds >= 0.0
    return k * rho / 2.0 * velocity * sqrt(velocity**2 + creeping**2) / 1000.0
