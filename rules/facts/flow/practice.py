"""Planning values that no catalogue holds, each said with the answer it serves.

All of them are common practice without a source, unless one is named.
"""

from __future__ import annotations

from typing import Final

PRACTICE: Final = "common practice, no source"

USUAL_TEMPERATURE_C: Final = 20.0
"""Temperature of the fuel where the request states none."""

PEAK_TORQUE_SHARE: Final = 0.7
"""Fuel burnt at the torque peak, as a share of full load, at the same boost."""

PART_LOAD_SHARE: Final = 0.25
"""Fuel burnt at a steady cruise, as a share of full load."""

IDLE_SHARE: Final = 0.01
"""Fuel burnt at idle, as a share of full load: a litre or two an hour on most engines."""

CRANKING_SHARE: Final = 0.03
"""Fuel burnt while cranking, as a share of full load: three times that of idling."""

IDLE_VACUUM_KPA: Final = 60.0
"""Manifold pressure below ambient at idle, where the request states none."""

CRANKING_VOLTAGE_V: Final = 10.0
"""Voltage at the pump while the starter turns."""

LOW_VOLTAGE_V: Final = 12.0
"""Voltage at the pump with a weak alternator: the battery's own."""

HOT_FUEL_C: Final = 40.0
"""Fuel on a hot day; a return brings it further up in a tank that runs low."""

COLD_FUEL_C: Final = -10.0
"""Fuel on a cold morning, when its viscosity is highest."""

HOT_LOSS_PER_K: Final = 0.002
"""Share of a pump's flow lost for each kelvin above 20 degC: 8 % at 60 degC, 3 to 20 % reported."""

RAIL_TOLERANCE: Final = 0.05
"""Share of the base pressure by which a rail may miss its target and still count as held.

The flow of an injector then misses by half of it.
"""

SEA_LEVEL_KPA: Final = 101.325
"""Absolute pressure of the air where the request states none (standard atmosphere)."""

SEAT_DISCHARGE: Final = 0.65
"""Discharge coefficient of a regulator's seat, wide open, on its equivalent orifice."""

DRILLED_DISCHARGE: Final = 0.75
"""Discharge coefficient of a hole drilled through a lid, with its tube."""

NOZZLE_DISCHARGE: Final = 0.9
"""Discharge coefficient of the drive nozzle of a jet pump."""

FITTING_K: Final = 0.1
"""Friction over the length of a short straight fitting, about four bores, as a loss coefficient."""

SMOOTH_MM: Final = 0.0015
"""Roughness of a drawn tube and of a smooth hose liner (Moody's chart, from memory)."""

ROUGHEST_SHARE: Final = 0.05
"""Roughness of a convoluted liner as a share of its bore: the rough end of the friction law."""

LONGEST_PITCH_MM: Final = 130.0
"""Distance between two injectors of a rail that nobody measured, at most."""

LARGEST_GROUP: Final = 12
"""Pieces that one item of the list may stand for side by side in a line."""
