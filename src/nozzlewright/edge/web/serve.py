"""Serve the screens, on this machine alone unless somebody asks for more."""

from __future__ import annotations

import gc
import ipaddress
import os
import socket
from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType

import uvicorn

from nozzlewright.edge.web.app import WebSettings, create_app
from nozzlewright.edge.web.beforehand import beforehand
from nozzlewright.edge.wiring.live import Inbox, LiveBench
from nozzlewright.errors import Fault, InputFault
from nozzlewright.workflow import Workshop

PORT = 8642
LOOPBACK = "127.0.0.1"


def serve(
    workshop: Workshop,
    settings: WebSettings,
    benches: Mapping[str, LiveBench] = MappingProxyType({}),
    inbox: Inbox | None = None,
    *,
    host: str = LOOPBACK,
    port: int = PORT,
    tell: Callable[[str], None],
) -> None:
    """Serve until Ctrl-C; requests that are being answered are answered to their end.

    Parameters
    ----------
    workshop : Workshop
        Acts and queries of the bench
    settings : WebSettings
        How it is served
    benches : mapping, optional
        Benches with an instrument, by name
    inbox : Inbox, optional
        Takes in recordings that are files
    host : str
        Address to listen at; anything but loopback is told with a warning
    port : int
        Port; 0 takes a free one
    tell : callable
        Is told the address, and the warning

    Raises
    ------
    InputFault
        If the address or port cannot be had.
    """
    listening = _listen(host, port)
    address, port = listening.getsockname()[:2]
    if not ipaddress.ip_address(address).is_loopback:
        settings = replace(
            settings,
            any_address=True,
            hosts=(*settings.hosts, host, socket.gethostname(), f"{socket.gethostname()}.local"),
        )
        tell(
            f"Warning: listening at {address}. Everybody in this network can read and write the "
            "records, and what is sent can be read on the way. Use it in the workshop's own "
            "network only."
        )
    app = create_app(workshop, settings, benches, inbox)
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        ws="websockets-sansio",
        ws_max_size=64 * 1024,
        timeout_graceful_shutdown=5,
    )
    shown = f"[{address}]" if ":" in address else address
    settle()
    tell(f"http://{shown}:{port}/  (Ctrl-C ends)")
    try:
        with beforehand(app):
            uvicorn.Server(config).run(sockets=[listening])
    except KeyboardInterrupt:
        pass  # uvicorn hands it on once everything is shut down
    finally:
        listening.close()
        if (room := getattr(app.state, "practice", None)) is not None:
            room.close()


def settle() -> None:
    """Have the collector of garbage halt answers less.

    What was loaded is taken out of its rounds, and the round through all that is kept comes after
    two million new objects that outlive their request: some hundred visits of other jobs.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(2_000, 10, 100)


def _listen(host: str, port: int) -> socket.socket:
    listening: socket.socket | None = None
    try:
        family, kind, protocol, _name, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, proto=socket.IPPROTO_TCP, flags=socket.AI_PASSIVE
        )[0]
        # With the protocol said: only then does asyncio send small answers at once (TCP_NODELAY).
        listening = socket.socket(family, kind, protocol)
        if os.name == "posix":  # elsewhere it would let two programs share the port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(address)
        # From here on a browser that comes early waits instead of being turned away.
        listening.listen(128)
        return listening
    except OSError as fault:
        if listening is not None:
            listening.close()
        raise InputFault(
            Fault(
                f"it cannot be listened at ({fault.strerror})",
                f"{host}:{port}",
                "Choose another --port, end what is using this one, or see whether --host is "
                "an address of this machine",
            )
        ) from fault
