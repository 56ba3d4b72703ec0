"""What the workshop puts on record: one frozen description a kind, and what each must keep to.

A field of type int, float, str or bool is a column of its table; everything else is kept as JSON.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import Field, field_validator, model_validator

from proofbath.description import Described
from proofbath.proof.ordered import Ordered
from proofbath.proof.rework_act import ReworkAct
from proofbath.proof.rework_kind import Rework as ReworkKind
from proofbath.proof.rework_kind import without_prices
from proofbath.proof.specification import Specification
from proofbath.proof.verdict import RetestCause
from proofbath.run.plan import Role as Place
from proofbath.run.plan import Stage
from proofbath.run.unit_type import UnitType
from proofbath.wire.table import STATIONS

Line = Annotated[
    str, Field(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f]*\S[^\x00-\x1f]*$")
]
Remark = Annotated[str, Field(max_length=2000)]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Station = Annotated[int, Field(ge=1, le=STATIONS)]
Right = Literal["viewer", "operator", "certifier", "administrator"]
Content = dict[str, Any]
Finding = Literal["good", "doubtful", "bad", "not looked at"]


@dataclass(frozen=True)
class Refers:
    """Marks a number as that of a record of another table."""

    table: str


class Kind(Described):
    """A kind of record. `unique` names the fields no two records may share.

    Who holds one of `rights_to_write` may write it; where there are none, anybody and the program.
    `put_by` is the verb that puts one on record.
    """

    table: ClassVar[str]
    unique: ClassVar[tuple[str, ...]] = ()
    rights_to_write: ClassVar[tuple[Right, ...]] = ("operator", "certifier")
    put_by: ClassVar[str] = ""


class Person(Kind):
    """Somebody who works here; the first one written must be certifier or administrator."""

    table = "person"
    unique = ("name",)
    rights_to_write = ("certifier", "administrator")
    put_by = "proofbath records person"

    name: Line
    rights: tuple[Right, ...]
    active: bool = True


class TypeVersion(Kind):
    """One version of a unit type: its figures, its specification, and how it can be reworked."""

    table = "type_version"
    unique = ("name", "version")
    rights_to_write = ("certifier",)

    name: Line
    version: Annotated[int, Field(ge=1)]
    fingerprint: Digest
    unit_type: UnitType
    specification: Specification
    rework_kind: ReworkKind | None = None
    """How it can be reworked; not known where it is missing."""

    @field_validator("rework_kind", mode="before")
    @classmethod
    def _of_before(cls, kept: Any) -> Any:
        """Read what was frozen when a type still stated prices."""
        return without_prices(kept)

    @classmethod
    def of(
        cls,
        unit_type: UnitType,
        specification: Specification,
        rework_kind: ReworkKind | None = None,
    ) -> Self:
        """Return the record of a type and the specification of the same name."""
        return cls(
            name=unit_type.name,
            version=specification.version,
            fingerprint=specification.fingerprint(),
            unit_type=unit_type,
            specification=specification,
            rework_kind=rework_kind,
        )

    @model_validator(mode="after")
    def _of_one_type(self) -> Self:
        if not self.name == self.unit_type.name == self.specification.unit_type:
            raise ValueError(
                f"specification of {self.specification.unit_type} does not belong to "
                f"{self.unit_type.name}"
            )
        return self


class Unit(Kind):
    """One thermostat, known by its serial number for good."""

    table = "unit"
    unique = ("serial",)
    put_by = "proofbath unit add"

    serial: Annotated[str, Field(pattern=r"^[A-Za-z0-9._-]{1,40}$")]
    unit_type: Line
    description: Remark = ""
    customer_mark: Remark = ""
    supplier_lot: Remark | None = None
    """Lot of its element or of the whole unit, as far as known."""


class Batch(Kind):
    """Units of one customer and one type, judged by the specification frozen here."""

    table = "batch"
    unique = ("name",)
    put_by = "proofbath batch open"

    name: Annotated[str, Field(min_length=1, max_length=60)]
    customer: Line
    customer_address: tuple[Line, ...] = ()
    customer_contact: Remark = ""
    received: dt.date
    type_version_id: Annotated[int, Refers("type_version")]
    fingerprint: Digest


class Findings(Described):
    """What was looked at when a unit came in; a heater only where the type has one."""

    identity: Finding = "not looked at"
    corrosion: Finding = "not looked at"
    spring: Finding = "not looked at"
    cracks: Finding = "not looked at"
    wax_seep: Finding = "not looked at"
    vent_pin: Finding = "not looked at"
    seal: Finding = "not looked at"
    heater_ohm: Annotated[float, Field(ge=0)] | None = None
    insulation_mohm: Annotated[float, Field(ge=0)] | None = None

    def bad(self) -> list[str]:
        """Return what was found bad."""
        return [name for name, found in self if found == "bad"]


class Intake(Kind):
    """A unit taken into a batch, or refused; whatever is bad needs a word why it is taken."""

    table = "intake"

    unit_id: Annotated[int, Refers("unit")]
    batch_id: Annotated[int, Refers("batch")]
    cause: Literal["rework", "new", "returned", "complaint"]
    findings: Findings
    accepted: bool
    remark: Remark = ""

    @model_validator(mode="after")
    def _is_explained(self) -> Self:
        if not self.accepted and not self.remark.strip():
            raise ValueError("a refused unit needs the reason in its remark")
        if self.accepted and self.findings.bad() and not self.remark.strip():
            bad = ", ".join(self.findings.bad())
            raise ValueError(f"accepted with {bad} bad: say in the remark what is done about it")
        return self


class Loading(Kind):
    """A unit or a blank hung at a station for a night; a retest says what spoilt the first."""

    table = "loading"

    batch_id: Annotated[int, Refers("batch")] | None = None
    unit_id: Annotated[int, Refers("unit")] | None = None
    bench: Line
    station: Station
    place: Place = "unit"
    stage: Stage
    retest_cause: RetestCause | None = None
    cause_record: Remark = ""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if (self.place == "blank") != (self.unit_id is None):
            raise ValueError("a blank has no unit, everything else has one")
        if self.retest_cause and not self.cause_record.strip():
            raise ValueError("a retest needs its cause recorded")
        return self


class StationRun(Kind):
    """A closed run of the journal at one station; `run_digest` is the run's last link."""

    table = "station_run"
    unique = ("run_id", "station")
    rights_to_write = ()

    run_id: Annotated[int, Refers("run")]
    loading_id: Annotated[int, Refers("loading")]
    station: Station
    status: Line
    run_digest: Digest


