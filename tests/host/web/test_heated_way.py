"""A heated batch by the pages alone: taken in, run, looked at, reworked, run again, certified."""

from __future__ import annotations

import asyncio
import html
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi import FastAPI

from host.web.conftest import CHEAP, PASSWORD, Browser
from host.workshop.heated_shop import EARLY, QUAY, TYPE, heated_shop
from proofbath.bench.clock import utc_text
from proofbath.certificate.keys import trusted_fingerprints
from proofbath.certificate.verify import Outcome, verify
from proofbath.scenario.workshop import CERTIFIER, OPERATOR, calibrate_elements
from proofbath.store.access import Access, Credential
from proofbath.virtual.truth import rising_c
from proofbath.web.app import make_app
from proofbath.web.live_hub import hub_in
from proofbath.web.night_look import plan_in
from proofbath.web.password import Passwords
from proofbath.workshop.serve_settings import ServeSettings
from proofbath.workshop.shop import Shop

BATCH, OTHER = "ferry 12", "H103-0211"
PATIENCE_S = 300.0


class Walk:
    """Two browsers of one workshop: who works and who certifies; and the batch's page."""

    def __init__(self, app: FastAPI, shop: Shop, runner: asyncio.Runner) -> None:
        self.app, self.shop = app, shop
        self.hands, self.certifier = Browser(app, runner), Browser(app, runner)
        for browser, name in ((self.hands, OPERATOR), (self.certifier, CERTIFIER)):
            assert browser.sign_in(name).status_code == 303
        self.batch = ""

    def take_in(self, serials: list[str]) -> None:
        form = {"name": BATCH, "type_name": TYPE, "customer": "River Ferry Ltd"}
        opened = self.hands.post("/batches", {**form, "address": "Pier 2"})
        self.batch = opened.headers["location"].partition("?")[0]
        for serial in serials:
            taken = {"serial": serial, "new": "true", "all_good": "true", "heater_ohm": "15.0"}
            answer = self.hands.post(f"{self.batch}/intake", taken)
            assert answer.status_code == 303, answer.text

    def run_night(self, stage: str, fault: str = "") -> None:
        """Follow the batch's link to its next night, and start it by the form."""
        page = html.unescape(self.hands.get(self.batch).text)
        link = re.search(rf'href="(/night\?[^"]*stage={stage})"', page)
        assert link, f"the batch does not offer its {stage} night"
        planned = self.hands.get(link[1]).text
        assert "Nothing of this night could be certified" not in planned
        plan = re.search(r'name="plan" value="([^"]*)"', planned)
        assert plan
        night = plan_in(html.unescape(plan[1]))
        assert night.then == ["currents-at-one-bath", "openings-at-currents"]
        form = {"bench": QUAY, "plan": html.unescape(plan[1]), "cautions_read": "true"}
        if fault:
            refused = self.hands.post("/night/start", form)
            assert (refused.status_code, fault in refused.text) == (422, True)
        started = self.hands.post("/night/start", form | {"clear_trip": "true"})
        assert started.status_code == 303, started.text
        launcher = hub_in(self.app.state).launcher
        launcher._starts[QUAY].process.wait(PATIENCE_S)  # type: ignore[union-attr]
        last = launcher.last(QUAY)
        assert last is not None
        assert (last.state, last.lines) == ("done", ())
        assert BATCH in self.hands.get("/").text, "the start page tells of last night"

    def form(self, serial: str, filled: str) -> dict[str, str]:
        """Return the form of a rework as the page fills it for a unit: `fill`, or `correct`."""
        page = self.hands.get(f"{self.batch}/rework", params={filled: serial}).text
        form = page[page.index('<h2 id="done-title">') :].split("</form>")[0]
        fields = re.findall(r'<input id="(\w+)" [^>]*value="([^"]*)"', form)
        told = {name: html.unescape(value) for name, value in fields if value}
        return told | {"serial": serial, "kind": "element"}

    def unpowered_c(self, serial: str) -> list[float]:
        """Return the unpowered starts on a unit's page, the first measured first."""
        page = html.unescape(re.sub(r"\s+", " ", self.hands.get(f"/units/{serial}").text))
        shown = re.findall(r"<dt>Start-to-open, unpowered</dt><dd>([0-9.]+)", page)
        return [float(value) for value in shown]


