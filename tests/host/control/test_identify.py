"""A bath identified from its heating test: figures known beforehand come back, poor records not."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from host.simple_bath import WORKSHOP, SimpleBench
from proofbath.control.bath_model import BathModel
from proofbath.control.identify import HeatingRecord, Identified, identify
from proofbath.errors import RecordError
from proofbath.run.profile import Drive
from proofbath.run.sequencer import Sequencer
from proofbath.run.tuning import tuning_legs

LARGE = WORKSHOP.model_copy(
    update={
        "heat_capacity_j_per_k": 70_000.0,
        "heater_w": 3000.0,
        "dead_time_s": 11.0,
        "heater_lag_s": 16.0,
        "cooling_w_per_k": 12.0,
        "capacity_growth_per_k": 1e-3,
    }
)


@cache
def heating_test(true: BathModel) -> HeatingRecord:
    """The record of a heating test run by the sequencer, which knows the bath only roughly."""
    valve = true.cooling_w_per_k > 0
    legs = tuning_legs(100.0, valve)
    bench = SimpleBench(true)
    sequencer = Sequencer(legs, nominal(true))
    rows = []
    while isinstance(legs[max(sequencer.leg, 0)].step, Drive):
        reading = bench.reading()
        demand = sequencer.step(reading)
        assert demand is not None
        assert not sequencer.ended
        rows.append((reading.t_s, reading.bath_c, reading.heater_on_s, float(demand.cooling)))
        bench.take(demand)
    return HeatingRecord(*np.array(rows).T)


def nominal(true: BathModel) -> BathModel:
    return WORKSHOP.model_copy(
        update={"heater_w": true.heater_w, "cooling_w_per_k": 5.0 * (true.cooling_w_per_k > 0)}
    )


@cache
def found(true: BathModel) -> Identified:
    return identify(heating_test(true), nominal(true))


@pytest.mark.parametrize("true", [WORKSHOP, LARGE], ids=["8 l", "20 l with valve"])
def test_the_figures_of_the_bath_come_back_within_their_uncertainty(true: BathModel) -> None:
    for name, uncertainty in found(true).standard_uncertainty.items():
        error = getattr(found(true).model, name) - getattr(true, name)
        assert abs(error) < 3.0 * uncertainty, name


@pytest.mark.parametrize("true", [WORKSHOP, LARGE], ids=["8 l", "20 l with valve"])
def test_the_uncertainties_are_small_enough_to_steer_by(true: BathModel) -> None:
    known = found(true).standard_uncertainty
    assert known["heat_capacity_j_per_k"] < 0.005 * true.heat_capacity_j_per_k
    assert known["dead_time_s"] < 1.0
    assert ("cooling_w_per_k" in known) == (true.cooling_w_per_k > 0)


def test_the_test_is_short_and_never_nears_the_limit() -> None:
    record = heating_test(WORKSHOP)
    assert record.t_s[-1] < 3600.0
    assert record.bath_c.max() < 92.0


def test_missing_samples_are_bridged() -> None:
    record = heating_test(WORKSHOP)
    rng = np.random.default_rng(4)
    kept = rng.random(len(record.t_s)) > 0.1
    kept[5000:5050] = False
    model = identify(HeatingRecord(*(part[kept] for part in record)), WORKSHOP).model
    assert model.heat_capacity_j_per_k == pytest.approx(31_000, rel=0.003)
    assert model.dead_time_s == pytest.approx(6.0, abs=1.0)


def spoiled(what: str) -> HeatingRecord:
    record = heating_test(WORKSHOP)
    bath_c = record.bath_c.copy()
    middle = len(bath_c) // 2
    if what == "lid off half way":
        bath_c[middle:] -= 0.004 * (record.t_s[middle:] - record.t_s[middle])
    elif what == "probe jumps":
        bath_c[middle:] += 1.5
    elif what == "heater counted that does not heat":
        return record._replace(heater_on_s=record.t_s.copy())
    return record._replace(bath_c=bath_c)


@pytest.mark.parametrize(
    "what", ["lid off half way", "probe jumps", "heater counted that does not heat"]
)
def test_a_record_that_no_bath_explains_is_refused(what: str) -> None:
    with pytest.raises(RecordError, match="off the model") as caught:
        identify(spoiled(what), WORKSHOP)
    assert all("\n" not in fault for fault in caught.value.faults)


def test_a_test_broken_off_is_refused() -> None:
    record = heating_test(WORKSHOP)
    with pytest.raises(RecordError, match="run the whole heating test"):
        identify(HeatingRecord(*(part[:3000] for part in record)), WORKSHOP)


def test_a_record_of_a_few_seconds_or_out_of_order_is_refused() -> None:
    record = heating_test(WORKSHOP)
    with pytest.raises(RecordError, match="600 are needed"):
        identify(HeatingRecord(*(part[:100] for part in record)), WORKSHOP)
    with pytest.raises(RecordError, match="in order of time"):
        identify(record._replace(t_s=record.t_s[::-1].copy()), WORKSHOP)


def test_poor_stirring_is_named_where_it_is_the_cause() -> None:
    """Eddies of 0.15 K that last about 10 s, as a probe of 6 s shows them."""
    record = heating_test(WORKSHOP)
    draw = np.random.default_rng(7).standard_normal(len(record.t_s))
    keep = float(np.exp(-0.1 / 10.0))
    eddies = np.empty(len(draw))
    now = 0.0
    for n, kick in enumerate(draw.tolist()):
        now = keep * now + np.sqrt(1 - keep**2) * kick
        eddies[n] = 0.15 * now
    with pytest.raises(RecordError, match=r"scatters by 0\.\d\d K within 30 s") as caught:
        identify(record._replace(bath_c=record.bath_c + eddies), WORKSHOP)
    assert all("look at the stirrer" in fault for fault in caught.value.faults)
    assert "% of the heater" not in str(caught.value)


def test_heavy_loss_is_named_where_it_is_the_cause() -> None:
    """A bath without its lid, in a draught that comes and goes."""
    lossy = WORKSHOP.model_copy(update={"loss_w_per_k": 9.0, "evaporation_w_at_90c": 300.0})
    record = heating_test(lossy)
    draught_k = 0.25 * np.sin(2 * np.pi * record.t_s / 700.0)
    with pytest.raises(RecordError, match="% of the heater, a covered bath 40 %") as caught:
        identify(record._replace(bath_c=record.bath_c + draught_k), nominal(lossy))
    assert "put the lid on" in str(caught.value)
    assert "scatters" not in str(caught.value)


def test_a_whole_test_on_a_bath_that_hardly_moves_is_not_told_to_be_run_whole() -> None:
    record = heating_test(WORKSHOP)
    cool = record.bath_c[0] + 0.2 * (record.bath_c - record.bath_c[0])
    with pytest.raises(RecordError, match="look for a dead heater or an open lid"):
        identify(record._replace(bath_c=cool), WORKSHOP)
