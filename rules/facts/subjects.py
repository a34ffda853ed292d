"""Everything the rules may speak about, in one place."""

from __future__ import annotations

from collections.abc import Iterator

from rules.circuit import Circuit
from rules.facts.application import AppFacts
from rules.facts.case import Case
from rules.facts.flow import FlowFacts, FlowPartFacts, FlowPointFacts, Study, flow_cases
from rules.facts.flow.records import POINTS
from rules.facts.joint import JointFacts, joint_cases
from rules.facts.material import MaterialFacts, material_cases
from rules.facts.part import PartFacts, part_cases
from rules.facts.port import PortFacts, port_cases
from rules.facts.run import RunFacts, run_cases
from rules.facts.whole import WholeFacts, whole_cases
from rules.facts.words import KINDS
from rules.language import SubjectType
from rules.schema import schema_of

SUBJECTS = {
    "part": SubjectType(schema_of(PartFacts), KINDS),
    "material": SubjectType(schema_of(MaterialFacts), KINDS),
    "port": SubjectType(schema_of(PortFacts), KINDS),
    "joint": SubjectType(schema_of(JointFacts)),
    "run": SubjectType(schema_of(RunFacts)),
    "assembly": SubjectType(schema_of(WholeFacts)),
    "flow": SubjectType(schema_of(FlowFacts)),
    "flow-point": SubjectType(schema_of(FlowPointFacts), POINTS),
    "flow-part": SubjectType(schema_of(FlowPartFacts), KINDS),
}
"""The subjects of rules by the word after `about:`, with their facts."""


def cases(circuit: Circuit, app: AppFacts, flow: Study) -> Iterator[Case]:
    """Every case of a circuit, subject by subject, in the order of the request's names.

    Args:
        circuit: the placed assembly.
        app: the facts of its application.
        flow: the study of its flow.
    """
    for of_subject in (
        joint_cases,
        material_cases,
        part_cases,
        port_cases,
        run_cases,
        whole_cases,
    ):
        yield from of_subject(circuit, app)
    yield from flow_cases(flow, app)
