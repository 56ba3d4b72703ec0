"""Units judged: decisions on record, each cause that blocks a certificate, what comes next.

Decision rules are checked against their sources in tests/host/proof.
"""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from host.bench.test_in_force import check, probes
from host.workshop.ferry_shop import (
    BATCH,
    GOOD,
    QUAY,
    TEAL_82,
    FerryShop,
    ferry_shop,
)
from host.workshop.test_planning import BUBBLES
from proofbath.bench.in_force import calibration_in_force
from proofbath.bench.recompute import recompute
from proofbath.curve.budget import Contribution
from proofbath.curve.content import ResultContent
from proofbath.curve.result import CurveResult, Warned, known
from proofbath.errors import InputError
from proofbath.proof.decision import Outcome
from proofbath.proof.specification import Limit, Specification
from proofbath.proof.verdict import judge
from proofbath.store.journal import Journal
from proofbath.store.kinds import Batch, Decision, Loading, Result, StationRun, TypeVersion, Unit
from proofbath.workshop.batch_view import batch_view
from proofbath.workshop.charts import put_cause
from proofbath.workshop.findings import results_as_left
from proofbath.workshop.intake import TypeFile, add_unit, put_type, set_reference, take_in
from proofbath.workshop.judging import Judged, agree, decide, fail_unit, judge_batch, judge_unit
from proofbath.workshop.night_findings import night_findings
from proofbath.workshop.planning import plan_night

FORM = "Start-to-open, rising, at 0.1 mm at zero rate"


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        made.calibrate()
        made.batch(["A1"])
        yield made


def judged(ferry: FerryShop, serial: str = "A1", on: dt.date | None = None) -> Judged:
    return judge_unit(ferry.shop, BATCH, serial, on or ferry.day)


def only_refusal(ferry: FerryShop, on: dt.date | None = None) -> str:
    found = judged(ferry, on=on).refusals
    assert len(found) == 1, found
    return found[0]


def changed_loading(ferry: FerryShop, at: str, **fields: object) -> None:
    """Correct what the newest loading of a place says."""
    kept = [k for k in ferry.shop.records.current(Loading) if k.entry.place == at][-1]
    entry = Loading.model_validate(kept.entry.model_dump() | fields)
    ferry.shop.records.correct(kept.root, entry, "written down wrongly", ferry.stamp)


def test_a_good_unit_may_be_certified(ferry: FerryShop) -> None:
    assert judged(ferry).next_step.words == "measure as found"
    ferry.night("as-found", {"A1": 82.2})
    found = judged(ferry)
    assert (found.refusals, found.next_step.words) == ((), "certify")
    assert found.verdict is not None
    assert found.verdict.outcome is Outcome.PASS
    assert found.decision is None
    assert ferry.shop.records.current(Decision) == [], "judging writes nothing"


def test_a_unit_in_a_later_batch_is_judged_there_alone(ferry: FerryShop) -> None:
    """What was measured here says nothing of a unit that another batch may have changed since."""
    ferry.night("as-found", {"A1": 82.2})
    ferry.batch(["A1"], "ferry 13")
    assert only_refusal(ferry) == "taken into ferry 13 since: it is judged there as it is now"
    assert judged(ferry).next_step.words == "go on in ferry 13"
    with pytest.raises(InputError, match="was taken into ferry 13 since; name that batch"):
        ferry.rework("A1")
    with pytest.raises(InputError, match="A1: was taken into ferry 13 since; plan that batch's"):
        plan_night(ferry.shop, BATCH, "as-found", QUAY, serials=["A1"])
    take_in(
        ferry.shop,
        "ferry 13",
        "A1",
        cause="rework",
        findings=GOOD,
        accepted=False,
        remark="taken in by mistake",
        stamp=ferry.stamp,
        reason="another unit",
    )
    assert judged(ferry).refusals == ()


