"""Pictures are valid, the same every time, and never fail on a record without an opening."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import pytest

from host.curve.closed_form import StraightUnit, night, ramps, record_of
from proofbath.curve.analyse import analyse
from proofbath.curve.picture import Form, batch_picture, curve_picture

BATH_C = night((1.0,))
RECORD = record_of(BATH_C, StraightUnit().lift_mm(BATH_C))
RESULT = analyse(RECORD)


@pytest.mark.parametrize("form", ["svg", "png"])
def test_a_picture_is_the_same_every_time(form: Form) -> None:
    picture = curve_picture(RECORD, RESULT, form)
    assert picture == curve_picture(RECORD, RESULT, form)
    if form == "png":
        assert picture.startswith(b"\x89PNG\r\n\x1a\n")
    else:
        assert ElementTree.fromstring(picture).tag.endswith("svg")


def test_six_units_and_one_that_never_opened() -> None:
    bath_c = ramps((70, 0), (90, 2), (70, 2))
    shut = record_of(bath_c, 0 * bath_c)
    picture = batch_picture([RECORD] * 4 + [shut] * 2, [RESULT] * 4 + [analyse(shut)] * 2)
    assert picture.count(b"start-to-open") or len(picture) > 50_000
