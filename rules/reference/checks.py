"""What the reference tables must hold together: every check adds its faults, none stops at one."""

from __future__ import annotations

from typing import Any

from rules.reference.reading import Fault, Tables
from rules.reference.rows import (
    BarbLimit,
    ConnectionSystem,
    FitLimit,
    LookAlike,
    MateRow,
    QuickConnectForm,
    Source,
    ThreadForm,
    ThreadRow,
)

ROW_TYPES: tuple[type[Any], ...] = (
    Source,
    ConnectionSystem,
    ThreadForm,
    ThreadRow,
    LookAlike,
    MateRow,
    FitLimit,
    BarbLimit,
    QuickConnectForm,
)


def check(tables: Tables, faults: list[Fault]) -> None:
    """Add to `faults` everything that is wrong between the rows and between the tables."""
