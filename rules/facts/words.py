"""The vocabularies of the facts, with the form people read."""

from __future__ import annotations

from rules import vocabulary as v
from rules.schema import Vocabulary

KINDS = Vocabulary("kind of part", v.words(v.Kind))
SYSTEMS = Vocabulary(
    "connection system",
    v.words(v.System),
    {
        "flare-37": "37 degree flare",
        "flare-45": "45 degree flare",
        "inverted-flare": "inverted flare",
        "bubble-flare": "bubble flare",
        "orb": "O-ring boss",
        "orfs": "O-ring face seal",
        "npt": "NPT taper thread",
        "nptf": "NPTF taper thread",
        "nps": "NPS parallel thread",
        "bspp": "BSPP parallel thread",
        "bspt": "BSPT taper thread",
        "iso-6149": "metric O-ring port",
        "metric-flat": "metric thread with washer seat",
        "din-24-cone": "24 degree cone",
        "quick-connect": "quick connect",
        "spring-lock": "spring lock",
        "dry-break": "dry break",
        "beaded-tube": "beaded tube",
        "plain-tube": "plain tube",
        "hose-end": "hose socket",
        "injector-seat": "injector seat",
    },
)
GENDERS = Vocabulary("gender", v.words(v.Gender))
ROLES = Vocabulary("port role", v.words(v.Role))
LIFECYCLES = Vocabulary("lifecycle", v.words(v.Lifecycle))
LINES = Vocabulary("line", v.words(v.Line))
PLACEMENTS = Vocabulary("placement", v.words(v.Placement))
MATERIALS = Vocabulary(
    "material",
    v.words(v.Material),
    {
        "aluminium": "bare aluminium",
        "aluminium-anodised": "anodised aluminium",
        "aluminium-hard-anodised": "hard anodised aluminium",
        "stainless-steel-300": "stainless steel",
        "carbon-steel": "carbon steel",
        "steel-zinc-plated": "zinc-plated steel",
        "steel-terne-coated": "terne-coated steel",
        "nickel-plated": "nickel plating",
        "tin-plate": "tin plate",
        "zinc-die-cast": "zinc die-cast",
        "lead-tin-solder": "lead-tin solder",
        "nbr": "nitrile rubber (NBR)",
        "nbr-low-acrylonitrile": "low-acrylonitrile NBR",
        "nbr-high-acrylonitrile": "high-acrylonitrile NBR",
        "hnbr": "HNBR rubber",
        "cr": "neoprene (CR)",
        "cpe": "CPE rubber",
        "epdm": "EPDM rubber",
        "natural-rubber": "natural rubber",
        "fkm-a": "FKM type A",
        "fkm-high-fluorine": "high-fluorine FKM",
        "fvmq": "fluorosilicone",
        "ffkm": "perfluoroelastomer",
        "vmq": "silicone rubber",
        "eco": "epichlorohydrin rubber (ECO)",
        "ptfe": "plain PTFE",
        "ptfe-conductive": "conductive PTFE",
        "pa11-pa12": "nylon PA11/PA12",
        "pa6-pa66": "nylon PA6/PA66",
        "polyamide": "nylon of unstated grade",
        "pom": "acetal",
        "hdpe": "HDPE",
        "hdpe-fluorinated": "fluorinated HDPE",
        "paper": "paper",
        "stainless-mesh": "stainless mesh",
    },
)
FAMILIES = Vocabulary("material family", v.words(v.MaterialFamily))
RATINGS = Vocabulary("rating", ("suitable", "limited", "unsuitable"))
CONSTRUCTIONS = Vocabulary(
    "hose construction",
    v.words(v.Construction),
    {
        "ptfe-smooth-bore": "smooth-bore PTFE with braid",
        "ptfe-convoluted": "convoluted PTFE with braid",
        "rubber-wire-braid": "rubber with wire braid",
        "rubber-textile-braid": "rubber with textile braid",
        "rubber-push-on": "push-on rubber",
        "rubber-clamped": "clamped rubber",
        "rubber-submersible": "submersible rubber",
        "polyamide-tube": "nylon tube",
    },
)
MARKINGS = Vocabulary("hose marking", v.words(v.Marking))
CLAMPS = Vocabulary(
    "clamp",
    (*v.words(v.ClampStyle), "none"),
    {
        "worm-drive": "worm-drive clamp",
        "smooth-band": "smooth-band clamp",
        "ear": "ear clamp",
        "spring": "spring clamp",
        "constant-torque": "constant-torque clamp",
    },
)
BARBS = Vocabulary("barb style", v.words(v.BarbStyle))
RETENTIONS = Vocabulary(
    "retention",
    v.words(v.Retention),
    {"latch-plastic": "plastic teeth", "latch-steel": "steel clip"},
)
SEALANTS = Vocabulary("sealant", v.words(v.SealantKind), {"ptfe-tape": "PTFE tape"})
FORMS = Vocabulary("port form", v.words(v.PortForm))
MEDIA = Vocabulary("filter medium", v.words(v.MediaKind))
CIRCUITS = Vocabulary("circuit", v.words(v.Circuit))
INDUCTIONS = Vocabulary("induction", v.words(v.Induction))
USES = Vocabulary("use", v.words(v.Use))
PUMP_CONTROLS = Vocabulary("pump control", v.words(v.PumpControl))
MOUNTS = Vocabulary("pump mount", v.words(v.PumpMount))
REFERENCES = Vocabulary("pressure reference", v.words(v.PressureReference))
JET_DRIVES = Vocabulary("jet drive", ("none", "return-flow", "feed-bleed", "regulator-spill"))
PORT_STATES = Vocabulary("port state", ("joined", "capped", "outside", "open"))
CLASS_USES = Vocabulary("use of a hose class", ("yes", "no", "declared"))
"""Whether a class is made for a use; `declared`: the maker's sheet of the part decides."""