def test_a_night_in_which_all_untouched_units_shifted_bears_no_certificate(
    ferry: FerryShop,
) -> None:
    """Nothing was changed on three units, yet all of them and the reference moved by 0.4 K."""
    for serial in ("A2", "A3"):
        add_unit(ferry.shop, Unit(serial=serial, unit_type="Teal-82"), ferry.stamp)
        take_in(
            ferry.shop,
            BATCH,
            serial,
            cause="rework",
            findings=GOOD,
            accepted=True,
            remark="",
            stamp=ferry.stamp,
        )
    three = ("A1", "A2", "A3")
    ferry.night("as-found", dict.fromkeys(three, 82.0), reference_c=82.1)
    again = dict.fromkeys(three, BUBBLES)
    second = ferry.night("as-found", dict.fromkeys(three, 82.4), reference_c=82.5, retests=again)
    (finding,) = night_findings(ferry.shop.records, second)
    assert (finding.code, "all 4 units" in finding.text) == ("shifted_together", True)
    assert any("all 4 units shifted together, by +0.40 K" in r for r in judged(ferry).refusals)


def test_a_shift_that_a_rework_made_says_nothing_of_the_bench(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 85.0}, reference_c=82.1)
    ferry.rework("A1")
    second = ferry.night("as-left", {"A1": 82.0}, reference_c=82.1)
    assert night_findings(ferry.shop.records, second) == []
    assert judged(ferry).refusals == ()


def test_a_decision_is_written_once_with_every_limit(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 82.2})
    first = decide(ferry.shop, BATCH, ferry.stamp)[0].decision
    assert first is not None
    assert (first.entry.outcome, first.entry.rule) == ("pass", "guard_band_u")
    limit = first.entry.content["limits"][0]
    assert (limit["lower"], limit["upper"], limit["outcome"]) == (80.0, 84.0, "pass")
    assert limit["acceptance_upper"] == pytest.approx(84.0 - limit["expanded_uncertainty"])
    again = decide(ferry.shop, BATCH, ferry.stamp)[0].decision
    assert again == first


def test_a_result_computed_anew_is_decided_anew(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 83.2})
    first = decide(ferry.shop, BATCH, ferry.stamp)[0]
    assert first.result is not None
    ferry.put_calibration(probes(1.9))
    used = calibration_in_force(ferry.shop.records, ferry.shop.bench(QUAY), ferry.day)
    with closing(Journal(ferry.shop.records.place)) as journal:
        root = first.result.root
        recompute(
            ferry.shop.records,
            journal,
            root,
            used=used,
            program="proofbath",
            reason="probes",
            stamp=ferry.stamp,
        )
    second = decide(ferry.shop, BATCH, ferry.stamp)[0]
    assert second.decision is not None
    assert second.verdict is not None
    assert second.verdict.outcome is not Outcome.PASS
    assert second.decision.entry.outcome == second.verdict.outcome
    assert len(ferry.shop.records.current(Decision)) == 2


def test_the_unit_failed(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 86.0})
    assert only_refusal(ferry).startswith(f"{FORM}: fail: ")
    assert judged(ferry).next_step.words.startswith("rework: open it, about ")


def test_a_conditional_pass_needs_the_customers_agreement(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 83.6})
    assert only_refusal(ferry) == "conditional pass: needs the customer's recorded agreement"
    assert judged(ferry).next_step.words.startswith("ask the customer, or rework: open it, ")
    with pytest.raises(InputError, match="say who agreed"):
        agree(ferry.shop, BATCH, "A1", customer="River Ferry", record=" ", stamp=ferry.stamp)
    agree(
        ferry.shop, BATCH, "A1", customer="River Ferry", record="letter of 2 Oct", stamp=ferry.stamp
    )
    found = decide(ferry.shop, BATCH, ferry.stamp)[0]
    assert (found.refusals, found.next_step.words) == ((), "certify")
    assert found.decision is not None
    assert found.decision.entry.agreement_record == "letter of 2 Oct"
    assert found.decision.reason == "River Ferry agreed to the conditional pass"
    history = ferry.shop.records.history(Decision, found.decision.root)
    assert [kept.entry.agreement_customer for kept in history] == ["", "River Ferry"]


