"""The process that serves: says where it listens, and stops when it is told to."""

from __future__ import annotations

import gc
import signal
import socket
from types import FrameType
from typing import Final

import uvicorn
from fastapi import FastAPI

from service.logs import log_to_stderr

GRACE_SECONDS: Final = 20
"""How long requests in flight may take once the process was told to stop."""


class Server(uvicorn.Server):
    """One server of one application."""

    def __init__(self, app: FastAPI, host: str, port: int) -> None:
        super().__init__(
            uvicorn.Config(
                app,
                host=host,
                port=port,
                access_log=False,
                log_config=None,
                server_header=False,
                timeout_graceful_shutdown=GRACE_SECONDS,
            )
        )
        self._app = app

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to listen, and say where on standard output."""
        await super().startup(sockets)
        # The catalogue stays: to look through it for garbage would halt requests again and again.
        gc.collect()
        gc.freeze()
        if self.started:
            print(f"Lineworthy serves on {self._address()}", flush=True)

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Stop: readiness turns first, so that nothing new is sent here."""
        self._app.state.is_stopping = True
        super().handle_exit(sig, frame)

    def _address(self) -> str:
        host, port, *_ = self.servers[0].sockets[0].getsockname()
        return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def serve(app: FastAPI, host: str, port: int, log_level: int) -> bool:
    """Serve until told to stop by SIGTERM or SIGINT.

    Returns:
        Whether the service had started.
    """
    log_to_stderr(log_level)
    server = Server(app, host, port)
    # uvicorn raises the signal again when all is done; with the stop complete it says no more.
    for stop in (signal.SIGTERM, signal.SIGINT):
        signal.signal(stop, lambda _sig, _frame: None)
    server.run()
    return server.started
