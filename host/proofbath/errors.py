"""The one error root, its leaves by whose job the remedy is, and the text every error keeps to."""

from __future__ import annotations


class ProofbathError(Exception):
    """Root of all errors; `faults` are one-line texts saying what, measured, limit, what to do."""

    exit_status = 3

    def __init__(self, *faults: str) -> None:
        if type(self) is ProofbathError:
            raise TypeError("raise a leaf of ProofbathError, not the root")
        super().__init__("; ".join(faults))
        self.faults: tuple[str, ...] = faults


class InputError(ProofbathError):
    """The operator's input is wrong or refused: a file, an option, a plan."""

    exit_status = 2


class RecordError(ProofbathError):
    """A record cannot be used: a curve file or a journal."""

    exit_status = 2


class MismatchError(ProofbathError):
    """Host and controller do not fit: protocol, board, limits."""

    exit_status = 3


class LineError(ProofbathError):
    """A line from the cable is not a line of the wire table."""


class BenchFaultError(ProofbathError):
    """The bench itself failed: tripped, silent, unplugged."""


class HeatOnError(BenchFaultError):
    """Something still heats after a run has ended: a hand at the isolator is needed."""

    exit_status = 4
