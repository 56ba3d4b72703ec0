"""The cautions of law and engine, and of a hot cooling system, on the pages they go with."""

from __future__ import annotations

import html
from collections.abc import Callable

import pytest

from host.web.conftest import Browser
from host.workshop.papers_fixtures import PASS
from host.workshop.raw_shop import BATCH
from proofbath.proof.cautions import COLD_ONLY, RETARGETING, REWORK
from proofbath.store.kinds import Batch
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]


@pytest.mark.parametrize(
    "path", ["/batches/types", "/batches/types/one?name=Teal-82", "/batches/{number}/rework"]
)
def test_a_page_of_types_targets_and_rework_says_the_caution(
    open_browser: Open, shop: Shop, path: str
) -> None:
    number = shop.records.find(Batch, name=BATCH).root
    text = html.unescape(open_browser("certifier").get(path.format(number=number)).text)
    assert RETARGETING in text
    assert (REWORK in text) == path.endswith("rework")


def test_a_unit_in_service_says_that_the_system_is_opened_cold_only(open_browser: Open) -> None:
    assert COLD_ONLY in open_browser("viewer").get(f"/units/{PASS[0]}").text


def test_a_target_by_page_and_by_api_is_held_to_the_pressure_cap(open_browser: Open) -> None:
    """The bench stands at 500 m, where water boils at 98.3 °C (ISO 2533, IAPWS-IF97)."""
    browser, asked = open_browser("viewer"), {"name": "Teal-82", "wanted_c": "98"}
    refused = browser.get("/batches/types/one", params=asked)
    assert refused.status_code == 422
    assert "boils at 98.31 °C, so the limit is 95.31 °C" in refused.text
    capped = browser.get("/batches/types/one", params=asked | {"cap_kpa": "50"})
    assert "water under a pressure cap of 50 kPa" in capped.text
    assert browser.get("/api/type/target", params=asked).status_code == 422
    shown = browser.get("/api/type/target", params=asked | {"cap_kpa": "50"}).json()
    assert shown["caution"] == RETARGETING
