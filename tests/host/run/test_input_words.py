"""The safe state in words: each thing by its name, not by the contact that shows it."""

from __future__ import annotations

import pytest

from proofbath.run.input_words import WORDS, heat_in_words, in_words
from proofbath.wire.table import Input


def test_a_bench_at_rest_names_the_contactor_and_the_heater_current() -> None:
    """IEC 60947-4-1, annex F: a mirror contact cannot be closed with a main contact closed."""
    assert heat_in_words(Input.CONTACTOR_OPEN) == (
        "contactor: open (its mirror contact is closed)",
        "heater current: none",
    )


def test_a_bench_with_heat_says_so() -> None:
    assert heat_in_words(Input.HEATER_LIVE) == (
        "contactor: closed (its mirror contact is open)",
        "heater current: flows",
    )


@pytest.mark.parametrize("flag", Input)
def test_every_input_has_words_for_both_of_its_states(flag: Input) -> None:
    assert in_words(flag, flag) != in_words(0, flag)
    assert in_words(flag, flag).startswith(f"{WORDS[flag].thing}: ")
