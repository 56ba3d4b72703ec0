"""Logs in the forms that loggers write: stamps, orders of days, separators, units, columns."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from contextlib import suppress

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from proofbath.errors import InputError
from proofbath.proof.engine_log import ReadLog, read_log
from proofbath.proof.log_table import Picks
from proofbath.proof.log_times import DayOrder, TimeUnit, number_in_cell

BEGIN = dt.datetime(2025, 10, 2, 8, 15, tzinfo=dt.UTC)
MINUTE = dt.timedelta(minutes=1)


def stamped(write: str | Callable[[dt.datetime], str], begin: dt.datetime = BEGIN) -> str:
    """Return an hour, a sample a minute, its stamps as the standard library writes them."""
    times = (begin + n * MINUTE for n in range(60))
    made = (t.strftime(write) if isinstance(write, str) else write(t) for t in times)
    return "time;coolant_c\n" + "".join(f"{text};80,5\n" for text in made)


def table(header: str, times: Iterable[object], *cells: object, sep: str = ",") -> str:
    rows = (sep.join(map(str, (t, *cells))) for t in times)
    return "\n".join([header.replace(",", sep), *rows])


def read(text: str, picks: Picks | None = None) -> ReadLog:
    return read_log(text, "log.csv", picks)


@pytest.mark.parametrize(
    "write",
    [
        "%Y-%m-%d %H:%M:%S",
        "%Y-%m-%dT%H:%M:%SZ",
        "%Y%m%dT%H%M%S",
        "%Y/%m/%d %H:%M",
        "%d.%m.%Y %H:%M:%S",
        "%d.%m.%y, %H:%M",
        "%d %b %Y %H:%M:%S",
        "%d-%b-%y %I:%M:%S %p",
        "%B %d, %Y %H:%M",
        "%m/%d/%Y %I:%M %p",
        "%d/%m/%Y %H:%M",
    ],
)
def test_a_stamp_is_read_as_the_standard_library_wrote_it(write: str) -> None:
    """Written by datetime.strftime; the 13th makes the orders plain, ISO 8601 is plain always."""
    begin = BEGIN.replace(day=13)
    found = read(stamped(write, begin))
    assert found.first_day == "2025-10-13"
    assert np.allclose(found.log.t_s, 60.0 * np.arange(60))
    assert np.all(found.log.coolant_c == 80.5)


def test_stamps_with_their_zone_go_on_where_clocks_are_put_back() -> None:
    """02:59:59+02:00 and 02:00:00+01:00 are a second apart (ISO 8601, end of summer time)."""
    zones = [("02:30", "+02:00"), ("02:00", "+01:00")]
    lines = [
        f"2025-10-26T{hour[:2]}:{int(hour[3:]) + n:02}:00{zone},80"
        for hour, zone in zones
        for n in range(30)
    ]
    found = read("\n".join(["time,coolant_c", *lines]))
    assert np.allclose(np.diff(found.log.t_s), 60.0)


def test_midnight_and_a_leap_day_are_passed() -> None:
    found = read(stamped("%Y-%m-%d %H:%M", dt.datetime(2024, 2, 28, 23, 40, tzinfo=dt.UTC)))
    assert found.log.t_s[-1] == 59 * 60
    by_clock = read(stamped("%H:%M:%S", dt.datetime(2024, 2, 28, 23, 40, tzinfo=dt.UTC)))
    assert by_clock.log.t_s[-1] == 59 * 60
    assert by_clock.first_day is None


@pytest.mark.parametrize(
    ("order", "day"), [(DayOrder.DAY_FIRST, "2025-02-10"), (DayOrder.MONTH_FIRST, "2025-10-02")]
)
def test_a_date_that_reads_in_two_ways_is_asked_and_told(order: DayOrder, day: str) -> None:
    text = stamped("%m/%d/%Y %H:%M")
    with pytest.raises(InputError, match="day 10 of month 2, or day 2 of month 10"):
        read(text)
    assert read(text, Picks(day_order=order)).first_day == day


def test_a_day_that_does_not_exist_is_refused() -> None:
    with pytest.raises(InputError, match="line 2: there is no day 30 of month 2 in 2025"):
        read(table("time,coolant_c", ["30.02.2025 08:00"] * 60, 80))
    told = Picks(day_order=DayOrder.MONTH_FIRST)
    with pytest.raises(InputError, match="there is no day 10 of month 13"):
        read(stamped("%d/10/2025 %H:%M", BEGIN.replace(day=13)), told)


def test_samples_of_one_stamp_are_averaged() -> None:
    """Six samples a minute by a clock without seconds: a sample a minute, of their mean."""
    times = [f"08:{n // 6:02}" for n in range(240)]
    rows = "".join(f"{t};{80 + n % 6}\n" for n, t in enumerate(times))
    found = read("time;coolant_c\n" + rows)
    assert found.log.interval_s() == 60.0
    assert np.all(found.log.coolant_c == 82.5)


def test_minutes_and_tenths_of_seconds_are_read() -> None:
    """As spreadsheets show times of under an hour: minutes:seconds.tenths."""
    found = read(table("time,coolant_c", [f"{n // 6:02}:{n % 6 * 10:02}.5" for n in range(90)], 80))
    assert found.log.interval_s() == 10.0


@pytest.mark.parametrize(
    ("header", "times", "interval_s"),
    [
        ("Time (s),ECT °C", [10 * n for n in range(90)], 10.0),
        ("time_ms,ECT °C", [10_000 * n for n in range(90)], 10.0),
        ("Elapsed [min],ECT °C", [n / 6 for n in range(90)], 10.0),
        ("Time,ECT °C", [1_759_392_000 + 10 * n for n in range(90)], 10.0),
        ("Time,ECT °C", [1000 * (1_759_392_000 + 10 * n) for n in range(90)], 10.0),
        ("Time,ECT °C", [10 * n for n in range(90)], 10.0),
        ("Time,ECT °C", [f"{n / 8640:.7f}" for n in range(90)], 10.0),
    ],
)
def test_plain_numbers_count_what_their_header_says_or_the_only_thing_that_fits(
    header: str, times: list[object], interval_s: float
) -> None:
    assert read(table(header, times, 80)).log.interval_s() == pytest.approx(interval_s, abs=0.01)


def test_seconds_since_1970_tell_the_day() -> None:
    """1 759 392 000 s is 2025-10-02 08:00 UTC, by datetime.fromtimestamp."""
    begin = 1_759_392_000
    assert dt.datetime.fromtimestamp(begin, dt.UTC).isoformat() == "2025-10-02T08:00:00+00:00"
    times = [begin + 10 * n for n in range(90)]
    assert read(table("time,coolant_c", times, 80)).first_day == "2025-10-02"


def test_numbers_that_may_be_seconds_or_minutes_are_asked() -> None:
    text = table("Time,ECT °C", range(900), 80)
    with pytest.raises(InputError, match="15 min if they count s or 899 min if they count min"):
        read(text)
    assert read(text, Picks(time_unit=TimeUnit.MINUTES)).log.interval_s() == 60.0


@pytest.mark.parametrize("sep", [";", "\t", "|"])
def test_semicolons_tabs_and_decimal_commas_are_read(sep: str) -> None:
    header = sep.join(["Zeit (s)", "Kühlmitteltemperatur °C", "Last"])
    rows = "".join(f"{n},5{sep}80,25{sep}9\n" for n in range(700))
    found = read(f"{header}\n{rows}")
    assert found.log.t_s[1] == 1.5
    assert np.all(found.log.coolant_c == 80.25)


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("80.5", 80.5),
        ("80,5", 80.5),
        ("1.234,5", 1234.5),
        ("1,234.5", 1234.5),
        ("1 234,5", 1234.5),
        ("\u22124,5", -4.5),
        ("warm", None),
        ("nan", None),
        ("inf", None),
        ("", None),
    ],
)
def test_a_cell_is_a_number_with_point_or_comma(cell: str, value: float | None) -> None:
    assert number_in_cell(cell) == value


@pytest.mark.parametrize("header", ["ECT (°F)", "Coolant degF", "coolant_f", "Water temp [℉]"])
def test_fahrenheit_is_read_by_its_header(header: str) -> None:
    """212 °F is 100 °C, by definition."""
    assert read(table(f"t_s,{header}", range(0, 900, 10), 212)).log.coolant_c[0] == 100.0


def test_fahrenheit_without_a_unit_is_seen_asked_or_told() -> None:
    text = table("t_s,coolant", range(0, 900, 10), "{}")
    seen = read(text.replace("{}", "190"))
    assert seen.log.coolant_c[0] == pytest.approx((190 - 32) * 5 / 9)
    assert read(text.replace("{}", "104")).log.coolant_c[0] == 104.0
    for unsure in ("104.1", "160"):
        with pytest.raises(InputError, match="which is right"):
            read(text.replace("{}", unsure))
    told = read(text.replace("{}", "122"), Picks(fahrenheit=True))
    assert told.log.coolant_c[0] == pytest.approx(50.0)
    assert read(text.replace("{}", "122"), Picks(fahrenheit=False)).log.coolant_c[0] == 122.0


@pytest.mark.parametrize(
    "header",
    [
        "coolant_c", "Coolant temperature", "EngineCoolantTemp", "ECT", "CLT [°C]", "ect1",
        "Kühlwassertemperatur", "KUEHLMITTEL_TEMP", "Jacket water out °C", "Temp", "T (°C)",
    ],
)  # fmt: skip
def test_the_coolant_is_found_among_others_by_its_name(header: str) -> None:
    head = f"t_s,Oil temp,{header},Coolant pressure,Intake air temp,RPM"
    found = read(table(head, range(0, 900, 10), 60, 80, 1, 25, 900))
    assert found.log.coolant_c[0] == 80


@pytest.mark.parametrize(
    "header", ["t_s", "Time", "Timestamp", "Zeit", "Uhrzeit", "Elapsed time", "DateTime", "secs"]
)
def test_the_time_is_found_by_its_name(header: str) -> None:
    rows = "".join(f"900,{10 * n},80\n" for n in range(90))
    found = read(f"RPM,{header},coolant_c\n{rows}")
    assert found.log.interval_s() == 10.0


def test_date_and_time_stand_in_two_columns_below_what_the_logger_says_of_itself() -> None:
    lines = ["Logger 7", "serial\t12", "", "Date\tTime\tCoolant", "d.m.y\thh:mm\t°F"]
    lines += [f"02.10.2025\t08:{n:02}\t190" for n in range(60)]
    found = read("\n".join(lines))
    assert found.first_day == "2025-10-02"
    assert found.log.coolant_c[0] == pytest.approx(87.78, abs=0.01)
    assert "in °F, tabs between cells, 60 samples, one in 60 s" in found.words


def test_two_coolants_are_asked_and_picked_by_name_or_number() -> None:
    rows = "".join(f"{10 * n};{70};{80}\n" for n in range(90))
    text = "t_s;Coolant in;Coolant out\n" + rows
    with pytest.raises(InputError, match="any of 'Coolant in', 'Coolant out'; which one"):
        read(text)
    for pick, value in (("coolant OUT", 80.0), ("3", 80.0), ("2", 70.0)):
        assert read(text, Picks(temperature_column=pick)).log.coolant_c[0] == value


def test_columns_of_unknown_names_are_listed_and_picked() -> None:
    rows = "".join(f"{10 * n};80\n" for n in range(90))
    with pytest.raises(InputError, match="no time column and temperature column among 'a', 'b'"):
        read("a;b\n" + rows)
    assert read("a;b\n" + rows, Picks("a", "B")).log.interval_s() == 10.0
    assert len(read(rows, Picks("1", "2")).log.t_s) == 90  # no header at all
    with pytest.raises(InputError, match="no temperature column 'c' among"):
        read("a;b\n" + rows, Picks("a", "c"))


def test_lines_without_a_value_are_left_out_and_counted() -> None:
    cells = ["80", "", "-", "NaN"]
    rows = "".join(f"{10 * n},{cells[n % 4]}\n" for n in range(120))
    found = read("t_s,coolant_c\n" + rows)
    assert len(found.log.t_s) == 30
    assert "; 90 lines without a value" in found.words


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no table"),
        ("coolant_c\n80\n", "no table"),
        ("t_s,coolant_c\n", "no line has a value in 'coolant_c'"),
        ("t_s;heat\n0;80\n", "no temperature column among 't_s', 'heat'"),
        ("t_s,coolant_c\n0,80,5\n", "line 2: 3 cells, the header has 2; decimal commas need"),
        ("t_s,coolant_c\n0\n", "line 2: 1 cells"),
        ("t_s,coolant_c\n0,warm1\n", "the coolant 'warm1' is not a number"),
        ("t_s,coolant_c\n0,80\nsoon,80\n", "line 3: the time 'soon' is no number"),
        ("t_s,coolant_c\nsoon,80\n", "line 2: the time 'soon' is no time"),
        ("t_s,coolant_c\n25:61:00,80\n", "line 2: the time '25:61:00' is no time"),
        ("t_s,coolant_c\n2.10.2025 8:00,80\n8:01,80\n", "line 3: a time without its date"),
        ("t_s,coolant_c\n0,300\n", "line 2: coolant 300 °C, believable are -50 to 160"),
        ("t_s,coolant_f\n0,400\n", "line 2: coolant 400 °F, believable are -50 to 160 °C"),
        ("t_s,coolant_c\n0,80\n1,80\n", "2 samples of different times, at least 20"),
        ("t_s,coolant_c\n" + "0,80\n" * 70, "1 samples of different times"),
        ("t_s,coolant_c\n" + "1,80\n0,80\n" * 70, "time does not go on at sample 2: 0 s after 1 s"),
        ("t_s,coolant_c\n" + "".join(f"{n},80\n" for n in range(70)), "69 s long"),
        ("t_s,coolant_c\n" + "".join(f"{90 * n},80\n" for n in range(70)), "every 90 s"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused(text: str, says: str) -> None:
    with pytest.raises(InputError) as refused:
        read(text)
    assert says in str(refused.value)
    assert all(fault.startswith("log.csv: ") for fault in refused.value.faults)


CELLS = st.sampled_from(
    ("80", "80,5", "1e400", "", "-", "nan", "2025-10-02 08:00", "02/03/2025 8:00",
     "99/99/2025 8:00", "0000-00-00 00:00", "8:00 PM", "13:00 PM", "24:00:00", "1759392000",
     "\x00", '"', "°F", "Date",
     "Time", "coolant", "²", "9" * 400, "12:34.5", "2-Oct-25 8:00", "+02:00", "t_s", "coolant_c")
)  # fmt: skip
PICKS = st.builds(
    Picks,
    st.sampled_from(("", "0", "1", "2", "Time", "²")),
    st.sampled_from(("", "2", "9", "-1", "coolant_c")),
    st.none() | st.booleans(),
    st.none() | st.sampled_from(TimeUnit),
    st.none() | st.sampled_from(DayOrder),
)


@given(st.lists(st.lists(CELLS, max_size=3), max_size=30), st.sampled_from(";\t,|"), PICKS)
def test_whatever_a_file_holds_it_is_read_or_refused_in_words(
    rows: list[list[str]], sep: str, picks: Picks
) -> None:
    counted = [[f"{60 * n}", "80"] for n in range(25)]
    for table_rows in (rows, [["t_s", "coolant_c"], *counted, *rows[:1]]):
        with suppress(InputError):
            log = read("\n".join(sep.join(row) for row in table_rows), picks).log
            assert np.all(np.diff(log.t_s) > 0)
            assert np.all((log.coolant_c >= -50) & (log.coolant_c <= 160))
