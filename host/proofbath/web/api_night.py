"""The API of nights: planned, looked at, started; what ended without its process is kept."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends
from pydantic import Field
from starlette.requests import Request

from proofbath.bench.preflight import Check
from proofbath.description import Described
from proofbath.errors import InputError
from proofbath.run.plan import NightPlan, Stage
from proofbath.store.kinds import Line
from proofbath.web.access_people_api import Numbered
from proofbath.web.api_bench import Said
from proofbath.web.api_shapes import Shape
from proofbath.web.at_bench import NeedsPresence
from proofbath.web.deps import (
    CurrentFrame,
    CurrentShop,
    CurrentStamp,
    Operator,
    Viewer,
    need,
)
from proofbath.web.launch import NightOrder
from proofbath.web.night_look import Chosen, bench_checks, look, planned
from proofbath.web.night_preview import Preview
from proofbath.web.night_start import begin_night
from proofbath.web.shop_views import Hands
from proofbath.workshop.keeping import keep_missing

router = APIRouter(prefix="/api", tags=["night"], dependencies=[Depends(need("viewer"))])


class RetestOf(Described):
    """A unit that is measured once more: what spoilt its measurement, and how one knows."""

    serial: Annotated[str, Field(max_length=40)]
    cause: Literal["bubbles", "gauge", "mounting", "trip", "chart", "bath"]
    record: Line


class NightChoice(Described):
    """A night to plan: due units of a batch at a stage; times of day as "05:30"."""

    bench: Annotated[str, Field(max_length=60)]
    batch: Annotated[str, Field(max_length=60)]
    stage: Stage
    serials: tuple[Annotated[str, Field(max_length=40)], ...] = ()
    profile: Annotated[str, Field(max_length=60)] = ""
    ready_by: Annotated[str, Field(max_length=5)] = ""
    cold_by: Annotated[str, Field(max_length=5)] = ""
    retest: RetestOf | None = None

    def chosen(self) -> Chosen:
        """Return it as the Night page plans it."""
        again = self.retest
        retest = (again.serial, again.cause, again.record) if again else ("", "", "")
        return Chosen(**self.model_dump(exclude={"retest"}), retest=retest)


class NightView(Shape):
    """A planned night as it would be if it began now; times of day of the bench's clock."""

    plan: NightPlan
    ready_at: str
    ends_at: str
    cold_at: str
    bath_limit_c: float
    boiling_c: float
    pressure_kpa: float
    fill_above_switch_l: float
    warnings: tuple[str, ...]
    blocking: tuple[str, ...]
    """Why nothing of it could be certified."""


class NightStart(Described):
    """A night to start, with what its operator says before heat: cautions read is a must."""

    bench: Annotated[str, Field(max_length=60)]
    plan: NightPlan
    cautions_read: bool
    clear_trip: bool = False
    attended: bool = False
    loaded: Annotated[str, Field(max_length=200)] = ""
    code: Annotated[str, Field(max_length=20)] = ""
    """The four digits of `proofbath bench code`, read at the bench; a real one always asks."""


class NightCheck(Described):
    """A planned night for which a bench at rest is to be looked at; nothing is heated."""

    bench: Annotated[str, Field(max_length=60)]
    plan: NightPlan


class CheckView(Shape):
    """One thing that was looked at before heat."""

    what: str
    ok: bool
    measured: str
    wanted: str
    remedy: str


@router.post("/night/plan")
def plan_night(frame: CurrentFrame, signed: Viewer, choice: NightChoice) -> NightView:
    """Plan a night of a batch and tell its course; nothing is put on record."""
    plan = planned(frame.shop, choice.chosen())
    seen = look(frame.shop, plan, choice.bench, frame.utc())
    return _night(plan, seen["seen"], seen["blocks"])


@router.post("/night/check")
def check_bench(shop: CurrentShop, signed: Operator, night: NightCheck) -> list[CheckView]:
    """Look at a bench at rest for a planned night; nothing is heated."""
    checks: list[Check] = bench_checks(shop, night.bench, night.plan)
    return [CheckView.model_validate(check, from_attributes=True) for check in checks]


@router.post("/night/start", status_code=201)
def start(
    request: Request,
    signed: Operator,
    stamp: CurrentStamp,
    presence: NeedsPresence,
    night: NightStart,
) -> Said:
    """Start a planned night as its own process, held by who starts it.

    The cautions of GET /api/start must have been read; the bench is checked again before heat,
    and one that does not pass within 10 s is refused with the reason. A latched trip (power-on is
    one) is cleared where clear_trip says that a person looked and removed its cause.
    """
    if not night.cautions_read:
        raise InputError("cautions: not acknowledged; read them and say cautions_read")
    loaded, by = " ".join(night.loaded.split()), signed.person.entry.name
    order = NightOrder(night.plan, night.bench, by, night.clear_trip, night.attended, loaded)
    return Said(happened=begin_night(request, order, stamp, presence, night.code))


@router.post("/nights/keep")
def keep(shop: CurrentShop, signed: Hands, stamp: CurrentStamp) -> list[Numbered]:
    """Put runs on record that ended without their process; return their numbers."""
    return [Numbered(number=run) for run in keep_missing(shop, stamp)]


def _night(plan: NightPlan, seen: Preview, blocks: list[str]) -> NightView:
    return NightView(
        plan=plan,
        ready_at=seen.ready_at,
        ends_at=seen.ends_at,
        cold_at=seen.cold_at,
        bath_limit_c=seen.limit_c,
        boiling_c=seen.boiling_c,
        pressure_kpa=seen.pressure_kpa,
        fill_above_switch_l=seen.checked.fill_above_switch_l,
        warnings=tuple(seen.checked.warnings),
        blocking=tuple(blocks),
    )