def test_an_agreement_does_not_cover_a_result_computed_anew(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 83.6})
    agree(
        ferry.shop, BATCH, "A1", customer="River Ferry", record="letter of 2 Oct", stamp=ferry.stamp
    )
    assert judged(ferry).refusals == ()
    kept = judged(ferry).result
    assert kept is not None
    ferry.shop.records.correct(kept.root, kept.entry, "read again", ferry.stamp)
    assert only_refusal(ferry) == "conditional pass: needs the customer's recorded agreement"
    agree(
        ferry.shop, BATCH, "A1", customer="River Ferry", record="letter of 5 Oct", stamp=ferry.stamp
    )
    assert judged(ferry).refusals == ()


def test_nothing_else_can_be_agreed_to(ferry: FerryShop) -> None:
    with pytest.raises(InputError, match="was not measured as it is now; measure as found"):
        agree(ferry.shop, BATCH, "A1", customer="River Ferry", record="letter", stamp=ferry.stamp)
    ferry.night("as-found", {"A1": 86.0})
    with pytest.raises(InputError, match="came to fail; nothing to agree to"):
        agree(ferry.shop, BATCH, "A1", customer="River Ferry", record="letter", stamp=ferry.stamp)


def test_a_person_fails_a_stuck_unit_for_good(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": None})
    assert only_refusal(ferry).startswith(f"{FORM}: unset: ")
    assert "retest, or fail it" in judged(ferry).next_step.words
    decide(ferry.shop, BATCH, ferry.stamp)
    with pytest.raises(InputError, match="say why"):
        fail_unit(ferry.shop, BATCH, "A1", " ", ferry.stamp)
    fail_unit(ferry.shop, BATCH, "A1", "stuck shut", ferry.stamp)
    found = decide(ferry.shop, BATCH, ferry.stamp)[0]
    assert found.refusals[0] == "failed by Mara Lind: stuck shut"
    assert found.next_step.words == "give it back: it was failed"
    assert found.decision is not None
    assert (found.decision.entry.rule, found.decision.entry.outcome) == ("person", "fail")
    assert len(ferry.shop.records.current(Decision)) == 2


def test_a_person_fails_a_unit_that_its_rework_ruined(ferry: FerryShop) -> None:
    with pytest.raises(InputError, match=r"A1: was not measured in ferry 12; .* or refuse it"):
        fail_unit(ferry.shop, BATCH, "A1", "dropped", ferry.stamp)
    ferry.night("as-found", {"A1": 86.0})
    fail_unit(ferry.shop, BATCH, "A1", "hopeless", ferry.stamp)
    ferry.rework("A1")
    assert judged(ferry).next_step.words == "measure as left", "said before its rework"
    fail_unit(ferry.shop, BATCH, "A1", "stem bent in the press", ferry.stamp)
    assert only_refusal(ferry) == "failed by Mara Lind: stem bent in the press"
    assert judged(ferry).next_step.words == "give it back: it was failed"
    (shown,) = batch_view(ferry.shop, BATCH, ferry.day).units
    assert (shown.outcome, shown.failed) == ("failed by a person", True)
    with pytest.raises(InputError, match="no unit is due as-left"):
        plan_night(ferry.shop, BATCH, "as-left", QUAY)
    with pytest.raises(InputError, match=r"A1: was failed \(stem bent in the press\); give it"):
        plan_night(ferry.shop, BATCH, "as-left", QUAY, serials=["A1"])
    ferry.rework("A1", amount=2.0)
    assert judged(ferry).next_step.words == "measure as left", "a new stem after all"


def test_a_unit_refused_at_intake_is_given_back(ferry: FerryShop) -> None:
    add_unit(ferry.shop, Unit(serial="A2", unit_type="Teal-82"), ferry.stamp)
    take_in(
        ferry.shop,
        BATCH,
        "A2",
        cause="rework",
        findings=GOOD,
        accepted=False,
        remark="frame cracked",
        stamp=ferry.stamp,
    )
    found = judged(ferry, "A2")
    assert found.refusals == ("refused at intake: frame cracked",)
    assert found.next_step.words == "give it back: it was refused at intake"
    assert len(judge_batch(ferry.shop, BATCH, ferry.day)) == 2


def test_as_left_missing(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 86.0})
    ferry.rework("A1")
    assert only_refusal(ferry) == "as-left missing: was reworked and not measured since"
    assert judged(ferry).next_step.words == "measure as left"
    ferry.night("as-left", {"A1": 82.0})
    assert judged(ferry).refusals == ()


