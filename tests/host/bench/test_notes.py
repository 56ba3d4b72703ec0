"""Notes in a journal: what was written comes back, and journals of earlier releases are read."""

from __future__ import annotations

from typing import Any

import pytest

from proofbath.bench.notes import note_in, note_text
from proofbath.run.note import Note, Turn
from proofbath.store.journal import EventLine


@pytest.mark.parametrize("turn", [None, *Turn])
def test_a_note_comes_back_as_it_was_written(turn: Turn | None) -> None:
    note = Note(2.0, "warning", "any words", 1, bath_c=80.0, rate_k_per_min=0.5, turn=turn)
    assert note_in(EventLine(2.0, "warning", note_text(note))) == note


@pytest.mark.parametrize(
    "fed", [{"set_a": (0.5, None, 0.0)}, {"set_a": (None, None), "set_v": (9.0, 0.0)}]
)
def test_what_was_set_for_the_elements_comes_back(fed: dict[str, Any]) -> None:
    note = Note(2.0, "step_begin", "0.5 A at 95 °C", 1, bath_c=80.0, rate_k_per_min=0.5, **fed)
    assert note_in(EventLine(2.0, "step_begin", note_text(note))) == note


@pytest.mark.parametrize(
    ("kind", "text", "turn"),
    [
        ("warning", "paused by the operator", Turn.PAUSED),
        ("warning", "resumed after 4.2 min", Turn.RESUMED),
        ("warning", "finished early by the operator", None),
        ("alarm", "paused by the operator", None),
    ],
)
def test_a_pause_in_an_old_journal_is_known_by_its_words(
    kind: str, text: str, turn: Turn | None
) -> None:
    old = f'{{"t_s": 2.0, "code": "{kind}", "text": "{text}", "bath_c": 80.0}}'
    assert note_in(EventLine(2.0, kind, old)).turn is turn
