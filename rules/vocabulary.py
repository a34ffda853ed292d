"""The closed word lists of the trade, shared by the model, the reference tables and the rules.

A word is in exactly one list here; the reference loader refuses a table that uses another, and the
rule language refuses a rule that compares a fact with a word its list does not hold.
"""

from __future__ import annotations

from typing import Literal, get_args

System = Literal[
    "flare-37",
    "flare-45",
    "inverted-flare",
    "bubble-flare",
    "orb",
    "orfs",
    "npt",
    "nptf",
    "nps",
    "bspp",
    "bspt",
    "iso-6149",
    "metric-flat",
    "din-24-cone",
    "banjo",
    "quick-connect",
    "spring-lock",
    "dry-break",
    "barb",
    "beaded-tube",
    "plain-tube",
    "compression",
    "hose-end",
    "injector-seat",
    "flange",
]
"""How a port joins: the published standard, or the trade's name where there is none.

`hose-end` is the cut end of a hose (female) or the nipple and socket that grip it (male).
"""

Gender = Literal["male", "female", "bolt", "ring"]
"""Which half of the joint. Banjo bolts and rings have their own words; a tube end is male."""

Role = Literal["inlet", "outlet", "either", "drive", "vent", "sense"]

Kind = Literal[
    "pump",
    "tank-module",
    "tank",
    "surge-tank",
    "hose-assembly",
    "bulk-hose",
    "hard-line",
    "hose-end",
    "adapter",
    "tee",
    "bulkhead",
    "quick-connector",
    "filter",
    "strainer",
    "check-valve",
    "rail",
    "regulator",
    "injector",
    "pulsation-damper",
    "siphon-jet",
    "sensor",
    "cap",
    "seal",
    "clamp",
    "relay",
    "fuse",
    "wire",
    "terminal",
    "fastener-set",
    "sealant",
]

Material = Literal[
    "aluminium",
    "aluminium-anodised",
    "aluminium-hard-anodised",
    "stainless-steel-300",
    "carbon-steel",
    "steel-zinc-plated",
    "steel-terne-coated",
    "nickel-plated",
    "tin-plate",
    "brass",
    "bronze",
    "copper",
    "zinc-die-cast",
    "magnesium",
    "lead-tin-solder",
    "titanium",
    "nbr",
    "nbr-low-acrylonitrile",
    "nbr-high-acrylonitrile",
    "hnbr",
    "cr",
    "cpe",
    "epdm",
    "natural-rubber",
    "fkm-a",
    "fkm-high-fluorine",
    "fvmq",
    "ffkm",
    "vmq",
    "polyurethane",
    "cork",
    "eco",
    "ptfe",
    "ptfe-conductive",
    "pa11-pa12",
    "pa6-pa66",
    "polyamide",
    "pom",
    "hdpe",
    "hdpe-fluorinated",
    "pps",
    "peek",
    "pvc",
    "pvdf",
    "etfe",
    "paper",
    "stainless-mesh",
    "microglass",
]
"""Wetted materials. `polyamide` is nylon whose grade nobody stated."""

MaterialFamily = Literal["metal", "elastomer", "plastic", "media"]

Construction = Literal[
    "ptfe-smooth-bore",
    "ptfe-convoluted",
    "rubber-wire-braid",
    "rubber-textile-braid",
    "rubber-push-on",
    "rubber-clamped",
    "rubber-submersible",
    "polyamide-tube",
]
"""How a hose is built. A hose end grips only the construction it was made for."""

Marking = Literal[
    "SAE J30 R5",
    "SAE J30 R6",
    "SAE J30 R7",
    "SAE J30 R8",
    "SAE J30 R9",
    "SAE J30 R10",
    "SAE J30 R11",
    "SAE J30 R12",
    "SAE J30 R13",
    "SAE J30 R14",
    "SAE J517 100R5",
    "SAE J517 100R6",
    "SAE J517 100R14",
    "SAE J2260",
    "MIL-H-8794",
    "DIN 73379",
    "ISO 7840 A1",
]
"""What is printed on a hose."""

ClampStyle = Literal["worm-drive", "smooth-band", "ear", "spring", "constant-torque"]
BarbStyle = Literal["single", "multi", "push-on"]
SealForm = Literal["o-ring", "crush-washer", "bonded-washer", "flat-gasket", "flare-sleeve", "cone"]
Retention = Literal["latch-plastic", "latch-steel", "threaded-collar"]
SealantKind = Literal["none", "ptfe-tape", "paste", "assembly-oil"]
PortForm = Literal["o-ring-chamfer", "flat-spotface", "plain-tapped"]
MediaKind = Literal["paper", "stainless-mesh", "microglass", "other"]
Circuit = Literal["return", "returnless", "unstated"]
Induction = Literal["naturally-aspirated", "turbo", "supercharged"]
Use = Literal["road", "track", "competition"]
PumpControl = Literal["ignition-switched", "engine-running-interlock", "speed-controlled"]
PowerAt = Literal["crank", "wheels"]
RegulatorAction = Literal["back-pressure", "reducing"]
PressureReference = Literal["manifold", "atmosphere"]
PumpMount = Literal["in-tank", "external"]
Placement = Literal["tank", "underbody", "engine-bay", "cabin-or-boot"]
Line = Literal["suction", "feed", "return", "transfer", "vent", "reference"]
"""Which line of the circuit a part is in. `transfer` fills a surge tank."""

Lifecycle = Literal["sold", "superseded", "vehicle-part", "discontinued"]
SensedQuantity = Literal["pressure", "ethanol-content", "temperature"]
AdapterForm = Literal["straight", "elbow", "swivel-elbow"]
Confidence = Literal[
    "confirmed-by-page",
    "confirmed-by-trade-page",
    "standard-from-memory",
    "common-practice",
    "computed",
]
"""How well a fact of the reference tables is known."""


def words(literal: object) -> tuple[str, ...]:
    """The words of one of the lists above, in their order."""
    return get_args(literal)