def test_as_found_missing(ferry: FerryShop) -> None:
    assert only_refusal(ferry).startswith("as-found missing")
    ferry.night("as-found", {"A1": 86.0})
    changed_loading(ferry, "unit", stage="trial")
    assert only_refusal(ferry).startswith("as-found missing")


def test_calibration_overdue(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 82.2})
    found = judged(ferry, on=dt.date(2026, 10, 2)).refusals
    assert "probes: calibration was due 2026-10-01, today is 2026-10-02; calibrate probe" in found
    assert [line.split(":")[0] for line in found] == [
        "probes",
        "gauge of station 1",
        "blank of station 1",
    ]


def test_calibration_missing_when_it_was_measured(tmp_path: Path) -> None:
    with ferry_shop(tmp_path) as ferry:
        ferry.batch(["A1"])
        ferry.night("as-found", {"A1": 82.2})
        assert judged(ferry).refusals[0] == ("probes: no calibration on record; calibrate probe")
        ferry.calibrate()
        assert judged(ferry).refusals[0] == (
            "when run 1 was made: probes: no calibration on record; calibrate probe"
        )


def test_a_drift_found_later_puts_results_in_doubt(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 82.2})
    ferry.put_calibration(check(0.14))
    assert any("+0.140 K off at the ice point" in line for line in judged(ferry).refusals)
    ferry.pass_days()
    ferry.put_calibration(probes(0.0))
    assert only_refusal(ferry) == (
        "probes: +0.140 K off at the ice point on 2025-10-02, limit 0.1 K, after this was"
        " measured; compute it anew or measure again"
    )


def test_reference_chart_out_of_control(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 82.2})
    for n, opens_c in enumerate((82.0, 82.1, 83.6)):
        ferry.batch([f"B{n}"], f"other {n}")
        bad = ferry.night("as-found", {f"B{n}": 82.0}, f"other {n}", reference_c=opens_c)
    assert only_refusal(ferry).startswith(f"reference unit T82-REF: out of control in run {bad}:")
    put_cause(ferry.shop, bad, "reference", "not stirred", ferry.stamp)
    assert only_refusal(ferry).endswith(f"cause of run {bad} recorded; a good run must follow")
    ferry.batch(["C1"], "last")
    ferry.night("as-found", {"C1": 82.0}, "last")
    assert judged(ferry).refusals == ()
    mine = judge_unit(ferry.shop, "other 2", "B2", ferry.day).refusals
    assert len(mine) == 1
    assert mine[0].startswith(f"reference unit T82-REF: out of control in run {bad}")
    assert mine[0].endswith("measure again"), "what was measured in it stays spoilt"


def test_probe_chart_out_of_control(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 82.2})
    ferry.batch(["B1"], "other")
    bad = ferry.night("as-found", {"B1": 82.0}, "other", apart_k=0.2)
    assert only_refusal(ferry).startswith(f"bath and guard probe: out of control in run {bad}, so")


@pytest.mark.parametrize("released", [True, False])
def test_interlocks_unproven(tmp_path: Path, released: bool) -> None:
    with ferry_shop(tmp_path, port="/dev/ttyS99") as ferry:
        ferry.calibrate()
        ferry.batch(["A1"])
        ferry.night("as-found", {"A1": 82.2}, released=released)
        if released:
            assert judged(ferry).refusals == ()
        else:
            assert only_refusal(ferry).startswith("run 1: interlocks unproven and nobody stayed")


def test_run_not_done(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 82.2}, status="tripped")
    assert only_refusal(ferry) == "run 1: ended tripped, not done; measure again"


def test_no_reference_unit(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 82.2})
    changed_loading(ferry, "reference", place="unit")
    assert only_refusal(ferry) == "run 1: no reference unit was loaded; measure again with one"


