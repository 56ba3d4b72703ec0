"""The live connection of a served workshop against who should not have it, or does not read it."""

from __future__ import annotations

from contextlib import ExitStack
from urllib.parse import quote, urlsplit

import pytest
from playwright.sync_api import expect
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from proofbath.scenario.ferry import BENCH
from system.browser.conftest import PATIENCE_MS, OpenPage
from system.browser.places import asking
from system.browser.steps import figures, plan_night, standing, start_night
from system.web_shop import Served

pytestmark = pytest.mark.xdist_group("browser")
SLOW = 20


def live_address(workshop: Served) -> str:
    """Return the address of a bench's live connection."""
    return f"ws://{urlsplit(workshop.address).netloc}/live/{quote(BENCH)}"


@pytest.mark.parametrize("cookie", ["", "proofbath=", f"proofbath={'0' * 64}", "other=1"])
def test_nobody_looks_live_without_signing_in(workshop: Served, cookie: str) -> None:
    headers = {"Cookie": cookie} if cookie else {}
    with pytest.raises(InvalidStatus) as refused:
        connect(live_address(workshop), additional_headers=headers)
    assert refused.value.response.status_code == 403


def test_a_page_of_another_site_does_not_look_live(workshop: Served) -> None:
    with asking(workshop) as client:
        cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
    with pytest.raises(InvalidStatus) as refused:
        connect(
            live_address(workshop),
            additional_headers={"Cookie": cookie},
            origin="https://elsewhere.example",  # type: ignore[arg-type]
        )
    assert refused.value.response.status_code == 403


def test_who_does_not_read_holds_nobody_up(open_page: OpenPage, workshop: Served) -> None:
    page = open_page("operator")
    plan_night(page, BENCH)
    with asking(workshop) as client, ExitStack() as stack:
        cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
        for _ in range(SLOW):
            headers = {"Cookie": cookie}
            slow = connect(live_address(workshop), additional_headers=headers, max_queue=1)
            stack.callback(slow.close_socket)
        start_night(page)
        expect(figures(page)).to_contain_text("rising", timeout=PATIENCE_MS)
        before = figures(page).inner_text()
        expect(figures(page)).not_to_have_text(before, timeout=PATIENCE_MS)
        assert client.get("/api/health").json() == {"state": "serving"}
        page.get_by_role("button", name="STOP this bench").click()
        expect(standing(page)).to_contain_text("ended, stopped", timeout=PATIENCE_MS)
