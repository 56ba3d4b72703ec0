"""A measurement by hand, led line by line: what was typed, what is kept, what is said to it."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Protocol

from proofbath.bench.clock import Clock
from proofbath.bench.hand_file import HandFile
from proofbath.bench.hand_heater import SWITCH_OFF, HandHeater
from proofbath.bench.hand_typed import END, HEAT, PAUSE, UNDO, Left, command_of, parse_reading
from proofbath.bench.hand_words import BOIL, CAUTIONS, COMMANDS, USUAL_ERRORS, hint
from proofbath.curve.hand_number import parse_number
from proofbath.curve.hand_record import HandPoint, check_reading
from proofbath.errors import InputError

LONGEST_ON_S = 1200.0
"""An element is not fed longer at a time (common practice, no source)."""


class HandPerson(Protocol):
    """Who reads and types; any prompt raises Left where a command is typed instead."""

    def tell(self, text: str) -> None:
        """Show a line."""

    def wait(self, text: str) -> None:
        """Show what comes next and return when the person is ready for it."""

    def agrees(self, question: str) -> bool:
        """Return the answer to a question of yes or no."""

    def line(self, prompt: str) -> str:
        """Return what was typed."""


def caution(person: HandPerson) -> None:
    """Show the cautions and the usual errors before anything else, and have them read."""
    for text in CAUTIONS:
        person.tell(text)
    person.wait("Read the cautions. Go on when all of them hold.")
    person.tell("What usually goes wrong:")
    for text in USUAL_ERRORS:
        person.tell(f"- {text}")


class HandSession:
    """Takes one typed line after the other; `begun_s` is the measurement's time at the start."""

    def __init__(
        self,
        file: HandFile,
        heater: HandHeater | None,
        person: HandPerson,
        clock: Clock,
        begun_s: float = 0.0,
    ) -> None:
        self._file = file
        self._heater = heater
        self._person = person
        self._clock = clock
        self._zero_s = clock() - begun_s
        self._current_a = 0.0
        self._on_since_s = 0.0
        self._ended = False
        acts: dict[tuple[str, ...], Callable[[str], None]] = {
            END: lambda _: self._end(),
            UNDO: lambda _: self._undo(),
            PAUSE: lambda _: self._pause(),
            HEAT: self._heat,
            ("?", ""): lambda _: person.tell(COMMANDS),
        }
        self._acts = {word: act for words, act in acts.items() for word in words}

    def run(self) -> None:
        """Take lines until `end`; the element is off afterwards, whatever happens."""
        self._person.tell(COMMANDS)
        try:
            while not self._ended:
                self.take(self._person.line(self._prompt()).strip())
        finally:
            self._off()

    def take(self, line: str) -> None:
        """Do what one line says; a command typed at a prompt on the way is done instead."""
        try:
            self._do(line)
        except Left as left:
            if command_of(left.line)[0] in UNDO:
                self._person.tell("left; the last reading stays, u takes it back")
            else:
                self.take(left.line)

    def _do(self, line: str) -> None:
        word, rest = command_of(line)
        if word in self._acts:
            self._acts[word](rest)
            return
        boiling_c = self._file.notes.setup.boiling_c
        if word == BOIL and boiling_c is None:
            self._person.tell(
                "where it boils is not known: begin with --altitude-m or --pressure-kpa"
            )
            return
        reading = parse_reading(line.lower().replace(BOIL, f"{boiling_c}"))
        if reading is None:
            self._person.tell(f"{line[:40]!r} is no reading; ? shows what can be typed")
        else:
            self._keep(*reading)

    def _keep(self, bath_c: float, lift_mm: float) -> None:
        point = HandPoint(self._now_s(), bath_c, lift_mm, *self._fed())
        why = check_reading(point)
        if why:
            self._person.tell(f"not kept: {why}; type it again")
            return
        self._file.add(point)
        self._person.tell(hint(self._file.points, self._file.notes.setup))

    def _fed(self) -> tuple[float, float]:
        """Return what the element gets, after what time and supply have to say about it."""
        if self._heater is None:
            return 0.0, math.nan
        fed = self._heater.fed()
        if self._current_a and not fed.element_a:
            self._person.tell("the supply went off by itself: nothing was typed for too long")
            self._current_a = 0.0
        if self._current_a and self._clock() - self._on_since_s > LONGEST_ON_S:
            self._person.tell(f"heater on for over {LONGEST_ON_S / 60:.0f} min: off now")
            self._off()
        return fed

    def _end(self) -> None:
        self._ended = True

    def _undo(self) -> None:
        taken = self._file.take_back(self._now_s())
        shown = f"{taken.bath_c:g} °C taken back" if taken else "nothing to take back"
        self._person.tell(shown)

    def _pause(self) -> None:
        self._off()
        self._person.wait("Paused, heater off; the time runs on. Turn the heat down.")

    def _heat(self, text: str) -> None:
        current_a = parse_number(text)
        if self._heater is None:
            self._person.tell("this measurement was begun without a heater; begin one with it")
        elif current_a is None or current_a < 0.0:
            self._person.tell(f"heat {text[:20]}: give the current in A, as in  heat 0.8")
        elif current_a == 0.0:
            self._off()
        elif not self._file.points:
            self._person.tell("type a temperature first: never energise an element in air")
        elif self._person.agrees("Does the unit hang wholly under water, fused, and you stay?"):
            self._on(self._heater, current_a)

    def _on(self, heater: HandHeater, current_a: float) -> None:
        """Give a current; from the first word about it on it may flow, whatever comes then."""
        before_a, self._current_a = self._current_a, current_a
        if not before_a:
            self._on_since_s = self._clock()
        try:
            heater.set_current(current_a)
        except InputError as error:
            self._current_a = before_a
            self._person.tell(str(error))
        except Left:
            self._off()
            raise
        else:
            self._person.tell(f"heater at {current_a:g} A")

    def _off(self) -> None:
        if self._heater is None or not self._current_a:
            return
        self._current_a = 0.0
        try:
            self._heater.set_current(0.0)
        except BaseException:
            self._person.tell(SWITCH_OFF)
            raise
        self._person.tell("heater off")

    def _now_s(self) -> float:
        return self._clock() - self._zero_s

    def _prompt(self) -> str:
        minutes, seconds = divmod(int(self._now_s()), 60)
        heated = f" {self._current_a:g} A" if self._current_a else ""
        return f"{minutes:02d}:{seconds:02d}{heated}  °C mm"
