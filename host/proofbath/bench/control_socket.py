"""Commands to a running bench: a local socket for its owner, one line each way.

`status` answers with JSON; `stop REASON`, `pause`, `resume` and `finish` reach the run within
a tick.  Behind a run that ended early `leave` ends the watch over its bench for a person, and
`relieve` for a program that wants the bench.
"""

from __future__ import annotations

import os
import socket
import socketserver
import threading
from collections import deque
from collections.abc import Callable
from enum import Enum
from pathlib import Path

from proofbath.errors import BenchFaultError
from proofbath.run.acts import Act, Finish, Leave, Pause, Resume, Stop
from proofbath.run.after_trip import MAIN_ISOLATOR

LONGEST_LINE = 300
PATIENCE_S = 2.0
BY_COMMAND = "stopped by a command"
BUSY = "busy"
"""Answers a program that wants the bench while a run is under way."""
_ACTS: dict[str, Act] = {"pause": Pause(), "resume": Resume(), "finish": Finish()}
_OTHERS = ", ".join(_ACTS)


class Standing(Enum):
    """What the process that holds a bench does there."""

    RUN = "a run is under way"
    COOLING = "watching the bench behind its run"
    HEATING = "watching, and something still heats"


class NobodyThereError(BenchFaultError):
    """No process runs the bench."""


class ControlSocket:
    """Listens at a path and puts what persons ask for into `acts`."""

    def __init__(
        self,
        path: Path,
        acts: deque[Act],
        status: Callable[[], str],
        standing: Callable[[], Standing] = lambda: Standing.RUN,
    ) -> None:
        """Listen; `status` returns one line of JSON and is called from another thread.

        So is `standing`, which tells whether the bench is only watched.  The caller holds the
        bench's lock, so a socket left at `path` is a dead one.
        """
        self.path = path
        path.unlink(missing_ok=True)
        mask = os.umask(0o177)
        try:
            self._server = _Server(str(path), _Handler)
        except OSError as error:
            raise BenchFaultError(f"control socket {path}: {error.strerror or error}") from error
        finally:
            os.umask(mask)
        self._server.acts = acts
        self._server.status = status
        self._server.standing = standing
        self._thread = threading.Thread(
            target=self._server.serve_forever, args=(0.1,), name="control", daemon=True
        )
        self._thread.start()

    def close(self) -> None:
        """Stop listening."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
        self.path.unlink(missing_ok=True)


def command(path: Path, line: str) -> str:
    """Send one command to the bench process at a path and return its answer.

    Raises NobodyThereError when no process runs there, BenchFaultError when it does not answer or
    refuses.
    """
    try:
        with socket.socket(socket.AF_UNIX) as client:
            client.settimeout(PATIENCE_S)
            client.connect(str(path))
            client.sendall(line.encode() + b"\n")
            answer = client.makefile("rb").readline().decode().strip()
    except (FileNotFoundError, ConnectionError):
        raise NobodyThereError("no run on this bench; start one first") from None
    except OSError as error:
        raise BenchFaultError(f"control socket {path}: {error.strerror or error}") from error
    if not answer.startswith("ok"):
        raise BenchFaultError(f"bench: {answer or 'no answer'}")
    return answer.removeprefix("ok").strip()


class _Server(socketserver.UnixStreamServer):
    acts: deque[Act]
    status: Callable[[], str]
    standing: Callable[[], Standing]


class _Handler(socketserver.StreamRequestHandler):
    timeout = PATIENCE_S
    server: _Server

    def handle(self) -> None:
        try:
            line = self.rfile.readline(LONGEST_LINE).decode(errors="replace").strip()
            self.wfile.write(self._answer(line).encode() + b"\n")
        except OSError:
            return  # a client that went away gets no answer

    def _answer(self, line: str) -> str:
        word, _, rest = line.partition(" ")
        if word == "status":
            return f"ok {self.server.status()}"
        if word in ("leave", "relieve"):
            return self._leave(word == "relieve")
        act = Stop(rest or BY_COMMAND) if word == "stop" else _ACTS.get(word)
        if act is None:
            return f"refused: no command {word!r}; there are status, stop, leave, {_OTHERS}"
        self.server.acts.append(act)
        return "ok"

    def _leave(self, asked_by_program: bool) -> str:
        standing = self.server.standing()
        if standing is Standing.RUN:
            if asked_by_program:
                return f"ok {BUSY}"
            return "refused: a run is under way; stop it first"
        if standing is Standing.HEATING and asked_by_program:
            return (
                f"refused: THE HEAT IS STILL ON: pull {MAIN_ISOLATOR}; then end the watch with"
                " proofbath bench leave"
            )
        self.server.acts.append(Leave())
        return "ok"
