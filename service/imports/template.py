"""A CSV file to start from: the usual columns, and rows that show how their cells are written."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Final

EXAMPLES: Final[Sequence[Mapping[str, str]]] = (
    {
        "sku": "LW-ADP-0601",
        "kind": "adapter",
        "name": "O-ring boss to 37 degree flare adapter, size 6",
        "supplier": "Brook Lane Fittings",
        "lifecycle": "sold",
        "ports.inlet.role": "inlet",
        "ports.inlet.connection": "-6 ORB male",
        "ports.inlet.bore": "7.9 mm",
        "ports.inlet.seal.form": "o-ring",
        "ports.inlet.seal.material": "fkm-a",
        "ports.inlet.seal.included": "yes",
        "ports.outlet.role": "outlet",
        "ports.outlet.connection": "-6 JIC male",
        "ports.outlet.bore": "7.9 mm",
        "wetted.body.material": "aluminium-anodised",
        "working_pressure": "70 bar",
        "standards": "SAE J1926|SAE J514",
        "price.amount": "9.80",
        "price.currency": "EUR",
        "spec.form": "straight",
    },
    {
        "sku": "LW-HSE-0600",
        "kind": "bulk-hose",
        "name": "Smooth PTFE hose with conductive liner, size 6",
        "supplier": "Brook Lane Fittings",
        "lifecycle": "sold",
        "wetted.liner.material": "ptfe-conductive",
        "working_pressure": "1000 psi",
        "approved_fuels": "E10|E85",
        "price.amount": "21.50",
        "price.currency": "EUR",
        "spec.construction": "ptfe-smooth-bore",
        "spec.bore": "5/16 in",
        "spec.marked": "none",
        "spec.size": "-6",
    },
    {
        "sku": "LW-CLP-0816",
        "kind": "clamp",
        "name": "Smooth-band clamp, 8 to 16 mm",
        "lifecycle": "sold",
        "price.amount": "1.20",
        "price.currency": "EUR",
        "spec.style": "smooth-band",
        "spec.least_diameter": "8 mm",
        "spec.most_diameter": "16 mm",
    },
)


def _written() -> str:
    columns = list(dict.fromkeys(column for row in EXAMPLES for column in row))
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(EXAMPLES)
    return text.getvalue()


TEMPLATE: Final = _written()
