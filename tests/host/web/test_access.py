"""Signing in and out, sessions and passwords, seen through the pages and the API."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import pytest
from argon2 import Parameters, PasswordHasher, Type, extract_parameters
from fastapi import FastAPI

from host.web.conftest import PASSWORD, Browser, WallClock
from proofbath.store.kinds import Action
from proofbath.web.limits import FREE_FOR_ADDRESS, FREE_FOR_NAME, SignInDelays
from proofbath.web.password import LONGEST, SHORTEST, Passwords
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]
NEW = "slack water at four"
HOUR_S = 3600.0


def test_a_page_leads_a_stranger_to_sign_in_and_back(open_browser: Open) -> None:
    browser = open_browser()
    led = browser.get("/settings?x=1")
    assert (led.status_code, led.headers["location"]) == (303, "/sign-in?next=/settings%3Fx%3D1")
    assert browser.get("/api/session").status_code == 401
    form = {"name": "viewer", "password": PASSWORD, "next": "/settings"}
    back = browser.post("/sign-in", form)
    assert (back.status_code, back.headers["location"]) == (303, "/settings")
    assert browser.get("/settings").status_code == 200


@pytest.mark.parametrize(
    "elsewhere",
    ["https://evil.example/", "//evil.example", "/\\evil.example", "javascript:alert(1)", "\t//e"],
)
def test_signing_in_never_leads_to_another_site(open_browser: Open, elsewhere: str) -> None:
    form = {"name": "viewer", "password": PASSWORD, "next": elsewhere}
    assert open_browser().post("/sign-in", form).headers["location"] == "/"


def test_the_cookie_is_kept_from_scripts_and_other_sites(open_browser: Open) -> None:
    given = open_browser().sign_in("viewer").headers["set-cookie"].lower()
    assert {"httponly", "samesite=strict", "path=/"} <= {part.strip() for part in given.split(";")}


def test_wrong_passwords_and_unknown_names_are_told_alike(open_browser: Open) -> None:
    browser = open_browser()
    for name in ("viewer", "nemo"):
        told = browser.send("POST", "/api/session", {"name": name, "password": "not the one"})
        assert (told.status_code, told.json()) == (401, {"faults": ["name or password is wrong"]})


def test_a_password_is_hashed_as_dearly_for_nobody_as_for_somebody() -> None:
    class Counting(PasswordHasher):
        def verify(self, hash: str | bytes, password: str | bytes) -> Literal[True]:
            spent.append(extract_parameters(str(hash)))
            return super().verify(hash, password)

    spent: list[Parameters] = []
    passwords = Passwords(Counting(time_cost=1, memory_cost=8, parallelism=1))
    kept = passwords.hash(PASSWORD)
    assert passwords.fits(kept, PASSWORD)
    assert not passwords.fits(kept, "another one")
    assert not passwords.fits(None, "the hash that unknown names are checked against")
    assert len(spent) == 3
    assert len({*map(str, spent)}) == 1


def test_by_default_a_hash_costs_what_the_standard_advises() -> None:
    cost = extract_parameters(Passwords().hash(PASSWORD))
    # RFC 9106, section 4, second recommended option: t = 3, m = 64 MiB, p = 4, 16 byte salt
    assert (cost.type, cost.time_cost, cost.memory_cost) == (Type.ID, 3, 64 * 1024)
    assert (cost.parallelism, cost.salt_len, cost.hash_len) == (4, 16, 32)


def test_a_session_ends_without_use_and_after_its_longest_time(
    open_browser: Open, clock: WallClock
) -> None:
    idle, used = open_browser("viewer"), open_browser("viewer")
    for hour in range(1, 7 * 24 + 2):
        clock.now_s = hour * HOUR_S
        alive = used.get("/api/session").status_code
        assert alive == (200 if hour <= 7 * 24 else 401), hour
        if hour == 13:
            assert idle.get("/api/session").status_code == 401


def test_a_token_is_worthless_after_signing_out(open_browser: Open) -> None:
    browser, thief = open_browser("viewer"), open_browser()
    thief.client.cookies.update(browser.client.cookies)
    assert thief.get("/api/session").status_code == 200
    assert browser.post("/sign-out").headers["location"] == "/sign-in"
    assert thief.get("/api/session").status_code == 401


def test_a_new_password_ends_all_other_sessions(open_browser: Open) -> None:
    browser, other = open_browser("operator"), open_browser("operator")
    refused = browser.post("/settings/password", {"old": "guessed wrong", "new": NEW})
    assert refused.status_code == 422
    assert "present password is another" in refused.text
    old_token = browser.token
    assert browser.post("/settings/password", {"old": PASSWORD, "new": NEW}).status_code == 303
    assert other.get("/api/session").status_code == 401
    browser.token = browser.page_token()
    assert browser.token != old_token
    assert open_browser().sign_in("operator").status_code == 401
    assert open_browser().sign_in("operator", NEW).status_code == 303


@pytest.mark.parametrize("length", [SHORTEST - 1, LONGEST + 1])
def test_a_password_has_only_a_shortest_and_a_longest_length(
    open_browser: Open, length: int
) -> None:
    browser = open_browser("operator")
    wanted = {"old": PASSWORD, "new": "x" * length}
    assert browser.send("PUT", "/api/password", wanted).status_code == 422
    wanted["new"] = "x" * min(max(length, SHORTEST), LONGEST)
    answer = browser.send("PUT", "/api/password", wanted)
    assert answer.status_code == 200
    browser.token = answer.json()["token"]
    assert browser.send("DELETE", "/api/session").status_code == 204


def test_a_first_password_opens_nothing_until_it_is_changed(open_browser: Open) -> None:
    administrator = open_browser("administrator")
    person = {"name": "Ines Brandt", "password": NEW, "rights": ["viewer", "operator"]}
    assert administrator.post("/settings/people", person).status_code == 303
    browser = open_browser()
    assert browser.sign_in("Ines Brandt", NEW).status_code == 303
    assert browser.get("/api/session").json()["change_password"] is True
    assert browser.get("/settings/record").headers["location"] == "/settings"
    assert "change it, then the pages open" in browser.get("/settings").text
    refused = browser.get("/api/openapi.json")
    assert refused.status_code == 403
    assert "change it in Settings" in refused.json()["faults"][0]
    same = browser.send("PUT", "/api/password", {"old": NEW, "new": NEW})
    assert same.status_code == 422
    assert browser.send("PUT", "/api/password", {"old": NEW, "new": PASSWORD}).status_code == 200
    assert browser.get("/api/openapi.json").status_code == 200


def test_guessing_is_slowed_down_for_a_name_wherever_it_comes_from(
    open_browser: Open, clock: WallClock, shop: Shop
) -> None:
    for number in range(FREE_FOR_NAME):
        guess = open_browser(address=f"10.0.0.{number}").sign_in("viewer", f"guess number {number}")
        assert guess.status_code == 401
    slowed = open_browser().sign_in("viewer")
    assert (slowed.status_code, slowed.headers["retry-after"]) == (429, "1")
    assert "wait 1 s" in slowed.text
    notes = [kept.entry for kept in shop.records.current(Action, what="wrong passwords")]
    assert [note.detail for note in notes] == ["viewer, from 10.0.0.4"]
    clock.now_s += 1.0
    assert open_browser().sign_in("viewer").status_code == 303


def test_waits_grow_twofold_to_a_longest_and_are_forgotten(clock: WallClock) -> None:
    delays, waits = SignInDelays(clock.monotonic_s), []
    for _ in range(FREE_FOR_NAME):
        assert delays.begin("viewer", "a") == 0.0
    for _ in range(12):
        waits.append(delays.begin("viewer", "a"))
        clock.now_s += waits[-1]
        assert delays.begin("viewer", "a") == 0.0
    assert waits == [1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300, 300]
    clock.now_s += HOUR_S + 1
    assert delays.begin("viewer", "a") == 0.0
    assert delays.begin("viewer", "a") == 0.0


def test_one_address_cannot_try_one_password_on_all_names(clock: WallClock) -> None:
    delays = SignInDelays(clock.monotonic_s)
    for number in range(FREE_FOR_ADDRESS):
        assert delays.begin(f"person {number}", "10.0.0.9") == 0.0
    assert delays.begin("one more", "10.0.0.9") == 1.0
    assert delays.begin("one more", "10.0.0.10") == 0.0


def test_who_was_taken_out_is_out_at_once(open_browser: Open) -> None:
    administrator, browser = open_browser("administrator"), open_browser("operator")
    people = administrator.get("/api/people").json()
    number = next(person["number"] for person in people if person["name"] == "operator")
    gone = {"rights": ["operator"], "active": False}
    assert administrator.send("PUT", f"/api/people/{number}/rights", gone).status_code == 204
    assert browser.get("/api/session").status_code == 401
    assert open_browser().sign_in("operator").status_code == 401


def test_an_administrator_always_remains(open_browser: Open) -> None:
    browser = open_browser("administrator")
    for to in ({"rights": ["viewer"]}, {"rights": ["administrator"], "active": False}):
        refused = browser.send("PUT", "/api/people/1/rights", to)
        assert refused.status_code == 422
        assert "no administrator would be left" in refused.json()["faults"][0]


def test_an_administrator_ends_sessions_and_gives_first_passwords(open_browser: Open) -> None:
    administrator, browser = open_browser("administrator"), open_browser("viewer")
    assert administrator.post("/settings/people/2/sessions").status_code == 303
    assert browser.get("/api/session").status_code == 401
    assert administrator.post("/settings/people/2/password", {"password": NEW}).status_code == 303
    assert open_browser().sign_in("viewer").status_code == 401
    assert open_browser().sign_in("viewer", NEW).status_code == 303
    assert administrator.post("/settings/people/99/sessions").status_code == 422


def test_every_change_is_on_record_with_who_made_it(open_browser: Open) -> None:
    administrator = open_browser("administrator")
    administrator.post("/settings/people/2/rights", {"rights": ["operator"], "active": "true"})
    open_browser("certifier").post("/sign-out")
    rows = administrator.get("/api/record").json()
    told = {(row["by"], row["words"], row["reason"]) for row in rows}
    assert ("certifier", "signed out", "") in told
    assert ("certifier", "signed in: from 10.0.0.7", "") in told
    changed = ("administrator", "name viewer, rights operator, active yes")
    assert (*changed, "rights changed in Settings") in told
    page = administrator.get(f"/settings/record?before={rows[1]['number']}").text
    assert "signed in: from 10.0.0.7" in page
    assert "signed out" not in page


def test_a_change_whose_handler_records_nothing_is_recorded_all_the_same(
    app: FastAPI, open_browser: Open, shop: Shop
) -> None:
    app.add_api_route("/api/quiet", lambda: None, methods=["POST"])
    browser = open_browser("operator")
    assert browser.send("POST", "/api/quiet").status_code == 200
    assert browser.get("/api/health").json() == {"state": "serving"}
    last = shop.records.current(Action)[-1]
    assert (last.entry.what, last.by) == ("POST /api/quiet", shop.person("operator").root)


def test_the_description_lists_the_api_for_whom_is_signed_in(open_browser: Open) -> None:
    assert open_browser().get("/api/openapi.json").status_code == 401
    described = open_browser("viewer").get("/api/openapi.json").json()
    paths = described["paths"]
    assert {"/api/session", "/api/people"} <= {*paths}
    assert all(path.startswith("/api/") for path in paths)
    refused = paths["/api/session"]["get"]["responses"]["4XX"]["content"]["application/json"]
    assert refused["schema"] == {"$ref": "#/components/schemas/Faults"}
    assert "HTTPValidationError" not in described["components"]["schemas"]
