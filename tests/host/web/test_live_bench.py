"""The Bench page: its acts reach the run, only the holder's, but anybody's stop."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from fastapi import FastAPI

from host.web.conftest import CHEAP, PASSWORD, Browser, WallClock
from host.web.live_journal import LiveJournal
from host.web.live_shop import with_quay
from proofbath.bench.connect import control_path
from proofbath.bench.control_socket import ControlSocket
from proofbath.run.acts import Act, Finish, Pause, Resume, Stop
from proofbath.store.access import Access, Credential
from proofbath.store.kinds import Action, Person
from proofbath.store.records import Stamp
from proofbath.web.password import Passwords
from proofbath.wire.table import Input, State, TripReason
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]


@pytest.fixture
def shop(shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shop:
    """Return the workshop with the bench "quay" and a second operator; sockets are its own."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    at = "2026-02-28T08:00:00+00:00"
    number = shop.records.add(Person(name="second", rights=("operator",)), Stamp(at, 1))
    with closing(Access(shop.records.place)) as access:
        access.set_password(Credential(number, Passwords(CHEAP).hash(PASSWORD), False, at))
    return with_quay(shop)


@pytest.fixture
def acts(shop: Shop) -> Iterator[deque[Act]]:
    """Return what reaches the run of "quay"."""
    reached: deque[Act] = deque()
    with closing(ControlSocket(control_path(shop.bench("quay")), reached, lambda: "{}")):
        yield reached


def took(browser: Browser) -> Browser:
    assert browser.post("/bench/holder/take", {"bench": "quay"}).status_code == 303
    return browser


def done(shop: Shop) -> list[str]:
    """Return what is on record as done, the signing in aside."""
    return [k.entry.what for k in shop.records.current(Action) if k.entry.what != "signed in"]


@pytest.mark.parametrize("person", ["viewer", "operator", "certifier", "administrator"])
@pytest.mark.parametrize("form", [{}, {"bench": "quay"}])
def test_anybody_signed_in_stops_with_one_touch(
    open_browser: Open, shop: Shop, acts: deque[Act], person: str, form: dict[str, str]
) -> None:
    answer = open_browser(person).post("/bench/stop", form)
    assert answer.status_code == 303
    assert [*acts] == [Stop(f"by {person} from the page")]
    assert "stop of bench quay" in done(shop)


def test_nobody_stops_without_a_sign_in_or_from_another_site(
    open_browser: Open, acts: deque[Act]
) -> None:
    assert open_browser().post("/bench/stop").status_code == 401
    signed = open_browser("viewer")
    elsewhere = {"Origin": "http://evil.example"}
    assert signed.post("/bench/stop", headers=elsewhere).status_code == 403
    signed.token = "0" * 64
    assert signed.post("/bench/stop").status_code == 403
    assert not acts


def test_a_stop_without_a_run_says_that_there_was_none(open_browser: Open) -> None:
    browser = open_browser("viewer")
    answer = browser.post("/bench/stop")
    assert "said=none" in answer.headers["location"]
    assert "nothing to stop" in browser.get(answer.headers["location"]).text


def test_a_bench_that_is_unknown_is_refused(open_browser: Open) -> None:
    answer = open_browser("viewer").post("/bench/stop", {"bench": "slipway"})
    assert answer.status_code == 422
    assert "not in the workshop" in answer.text


def test_the_holder_pauses_resumes_and_finishes(open_browser: Open, acts: deque[Act]) -> None:
    browser = took(open_browser("operator"))
    for word in ("pause", "resume", "finish"):
        assert browser.post(f"/bench/{word}", {"bench": "quay"}).status_code == 303
    assert [*acts] == [Pause(), Resume(), Finish()]


def test_two_people_cannot_fight_over_the_bench(
    open_browser: Open, shop: Shop, acts: deque[Act], clock: WallClock
) -> None:
    first, second = took(open_browser("operator")), open_browser("second")
    assert second.post("/bench/pause", {"bench": "quay"}).status_code == 422
    refused = second.post("/bench/holder/take", {"bench": "quay"})
    assert refused.status_code == 422
    assert "held by operator" in refused.text
    handed = first.post("/bench/holder/hand-over", {"bench": "quay", "to": "second"})
    assert handed.status_code == 303
    assert first.post("/bench/pause", {"bench": "quay"}).status_code == 422
    assert second.post("/bench/pause", {"bench": "quay"}).status_code == 303
    assert [*acts] == [Pause()]
    clock.now_s += 900.0
    assert first.post("/bench/holder/take", {"bench": "quay"}).status_code == 303
    assert done(shop)[-4:] == [
        "operator takes the bench",
        "operator hands the bench over to second",
        "pause of the run on bench quay",
        "operator takes the bench from second, idle for 15 min",
    ]


def test_a_bench_is_handed_to_operators_only(open_browser: Open) -> None:
    browser = took(open_browser("operator"))
    for name in ("viewer", "nobody", "somebody else"):
        answer = browser.post("/bench/holder/hand-over", {"bench": "quay", "to": name})
        assert answer.status_code == 422


def test_an_administrator_frees_a_bench_but_heats_nothing(
    open_browser: Open, acts: deque[Act]
) -> None:
    took(open_browser("operator"))
    administrator = took(open_browser("administrator"))
    assert administrator.post("/bench/pause", {"bench": "quay"}).status_code == 403
    assert administrator.post("/bench/holder/leave", {"bench": "quay"}).status_code == 303
    assert not acts


def test_viewers_neither_hold_nor_act(open_browser: Open, acts: deque[Act]) -> None:
    browser = open_browser("viewer")
    for path in ("holder/take", "holder/leave", "pause", "resume", "finish", "start/forget"):
        assert browser.post(f"/bench/{path}", {"bench": "quay"}).status_code == 403
    assert "Take the bench" not in browser.get("/bench").text
    assert not acts


def test_the_page_says_what_is_true_without_any_script(
    app: FastAPI, open_browser: Open, shop: Shop
) -> None:
    assert isinstance(shop.records.place, Path)
    with closing(LiveJournal(shop.records.place)) as quay:
        quay.begin()
        quay.commit(state=State.TRIPPED, trip_reason=TripReason.EMERGENCY_STOP, inputs=Input(16))
        quay.writer.close(1.0, "tripped", "controller tripped: emergency_stop")
        text = open_browser("viewer").get("/bench").text
    assert "the emergency stop was pressed" in text
    assert "What to do: ask who pressed it" in text
    assert "tripped: controller tripped" in text
    assert "It does not replace the emergency-stop button" in text


def test_a_workshop_without_a_bench_says_so(open_browser: Open, shop: Shop, app: FastAPI) -> None:
    bare = with_quay(shop).file.model_copy(update={"bench": ()})
    object.__setattr__(app.state.frame.shop, "file", bare)
    for path in ("/bench", "/night"):
        answer = open_browser("viewer").get(path)
        assert answer.status_code == 200
        assert "no bench yet" in answer.text
