"""Advice on pages and by the API: the batch, the rework page and both routes say one next act."""

from __future__ import annotations

import html
import re
from collections.abc import Callable

import pytest

from host.web.conftest import Browser
from host.workshop.papers_fixtures import FAIL
from host.workshop.raw_shop import BATCH, CERTIFIER
from proofbath.proof.rework_kind import Refillable
from proofbath.store.kinds import Batch
from proofbath.workshop.advice import advice_for
from proofbath.workshop.intake import TypeFile, newest_type, put_type
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]


@pytest.fixture
def batch(shop: Shop) -> int:
    """The number of a batch whose units' elements open."""
    version = newest_type(shop.records, "Teal-82").entry
    specification = version.specification.model_copy(update={"version": version.version + 1})
    file = TypeFile(
        unit_type=version.unit_type, specification=specification, rework=Refillable(openings=9)
    )
    put_type(shop, file, shop.stamp(CERTIFIER, "2025-04-05T08:00:00+00:00"))
    return shop.records.find(Batch, name=BATCH).root


def words_on(page: str) -> str:
    """Return the words of a page."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_pages_and_api_say_one_next_act(open_browser: Open, shop: Shop, batch: int) -> None:
    (advice,) = advice_for(shop.records, FAIL, shop.file.effort)
    assert advice.next_act.startswith("open it, ")
    browser = open_browser("viewer")
    assert f"rework: {advice.next_act}" in words_on(browser.get(f"/batches/{batch}").text)
    page = words_on(browser.get(f"/batches/{batch}/rework").text)
    for line in advice.lines:
        assert " ".join(line.split()) in page
    one = browser.get(f"/api/units/{FAIL}/advice").json()
    mine = [x for x in browser.get(f"/api/batches/{batch}/advice").json() if x["serial"] == FAIL]
    assert mine == [one]
    assert one["next_act"] == advice.next_act
    assert one["forecast"]["at_target_c"]["low"] < one["now_c"]["mean"]
    assert one["target"]["lift_mm"] == 0.1
    units = browser.get(f"/api/batches/{batch}").json()["units"]
    (unit,) = [x for x in units if x["serial"] == FAIL]
    assert (unit["next_code"], unit["next_about"]) == ("rework", advice.next_act)
