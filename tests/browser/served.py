"""The command ``nozzlewright serve`` on a folder, as a process of its own."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

COMMAND = Path(sys.executable).with_name("nozzlewright")
UP_WITHIN_S = 180.0


class Served:
    """A workshop's server; it can be killed and started again at the same address."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        self._process: subprocess.Popen[bytes] | None = None
        self._log = folder.with_name(f"{folder.name}.log")

    @property
    def address(self) -> str:
        """Where it is, without the last slash."""
        return f"http://127.0.0.1:{self.port}"

    def __enter__(self) -> Served:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None and self._process.poll() is None:
            self._process.send_signal(signal.SIGINT)
            self._process.wait(120.0)

    def start(self) -> None:
        """Start it, and wait until it answers."""
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [COMMAND, "serve", self.folder, "--port", str(self.port)], stdout=log, stderr=log
            )
        until = time.monotonic() + UP_WITHIN_S
        while True:
            try:
                with urllib.request.urlopen(f"{self.address}/health", timeout=30.0):  # noqa: S310
                    return
            except (urllib.error.URLError, ConnectionError, TimeoutError):
                assert self._process.poll() is None, self.said()
                assert time.monotonic() < until, f"it does not come up\n{self.said()}"
                time.sleep(0.05)

    def kill(self) -> None:
        """Kill it at once (SIGKILL): it can finish nothing."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(120.0)

    def said(self) -> str:
        """What it wrote to the terminal."""
        return self._log.read_text("utf-8", errors="replace")