@contextmanager
def walk(folder: Path) -> Iterator[Walk]:
    with heated_shop(folder, utc_text()) as made, asyncio.Runner() as runner:
        calibrate_elements(made.shop, made.bench, made.stamp)
        settings = ServeSettings(code_on_virtual_benches=False)
        file = made.shop.file.model_copy(update={"serve": settings})
        shop = replace(made.shop, file=file)
        hashed = Passwords(CHEAP).hash(PASSWORD)
        with closing(Access(shop.records.place)) as access:
            for name in (OPERATOR, CERTIFIER):
                access.set_password(
                    Credential(shop.person(name).root, hashed, False, made.stamp.at)
                )
        app = make_app(shop, Passwords(CHEAP), utc_text)
        hub_in(app.state).launcher.patience_s = PATIENCE_S
        with closing(app.state.frame.access):
            walked = Walk(app, shop, runner)
            yield walked
            for browser in (walked.hands, walked.certifier):
                runner.run(browser.client.aclose())


def true_c(walked: Walk, serial: str) -> float:
    """Return where a unit opens without power, in the plant's closed form."""
    virtual = walked.shop.bench(QUAY).virtual
    assert virtual is not None
    opens_c = rising_c(next(unit for unit in virtual.unit if unit.serial == serial), 0.1)
    assert opens_c is not None
    return opens_c


def check_unit_page(walked: Walk, serial: str, runs: list[int]) -> None:
    """Look at the table and both pictures of every run, the newest first."""
    page = walked.hands.get(f"/units/{serial}").text
    section = page[page.index('id="heated-title"') :]
    section = section[: section.index("</section>")]
    headed = [int(run) for run in re.findall(r"<h3>[^<]*, run (\d+)</h3>", section)]
    assert headed == runs
    assert section.count("<table>") == len(runs)
    for run in runs:
        for shape in ("lifts", "openings"):
            path = f"/units/{serial}/runs/{run}/{shape}.svg"
            assert f'src="{path}"' in section
            assert ET.fromstring(walked.hands.get(path).content).tag.endswith("svg")
    assert walked.hands.get(f"/units/{serial}/runs/{runs[0]}/sideways.svg").status_code == 422


def test_a_heated_batch_is_walked_by_the_pages_to_its_certificates(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    with walk(tmp_path / "shop") as walked:
        walked.take_in([EARLY, OTHER])
        walked.run_night("as-found", fault="nothing heats by itself")
        (found_c,) = walked.unpowered_c(EARLY)
        assert found_c == pytest.approx(true_c(walked, EARLY), abs=0.5)
        check_unit_page(walked, EARLY, [2])
        done = walked.form(EARLY, "fill")
        assert float(done["mass_out_mg"]) > 0, "it opens early: wax is to be taken out"
        answer = walked.hands.post(f"{walked.batch}/rework", done)
        assert answer.headers["location"].endswith("said=reworked"), answer.text
        page = html.unescape(walked.hands.get(f"{walked.batch}/rework").text)
        assert "its heater's insulation was not measured since" in page
        dry = {"insulation_mohm": "200", "correction": "measured cold and dry"}
        answer = walked.hands.post(f"{walked.batch}/rework", walked.form(EARLY, "correct") | dry)
        assert answer.headers["location"].endswith("said=corrected"), answer.text
        walked.run_night("as-left")
        before_c, left_c = walked.unpowered_c(EARLY)
        assert before_c == found_c
        assert left_c == pytest.approx(true_c(walked, EARLY), abs=0.6)
        assert left_c - found_c > 2.0, "the wax taken out made it open hotter"
        check_unit_page(walked, EARLY, [3, 2])
        certified = walked.certifier.post(f"{walked.batch}/certify")
        assert certified.headers["location"].endswith("said=certified")
        told = walked.certifier.get("/api/certificates").json()
        assert {line["serial"] for line in told} == {EARLY, OTHER}
        trusted = trusted_fingerprints(walked.shop.keys)
        for line in told:
            page = walked.hands.get(f"/batches/certificates/{line['number']}").text
            assert f"/batches/documents/{line['number']}.pdf" in page
            file = walked.hands.get(f"/batches/documents/{line['number']}.pdf")
            assert verify(file.content, trusted).outcome is Outcome.GENUINE
