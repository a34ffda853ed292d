"""What saved assemblies keep from being deleted.

The database holds the references and refuses; here its refusal is put into words. The catalogue
knows nothing of assemblies.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from typing import Final

from anyio import to_thread
from fastapi import FastAPI, Request
from sqlalchemy import Connection
from sqlalchemy.exc import IntegrityError
from starlette.responses import Response

from service.assemblies import store
from service.database import Database
from service.problems import Fault, Problem, problem, respond
from service.trace import request_id

_MOST_NAMED: Final = 20


def refuse_what_assemblies_use(app: FastAPI) -> None:
    """Make an application answer the deletion of what an assembly uses with a conflict."""
    app.add_exception_handler(IntegrityError, _refused)


async def _refused(request: Request, error: Exception) -> Response:
    operation_id = getattr(request.scope.get("route"), "operation_id", None)
    deletion = _DELETIONS.get(operation_id)
    if deletion is None:
        raise error
    name, users_of = deletion
    named = request.path_params[name]
    users = await to_thread.run_sync(_users, request.app.state.database, users_of, named)
    if not users:
        raise error
    return respond(_in_use(named, users), request_id())


def _users(
    database: Database, users_of: Callable[[Connection, str], Iterable[str]], named: str
) -> list[str]:
    with database.read() as connection:
        return list(users_of(connection, named))


def _users_of_component(connection: Connection, sku: str) -> Iterable[str]:
    return (f"assembly `{each}` holds it as `{ref}`" for each, ref in store.using(connection, sku))


def _users_of_vehicle(connection: Connection, vehicle_id: str) -> Iterable[str]:
    return (f"assembly `{each}` is for it" for each in store.built_on(connection, vehicle_id))


_DELETIONS: Final[Mapping[str | None, tuple[str, Callable[[Connection, str], Iterable[str]]]]] = (
    MappingProxyType(
        {
            "delete_component": ("sku", _users_of_component),
            "delete_vehicle": ("vehicle_id", _users_of_vehicle),
        }
    )
)
"""Of each operation that deletes: the parameter that names what is deleted, and its users."""


def _in_use(named: str, users: list[str]) -> Problem:
    more = len(users) - _MOST_NAMED
    listed = "; ".join(users[:_MOST_NAMED])
    return problem(
        "conflict",
        f"`{named}` is used: {listed}{f'; and {more} more' if more > 0 else ''}.",
        [
            Fault(
                "",
                named,
                f"`{named}` is used: {each}.",
                "what nothing uses; change or delete its users first",
                "in-use",
                "path",
            )
            for each in users
        ],
    )
