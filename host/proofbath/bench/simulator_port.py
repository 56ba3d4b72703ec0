"""The AVR binary as a port: the simulator, a program of its own, run in lock step by sockets."""

from __future__ import annotations

import shutil
import socket
import subprocess
from contextlib import ExitStack
from pathlib import Path

from proofbath.bench.port import PortLostError
from proofbath.bench.virtual_port import VirtualPort
from proofbath.errors import BenchFaultError, InputError
from proofbath.virtual.description import VirtualSection
from proofbath.virtual.plant import configure
from proofbath.wire.table import TICK_MS, BootCause

PROGRAM = "proofbath_simulator"
PREFIX = "simulator:"
"""Begins the name of a port that is an ELF run in the simulator."""
AFTER_TICK_MS = 36
"""When host and controller exchange bytes: a tick's sample is on the wire from 9 to 28 ms after the
tick, later behind another line; a demand is heard 7 ms after it was sent, before the plant's next
step at 45 ms, as on the native bench."""
PATIENCE_S = 120.0


class Simulator:
    """A controller's binary on a simulated processor with the plant of a virtual bench.

    Time passes by `advance` only; equal seeds, commands and bytes give equal bytes.
    """

    def __init__(
        self,
        elf: Path,
        virtual: VirtualSection | None = None,
        *,
        seed: int | None = None,
        options: tuple[str, ...] = (),
    ) -> None:
        """Start the program that is built beside the ELF, or is on the path.

        Raises InputError where something is missing, BenchFaultError when it does not start.
        """
        virtual = virtual or VirtualSection()
        number = virtual.seed if seed is None else seed
        command = [_program(elf), "--owned", "--seed", str(number), *options, str(elf)]
        self._held = ExitStack()
        self._process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        self._held.callback(self._end_process)
        self._next_us = (TICK_MS + AFTER_TICK_MS) * 1000
        try:
            places = self._places()
            self.terminal = places["terminal"]
            """Path of the pseudo-terminal that is the controller's serial port."""
            self._control = self._held.enter_context(_connected(places["control"]))
            self._answers = self._held.enter_context(self._control.makefile("r"))
            self._serial = self._held.enter_context(_connected(places["serial"]))
            self._written, self._read = map(int, self.command("counts").split())
            configure(self, virtual, _put, _add_fault)
        except BaseException:
            self.close()
            raise

    def _places(self) -> dict[str, str]:
        output = self._process.stdout
        lines = [output.readline().split() if output else [] for _ in range(3)]
        if not all(lines):
            raise BenchFaultError(f"simulator does not start: {self._last_words()}")
        return {line[0]: line[1] for line in lines}

    def _last_words(self) -> str:
        self._process.kill()
        _, errors = self._process.communicate()
        return errors.strip().splitlines()[-1] if errors.strip() else "it said nothing"

    def _end_process(self) -> None:
        """Wait for the program, whose control connection is closed by now, to end by itself."""
        try:
            self._process.communicate(timeout=PATIENCE_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.communicate()

    def command(self, text: str) -> str:
        """Return the answer to one command of the simulator (see its --help).

        Raises ValueError for a command it refuses, PortLostError when it has ended.
        """
        try:
            self._control.sendall(text.encode() + b"\n")
            answer = self._answers.readline().rstrip("\n")
        except OSError as error:
            raise PortLostError(f"simulator: {error}; start it again") from error
        if not answer:
            raise PortLostError(f"simulator has ended: {self._last_words()}")
        verdict, _, rest = answer.partition(" ")
        if verdict != "ok":
            raise ValueError(f"simulator, {text.split()[0]}: {rest}")
        return rest

    def advance(self, data: bytes) -> bytes:
        """Give the controller bytes, let one tick pass, return what it sent meanwhile.

        Raises PortLostError.
        """
        us, self._next_us = self._next_us, TICK_MS * 1000
        return self.advance_us(us, data)

    def advance_us(self, us: int, data: bytes = b"") -> bytes:
        """Give the controller bytes, let time pass, return what it sent meanwhile."""
        self._written += len(data)
        try:
            self._serial.sendall(data)
            _, sent = map(int, self.command(f"advance {us} {self._written}").split())
            parts = []
            while self._read < sent:
                parts.append(self._serial.recv(sent - self._read))
                self._read += len(parts[-1])
        except OSError as error:
            raise PortLostError(f"simulator: {error}; start it again") from error
        return b"".join(parts)

    def boot(self, cause: BootCause) -> None:
        """Reset the controller; EEPROM and plant stay as they are.

        Raises ValueError for the watchdog, which bites by itself only: hold the bus.
        """
        self.command(f"boot {cause.name.lower()}")
        self.booted()

    def booted(self) -> None:
        """Keep in step with a controller that has just reset: its ticks begin anew."""
        self._next_us = (TICK_MS + AFTER_TICK_MS) * 1000

    def get(self, key: str) -> float:
        """Return a parameter or true value of the plant, or an output at its pin.

        Raises ValueError for a name the simulator does not know.
        """
        return float(self.command(f"get {key}"))

    def close(self) -> None:
        """End the program; it then keeps its EEPROM where it was told to."""
        self._held.close()


class SimulatorPort(VirtualPort):
    """Each `read` lets one tick of the simulated controller pass."""

    def __init__(self, simulator: Simulator, name: str = "simulator") -> None:
        super().__init__(simulator)
        self.name = name
        self._simulator = simulator

    def close(self) -> None:
        """End the simulator."""
        self._simulator.close()


def open_simulator(port: str, virtual: VirtualSection | None) -> SimulatorPort:
    """Return the port named "simulator:PATH_TO_ELF"; raises InputError and BenchFaultError."""
    return SimulatorPort(Simulator(Path(port.removeprefix(PREFIX)), virtual), port)


def _program(elf: Path) -> str:
    if not elf.is_file():
        raise InputError(f"firmware {elf} is not there; build it: make -C firmware")
    beside = elf.with_name(PROGRAM)
    found = str(beside) if beside.is_file() else shutil.which(PROGRAM)
    if found is None:
        raise InputError(
            f"{PROGRAM} is neither beside {elf} nor on the path; "
            "build it: make -C firmware simulator"
        )
    return found


def _connected(place: str) -> socket.socket:
    host, port = place.split(":")
    connection = socket.create_connection((host, int(port)), PATIENCE_S)
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return connection


def _put(simulator: Simulator, key: bytes, value: float) -> int:
    return _refused(simulator, f"set {key.decode()} {value!r}")


def _add_fault(
    simulator: Simulator, kind: bytes, station: int, at_s: float, until_s: float, size: float
) -> int:
    return _refused(simulator, f"fault {kind.decode()} {station} {at_s!r} {until_s!r} {size!r}")


def _refused(simulator: Simulator, command: str) -> int:
    try:
        simulator.command(command)
    except ValueError:
        return -1
    return 0
