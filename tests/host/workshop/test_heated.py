"""A heated batch from intake over rework to certificate, by the functions that verbs call.

Its units open above what the bath may reach: they are driven by their heaters and judged without
power and at set currents; the reference unit beside them is a plain one. The true answers are the
plant's closed forms.
"""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from host.workshop.heated_shop import (
    EARLY,
    LIFTS,
    OPENS,
    QUAY,
    TYPE,
    UNPOWERED,
    HeatedShop,
    heated_shop,
)
from proofbath.proof.decision import Outcome
from proofbath.run.plan import Stage
from proofbath.scenario.story import GOOD
from proofbath.scenario.workshop import CERTIFIER, OPERATOR, calibrate_elements
from proofbath.store.kinds import Unit
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.truth import Power, lift_mm, rising_c
from proofbath.workshop.advice import advice_for, leads_on
from proofbath.workshop.intake import add_unit, open_batch, take_in
from proofbath.workshop.judging import Judged, judge_batch
from proofbath.workshop.nights import certify_blocks, shop_night
from proofbath.workshop.papers import Certified, certify
from proofbath.workshop.planning import plan_night
from proofbath.workshop.reworking import put_rework

AT, ON, LATER = "2025-10-01T05:00:00+00:00", dt.date(2025, 10, 1), "2025-10-03T05:00:00+00:00"
BATCH = "ferry 12"
LUCK = 1.5
"""k = 2 covers 95 of 100; three standard uncertainties all of a few values but for luck."""


def taken_in(made: HeatedShop) -> None:
    open_batch(
        made.shop,
        BATCH,
        "River Ferry Ltd",
        address=["Pier 2"],
        contact="",
        received=ON,
        type_name=TYPE,
        stamp=made.stamp,
    )
    for unit in made.units:
        add_unit(made.shop, Unit(serial=unit.serial, unit_type=TYPE), made.stamp)
        take_in(
            made.shop,
            BATCH,
            unit.serial,
            cause="rework",
            findings=GOOD,
            accepted=True,
            remark="gets a new seal",
            stamp=made.stamp,
        )


def night(made: HeatedShop, stage: Stage, at: str, folder: Path) -> dict[str, Judged]:
    """Run a stage's night as planned from the batch, and return its units judged."""
    plan = plan_night(made.shop, BATCH, stage, QUAY)
    assert (plan.profile, plan.then) == (
        f"heater-assisted-{stage}",
        ["currents-at-one-bath", "openings-at-currents"],
    ), "what the type's limits at set currents ask for runs behind the usual profile"
    done = shop_night(made.shop, plan, QUAY, OPERATOR, at, clear=True, folder=folder)
    assert done.outcome.status == "done", done.outcome.reason
    judged = judge_batch(made.shop, BATCH, dt.date.fromisoformat(at[:10]))
    return {one.story.unit.entry.serial: one for one in judged}


def reworked(made: HeatedShop) -> None:
    """Put the advised change of the early unit on record: the virtual unit is changed by it."""
    advised = {one.serial: one for one in advice_for(made.shop.records, BATCH)}
    assert {serial for serial, one in advised.items() if leads_on(one)} == {EARLY}
    act = advised[EARLY].to_do
    assert act is not None
    before = made.hung(EARLY)
    stamp = made.shop.stamp(OPERATOR, "2025-10-02T09:00:00+00:00")
    put_rework(
        made.shop,
        BATCH,
        EARLY,
        date=stamp.day,
        kind="element",
        text="wax as advised",
        act=act.model_copy(update={"insulation_mohm": 250.0}),
        stamp=stamp,
    )
    after = made.hung(EARLY)
    was_c, is_c = rising_c(before, 0.1), rising_c(after, 0.1)
    assert was_c is not None
    assert is_c is not None
    assert act.mass_in_mg < act.mass_out_mg
    assert 0 < is_c - was_c, "less wax opens it hotter"


def check_against_plant(unit: VirtualUnit, judged: Judged) -> None:
    """Compare what was judged with the closed form of the very unit that hung there."""
    assert judged.verdict is not None
    true = {
        UNPOWERED: rising_c(unit, 0.1),
        OPENS.quantity: rising_c(unit, 0.1, Power(a=0.8)),
        LIFTS.quantity: lift_mm(unit, 94.0, Power(a=0.9)),
    }
    found = {one.limit.quantity: one.measured for one in judged.verdict.decisions}
    assert set(found) == set(true)
    for name, quantity in found.items():
        assert quantity is not None, name
        if quantity.value is None:  # it stood ajar when the current came on: told, not judged
            assert "open before the current" in (quantity.reason or "")
            assert unit.serial == EARLY
            continue
        within = LUCK * (quantity.expanded_uncertainty or 0.0)
        assert quantity.value == pytest.approx(true[name], abs=within), (unit.serial, name)


