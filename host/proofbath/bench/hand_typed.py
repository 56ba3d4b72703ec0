"""What is typed at the prompts of a measurement by hand: readings, numbers, and ways out.

No prompt holds a person: a command typed where something else was asked for is done instead.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from proofbath.curve.hand_number import NOT_READ, parse_number

END, UNDO, PAUSE, HEAT = ("end",), ("u", "undo"), ("p", "pause"), ("heat",)
YES, NO = ("y", "yes"), ("n", "no", "")


class Left(Exception):
    """A command was typed at a prompt that asked for something else."""

    def __init__(self, line: str) -> None:
        super().__init__(line)
        self.line = line


def command_of(line: str) -> tuple[str, str]:
    """Return the first word of a line in small letters, and what follows it."""
    word, _, rest = line.strip().lower().partition(" ")
    return word, rest.strip()


def answered(line: str) -> str:
    """Return an answer without blanks round it; raises Left where it is a command."""
    text = line.strip()
    if command_of(text)[0] in (*END, *UNDO, *PAUSE, *HEAT):
        raise Left(text)
    return text


def ask_number(
    line: Callable[[str], str],
    tell: Callable[[str], None],
    prompt: str,
    most: float,
    otherwise: float,
) -> float:
    """Ask until a number above 0 and up to `most` is typed; `otherwise` is what no number means."""
    while True:
        text = answered(line(prompt))
        if text.lower() in NOT_READ:
            return otherwise
        number = parse_number(text)
        if number is None:
            tell(f"{text[:40]!r} is no number; type it as in  7.6, or end")
        elif not 0.0 < number <= most:
            tell(f"{number:g} is not possible, above 0 and up to {most:g} is; type it again")
        else:
            return number


def ask_yes(line: Callable[[str], str], tell: Callable[[str], None], question: str) -> bool:
    """Ask until yes or no is typed; nothing typed is no."""
    while True:
        text = answered(line(f"{question} [y/N]")).lower()
        if text in (*YES, *NO):
            return text in YES
        tell(f"{text[:40]!r}: type y for yes or n for no")


def parse_reading(line: str) -> tuple[float, float] | None:
    """Return (bath °C, lift mm or NaN) of a typed line; a decimal comma is understood."""
    parts = line.replace(";", " ").split()
    if len(parts) == 1 and "." in line and "," in line:
        parts = line.split(",")
    numbers = [parse_number(part.rstrip(",")) for part in parts]
    if not 1 <= len(numbers) <= 2 or numbers[0] is None or numbers[-1] is None:
        return None
    return numbers[0], numbers[1] if len(numbers) == 2 and numbers[1] is not None else math.nan
