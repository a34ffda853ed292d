"""What a field's name means wherever the API uses it, for models that leave it to its name."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

GLOSSARY: Final[Mapping[str, str]] = {}
