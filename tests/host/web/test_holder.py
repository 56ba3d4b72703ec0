"""One holder a bench: who may take it, hand it over, and act at it."""

from __future__ import annotations

import pytest

from proofbath.errors import InputError
from proofbath.web.holder import IDLE_S, Begun, Holders


def held_by_ana() -> Holders:
    holders = Holders()
    assert holders.take("quay", "Ana", 100.0) == "Ana takes the bench"
    return holders


def test_nobody_acts_at_a_bench_that_is_not_theirs() -> None:
    holders = held_by_ana()
    holders.check("quay", "Ana", 101.0)
    with pytest.raises(InputError, match="held by Ana; ask Ana"):
        holders.check("quay", "Ben", 101.0)
    with pytest.raises(InputError, match="nobody holds it"):
        holders.check("slipway", "Ana", 101.0)


def test_two_people_cannot_hold_one_bench() -> None:
    holders = held_by_ana()
    with pytest.raises(InputError, match=r"held by Ana, last active 10 min ago"):
        holders.take("quay", "Ben", 700.0)
    hold = holders.of("quay", 800.0)
    assert hold is not None
    assert hold.person == "Ana"
    assert holders.take("slipway", "Ben", 700.0)


def test_a_bench_left_idle_may_be_taken_but_not_one_tick_earlier() -> None:
    holders = held_by_ana()
    holders.check("quay", "Ana", 200.0)
    with pytest.raises(InputError):
        holders.take("quay", "Ben", 200.0 + IDLE_S - 0.1)
    assert "from Ana, idle for 15 min" in holders.take("quay", "Ben", 200.0 + IDLE_S)


def test_an_administrator_takes_it_at_once() -> None:
    holders = held_by_ana()
    assert "as administrator" in holders.take("quay", "Cay", 101.0, administrator=True)


def test_the_holder_hands_it_over_or_leaves_it() -> None:
    holders = held_by_ana()
    with pytest.raises(InputError):
        holders.hand_over("quay", "Ben", "Ben", 101.0)
    assert holders.hand_over("quay", "Ana", "Ben", 101.0) == "Ana hands the bench over to Ben"
    assert holders.let_go("quay", "Ben", 102.0) == "Ben leaves the bench"
    assert holders.of("quay", 800.0) is None


def test_taking_what_is_ones_own_tells_nothing_new() -> None:
    assert held_by_ana().take("quay", "Ana", 500.0) == ""


def test_a_run_under_way_tells_who_holds_its_bench_until_that_person_leaves() -> None:
    """As after the pages were started again, or for a night begun at the keyboard."""
    under_way = [Begun(7, "Ana")]
    holders = Holders(lambda bench: under_way[0] if bench == "quay" else None)
    holders.check("quay", "Ana", 0.0)
    with pytest.raises(InputError, match="held by Ana"):
        holders.take("quay", "Ben", 10.0)
    holders.let_go("quay", "Ana", 20.0)
    assert holders.of("quay", 21.0) is None, "who left it has left it"
    assert holders.take("quay", "Ben", 22.0) == "Ben takes the bench"
    holders.let_go("quay", "Ben", 23.0)
    under_way[0] = Begun(8, "Cay")
    hold = holders.of("quay", 24.0)
    assert hold is not None
    assert hold.person == "Cay"