def test_wrong_type_of_reference(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 82.2})
    other = add_unit(ferry.shop, Unit(serial="H-REF", unit_type="Heron-103"), ferry.stamp)
    changed_loading(ferry, "reference", unit_id=other)
    assert only_refusal(ferry).startswith("run 1: H-REF hung as reference unit and is none")
    set_reference(ferry.shop, "H-REF", ferry.day, "", ferry.stamp)
    assert only_refusal(ferry).startswith(
        "wrong type of reference unit: H-REF (Heron-103) opens at 10"
    )


def test_reference_without_a_start(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 82.2}, reference_c=None)
    assert only_refusal(ferry).startswith(
        "reference unit T82-REF: gave no start-to-open in run 1: never opened"
    )


def test_bench_not_good_enough(tmp_path: Path) -> None:
    narrow = TEAL_82.specification.limit[0].model_copy(update={"tolerance": 0.5})
    with ferry_shop(tmp_path) as ferry:
        ferry.calibrate()
        specification = TEAL_82.specification.model_copy(update={"version": 2, "limit": (narrow,)})
        file = TypeFile(unit_type=TEAL_82.unit_type, specification=specification)
        put_type(ferry.shop, file, ferry.stamp)
        ferry.batch(["A1"])
        ferry.night("as-found", {"A1": 82.2})
        assert "bench not good enough for this specification" in only_refusal(ferry)
        assert judged(ferry).next_step.words.startswith("measure better")


def test_a_curve_that_is_not_to_be_trusted(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 82.2})
    kept = ferry.shop.records.current(Result)[0]
    noisy = {"code": "gauge_noisy", "text": "the gauge is noisy (0.040 mm)"}
    content = {**kept.entry.content, "warnings": [noisy]}
    entry = kept.entry.model_copy(update={"content": content})
    ferry.shop.records.correct(kept.root, entry, "for the test", ferry.stamp)
    assert only_refusal(ferry) == "gauge_noisy: the gauge is noisy (0.040 mm)"


def test_a_bench_without_a_budget_certifies_nothing(tmp_path: Path) -> None:
    with ferry_shop(tmp_path) as ferry:
        path = tmp_path / "quay.toml"
        path.write_text(path.read_text().partition("[budget]")[0])
        ferry.batch(["A1"])
        ferry.night("as-found", {"A1": 82.2})
        assert any(line.startswith("no_bench_budget: ") for line in judged(ferry).refusals)


def test_a_specification_other_than_the_batchs(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 82.2})
    batch = ferry.shop.records.find(Batch, name=BATCH).entry
    wide = TEAL_82.specification.limit[0].model_copy(update={"tolerance": 3.0})
    entry = TypeVersion.of(
        TEAL_82.unit_type,
        TEAL_82.specification.model_copy(update={"limit": (wide,)}),
        TEAL_82.rework,
    )
    ferry.shop.records.correct(batch.type_version_id, entry, "widened", ferry.stamp)
    assert "differs from the one frozen to the batch" in only_refusal(ferry)


def test_a_journal_that_was_changed(ferry: FerryShop) -> None:
    run_id = ferry.night("as-found", {"A1": 82.2})
    with closing(sqlite3.connect(str(ferry.shop.records.place))) as raw:
        raw.execute("UPDATE event SET text = 'x' WHERE kind = 'attended'")
        raw.commit()
    assert f"run {run_id} was changed after it was written" in only_refusal(ferry)


def test_a_run_gone_on_with_is_kept_again_by_deciding(ferry: FerryShop) -> None:
    run_id = ferry.night("as-found", {"A1": 82.2}, status="stopped")
    with closing(Journal(ferry.shop.records.place)) as journal:
        writer = journal.reopen(run_id)
        writer.note(9000.0, "resumed", "at step 2")
        writer.close(9001.0, "done", "")
    assert only_refusal(ferry) == f"run {run_id}: was gone on with since it was kept; keep it again"
    assert decide(ferry.shop, BATCH, ferry.stamp)[0].refusals == ()
    run = ferry.shop.records.current(StationRun, run_id=run_id)[0]
    assert (run.entry.status, run.reason) == ("done", "the run was gone on with")


