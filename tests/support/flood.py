"""A device in a process of its own that floods its port with random bytes."""

from __future__ import annotations

import contextlib
import socket
import subprocess
import sys

from logger.transports.simulated import PtyDevice, serve_pty
from support.processes import ended, ended_at_exit

CODE = """
import os, random, signal, socket, sys, time
signal.signal(signal.SIGINT, signal.SIG_IGN)
block = random.Random(3).randbytes(1 << 20)
fd, rate, for_s = int(sys.argv[1]), float(sys.argv[2]), float(sys.argv[3])
server = None if fd >= 0 else socket.create_server(("127.0.0.1", int(sys.argv[4])))
print("up", flush=True)
if server is not None:
    fd = server.accept()[0].detach()
os.set_blocking(fd, True)
began, sent = time.monotonic(), 0
try:
    while (passed := time.monotonic() - began) < for_s:
        if sent < passed * rate:
            sent += os.write(fd, block[sent % (1 << 19):][:1 << 16])
        else:
            time.sleep(0.002)
except OSError:
    pass
print(sent, flush=True)
"""


class Flood:
    """Random bytes on one port; url: the port for a sensors file.

    kind: "tcp", a server that floods the client that connects; or "pty", where the flood begins at `begin`.
    rate: bytes a second; for_s: length of the flood, s.
    """

    def __init__(self, kind: str, rate: float, for_s: float) -> None:
        self._arguments = [str(rate), str(for_s)]
        self._pty: PtyDevice | None = serve_pty() if kind == "pty" else None
        self._process: subprocess.Popen[str] | None = None
        if self._pty is not None:
            self.url = self._pty.url
            return
        with socket.create_server(("127.0.0.1", 0)) as free:
            port = free.getsockname()[1]
        self.url = f"socket://127.0.0.1:{port}"
        self._start(["-1", *self._arguments, str(port)], ())  # it must be there before the recorder

    def begin(self) -> None:
        """Begin to flood a pseudo-terminal; a server has begun when its client came."""
        if self._pty is not None:
            fd = self._pty._master
            self._start([str(fd), *self._arguments], (fd,))

    def _start(self, arguments: list[str], passed: tuple[int, ...]) -> None:
        self._process = ended_at_exit(
            subprocess.Popen(
                [sys.executable, "-c", CODE, *arguments],
                stdout=subprocess.PIPE,
                text=True,
                pass_fds=passed,
            )
        )
        assert self._process.stdout is not None and self._process.stdout.readline() == "up\n"

    def goes_on(self) -> bool:
        """Whether it still sends."""
        return self._process is not None and self._process.poll() is None

    def sent(self) -> int:
        """Wait for the end of the flood; the bytes that the system took of it."""
        assert self._process is not None
        out, _ = ended(self._process)
        return int(out)

    def close(self) -> None:
        """End it, and unplug its device."""
        if self._process is not None:
            with contextlib.suppress(ProcessLookupError):
                self._process.kill()
            self._process.communicate()
        if self._pty is not None:
            self._pty.close()
