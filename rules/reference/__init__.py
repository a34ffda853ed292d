"""Facts of the trade as tables: threads, mating pairs, hoses, materials against fuels, torques.

Every table is a CSV file a specialist can read and correct; every row carries its source and how
well it is known. `reference()` loads and checks them all at once.
"""

from rules.reference.lookup import HoseMarking, Reference, Thread, load, reference
from rules.reference.mating import End, Mating, Need, mate
from rules.reference.rating import Rating, rate, rate_fuel
from rules.reference.reading import Fault, ReferenceFaults

__all__ = [
    "End",
    "Fault",
    "HoseMarking",
    "Mating",
    "Need",
    "Rating",
    "Reference",
    "ReferenceFaults",
    "Thread",
    "load",
    "mate",
    "rate",
    "rate_fuel",
    "reference",
]
