"""Flow: from an assembly to a pipe network, its operating points, and what the answers mean."""

from rules.facts.flow.block import flow_block
from rules.facts.flow.cases import flow_cases
from rules.facts.flow.figures import Figures, Passage
from rules.facts.flow.records import FlowFacts, FlowPartFacts, FlowPointFacts
from rules.facts.flow.study import Study, study

__all__ = [
    "Figures",
    "FlowFacts",
    "FlowPartFacts",
    "FlowPointFacts",
    "Passage",
    "Study",
    "flow_block",
    "flow_cases",
    "study",
]
