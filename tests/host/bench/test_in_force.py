"""Which calibration is in force, what blocks certifying, what a drift puts in doubt."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest

from host.bench.nights import bench_file
from host.bench.shop_night import AT, STATION, ShopNight, shop_night, write_raw_night
from proofbath.bench.calibration import ProbeCalibration, StationCalibration
from proofbath.bench.calibration_content import (
    BlankContent,
    CheckContent,
    ElementContent,
    ElementPoint,
    GaugeContent,
    GaugePoint,
    Instrument,
    ProbeContent,
    ProbePoint,
    RawMean,
)
from proofbath.bench.calibration_fit import fit_element, fit_gauge, fit_probes
from proofbath.bench.calibration_record import Content, calibration_entry, due_date
from proofbath.bench.in_force import (
    bench_in_force,
    blocking_reasons,
    calibration_in_force,
)
from proofbath.bench.recompute import (
    file_in_force,
    look_back,
    put_result,
    recompute,
    station_result,
)
from proofbath.bench.run import read_run
from proofbath.errors import InputError, RecordError
from proofbath.store.kinds import Certificate, Decision, Handling, Result
from proofbath.store.records import Stamp

BENCH = bench_file()
DAY = dt.date(2025, 10, 1)


@pytest.fixture
def night(tmp_path: Path) -> Iterator[ShopNight]:
    made = shop_night(tmp_path / "shop.db")
    yield made
    made.records.close()
    made.journal.close()


def raw(mean: float) -> RawMean:
    return RawMean(mean=mean, sd=0.5, count=200)


def probes(offset_k: float) -> ProbeContent:
    """A calibration whose probes need `offset_k` added to the standard's temperature."""
    true = ProbeCalibration(offset_k=offset_k)
    points = [
        ProbePoint(
            kind="ice" if c == 0 else "steam",
            reference_c=c,
            u_k=0.03,
            bath=raw(true.code_sum(c)),
            guard=raw(true.code_sum(c)),
        )
        for c in (0.0, 99.6)
    ]
    return fit_probes(points, true, true)


def check(off_k: float) -> CheckContent:
    at = ProbeCalibration().code_sum(0.0)
    point = ProbePoint(kind="ice", reference_c=0.0, u_k=0.03, bath=raw(at), guard=raw(at))
    return CheckContent(point=point, bath_k=off_k, guard_k=0.01)


def gauge(mm_per_code: float) -> GaugeContent:
    true = StationCalibration(mm_per_code=mm_per_code, offset_mm=-0.2)
    points = [GaugePoint(height_mm=h, raw=raw(true.lift_sum(h))) for h in (0.0, 5.0, 10.0)]
    return fit_gauge(points, Instrument(name="blocks", expanded_u=0.002))


def element() -> ElementContent:
    points = [
        ElementPoint(
            set_code=code,
            resistor_ohm=ohm,
            meter_a=code * 0.5e-3,
            current=raw(code * 4.0),
            voltage=raw(code * 0.5e-3 * (ohm + 0.25) / 5e-3 * 4),
        )
        for ohm in (10.0, 20.0)
        for code in (400, 800)
    ]
    meter = Instrument(name="meter", expanded_u=0.001)
    return fit_element(points, meter, meter)


def blank(run_id: int = 1) -> BlankContent:
    return BlankContent(
        run_id=run_id,
        run_digest="0" * 64,
        rising_c=(40.0, 100.0),
        rising_mm=(0.0, 0.03),
        falling_c=(40.0, 100.0),
        falling_mm=(0.0, 0.03),
    )


def put(night: ShopNight, content: Content, done: dt.date = DAY, station: int = 0) -> int:
    entry = calibration_entry(content, "quay", done, 12, station)
    return night.records.add(entry, night.stamp)


def days(count: int) -> dt.timedelta:
    return dt.timedelta(days=count)


@pytest.mark.parametrize(
    ("done", "months", "due"),
    [
        (dt.date(2025, 1, 31), 1, dt.date(2025, 2, 28)),
        (dt.date(2024, 2, 29), 12, dt.date(2025, 2, 28)),
        (dt.date(2025, 11, 25), 12, dt.date(2026, 11, 25)),
        (dt.date(2025, 11, 25), 1, dt.date(2025, 12, 25)),
    ],
)
def test_a_calibration_is_due_on_the_same_day_of_its_month(
    done: dt.date, months: int, due: dt.date
) -> None:
    assert due_date(done, months) == due


def test_no_calibration_holds_longer_than_a_year() -> None:
    with pytest.raises(InputError, match="1 to 12"):
        due_date(DAY, 13)


def test_a_reference_that_is_overdue_itself_calibrates_nothing() -> None:
    blocks = Instrument(name="blocks 4", expanded_u=0.002, due=DAY - days(1))
    content = gauge(0.0049).model_copy(update={"blocks": blocks})
    with pytest.raises(InputError, match="blocks 4 was due 2025-09-30"):
        calibration_entry(content, "quay", DAY, 12, 1)


def test_without_records_the_files_own_calibration_is_in_force(night: ShopNight) -> None:
    found = calibration_in_force(night.records, BENCH, DAY)
    assert (found.calibration, found.ids, found.blanks) == (BENCH.calibration, (), {})