def check_document(one: Certified, judged: Judged) -> dict[str, Any]:
    """Compare a certificate's content and its words with what was judged; return the content."""
    assert one.pdf is not None
    assert judged.verdict is not None
    told: dict[str, Any] = json.loads(one.pdf.with_suffix(".json").read_text())["document"]
    words = " ".join(page.extract_text() for page in PdfReader(one.pdf).pages)
    stated = {result["quantity"]: result for result in told["results"]}
    for decision in judged.verdict.decisions:
        assert decision.measured is not None
        result, limit = stated[decision.limit.quantity], decision.limit
        assert result["value"] == decision.measured.value
        assert result["expanded_uncertainty"] == decision.measured.expanded_uncertainty
        assert result["judgement"]["outcome"] == "pass"
        assert result["element_a"] == pytest.approx(limit.element_a, abs=0.005)
        assert f"± {result['expanded_uncertainty']:.2f}" in words
    for phrase in ("heater 0.90 A, within 240 s, bath 94.0 °C", "heater 0.80 A", "≥ 4", "≤ 91"):
        assert phrase in " ".join(words.split())
    for axis in ("time since the current came on / s", "bath at start-to-open / °C", "current / A"):
        assert axis in words
    assert "Full lift" not in words, "the bath alone does not open it wide"
    return told


def check_pictures(told: dict[str, Any], reckoned: bool) -> None:
    """Compare what the two pictures show with the results beside them."""
    shown = told["at_currents"]
    stated = {result["quantity"]: result for result in told["results"]}
    (lift,) = shown["lifts"]
    assert (round(lift["element_a"], 2), round(lift["bath_c"], 1)) == (0.9, 94.0)
    assert lift["lift_mm"][-1] == pytest.approx(stated["lift_after_mm"]["value"], abs=0.05)
    met = {at["met"]: at for at in shown["openings"]}
    how = "extrapolated" if reckoned else "measured"
    none = met[f"without power, {how}"]
    assert none["bath_c"] == pytest.approx(stated[UNPOWERED]["value"], abs=1e-3)
    assert met["at a set current"]["element_a"] == pytest.approx(0.8, abs=0.005)
    band = shown["band"]
    assert band["element_a"][0] == 0.0
    low_c, high_c = (band["bath_c"][0] + sign * band["half_k"][0] for sign in (-1, 1))
    assert low_c < none["bath_c"] < high_c


def test_a_heated_batch_goes_from_intake_over_rework_to_certificates(tmp_path: Path) -> None:
    with heated_shop(tmp_path, AT) as made:
        taken_in(made)
        plan = plan_night(made.shop, BATCH, "as-found", QUAY)
        missing = certify_blocks(made.shop, plan, made.bench, ON)
        assert [line.split(":")[0] for line in missing] == [
            f"element of station {unit.station}" for unit in made.units
        ]
        calibrate_elements(made.shop, made.bench, made.stamp)
        assert certify_blocks(made.shop, plan, made.bench, ON) == []
        found = night(made, "as-found", AT, tmp_path)
        for unit in made.units:
            check_against_plant(unit, found[unit.serial])
        outcomes = {serial: one.verdict and one.verdict.outcome for serial, one in found.items()}
        failed = [serial for serial, outcome in outcomes.items() if outcome is Outcome.FAIL]
        assert failed == [EARLY]
        reworked(made)
        left = night(made, "as-left", LATER, tmp_path)
        check_against_plant(made.hung(EARLY), left[EARLY])
        issued = {
            one.serial: one for one in certify(made.shop, BATCH, made.shop.stamp(CERTIFIER, LATER))
        }
    assert {serial for serial, one in issued.items() if one.number} == set(issued)
    told = check_document(issued[EARLY], left[EARLY])
    check_pictures(told, reckoned=True)
    assert [stage["stage"] for stage in told["history"]] == ["as-found", "rework", "as-left"]
    assert "Element channel, station 4" in json.dumps(told["calibrations"])
    met_on_the_way = check_document(issued["H103-0207"], left["H103-0207"])
    check_pictures(met_on_the_way, reckoned=False)