class Result(Kind):
    """What a station's run says of its unit, under the calibrations named (none: the file's)."""

    table = "result"
    rights_to_write = ()

    station_run_id: Annotated[int, Refers("station_run")]
    calibration_ids: tuple[int, ...] = ()
    program: Line
    content: Content


class Rework(Kind):
    """What was changed on a unit, and by how much."""

    table = "rework"

    unit_id: Annotated[int, Refers("unit")]
    batch_id: Annotated[int, Refers("batch")]
    date: dt.date
    kind: Literal["wax", "setting", "element", "part", "cleaning", "other"]
    amount: float | None = None
    """mg of wax or mm of setting; more opens earlier. An element's changes stand in `act`."""
    text: Line
    supplier_lot: Remark | None = None
    """Lot of the wax or part that was used."""
    act: ReworkAct | None = None
    cancelled: bool | None = None
    """True where it was never done; the correction's reason says why it was put on record."""

    @model_validator(mode="after")
    def _says_what(self) -> Self:
        if (self.kind == "element") != (self.act is not None):
            raise ValueError("a rework of the element has an act, what was done; no other has")
        if self.act is not None and self.amount is not None:
            raise ValueError("a rework of the element has no amount beside its act")
        return self


class Order(Kind):
    """What was ordered of a batch, or of one unit of it, apart from the marking of its type.

    The newest one holds; one of the unit goes before one of its batch.
    """

    table = "customer_order"
    put_by = "proofbath batch order"

    batch_id: Annotated[int, Refers("batch")]
    unit_id: Annotated[int, Refers("unit")] | None = None
    ordered: Ordered


