"""How faults of a network or of its operating points are told."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a network or its operating points.

    Attributes
    ----------
    element : str
        Id of the node or link, or the name of the argument.
    field : str
        What of it.
    message : str
        What was found and what would be right.
    """

    element: str
    field: str
    message: str

    def __str__(self) -> str:
        return f"{self.element}.{self.field}: {self.message}"


class NetworkFault(ValueError):
    """Raised with everything that is wrong, not the first thing.

    Attributes
    ----------
    faults : tuple of Fault
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))
