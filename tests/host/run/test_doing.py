"""One word for what the machine does: by its phase, and by which way its bath has to go."""

from __future__ import annotations

import math

import pytest

from proofbath.run.doing import NEAR_K, Doing, doing
from proofbath.run.states import Phase


@pytest.mark.parametrize(
    ("phase", "toward_c", "bath_c", "word"),
    [
        (Phase.RAMPING, 90.0, 80.0, Doing.HEATING),
        (Phase.RAMPING, 80.0, 90.0, Doing.COOLING),
        (Phase.SOAKING, 80.0, 70.0, Doing.HEATING),
        (Phase.SOAKING, 80.0, 80.0 - NEAR_K / 2, Doing.HOLDING),
        (Phase.SOAKING, 80.0, 80.0 + NEAR_K / 2, Doing.HOLDING),
        (Phase.HOLDING, 80.0, 70.0, Doing.HOLDING),
        (Phase.ENERGISING, 80.0, 80.0, Doing.FEEDING),
        (Phase.PAUSED, 90.0, 80.0, Doing.PAUSED),
        (Phase.DRIVING, math.nan, 80.0, Doing.HEATING),
        (Phase.RAMPING, 20.0, math.nan, Doing.HEATING),
    ],
)
def test_a_word_for_each(phase: Phase, toward_c: float, bath_c: float, word: Doing) -> None:
    assert doing(phase, toward_c, bath_c) is word


def test_every_phase_has_a_word() -> None:
    assert {doing(phase, 50.0, 20.0) for phase in Phase} >= {Doing.WAITING, Doing.LOST}
