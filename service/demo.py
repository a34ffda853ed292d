"""The demo: a database of its own, the real service on a free port, four checks over HTTP."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

import httpx
from rich.console import Console

from rules.carts import CartReport
from rules.report import Report
from seed_data import DemoAssembly, DemoCart, demo_assemblies, demo_carts
from service.console import print_report, print_text
from service.seeding import seed
from service.settings import PREFIX

SHOWN: Final = ("06-six-surge-tank", "07-flare-into-o-ring-port", "17-zinc-filter-in-e85")
"""Slugs of the assemblies shown: one that fits, one that leaks at a joint, one that E85 eats."""

DRAWN: Final = SHOWN[0]
"""Slug of the assembly whose pressure line is drawn."""

DATABASE_FILE: Final = "demo.sqlite3"
_SERVE: Final = ("serve", "--host", "127.0.0.1", "--port", "0", "--log-level", "warning")
_STOP_SECONDS: Final = 30.0
_STOPPING: Final = frozenset({signal.SIGINT, signal.SIGTERM})


class DemoError(RuntimeError):
    """The demo cannot run; the message says why."""


def run_demo(console: Console, directory: Path, keep: bool) -> None:
    """Make the demo shop, serve it, check assemblies and carts over HTTP and print their reports.

    Args:
        console: where the reports go.
        directory: where the database, the requests and reports as JSON and a picture are left.
        keep: serve on until interrupted, and say where.

    Raises:
        DemoError: the directory cannot be written, or the service does not start.
    """
    url = _fresh_database(directory)
    parts, vehicles = seed(url)
    shop = f"A shop of {parts} parts and {vehicles} vehicles, all invented, in {directory}/"
    print_text(console, shop, "dim")
    with _served(url) as address, httpx.Client(base_url=address, timeout=30.0) as client:
        print_text(console, f"Checked over HTTP at {address}/v1/checks", "dim")
        for assembly in _shown():
            answer = _checked(client, assembly, directory)
            report = Report.model_validate_json(answer.content)
            _print_shown(console, assembly, report)
            if assembly.slug == DRAWN:
                picture = _drawn(client, assembly, directory)
                print_text(console, f"The pressure line is drawn in {picture}", "bold")
        for cart in demo_carts():
            answer = _checked(client, cart, directory)
            _print_shown(console, cart, CartReport.model_validate_json(answer.content))
        if keep:
            _stay(console, address)


def _shown() -> Iterator[DemoAssembly]:
    by_slug = {assembly.slug: assembly for assembly in demo_assemblies()}
    return (by_slug[slug] for slug in SHOWN)


def _print_shown(console: Console, shown: DemoAssembly | DemoCart, report: Report) -> None:
    console.print()
    print_text(console, shown.story, "italic")
    console.print()
    print_report(console, shown.title, shown.request, report)


def _fresh_database(directory: Path) -> str:
    path = directory / DATABASE_FILE
    try:
        directory.mkdir(parents=True, exist_ok=True)
        for beside in ("", "-wal", "-shm"):
            path.with_name(path.name + beside).unlink(missing_ok=True)
    except OSError as error:
        raise DemoError(f"{directory} cannot be written: {error.strerror}.") from error
    return f"sqlite:///{path.resolve()}"


def _checked(
    client: httpx.Client, shown: DemoAssembly | DemoCart, directory: Path
) -> httpx.Response:
    _write_json(directory / f"{shown.slug}.request.json", shown.body)
    answer = _asked(client, "/v1/checks", shown)
    _write_json(directory / f"{shown.slug}.json", answer.json())
    return answer


def _drawn(client: httpx.Client, assembly: DemoAssembly, directory: Path) -> Path:
    picture = directory / f"{assembly.slug}.svg"
    picture.write_bytes(_asked(client, "/v1/checks/picture", assembly).content)
    return picture


def _asked(client: httpx.Client, path: str, shown: DemoAssembly | DemoCart) -> httpx.Response:
    answer = client.post(path, json=shown.body)
    if answer.status_code != httpx.codes.OK:
        raise DemoError(f"`{path}` refused `{shown.slug}`: {answer.text}")
    return answer


def _write_json(file: Path, value: Any) -> None:
    file.write_text(json.dumps(value, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")


@contextmanager
def _served(url: str) -> Iterator[str]:
    """The address of a service process on this database, which ends with the block."""
    others = {name: value for name, value in os.environ.items() if not name.startswith(PREFIX)}
    process = subprocess.Popen(
        [sys.executable, "-m", "service.cli", *_SERVE],
        env={**others, f"{PREFIX}DATABASE_URL": url},
        stdout=subprocess.PIPE,
        text=True,
        # An interrupt from the keyboard reaches the demo alone, which then stops the service.
        start_new_session=True,
    )
    try:
        assert process.stdout is not None
        address = process.stdout.readline().strip().rpartition(" ")[2]
        if not address.startswith("http"):
            raise DemoError("The service did not start; what it said is above.")
        yield address
    finally:
        _stop(process)


def _stop(process: subprocess.Popen[str]) -> None:
    with suppress(ProcessLookupError):
        process.send_signal(signal.SIGTERM)
    try:
        process.wait(_STOP_SECONDS)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _stay(console: Console, address: str) -> None:
    """Say where the service is until the demo is told to stop.

    The signals are held back first: one that came before the waiting would never be seen.
    """
    signal.pthread_sigmask(signal.SIG_BLOCK, _STOPPING)
    try:
        console.print()
        print_text(console, f"The API's pages: {address}/docs", "bold")
        print_text(console, f"Its document: {address}/openapi.json", "none")
        print_text(console, "Ctrl-C stops the service.", "dim")
        signal.sigwait(_STOPPING)
    finally:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _STOPPING)
