"""Sizes as they stand in a column of their own, with nothing beside them to say of what."""

from __future__ import annotations

import re
from typing import Final

from rules.reading.one_end import read_end
from rules.reading.outcome import Reading, certain, unreadable
from rules.reading.parsing import parse

# A size with the key of its own scale beside it: `6 (1/4=4, 3/8=6, 1/2=8)`.
_WITH_KEY: Final = re.compile(
    r"(?:-|#)?0?(\d{1,2}) ?\(((?:\d{1,2}/\d{1,2} ?= ?-?\d{1,2}(?:[,;] ?)?){1,12})\)"
)
_KEY: Final = re.compile(r"(\d{1,2})/(\d{1,2}) ?= ?-?(\d{1,2})")


def read_size(folded: str) -> Reading:
    """Read a size from folded text. A number without a standard is never guessed.

    The canonical form is `{"size"}`, with `system` where the text names one.
    """
    if keyed := _WITH_KEY.fullmatch(folded):
        return _keyed(int(keyed[1]), keyed[2])
    found = read_end(folded, on_adapter=False)
    if not isinstance(found.canonical, dict):
        return found
    # The dash number of an AN size is certain, whatever it seals with.
    if parse(folded).opens == {"an"} and set(found.unknown) <= {"seal", "gender"}:
        size = found.canonical["size"]
        return certain({"size": size}, f"dash size {size}")
    if found.certainty == "certain":
        canonical = {key: found.canonical[key] for key in ("system", "size")}
        return certain(canonical, found.readings[0].label)
    return found


def _keyed(number: int, key: str) -> Reading:
    """A size whose key says that it counts sixteenths of an inch, and agrees with itself."""
    steps = [(int(top), int(bottom), int(size)) for top, bottom, size in _KEY.findall(key)]
    sixteenths = all(bottom and top * 16 == size * bottom for top, bottom, size in steps)
    if sixteenths and number in {size for _, _, size in steps}:
        return certain({"size": f"-{number}"}, f"dash size -{number}")
    return unreadable("The key beside the size does not count sixteenths: what does it count?")
