"""A bench's control charts as pages, API and verbs show them."""

from __future__ import annotations

from proofbath.description import Described
from proofbath.proof.chart import Chart, Point
from proofbath.store.kinds import ReferenceUnit, Unit
from proofbath.workshop.charts import probe_chart_of, reference_chart_of
from proofbath.workshop.shop import Shop


class PointView(Described):
    """One run on a control chart, with the limits it was judged by."""

    run: str
    run_number: int
    value: float
    centre: float
    half_width: float | None
    ewma: float
    ewma_half_width: float | None
    signal: str | None
    cause: str


class ChartView(Described):
    """A control chart: °C of the reference unit, K of bath minus guard probe."""

    points: tuple[PointView, ...]
    centre: float | None
    sd: float
    provisional: str | None
    blocked: str | None
    sees: str
    """What drift it can see, and how often it cries wolf."""


class Charts(Described):
    """A bench's control charts; the reference unit's is null where it has none."""

    bench: str
    serial: str | None
    reference: ChartView | None
    probes: ChartView


def chart_view(chart: Chart) -> ChartView:
    """Return a control chart as it is shown."""
    return ChartView(
        points=tuple(_point_view(point) for point in chart.points),
        centre=chart.centre,
        sd=chart.sd,
        provisional=chart.provisional,
        blocked=chart.blocked,
        sees=chart.power.in_words(),
    )


def _point_view(point: Point) -> PointView:
    values = point._asdict()
    return PointView(run_number=values.pop("run_id"), **values)


def charts_of(shop: Shop, bench: str, serial: str | None) -> Charts:
    """Return a bench's charts; raises InputError for a unit that is no reference unit."""
    serial = serial or next(iter(references(shop)), None)
    reference = reference_chart_of(shop.records, bench, serial) if serial else None
    return Charts(
        bench=bench,
        serial=serial,
        reference=chart_view(reference) if reference else None,
        probes=chart_view(probe_chart_of(shop.records, bench)),
    )


def references(shop: Shop) -> list[str]:
    """Return the serials of all units that are or were reference units, the newest in use first."""
    said = sorted(
        shop.records.current(ReferenceUnit), key=lambda k: (k.entry.since, k.root), reverse=True
    )
    newest = {kept.entry.unit_id: kept.entry for kept in reversed(said)}
    order = sorted(newest, key=lambda unit: newest[unit].since, reverse=True)
    order.sort(key=lambda unit: not newest[unit].in_use)
    return [shop.records.one(Unit, unit).entry.serial for unit in order]
