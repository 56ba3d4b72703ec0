"""The bench file: one TOML text that describes a bench, its calibration and what it runs on."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr, model_validator

from proofbath.bench.calibration import Calibration
from proofbath.bench.limits import LimitsSection
from proofbath.bench.notify import NotifySettings
from proofbath.bench.supply_description import SupplySettings
from proofbath.bench.tuned import Tuned
from proofbath.control.bath_model import BathModel
from proofbath.control.boiling import Coolant, pressure_kpa
from proofbath.control.gains import Gains
from proofbath.curve.bench_budget import BenchBudget
from proofbath.description import Described
from proofbath.virtual.description import VirtualSection
from proofbath.wire.table import U32, Board

VIRTUAL_PORT = "virtual"
TRIP_MARGIN_K = 2.0
"""The controller trips this far above the highest temperature a plan asks for."""
BoardName = Literal["native", "atmega2560", "atmega328p"]


class BenchSection(Described):
    """The bench itself: what it is called, where its controller is, where it stands."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    port: Annotated[str, Field(min_length=1)] = VIRTUAL_PORT
    """"virtual", "simulator:" and the firmware's ELF file, a device path or socket://host:port."""
    board: BoardName | None = None
    """Board the controller must be; not checked when left out."""
    serial_number: Annotated[int, Field(ge=0, le=U32)] | None = None
    """Serial number the controller must have; not checked when left out."""
    station_pressure_kpa: Annotated[float, Field(ge=50, le=110)] | None = None
    """Pressure of the day at the bench, not reduced to sea level."""
    altitude_m: Annotated[float, Field(ge=-400, le=4500)] | None = None
    fill_l: Annotated[float, Field(ge=1, le=60)] = 8.0
    filled_on: dt.date | None = None
    """When the bath was last emptied or filled; its level switch is proven since."""
    above_switch_l: Annotated[float, Field(ge=0, le=60)] | None = None
    """Coolant above the level switch when filled; a night's evaporation is held against it."""
    element_feed: bool = True
    """Whether the controller's own channels feed elements; false where none are fitted."""

    @model_validator(mode="after")
    def _one_pressure(self) -> BenchSection:
        if self.station_pressure_kpa is not None and self.altitude_m is not None:
            raise ValueError("give station_pressure_kpa or altitude_m, not both")
        return self


class BenchFile(Described):
    """A whole bench file; `virtual` describes what stands in for the hardware."""

    bench: BenchSection
    coolant: Coolant
    bath: BathModel
    limits: LimitsSection = LimitsSection()
    calibration: Calibration = Calibration()
    budget: BenchBudget | None = None
    """Uncertainties the bench brings to every result; None when it states none."""
    supply: SupplySettings | None = None
    """A bench supply as the source of element current, in place of the controller's channels."""
    notify: NotifySettings = NotifySettings()
    tuned: Tuned | None = None
    """What the last heating test found; None before the first."""
    virtual: VirtualSection | None = None
    _file: Path | None = PrivateAttr(default=None)

    @property
    def file(self) -> Path | None:
        """Real path of the file it was read from; None for one that was never in a file."""
        return self._file

    def read_from(self, path: Path) -> None:
        """Take note of the file it was read from: it tells virtual benches of one name apart."""
        self._file = path.resolve()

    @model_validator(mode="after")
    def _virtual_is_described(self) -> BenchFile:
        if self.bench.port == VIRTUAL_PORT and self.virtual is None:
            raise ValueError("a bench on port 'virtual' needs a [virtual] section")
        return self

    @model_validator(mode="after")
    def _supply_is_real(self) -> BenchFile:
        if self.supply is not None and self.bench.port == VIRTUAL_PORT:
            raise ValueError(
                "a bench on port 'virtual' is faster than any [supply]; leave [supply] out, "
                "its stations have channels of their own"
            )
        return self

    def pressure_kpa(self) -> float:
        """Return the pressure over the bath: as measured, else the altitude's, else sea level's."""
        if self.bench.station_pressure_kpa is not None:
            return self.bench.station_pressure_kpa
        return pressure_kpa(self.bench.altitude_m or 0.0)

    def bath_limit_c(self) -> float:
        """Return the highest temperature a plan may ask for: below boiling and the trip limit."""
        trip_c = self.limits.bath_limit_c
        return min(self.coolant.limit_c(self.pressure_kpa()), trip_c - TRIP_MARGIN_K)

    def gains(self) -> Gains | None:
        """Return the gains that were tuned; None where they follow from the bath's figures."""
        return self.tuned.gains() if self.tuned else None

    def board(self) -> Board | None:
        """Return the board the controller must be, None when any will do."""
        return Board[self.bench.board.upper()] if self.bench.board else None
