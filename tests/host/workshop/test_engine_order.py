"""An order for what an engine shall run at: by logs of the type, or by the usual lift."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from host.workshop.measured_shop import MeasuredShop, Measurement, measured_shop
from host.workshop.test_service import add
from proofbath.errors import InputError
from proofbath.workshop.engine_order import order_for_engine, ordered_from
from proofbath.workshop.orders import put_order


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        made.units(["U1", "U2"])
        made.batch("A", ["U1", "U2"])
        made.night("A", "as-found", {"U1": Measurement(82.0), "U2": Measurement(81.0)})
        yield made


def test_without_logs_an_engine_runs_where_the_usual_lift_is_open(shop: MeasuredShop) -> None:
    ordered = order_for_engine(shop.shop, "A", 80.0)
    assert (ordered.wanted_c, ordered.lift_mm, ordered.engine_c) == (80.0, 2.0, 80.0)
    assert "common practice, no source" in ordered.text


def test_logs_of_the_type_give_the_start_to_open(shop: MeasuredShop) -> None:
    """Both ran at 87 °C, 5 and 6 K above their starts; the prior draws the mean towards 3 K."""
    add(shop, "U1")
    add(shop, "U2", seed=2)
    ordered = order_for_engine(shop.shop, "A", 85.0, tolerance_k=1.5, text="order 4711")
    assert 85.0 - 6.0 < ordered.wanted_c < 85.0 - 3.0
    assert (ordered.lift_mm, ordered.tolerance_k, ordered.engine_c) == (0.1, 1.5, 85.0)
    assert ordered.text.startswith("order 4711; 85 °C in the engine less ")
    assert "learnt from 2 logged units of Teal-82" in ordered.text
    put_order(shop.shop, "A", ordered, stamp=shop.now)


def test_a_lift_that_is_named_goes_before_the_logs(shop: MeasuredShop) -> None:
    add(shop, "U1")
    ordered = ordered_from(shop.shop, "A", wanted_c=None, engine_c=80.0, lift_mm=3.0)
    assert (ordered.wanted_c, ordered.lift_mm) == (80.0, 3.0)


def test_an_engine_near_boiling_is_refused_until_its_pressure_cap_is_stated(
    shop: MeasuredShop,
) -> None:
    """Water boils at 100 °C under 101.3 kPa (any steam table)."""
    with pytest.raises(InputError, match="boils at"):
        order_for_engine(shop.shop, "A", 98.0)
    assert order_for_engine(shop.shop, "A", 98.0, cap_kpa=50.0).wanted_c == 98.0
