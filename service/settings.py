"""The settings of a running service, read from `LINEWORTHY_...` environment variables."""

from __future__ import annotations

import difflib
import os
from pathlib import Path
from typing import Annotated, Any, Final

from pydantic import AfterValidator, Field, ValidationError
from pydantic_core import PydanticCustomError
from pydantic_settings import BaseSettings, SettingsConfigDict
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from rules.assembly import MOST_ITEMS, MOST_JOINTS

PREFIX: Final = "LINEWORTHY_"
TEST_PREFIX: Final = f"{PREFIX}TEST_"
DRIVERS: Final = ("sqlite", "postgresql+psycopg")
_URL_EXAMPLES: Final = "`sqlite:///lineworthy.sqlite3` or `postgresql+psycopg://user@host/name`"


class SettingsError(ValueError):
    """One or more environment variables hold what the service cannot run with."""


def _known_database(url: str) -> str:
    """Refuse a URL of a database that the service has no driver for.

    The URL is never part of the message: it may hold a password.
    """
    try:
        parsed = make_url(url)
    except ArgumentError:
        raise PydanticCustomError("url", "is not the URL of a database", {}) from None
    if parsed.drivername not in DRIVERS:
        raise PydanticCustomError(
            "url", "names the driver `{driver}`", {"driver": parsed.drivername}
        )
    if parsed.drivername == "sqlite" and parsed.database in (None, "", ":memory:"):
        raise PydanticCustomError("url", "names no file; a database in memory is lost at once", {})
    return url


def _directory(path: Path) -> Path:
    if not path.is_dir():
        raise PydanticCustomError("directory", "is not a directory", {})
    return path


class Settings(BaseSettings):
    """What can be set, each as `LINEWORTHY_` and the name in capitals."""

    model_config = SettingsConfigDict(
        env_prefix=PREFIX, env_ignore_empty=True, frozen=True, allow_inf_nan=False
    )

    database_url: Annotated[str, AfterValidator(_known_database)] = Field(
        default="sqlite:///lineworthy.sqlite3",
        repr=False,
        description=f"Where the catalogue is kept: {_URL_EXAMPLES}.",
    )
    database_connections: int = Field(
        default=20,
        ge=1,
        le=200,
        description="Most connections a process keeps to the database; who needs one more waits.",
    )
    database_connect_seconds: int = Field(
        default=5, ge=1, le=60, description="How long opening a connection may take."
    )
    database_statement_seconds: int = Field(
        default=30, ge=1, le=600, description="How long one statement, or waiting for a lock, may."
    )
    snapshot_poll_seconds: float = Field(
        default=2.0,
        ge=0.05,
        le=3600.0,
        description="How often a process looks for catalogue changes written by others.",
    )
    idempotency_hours: int = Field(
        default=48, ge=1, le=24 * 90, description="How long an `Idempotency-Key` is remembered."
    )
    book_directory: Annotated[Path, AfterValidator(_directory)] | None = Field(
        default=None, description="Directory of the shop's own rule book."
    )
    circuit_directory: Annotated[Path, AfterValidator(_directory)] | None = Field(
        default=None, description="Directory of the shop's own circuit templates."
    )
    body_limit_bytes: int = Field(
        default=1024 * 1024, ge=1024, le=1 << 30, description="Longest body of a request."
    )
    import_limit_bytes: int = Field(
        default=32 * 1024 * 1024, ge=1024, le=1 << 30, description="Longest body of an import."
    )
    import_limit_rows: int = Field(
        default=20_000, ge=1, le=1_000_000, description="Most components in one import."
    )
    item_limit: int = Field(
        default=MOST_ITEMS, ge=1, le=MOST_ITEMS, description="Most items in one assembly."
    )
    joint_limit: int = Field(
        default=MOST_JOINTS, ge=1, le=MOST_JOINTS, description="Most joints in one assembly."
    )
    host: str = Field(default="127.0.0.1", min_length=1, description="Address to listen on.")
    port: int = Field(
        default=8000, ge=0, le=65535, description="Port to listen on; 0 takes a free one."
    )


def variable(name: str) -> str:
    """The environment variable of a setting."""
    return PREFIX + name.upper()


def _unknown_variables() -> list[str]:
    known = [variable(name) for name in Settings.model_fields]
    faults = []
    for name in sorted(os.environ):
        if not name.startswith(PREFIX) or name.startswith(TEST_PREFIX) or name in known:
            continue
        near = difflib.get_close_matches(name, known, n=1)
        hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}."
        faults.append(f"{name} is not a setting; {hint}")
    return faults


def _explained(fault: Any) -> str:
    name = str(fault["loc"][0])
    described = Settings.model_fields[name].description
    # A database URL may hold a password, so its value is never shown.
    found = "" if name == "database_url" else f" (found {str(fault['input'])[:80]!r})"
    return f"{variable(name)}: {fault['msg']}{found}. {described}"


def read_settings(**given: Any) -> Settings:
    """The settings of the environment, with `given` in place of what the environment says.

    Raises:
        SettingsError: naming each variable that is wrong, what it holds and what it is for.
    """
    faults = _unknown_variables()
    try:
        settings = Settings(**given)
    except ValidationError as refused:
        faults += [_explained(fault) for fault in refused.errors()]
        raise SettingsError("\n".join(faults)) from None
    if faults:
        raise SettingsError("\n".join(faults))
    return settings