class Calibration(Kind):
    """A calibration or a check: of what, against what, until when, with its raw counts."""

    table = "calibration"

    bench: Line
    kind: Literal["probe", "check", "gauge", "element", "blank"]
    station: Annotated[int, Field(ge=0, le=STATIONS)] = 0
    """0 for the probes."""
    done: dt.date
    due: dt.date
    reference: Line
    uncertainty: Line
    content: Content

    @model_validator(mode="after")
    def _due_later(self) -> Self:
        if self.due <= self.done:
            raise ValueError(f"due {self.due} must lie after {self.done}")
        if (self.kind in ("probe", "check")) != (self.station == 0):
            raise ValueError("probes have no station, everything else has one")
        return self


class Handling(Kind):
    """Something at a bench was touched that a calibration rests on; station 0 means all."""

    table = "handling"

    bench: Line
    station: Annotated[int, Field(ge=0, le=STATIONS)] = 0
    what: Literal["fixture", "gauge", "probe", "element channel"]
    date: dt.date
    text: Line


class ReferenceUnit(Kind):
    """A sealed unit that is measured in every batch of its types, from a date on."""

    table = "reference_unit"

    unit_id: Annotated[int, Refers("unit")]
    since: dt.date
    in_use: bool = True
    text: Remark = ""


class ChartCause(Kind):
    """The recorded cause of a control chart's signal in a run."""

    table = "chart_cause"
    rights_to_write = ("certifier",)

    run_id: Annotated[int, Refers("run")]
    chart: Literal["reference", "probes"]
    cause: Line


class Decision(Kind):
    """A unit's result judged by its batch's specification, with all limits in `content`."""

    table = "decision"

    unit_id: Annotated[int, Refers("unit")]
    batch_id: Annotated[int, Refers("batch")]
    result_id: Annotated[int, Refers("result")]
    fingerprint: Digest
    rule: Line
    outcome: Line
    probability: Annotated[float, Field(ge=0, le=1)] | None = None
    content: Content
    agreement_customer: Remark = ""
    agreement_record: Remark = ""


class Certificate(Kind):
    """A certificate that was issued, by number and digest."""

    table = "certificate"
    unique = ("number",)
    rights_to_write = ("certifier",)

    number: Line
    sha256: Digest
    unit_id: Annotated[int, Refers("unit")]
    decision_id: Annotated[int, Refers("decision")]
    result_id: Annotated[int, Refers("result")]
    issued: dt.date


Sort = Literal["summary", "then-and-now", "withdrawal"]
"""Of a paper that is no certificate."""


class Document(Kind):
    """A paper issued that is no certificate: a summary, a comparison, a withdrawal."""

    table = "document"
    unique = ("number",)
    rights_to_write = ("certifier",)

    number: Line
    sha256: Digest
    sort: Sort
    about: Line
    """Name of the batch, serial of the unit, or number of the certificate."""


class CertificateState(Kind):
    """What became of a certificate; `document` is the withdrawal's or the successor's number."""

    table = "certificate_state"
    rights_to_write = ("certifier",)

    certificate_id: Annotated[int, Refers("certificate")]
    state: Literal["withdrawn", "replaced"]
    document: Line
    why: Line


class HandMeasurement(Kind):
    """What was measured by hand, without the rig: it stays with the unit, and certifies nothing."""

    table = "hand_measurement"

    unit_id: Annotated[int, Refers("unit")]
    stage: Stage
    date: dt.date
    content: Content


class ServiceLog(Kind):
    """Coolant temperatures from the engine a unit was fitted to, and what they say."""

    table = "service_log"

    unit_id: Annotated[int, Refers("unit")]
    fitted: dt.date
    engine: Line
    content: Content


class BenchStudy(Kind):
    """A study of a bench: units rotated over its stations, and what varies between them."""

    table = "bench_study"

    bench: Line
    done: dt.date
    run_ids: tuple[int, ...]
    content: Content


class Action(Kind):
    """Something a person did at the bench or to the records that leaves no other record."""

    table = "action"
    rights_to_write = ()

    what: Line
    detail: Remark = ""


KINDS: tuple[type[Kind], ...] = (
    Person, TypeVersion, Unit, Batch, Intake, Loading, StationRun, Result, Rework, Calibration,
    Handling, ReferenceUnit, ChartCause, Decision, Certificate, CertificateState, HandMeasurement,
    ServiceLog, BenchStudy, Action, Document, Order,
)  # fmt: skip
"""Each after those it refers to."""
