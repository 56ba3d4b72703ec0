"""Then and now: the normalised error, its words, and the one page."""

from __future__ import annotations

import io
import math

import pypdf
import pytest
from pydantic import ValidationError

from host.certificate import ferry
from proofbath.certificate.agreement import Change, change_of, normalised_error
from proofbath.certificate.issue import prepare
from proofbath.certificate.keys import SigningKey, open_key
from proofbath.certificate.results import Result, result_of
from proofbath.certificate.then_and_now import ThenAndNow


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> SigningKey:
    return open_key(tmp_path_factory.mktemp("keys"))


@pytest.mark.parametrize(
    ("difference", "u_then", "u_now", "e_n"),
    [(0.5, 0.3, 0.4, 1.0), (-1.3, 0.5, 1.2, 1.0), (0.0, 0.3, 0.3, 0.0), (2.6, 0.5, 1.2, 2.0)],
)
def test_the_normalised_error(difference: float, u_then: float, u_now: float, e_n: float) -> None:
    """ISO/IEC 17043:2010 B.3.1.3: E_n = (x - X) / sqrt(U_lab² + U_ref²), from memory.

    The uncertainties are the legs of 3-4-5 and 5-12-13 triangles.
    """
    assert normalised_error(difference, u_then, u_now) == pytest.approx(e_n)


def start(value_c: float, rate: str | float = "zero") -> Result:
    return result_of(ferry.start_to_open(value_c, rate))


def test_a_change_says_whether_the_uncertainties_explain_it() -> None:
    """|E_n| up to 1.0 agrees (ISO/IEC 17043:2010 B.4.1.1, from memory)."""
    same, moved = change_of(start(82.0), start(82.3)), change_of(start(82.0), start(81.2))
    assert same is not None
    assert moved is not None
    big_u = start(82.0).stated.expanded_uncertainty
    assert same.e_n == pytest.approx(0.3 / (math.sqrt(2) * big_u))
    assert same.verdict == "agrees"
    assert same.words.startswith("agrees within the uncertainties: the difference of 0.30 °C")
    assert moved.verdict == "has shifted"
    assert moved.words.startswith("has shifted by −0.80 °C, more than the uncertainties")


def test_values_of_different_forms_are_never_compared() -> None:
    assert change_of(start(82.0), start(82.0, 1.0)) is None
    lift = result_of(ferry.quantities()["full_lift_mm"])
    assert change_of(start(82.0), lift) is None
    missing = result_of(ferry.quantities()["full_open_c"])
    assert change_of(missing, missing) is None


def test_a_verdict_that_does_not_follow_is_refused() -> None:
    told = change_of(start(82.0), start(84.0))
    assert told is not None
    with pytest.raises(ValidationError, match="does not say: agrees"):
        Change.model_validate(told.model_dump() | {"verdict": "agrees"})


@pytest.mark.parametrize(("shifted_k", "headline"), [(0.9, "HAS SHIFTED"), (-0.2, "AGREES")])
def test_it_is_one_page_with_both_measurements(
    shifted_k: float, headline: str, key: SigningKey
) -> None:
    made = prepare(ferry.then_and_now(shifted_k), key).pdf
    pages = pypdf.PdfReader(io.BytesIO(made)).pages
    assert len(pages) == 1
    words = " ".join(pages[0].extract_text().split())
    assert headline in words
    assert "certificate LN-2025-0042" in words
    assert "run 204, Bench 1, station 4" in words


def test_now_comes_after_then() -> None:
    content = ferry.then_and_now().model_dump()
    swapped = content | {"then": content["now"], "now": content["then"]}
    with pytest.raises(ValidationError, match="then must be as-left"):
        ThenAndNow.model_validate(swapped)