def test_a_retests_result_counts(ferry: FerryShop) -> None:
    ferry.night("as-found", {"A1": 86.0})
    ferry.night("as-found", {"A1": 82.2}, retests={"A1": BUBBLES})
    assert judged(ferry).refusals == ()
    assert len(judged(ferry).story.steps) == 2


def test_powered_forms_are_judged_like_with_like() -> None:
    """A heated type is judged by its extrapolated start, and at the stated current and bath."""
    parts = [Contribution("bath probe", 0.2)]
    curve = CurveResult(
        "H1",
        0.1,
        {"unpowered_start_to_open_c": known(103.2, parts, "zero", {"lift_mm": 0.1})},
        {
            "start_under_power_c": tuple(
                known(c, parts, "zero", {"lift_mm": 0.1, "element_a": a, "bath_c": c})
                for c, a in ((95.0, 0.6), (90.0, 0.9))
            )
        },
        (),
        (Warned("gaps", ""),),
    )
    content = ResultContent(curve, (0.02,)).to_json()
    specification = Specification(
        unit_type="Heron-103",
        version=1,
        limit=(
            Limit(quantity="unpowered_start_to_open_c", nominal=103, tolerance=3, threshold_mm=0.1),
            Limit(
                quantity="start_under_power_c",
                nominal=90.5,
                tolerance=2,
                threshold_mm=0.1,
                element_a=0.9,
                bath_c=90.0,
            ),
        ),
    )
    verdict = judge(specification, list(ResultContent.from_json(content).each()))
    assert [d.outcome for d in verdict.decisions] == [Outcome.PASS, Outcome.PASS]
    assert [d.measured.value for d in verdict.decisions if d.measured] == [103.2, 90.0]


def test_limits_at_set_currents_are_judged_with_their_uncertainty() -> None:
    """Arithmetic of the guard band w = U (ILAC-G8:09/2019): 4.3 - 0.2 ≥ 4, 90.9 + 0.3 > 91."""
    lift, bath = [Contribution("gauge", 0.1)], [Contribution("bath probe", 0.15)]
    at = {"element_a": 0.6003, "bath_c": 94.1, "power_w": 5.4}
    series = {
        "lift_after_mm": tuple(
            known(mm, lift, None, {**at, "after_s": s}) for mm, s in ((3.9, 180.0), (4.3, 240.0))
        ),
        "start_at_current_c": (
            known(90.9, bath, "zero", {"lift_mm": 0.1, "element_a": 0.8, "power_w": 9.6}),
        ),
    }
    curve = CurveResult("H103-0001", 0.1, {}, series, (), ())
    content = ResultContent.from_json(ResultContent(curve).to_json())
    within = Limit(
        quantity="lift_after_mm",
        lower=4.0,
        nominal=5.0,
        element_a=0.6,
        bath_c=94.0,
        after_s=240.0,
    )
    opens = Limit(
        quantity="start_at_current_c", upper=91.0, largest_u=1.0, threshold_mm=0.1, element_a=0.8
    )
    specification = Specification(unit_type="Heron-103", version=1, limit=(within, opens))
    verdict = judge(specification, list(content.each()))
    assert [d.outcome for d in verdict.decisions] == [Outcome.PASS, Outcome.CONDITIONAL_PASS]
    assert "at 0.6 A in a bath of 94 °C within 240 s" in within.called()
    printed = results_as_left(content, verdict)
    assert [(r.stated.element_a, r.stated.after_s, r.stated.value) for r in printed[:2]] == [
        (0.6003, 240.0, 4.3),
        (0.8, None, 90.9),
    ]


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({"element_a": 0.6, "bath_c": 94.0, "after_s": 200.0}, "240, 300, 600"),
        ({"element_a": 0.6, "after_s": 240.0}, "needs bath_c"),
        ({"bath_c": 94.0, "after_s": 240.0}, "needs element_a"),
    ],
)
def test_a_limit_at_a_current_that_cannot_be_measured_is_refused(
    stated: dict[str, float], said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        Limit.model_validate({"quantity": "lift_after_mm", "lower": 4, "nominal": 5, **stated})
