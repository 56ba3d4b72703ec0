"""`proofbath chart` as a certifier meets it: a night out of control, its cause, and what follows.

The charts' own figures are checked in tests/host/proof/test_chart.py.
"""

from __future__ import annotations

import json
from pathlib import Path

from host.cli.conftest import Call
from host.workshop.ferry_shop import CERTIFIER, OPERATOR, ferry_shop
from host.workshop.test_charts import nights


def test_a_chart_is_lifted_by_a_cause_and_a_good_night(call: Call, tmp_path: Path) -> None:
    with ferry_shop(tmp_path) as ferry:
        shop = ("--shop", ferry.shop.path)
        nights(ferry, 82.0, 82.1, 82.0)
        assert call("chart", "show", *shop).status == 0
        bad = nights(ferry, 83.5)[0]
        shown = call("chart", "show", *shop, "--json")
        assert shown.status == 1
        charts = json.loads(shown.out)
        assert f"run {bad}" in charts["reference"]["blocked"]
        assert charts["probes"]["blocked"] is None
        said = ("chart", "cause", bad, "reference", "hung askew", *shop, "--by")
        assert call(*said, OPERATOR).status == 2
        told = json.loads(call(*said, CERTIFIER, "--json").out)
        assert (told["run"], told["chart"]) == (bad, "reference")
        waiting = call("chart", "show", *shop)
        assert waiting.status == 1
        assert "a good run must follow" in waiting.out
        assert "hung askew" in waiting.out
        nights(ferry, 82.05)
        assert call("chart", "show", *shop).status == 0


def test_a_run_in_control_has_nothing_to_explain(call: Call, tmp_path: Path) -> None:
    with ferry_shop(tmp_path) as ferry:
        run = nights(ferry, 82.0, 82.1)[1]
        shop = ("--shop", ferry.shop.path, "--by", CERTIFIER)
        said = call("chart", "cause", run, "reference", "none", *shop)
    assert said.status == 2
    assert "nothing to explain" in said.err