def test_the_newest_record_of_its_day_is_in_force(night: ShopNight) -> None:
    first, second = put(night, probes(0.05)), put(night, probes(0.11), DAY + days(30))

    def offset_k(on: dt.date) -> float:
        bench = bench_in_force(night.records, BENCH, on)
        return bench.calibration.bath.offset_k

    assert offset_k(DAY - days(1)) == BENCH.calibration.bath.offset_k
    assert offset_k(DAY + days(29)) == pytest.approx(0.05)
    assert offset_k(DAY + days(30)) == pytest.approx(0.11)
    assert calibration_in_force(night.records, BENCH, DAY).ids == (first,)
    assert calibration_in_force(night.records, BENCH, DAY + days(99)).ids == (second,)
    # Past its due date it is still the best that is known.
    assert offset_k(DAY + days(4000)) == pytest.approx(0.11)


def test_each_record_changes_its_own_figures_alone(night: ShopNight) -> None:
    put(night, gauge(0.00495), station=2)
    put(night, element(), station=4)
    found = calibration_in_force(night.records, BENCH, DAY)
    stations, before = found.calibration.station, BENCH.calibration.station
    assert stations[1].mm_per_code == pytest.approx(0.00495)
    assert stations[1].lead_ohm == before[1].lead_ohm
    assert stations[3].lead_ohm == pytest.approx(0.25)
    assert stations[3].mm_per_code == before[3].mm_per_code
    assert (stations[0], found.calibration.bath) == (before[0], BENCH.calibration.bath)
    assert found.budget is not None
    assert found.budget.gauge_mm == pytest.approx(0.001, rel=1e-6)


def test_a_calibration_of_another_bench_counts_for_nothing(night: ShopNight) -> None:
    night.records.add(calibration_entry(probes(0.2), "other", DAY, 12), night.stamp)
    assert calibration_in_force(night.records, BENCH, DAY).ids == ()


def calibrated(night: ShopNight) -> None:
    put(night, probes(0.02))
    put(night, gauge(0.0049), station=STATION)
    put(night, blank(), station=STATION)
    put(night, element(), station=STATION)


def blocked(night: ShopNight, on: dt.date = DAY) -> list[str]:
    return blocking_reasons(night.records, BENCH, on, (STATION,), powered=True)


def test_everything_missing_blocks_and_everything_there_does_not(night: ShopNight) -> None:
    assert [why.split(":")[0] for why in blocked(night)] == [
        "probes",
        "gauge of station 3",
        "blank of station 3",
        "element of station 3",
    ]
    calibrated(night)
    assert blocked(night) == []
    assert blocking_reasons(night.records, BENCH, DAY, (2,)) != []
    assert len(blocked(night, DAY - days(1))) == 4


def test_what_is_overdue_blocks_from_the_day_after(night: ShopNight) -> None:
    calibrated(night)
    due = due_date(DAY, 12)
    assert blocked(night, due) == []
    assert "calibration was due 2026-10-01, today is 2026-10-02" in blocked(night, due + days(1))[0]
    assert len(blocked(night, due + days(1))) == 4
    assert calibration_in_force(night.records, BENCH, due).blanks.keys() == {STATION}
    assert calibration_in_force(night.records, BENCH, due + days(1)).blanks == {}


@pytest.mark.parametrize(
    ("what", "ends"),
    [
        ("fixture", ["blank of station 3"]),
        ("gauge", ["gauge of station 3", "blank of station 3"]),
        ("probe", ["probes"]),
        ("element channel", ["element of station 3"]),
    ],
)
def test_what_was_touched_ends_what_rests_on_it(
    night: ShopNight, what: str, ends: list[str]
) -> None:
    calibrated(night)
    day = DAY + days(10)
    elsewhere = {"bench": "quay", "what": what, "date": day, "text": "moved", "station": 0}
    if what != "probe":
        night.records.add(Handling.model_validate(elsewhere | {"station": 5}), night.stamp)
        assert blocked(night, day) == []
    night.records.add(Handling.model_validate(elsewhere), night.stamp)
    assert [why.split(":")[0] for why in blocked(night, day)] == ends
    assert blocked(night, day - days(1)) == []
    if what == "gauge":
        found = calibration_in_force(night.records, BENCH, day)
        assert found.blanks == {}
        assert found.calibration.station[2].mm_per_code == BENCH.calibration.station[2].mm_per_code


def test_a_calibration_after_the_touch_of_the_same_day_counts(night: ShopNight) -> None:
    calibrated(night)
    later = Stamp("2025-10-01T20:00:00+00:00", night.stamp.by)
    last = Stamp("2025-10-01T21:00:00+00:00", night.stamp.by)
    touched = Handling(bench="quay", what="probe", date=DAY, text="exchanged")
    night.records.add(touched, later)
    assert len(blocked(night)) == 1
    night.records.add(calibration_entry(probes(0.03), "quay", DAY, 12), last)
    assert blocked(night) == []


