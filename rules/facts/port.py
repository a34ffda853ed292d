"""Facts of a port: the ledger of what is joined, capped, joined outside the list, or open."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Annotated

from rules.circuit import Circuit, PlacedPort
from rules.facts.application import AppFacts
from rules.facts.case import WHICH_LINE, Case, Gap, recorded
from rules.facts.words import KINDS, LINES, PORT_STATES, ROLES, SYSTEMS
from rules.schema import Flag, Maybe, Number, Record, Text, Word


@dataclass(frozen=True, slots=True)
class PortFacts(Record):
    """A port in its place."""

    name: Annotated[str, Text(label="port", origin="request")]
    part: Annotated[str, Text(label="part", origin="request")]
    kind: Annotated[str, Word(KINDS, label="kind of part", origin="catalogue")]
    app: AppFacts
    role: Annotated[str, Word(ROLES, label="role", origin="catalogue")]
    state: Annotated[str, Word(PORT_STATES, label="state", origin="joints of the request")]
    joints: Annotated[int, Number(label="joints there", origin="joints of the request")]
    line: Annotated[Maybe[str], Word(LINES, label="line", origin="computed from the joints")]
    system: Annotated[Maybe[str], Word(SYSTEMS, label="connection", origin="catalogue")]
    is_reference: Annotated[bool, Flag(label="pressure reference", origin="computed")]
    size: Annotated[Maybe[str], Text(label="size", origin="catalogue")]
    in_fuel: Annotated[bool, Flag(label="inside the tank", origin="computed")]
    origins: Mapping[str, str] = field(default_factory=dict)


def port_cases(circuit: Circuit, app: AppFacts) -> Iterator[Case]:
    """A case for each port of each item that carries fuel, vapour or pressure."""
    for item in circuit.items.values():
        for port in item.ports:
            connection = port.port.connection
            yield Case(
                about="port",
                kind=item.kind,
                facts=PortFacts(
                    name=port.name,
                    part=item.ref,
                    kind=item.kind,
                    app=app,
                    role=port.port.role,
                    state=port_state(port, circuit),
                    joints=len(circuit.joints_of.get(port, ())),
                    line=recorded(circuit.lines.get(port)),
                    system=recorded(connection.system if connection else None),
                    size=recorded(connection.size if connection else None),
                    is_reference=circuit.lines.get(port) == "reference",
                    in_fuel=port.port.submerged is True or item in circuit.inside_tank,
                ),
                refs=(item.ref,),
                ports=(port.name,),
                pointer=item.pointer,
                missing=partial(_missing, item.ref),
            )


def _missing(ref: str) -> Mapping[str, tuple[Gap, ...]]:
    return {"line": (Gap("line", ref, WHICH_LINE),)}


def port_state(port: PlacedPort, circuit: Circuit) -> str:
    """Joined, capped, joined to the car outside the list, or open."""
    if circuit.is_capped(port):
        return "capped"
    if port in circuit.joints_of:
        return "joined"
    return "outside" if port.name in circuit.outside else "open"
