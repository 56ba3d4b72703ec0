"""Rework on its page and by the API: filled as advised, asked about, corrected, cancelled."""

from __future__ import annotations

import html
import re
from collections.abc import Callable

import pytest

from host.web.conftest import Browser
from host.workshop.papers_fixtures import FAIL
from host.workshop.raw_shop import BATCH, CERTIFIER
from proofbath.proof.rework_act import ReworkAct
from proofbath.proof.rework_kind import Refillable
from proofbath.store.kinds import Batch, Rework
from proofbath.workshop.advice import advice_for
from proofbath.workshop.intake import TypeFile, newest_type, put_type
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]
FORM = {"serial": FAIL, "kind": "element", "mass_in_mg": "12,5", "pin_before_mm": "10"}


@pytest.fixture
def at(shop: Shop) -> str:
    """The rework page of a batch whose units' elements open."""
    version = newest_type(shop.records, "Teal-82").entry
    specification = version.specification.model_copy(update={"version": version.version + 1})
    file = TypeFile(
        unit_type=version.unit_type, specification=specification, rework=Refillable(openings=9)
    )
    put_type(shop, file, shop.stamp(CERTIFIER, "2025-04-05T08:00:00+00:00"))
    return f"/batches/{shop.records.find(Batch, name=BATCH).root}/rework"


def last(shop: Shop) -> Rework:
    """Return the rework that was put on record last."""
    return max(shop.records.current(Rework), key=lambda kept: kept.id).entry


def filled(page: str) -> dict[str, str]:
    """Return what stands in the fields of the form."""
    fields = re.findall(r'<input id="(\w+)" name="\w+" type="text" value="([^"]*)"', page)
    return {name: html.unescape(value) for name, value in fields if value}


def test_the_form_is_filled_as_advised(open_browser: Open, shop: Shop, at: str) -> None:
    (advice,) = advice_for(shop.records, FAIL)
    assert advice.to_do is not None
    browser = open_browser("operator")
    assert f"{at}?fill={FAIL}" in browser.get(at).text
    page = browser.get(at, params={"fill": FAIL}).text
    told = filled(page)
    assert f'<option value="{FAIL}" selected>' in page
    assert (told["text"], told["openings_left"]) == ("as advised", "8")
    assert float(told.get("mass_out_mg", 0.0)) == advice.to_do.mass_out_mg


def test_an_opened_element_is_put_on_record_corrected_and_cancelled(
    open_browser: Open, shop: Shop, at: str
) -> None:
    browser = open_browser("operator")
    assert browser.post(at, FORM).headers["location"].endswith("said=reworked")
    assert last(shop).act == ReworkAct(mass_in_mg=12.5, pin_before_mm=10.0)
    page = browser.get(at, params={"correct": FAIL}).text
    told = filled(page)
    assert (told["mass_in_mg"], told["pin_before_mm"]) == ("12.5", "10")
    more = {**FORM, "pin_after_mm": "15", "bubbles_gone": "yes", "correction": "pin read"}
    assert browser.post(at, more).headers["location"].endswith("said=corrected")
    act = ReworkAct(mass_in_mg=12.5, pin_before_mm=10.0, pin_after_mm=15.0, bubbles_gone=True)
    assert last(shop).act == act
    page = browser.get(at).text
    assert "its cold pin stands +5.00 mm further out than before" in page
    gone = {"serial": FAIL, "why": "it was T82-0106"}
    assert browser.post(f"{at}/cancel", gone).headers["location"].endswith("said=cancelled")
    assert last(shop).cancelled


def test_what_may_be_a_slip_takes_a_second_press(open_browser: Open, shop: Shop, at: str) -> None:
    browser, before = open_browser("operator"), len(shop.records.current(Rework))
    assert browser.post(at, FORM).status_code == 303
    again = browser.post(at, FORM)
    assert (again.status_code, "was it done twice?" in again.text) == (422, True)
    assert 'name="confirmed" value="yes"' in again.text
    assert filled(again.text)["mass_in_mg"] == "12,5"
    assert browser.post(at, {**FORM, "confirmed": "yes"}).status_code == 303
    assert len(shop.records.current(Rework)) == before + 2


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({**FORM, "kind": "cleaning"}, "what was read on an opened element is no cleaning"),
        ({**FORM, "mass_in_mg": "twelve"}, "is no number; type digits"),
        ({**FORM, "mass_in_mg": "900"}, "give mg, and both masses"),
    ],
)
def test_a_form_that_cannot_be_is_shown_again(
    open_browser: Open, shop: Shop, at: str, form: dict[str, str], words: str
) -> None:
    before = len(shop.records.current(Rework))
    answer = open_browser("operator").post(at, form)
    assert answer.status_code == 422
    assert words in html.unescape(answer.text)
    assert filled(answer.text)["pin_before_mm"] == "10"
    assert len(shop.records.current(Rework)) == before


def test_the_api_takes_an_act_asks_and_cancels(open_browser: Open, shop: Shop, at: str) -> None:
    browser, to = open_browser("operator"), f"/api{at}s"
    said = {"serial": FAIL, "kind": "element", "text": "opened", "act": {"mass_in_mg": 12.5}}
    first = browser.send("POST", to, json=said)
    assert first.status_code == 201, first.text
    asked = browser.send("POST", to, json=said)
    assert asked.status_code == 422
    assert "was it done twice?" in asked.json()["faults"][0]
    assert browser.send("POST", to, json={**said, "confirmed": True}).status_code == 201
    gone = browser.send("POST", f"{to}/cancelled", json={"serial": FAIL, "why": "typed twice"})
    assert gone.status_code == 201
    assert last(shop).cancelled
