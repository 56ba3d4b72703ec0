"""The Reference-unit page: charts drawn so that one sees them in grey, and causes recorded."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable

import pytest

from host.web.conftest import Browser
from host.workshop.raw_shop import BATCH, REFERENCE, RawUnit, begin_batch, raw_night
from proofbath.proof.chart import Run, reference_chart
from proofbath.store.kinds import ChartCause
from proofbath.web.chart_drawing import drawn
from proofbath.workshop.chart_view import chart_view
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]


@pytest.fixture
def strayed(shop: Shop) -> int:
    """Return the run of a night in which the reference unit opened 3 K higher."""
    day = dt.date(2025, 4, 4)
    begin_batch(shop, "ferry 13", ["T82-0201"], day)
    units = [RawUnit(1, "T82-0201", 82.0), RawUnit(6, REFERENCE, 85.1)]
    return raw_night(shop, "ferry 13", "as-found", units, day)


def test_the_chart_stands_as_drawing_and_as_table(open_browser: Open) -> None:
    browser = open_browser("viewer")
    told = browser.get("/api/charts", params={"name": "quay"}).json()
    assert told["serial"] == REFERENCE
    values = [point["value"] for point in told["reference"]["points"]]
    assert values == pytest.approx([82.3, 82.35], abs=0.05), "0.2 K above the line (closed form)"
    page = browser.get("/reference").text
    assert page.count('class="dot"') == len(values) + len(told["probes"]["points"])
    for value in values:
        assert f"{value:.3f}" in page
    assert told["reference"]["sees"].split(";")[0] in page
    assert "cause not recorded" not in page


def test_a_signal_is_shown_by_its_form_and_asks_for_a_cause(
    open_browser: Open, shop: Shop, strayed: int
) -> None:
    browser = open_browser("certifier")
    page = browser.get("/reference").text
    assert page.count('class="signal"') == 1
    assert "out of control" in page
    form = {"run": str(strayed), "chart": "reference", "cause": "seal <b>off</b>"}
    assert browser.post("/reference/cause", form | {"bench": "quay"}).status_code == 303
    assert shop.records.current(ChartCause)[0].entry.run_id == strayed
    after = browser.get("/reference").text
    assert "seal &lt;b&gt;off&lt;/b&gt;" in after
    assert "a good run must follow" in after
    assert browser.post("/reference/cause", form).status_code == 422, "once is enough"
    assert browser.post("/reference/cause", form | {"run": "1"}).status_code == 422


def test_an_operator_sees_the_signal_but_no_form(open_browser: Open, strayed: int) -> None:
    browser = open_browser("operator")
    assert 'action="/reference/cause"' not in browser.get("/reference").text
    form = {"run": str(strayed), "chart": "reference", "cause": "x"}
    assert browser.post("/reference/cause", form).status_code == 403


def test_all_of_a_chart_lies_inside_its_frame() -> None:
    runs = [Run(str(n), 82.0 + 0.1 * (n % 3)) for n in range(1, 81)]
    runs[29] = Run("30", 84.0, "seal off")
    chart = drawn(chart_view(reference_chart(runs)), "r", "°C", True)
    assert chart is not None
    lines = [chart.single, chart.centre, chart.limits_high, chart.limits_low, chart.ewma]
    for x, y in re.findall(r"(-?[\d.]+),(-?[\d.]+)", " ".join(lines)):
        assert chart.left <= float(x) <= chart.right
        assert 0 <= float(y) <= chart.bottom
    assert len(chart.marks) == 60, "the newest"
    assert sum(mark.signal for mark in chart.marks) == 1
    assert len(chart.runs) <= 12


def test_a_chart_of_one_run_or_none_is_drawn() -> None:
    one = drawn(chart_view(reference_chart([Run("1", 82.0)])), "r", "°C", True)
    assert one is not None
    assert one.limits_high == ""
    assert drawn(chart_view(reference_chart([])), "r", "°C", True) is None


def test_a_batch_name_is_no_bench(open_browser: Open) -> None:
    assert open_browser("viewer").get("/api/charts", params={"name": BATCH}).status_code == 404
