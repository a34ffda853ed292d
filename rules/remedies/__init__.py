"""Finders: which parts of the catalogue would mend what a rule found.

A finder suggests a part only where it is sold and known to serve, with all that must go in with it;
it promises no stock.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from rules.remedies.flow import larger_injectors, stronger_pump
from rules.remedies.joints import (
    adapter_between,
    cap_for_port,
    clamp_for_joint,
    clamps_short,
    hose_end_for_joint,
    new_washer,
    seal_for_joint,
    sleeve_for_joint,
    washers_short,
)
from rules.remedies.likes import stand_in, successor
from rules.remedies.lines import ethanol_sensor, filter_for_run, strainer
from rules.remedies.needs import needs_of_the_maker
from rules.remedies.search import Found, Search

__all__ = ["FINDERS", "Found", "Search"]

FINDERS: Mapping[str, Callable[[Search], Iterator[Found]]] = {
    "adapter-between": adapter_between,
    "successor": successor,
    "seal-for-joint": seal_for_joint,
    "sleeve-for-joint": sleeve_for_joint,
    "new-washer": new_washer,
    "clamp-for-joint": clamp_for_joint,
    "clamps-short": clamps_short,
    "washers-short": washers_short,
    "stand-in": stand_in,
    "cap-for-port": cap_for_port,
    "hose-end-for-joint": hose_end_for_joint,
    "filter-for-run": filter_for_run,
    "strainer": strainer,
    "ethanol-sensor": ethanol_sensor,
    "missing-needs": needs_of_the_maker,
    "stronger-pump": stronger_pump,
    "larger-injectors": larger_injectors,
}
"""The finders by the name that rules use after `find:`."""
