"""The process that serves: says where it listens, and stops when it is told to."""

from __future__ import annotations

import asyncio
import gc
import os
import signal
import socket
from contextlib import suppress
from types import FrameType
from typing import Final

import uvicorn
from fastapi import FastAPI
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.logs import log_to_stderr

GRACE_SECONDS: Final = 20
"""How long requests in flight may take once the process was told to stop."""

DRAIN_SECONDS: Final = 1.0
"""How long open connections may bring another request once the process was told to stop."""

_TURN_SECONDS: Final = 0.02


class _ClosingWhenToldTo:
    """Says `Connection: close` with every answer once the process was told to stop."""

    def __init__(self, app: FastAPI) -> None:
        self._app: ASGIApp = app
        self._state = app.state

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def send_closing(message: Message) -> None:
            if message["type"] == "http.response.start" and self._state.is_stopping:
                MutableHeaders(scope=message)["Connection"] = "close"
            await send(message)

        await self._app(scope, receive, send_closing)


class Server(uvicorn.Server):
    """One server of one application."""

    def __init__(self, app: FastAPI, host: str, port: int) -> None:
        super().__init__(
            uvicorn.Config(
                _ClosingWhenToldTo(app),
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

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Take nothing new, answer what is on its way, and leave.

        A connection that is closed while its caller sends the next request loses that request. So
        every connection is told with an answer that it closes, and gets the time to ask once more.
        """
        waiting = self._waiting()
        for server in self.servers:
            server.close()
        for accepted in waiting:
            await asyncio.get_running_loop().connect_accepted_socket(self._protocol, accepted)
        deadline = asyncio.get_running_loop().time() + DRAIN_SECONDS
        while self.server_state.connections and asyncio.get_running_loop().time() < deadline:
            await asyncio.sleep(_TURN_SECONDS)
        await super().shutdown(sockets)

    def _waiting(self) -> list[socket.socket]:
        """The connections that the system has made already: closing would reset them.

        Nothing is awaited between this and the closing, so that hardly another one comes between.
        """
        taken: list[socket.socket] = []
        for listener in [each for server in self.servers for each in server.sockets]:
            with socket.socket(fileno=os.dup(listener.fileno())) as own:
                own.setblocking(False)
                with suppress(OSError):
                    while True:
                        taken.append(own.accept()[0])
        for each in taken:
            each.setblocking(False)
        return taken

    def _protocol(self) -> asyncio.Protocol:
        return self.config.http_protocol_class(  # type: ignore[call-arg]
            config=self.config,
            server_state=self.server_state,
            app_state=self.lifespan.state,
        )

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