def test_a_drifted_probe_blocks_until_it_is_calibrated(night: ShopNight) -> None:
    calibrated(night)
    put(night, check(0.1), DAY + days(5))
    assert blocked(night, DAY + days(5)) == []
    put(night, check(-0.13), DAY + days(6))
    (why,) = blocked(night, DAY + days(6))
    assert "-0.130 K off at the ice point on 2025-10-07, at most 0.1 K" in why
    put(night, probes(0.13), DAY + days(7))
    assert blocked(night, DAY + days(7)) == []


def certified(night: ShopNight) -> Certificate:
    """Put the unit's result, decision and certificate on record."""
    used = file_in_force(read_run(night.journal, night.run_id))
    result = put_result(
        night.records, night.journal, night.station_run_id, used, "proofbath 0.1", night.stamp
    )
    decision = Decision(
        unit_id=1,
        batch_id=1,
        result_id=result.root,
        fingerprint="0" * 64,
        rule="guard_band_u",
        outcome="pass",
        content={},
    )
    entry = Certificate(
        number="C-1",
        sha256="0" * 64,
        unit_id=1,
        decision_id=night.records.add(decision, night.stamp),
        result_id=result.root,
        issued=DAY,
    )
    night.records.add(entry, night.stamp)
    return entry


def test_a_result_is_that_of_its_raw_counts(night: ShopNight) -> None:
    """Closed form: 0.1 mm at 0.5 mm/K lies 0.2 K above the knee at 82 °C."""
    run = read_run(night.journal, night.run_id)
    used = file_in_force(run)
    found = station_result(run, STATION, used)
    assert found.cycles[0].start_to_open_c == pytest.approx(82.2, abs=0.02)
    assert found.cycles[0].full_open_c == pytest.approx(98.0, abs=0.02)  # 8 mm at 0.5 mm/K
    with pytest.raises(RecordError, match="station 1 has no record"):
        station_result(run, 1, used)


def test_a_new_calibration_makes_a_new_result_of_the_old_counts(night: ShopNight) -> None:
    """Closed form: 0.15 K on the probe are 0.15 K on the result; 2 % on the gauge shorten it."""
    certified(night)
    before = night.records.one(Result, 1)
    put(night, probes(0.15), DAY + days(3))
    put(night, gauge(20 / 4095 * 1.02), DAY + days(3), STATION)
    used = calibration_in_force(night.records, BENCH, DAY + days(3))
    found = recompute(
        night.records, night.journal, 1, used, "proofbath 0.1", "probe drifted", night.stamp
    )
    assert [c.entry.number for c in found.affected] == ["C-1"]
    assert (found.result.root, found.result.entry.calibration_ids) == (before.root, used.ids)
    after = found.result.entry.content
    old, new = (r["cycles"][0] for r in (before.entry.content, after))
    # The steeper lift reaches 0.1 mm a little earlier: 0.2 K / 1.02.
    expected_k = 0.15 + 0.2 / 1.02 - 0.2
    assert new["start_to_open_c"] - old["start_to_open_c"] == pytest.approx(expected_k, abs=0.005)
    expected_k = 0.15 + 16.0 / 1.02 - 16.0
    assert new["full_open_c"] - old["full_open_c"] == pytest.approx(expected_k, abs=0.005)
    history = night.records.history(Result, before.root)
    assert [kept.reason for kept in history] == ["", "probe drifted"]
    assert history[0] == before
    assert night.records.verify().records > 0


def test_a_second_first_result_is_refused(night: ShopNight) -> None:
    used = file_in_force(read_run(night.journal, night.run_id))
    arguments = (night.records, night.journal, night.station_run_id, used, "p", night.stamp)
    put_result(*arguments)
    with pytest.raises(InputError, match="recompute it instead"):
        put_result(*arguments)


def test_a_drift_puts_in_doubt_what_was_measured_since_the_last_good_check(
    night: ShopNight,
) -> None:
    certified(night)
    put(night, probes(0.0), DAY - days(60))
    put(night, check(0.02), DAY - days(1))
    bad = put(night, check(0.14), DAY + days(9))
    doubt = look_back(night.records, night.journal, "quay", bad)
    assert doubt is not None
    assert (doubt.off_k, doubt.since) == (0.14, DAY - days(1))
    assert [kept.entry.number for kept in doubt.certificates] == ["C-1"]


def test_what_was_measured_before_the_last_good_check_is_not_in_doubt(night: ShopNight) -> None:
    certified(night)
    put(night, check(0.02), DAY + days(4))
    bad = put(night, check(-0.14), DAY + days(9))
    doubt = look_back(night.records, night.journal, "quay", bad)
    assert doubt is not None
    assert (doubt.since, doubt.certificates) == (DAY + days(4), ())
    small = put(night, check(0.1), DAY + days(10))
    assert look_back(night.records, night.journal, "quay", small) is None


def test_without_an_earlier_check_everything_is_in_doubt(night: ShopNight) -> None:
    certified(night)
    write_raw_night(night.journal, AT.replace("2025", "2024"))
    bad = put(night, check(0.14), DAY + days(9))
    doubt = look_back(night.records, night.journal, "quay", bad)
    assert doubt is not None
    assert (doubt.since, len(doubt.certificates)) == (None, 1)
