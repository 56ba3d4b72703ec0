"""The fitted element is the one that made the record, by the plant's own equations."""

from __future__ import annotations

import json

import numpy as np
import pytest

from host.curve.closed_form import STEP_S, StraightUnit, ramps, record_of
from proofbath.curve.model_fit import fit_model
from proofbath.errors import RecordError
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.native import unit_response

BATH_C = ramps((70, 0), (70, 300), (98, 1), (98, 300), (70, 0.5))


def test_wax_play_and_time_constants_are_found_again() -> None:
    """Lags of the model unit at 0.1, 1, 4, 8 mm: 22.5, 27.7, 37.6, 31.3 s (its equations)."""
    unit = VirtualUnit(serial="T82-MODEL", station=1)
    lift_mm, _ = unit_response(unit.parameters(), BATH_C, step_s=STEP_S)
    found = fit_model(record_of(BATH_C, lift_mm))
    element = found.element
    assert element.melting_c == pytest.approx(unit.melting_c, abs=0.2)
    assert element.melting_width_k == pytest.approx(unit.melting_width_k, abs=0.1)
    assert element.play_k == pytest.approx(unit.play_k, abs=0.2)
    assert element.gain_mm_g_per_cm3 == pytest.approx(
        unit.wax_mg / truth.pin_area_mm2(unit), rel=0.02
    )
    assert found.start_to_open_c == pytest.approx(truth.rising_c(unit, 0.1), abs=0.03)
    assert found.closing_c == pytest.approx(truth.falling_c(unit, 0.1), abs=0.05)
    assert list(found.lag_s.values()) == pytest.approx([22.5, 27.7, 37.6, 31.3], rel=0.06)
    assert found.residual_rms_mm < 0.01
    assert found.quality.startswith("good")
    json.dumps(found.to_json(), allow_nan=False)


def test_a_record_that_is_no_wax_element_is_called_poor() -> None:
    lift_mm = StraightUnit().lift_mm(BATH_C)
    jagged = lift_mm + 0.3 * np.sin(BATH_C * 3) * (lift_mm > 0)
    assert fit_model(record_of(BATH_C, jagged)).quality.startswith("poor")


def test_a_rise_alone_cannot_be_fitted() -> None:
    bath_c = ramps((70, 0), (95, 1))
    with pytest.raises(RecordError, match="falls"):
        fit_model(record_of(bath_c, StraightUnit().lift_mm(bath_c)))
