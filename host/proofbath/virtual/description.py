"""What a virtual bench is made of: bath, probes, stations, units and faults, from TOML.

Names are those of the plant's parameters; defaults give the model unit (start-to-open 82 degC)
in a bath of 8 l.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, TypeVar

from pydantic import Field, ValidationInfo, field_validator, model_validator

from proofbath.description import Described
from proofbath.virtual.native import fault_kinds
from proofbath.wire.table import STATIONS

Share = Annotated[float, Field(ge=0, le=1)]
Gain = Annotated[float, Field(ge=0.8, le=1.2)]
SwitchingTime = Annotated[float, Field(ge=0, le=10)]
Kelvins = Annotated[float, Field(ge=-10, le=10)]
Station = Annotated[int, Field(ge=1, le=STATIONS)]
MeltingPoint = Annotated[float, Field(ge=20, le=160)]
MeltingWidth = Annotated[float, Field(ge=0.5, le=20)]
LASTING_S = 1e9
"""End of a fault that stays."""
FAULTS_MAX = 64
_NOT_OF_THE_PLANT = ("serial", "station", "bore_mm", "was")


class VirtualBath(Described):
    """The bath as it really is; the host knows it only through its probes."""

    start_c: Annotated[float, Field(ge=0, le=120)] = 20.0
    ambient_c: Annotated[float, Field(ge=-10, le=50)] = 20.0
    pressure_kpa: Annotated[float, Field(ge=50, le=110)] = 101.325
    """At the station, not reduced to sea level."""
    fill_l: Annotated[float, Field(ge=2, le=60)] = 8.0
    glycol_percent: Annotated[float, Field(ge=0, le=70)] = 40.0
    """By volume, when filled."""
    level_switch_share: Share = 0.75
    """The level switch opens below this share of the fill."""
    vessel_j_per_k: Annotated[float, Field(ge=0, le=20000)] = 400.0
    loss_w_per_k: Annotated[float, Field(ge=0, le=20)] = 1.7
    surface_m2: Annotated[float, Field(ge=0, le=1)] = 0.06
    evaporation_w_per_m2: Annotated[float, Field(ge=0, le=40000)] = 15000.0
    """From open water at 90 degC."""
    lid_share: Share = 0.1
    """What a lid lets through of the evaporation."""
    lid: bool = True
    heater_w: Annotated[float, Field(ge=0, le=6000)] = 1500.0
    sheath_s: Annotated[float, Field(ge=0.5, le=60)] = 10.0
    sheath_w_per_k: Annotated[float, Field(ge=5, le=100)] = 30.0
    dead_s: Annotated[float, Field(ge=0, le=25)] = 5.0
    coil_w_per_k: Annotated[float, Field(ge=0, le=50)] = 6.0
    coil_c: Annotated[float, Field(ge=0, le=40)] = 15.0
    mixing_k: Annotated[float, Field(ge=0, le=1)] = 0.008
    """Spread of the fluctuations at one place of the stirred bath."""


class VirtualChain(Described):
    """The contactor chain, which works without the controller: cut-out, level relay, contactors.

    Times are from coil to contact and show in whole steps of 25 ms.
    """

    cut_out_c: Annotated[float, Field(ge=40, le=200)] = 115.0
    """Set point of the over-temperature cut-out, which stays open until its button is pressed."""
    cut_out_lag_s: Annotated[float, Field(ge=0, le=300)] = 20.0
    """Of its own sensor."""
    cut_out_reset_k: Annotated[float, Field(ge=0, le=100)] = 10.0
    """So far below its set point its button holds."""
    level_delay_s: Annotated[float, Field(ge=0, le=60)] = 2.0
    """From the float's fall to the chain's contact."""
    contactor_close_s: SwitchingTime = 0.03
    """Of the main contactor."""
    contactor_open_s: SwitchingTime = 0.03
    feed_close_s: SwitchingTime = 0.03
    """Of the element feed contactor."""
    feed_open_s: SwitchingTime = 0.03
    heater_relay_close_s: SwitchingTime = 0.0
    heater_relay_open_s: SwitchingTime = 0.0
    heater_sense_close_s: SwitchingTime = 0.0
    """Of the current relay behind the heater's relay."""
    heater_sense_open_s: SwitchingTime = 0.0


class VirtualProbe(Described):
    """A platinum probe: its lag, its error and its place."""

    lag_s: Annotated[float, Field(ge=0, le=60)] = 6.0
    offset_k: Kelvins = 0.0
    """Error of the reading at 0 degC."""
    slope_k_per_k: Annotated[float, Field(ge=-0.05, le=0.05)] = 0.0
    """Further error per kelvin above 0 degC."""
    gradient_k: Kelvins = 0.0
    """Its place minus the mean of the bath."""
    noise_k: Annotated[float, Field(ge=0, le=1)] = 0.002
    bias_resistor: bool = True
    """Fitted from RTDIN+ to the bias of its converter: a broken lead there reads full scale."""


class VirtualStation(Described):
    """A station without its unit: place in the bath, gauge, fixture and element channel."""

    station: Station
    blank: bool = False
    """A solid bar instead of a unit: the gauge shows the fixture's expansion."""
    gradient_k: Kelvins = 0.0
    gauge_zero_mm: Annotated[float, Field(ge=0, le=5)] = 0.5
    gauge_gain: Gain = 1.0
    gauge_noise_mm: Annotated[float, Field(ge=0, le=1)] = 0.002
    expansion_mm_per_k: Annotated[float, Field(ge=-0.01, le=0.01)] = 0.0005
    """Of the fixture, from 20 degC; also with a unit in it."""
    expansion_rising_lag_s: Annotated[float, Field(ge=0, le=600)] = 0.0
    expansion_falling_lag_s: Annotated[float, Field(ge=0, le=600)] = 0.0
    supply_v: Annotated[float, Field(ge=0, le=20)] = 18.0
    lead_ohm: Annotated[float, Field(ge=0, le=5)] = 0.2
    source_gain: Gain = 1.0
    """Current that flows over current asked."""
    current_gain: Gain = 1.0
    """Current read over current that flows."""
    voltage_gain: Gain = 1.0
    current_offset_a: Annotated[float, Field(ge=-0.2, le=0.2)] = 0.0
    """Of the shunt's amplifier, which also steers the sink: so much less flows, unseen."""
    voltage_offset_v: Annotated[float, Field(ge=-1, le=1)] = 0.0
    """Of the voltage's amplifier: so much more is read."""
    current_noise_a: Annotated[float, Field(ge=0, le=0.1)] = 0.0003
    voltage_noise_v: Annotated[float, Field(ge=0, le=1)] = 0.003


class VirtualWax(Described):
    """Wax that can be put into units of the bench: a type's, or what was melted out of a unit."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    melting_c: MeltingPoint
    melting_width_k: MeltingWidth = 4.2
    filler: Annotated[float, Field(ge=0, le=0.6)] = 0.0
    """Metal powder's share by mass of what is on the balance."""


class VirtualBefore(Described):
    """What a unit was before one of its reworks, so that this can be undone exactly."""

    number: Annotated[int, Field(ge=0)]
    """Of the rework, counted over the bench: its slips are drawn from this and the seed."""
    figures: dict[str, float]
    """Of the unit, only those that were changed."""


class VirtualUnit(Described):
    """A wax thermostat; a reference unit is one that nobody reworks."""

    serial: Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,31}$")]
    station: Station
    melting_c: MeltingPoint = 90.0
    """Where half of the wax has melted."""
    melting_width_k: MeltingWidth = 4.2
    wax_mg: Annotated[float, Field(ge=100, le=10000)] = 1300.0
    copper_mg: Annotated[float, Field(ge=0, le=10000)] = 900.0
    """Metal powder stirred into the wax."""
    latent_j_per_g: Annotated[float, Field(ge=0, le=400)] = 190.0
    wax_j_per_g_k: Annotated[float, Field(ge=0.5, le=5)] = 2.3
    solid_cm3_per_g: Annotated[float, Field(ge=0.8, le=1.5)] = 1.10
    solid_expansion_per_k: Annotated[float, Field(ge=0, le=5e-3)] = 4e-4
    melt_ratio: Annotated[float, Field(ge=1, le=1.3)] = 1.11
    """Volume of the liquid over that of the solid at melting_c."""
    liquid_expansion_per_k: Annotated[float, Field(ge=0, le=5e-3)] = 8.5e-4
    pin_mm: Annotated[float, Field(ge=2, le=10)] = 4.3
    """Diameter."""
    bore_mm: Annotated[float, Field(ge=2, le=40)] = 10.0
    """Diameter of what the crimp or the cap closes: how deep it is closed leaves the cavity."""
    cavity_mm3: Annotated[float, Field(ge=50, le=20000)] = 1485.0
    """Volume of the wax at lift 0."""
    setting_mm: Annotated[float, Field(ge=-10, le=10)] = 0.0
    play_k: Annotated[float, Field(ge=0, le=15)] = 2.5
    friction_mm: Annotated[float, Field(ge=0, le=5)] = 0.04
    """Full width of the pin's play."""
    stop_mm: Annotated[float, Field(ge=0.1, le=19)] = 12.0
    cup_j_per_k: Annotated[float, Field(ge=0.1, le=100)] = 5.8
    film_w_per_k: Annotated[float, Field(ge=0.005, le=20)] = 1.5
    """From bath to cup, stirred, at 80 degC."""
    film_growth_per_k: Annotated[float, Field(ge=0, le=0.01)] = 0.0
    """Growth of the film a kelvin of cup temperature above 80 degC."""
    film_excess_per_k: Annotated[float, Field(ge=-0.06, le=0.3)] = 0.0
    """Growth of the film a kelvin by which the cup is hotter than the bath; below 0 it falls."""
    film_exponent: Annotated[float, Field(ge=0, le=0.5)] = 0.0
    """The film goes with the cup's excess over the bath, in units of 5 K, to this power."""
    wax_w_per_k: Annotated[float, Field(ge=0.05, le=10)] = 0.8
    """From cup to wax, on average over its shells."""
    core_share: Annotated[float, Field(ge=0.01, le=0.95)] = 1 / 3
    """Of the wax's resistance between its shells, the rest at the cup's wall."""
    shells: Annotated[int, Field(ge=1, le=8)] = 1
    cup_power_share: Share = 0.0
    """Of the heater's power, what enters the cup and not the core."""
    heater_ohm: Annotated[float, Field(ge=0, le=200)] = 15.0
    """At 25 degC; 0 for a unit without a heater."""
    heater_per_k: Annotated[float, Field(ge=0, le=5e-3)] = 2e-4
    start_scatter_k: Annotated[float, Field(ge=0, le=2)] = 0.0
    """Spread of the start from cycle to cycle."""
    was: tuple[VirtualBefore, ...] = ()
    """Before each of its reworks, the last one at the end."""

    def parameters(self) -> dict[str, float]:
        """Return what the plant has to know of the unit, by the plant's names."""
        return {k: float(v) for k, v in self if k not in _NOT_OF_THE_PLANT}


class VirtualFault(Described):
    """A fault present from `at_s` up to `until_s` of the plant's time."""

    kind: str
    station: Annotated[int, Field(ge=0, le=STATIONS)] = 0
    """0 where the kind is one of the whole bench."""
    at_s: Annotated[float, Field(ge=0)] = 0.0
    until_s: Annotated[float, Field(gt=0)] = LASTING_S
    size: float | None = None
    """In the unit of its kind; left out where a size says nothing."""

    @model_validator(mode="after")
    def _fits_its_kind(self) -> VirtualFault:
        kind = fault_kinds().get(self.kind)
        if kind is None:
            raise ValueError(f"no kind {self.kind!r}; known: {', '.join(fault_kinds())}")
        if kind.at_station != bool(self.station):
            needed = "needs a station" if kind.at_station else "takes no station"
            raise ValueError(f"{self.kind} {needed}")
        if bool(kind.size) != (self.size is not None):
            needed = f"needs a size: {kind.size}" if kind.size else "takes no size"
            raise ValueError(f"{self.kind} {needed}")
        if self.until_s <= self.at_s:
            raise ValueError(f"until_s {self.until_s:g} must be after at_s {self.at_s:g}")
        return self


_Placed = TypeVar("_Placed", VirtualStation, VirtualUnit)


class VirtualSection(Described):
    """A whole virtual bench; stations that are not named have the default gauge."""

    seed: Annotated[int, Field(ge=0, lt=2**63)] = 1
    speed: Annotated[float, Field(ge=1, le=500)] | None = None
    """Its time over that of life, to be looked at; as fast as it goes when left out."""
    reworks: Annotated[int, Field(ge=0, le=10**6)] = 0
    """Reworks made on its units so far: the next one's scatter is drawn from this and the seed."""
    bath: VirtualBath = VirtualBath()
    chain: VirtualChain = VirtualChain()
    bath_probe: VirtualProbe = VirtualProbe()
    guard_probe: VirtualProbe = VirtualProbe()
    station: tuple[VirtualStation, ...] = ()
    unit: tuple[VirtualUnit, ...] = ()
    wax: tuple[VirtualWax, ...] = ()
    """At hand to be put into units."""
    fault: Annotated[tuple[VirtualFault, ...], Field(max_length=FAULTS_MAX)] = ()

    @field_validator("station")
    @classmethod
    def _each_station_once(cls, stations: tuple[VirtualStation, ...]) -> tuple[VirtualStation, ...]:
        return _refuse(stations, [f"station {n} is described twice" for n in _twice(stations)])

    @field_validator("unit")
    @classmethod
    def _one_unit_a_station(
        cls, units: tuple[VirtualUnit, ...], info: ValidationInfo
    ) -> tuple[VirtualUnit, ...]:
        blanks = {s.station for s in info.data.get("station", ()) if s.blank}
        faults = [f"station {n} holds two units" for n in _twice(units)]
        faults += [f"station {u.station} holds a blank" for u in units if u.station in blanks]
        serials = [u.serial for u in units]
        faults += [f"serial {s} stands twice" for s in sorted(set(serials)) if serials.count(s) > 1]
        return _refuse(units, faults)

    @field_validator("wax")
    @classmethod
    def _each_wax_once(cls, waxes: tuple[VirtualWax, ...]) -> tuple[VirtualWax, ...]:
        names = [wax.name for wax in waxes]
        if len(set(names)) < len(names):
            raise ValueError(f"a wax is described twice: {', '.join(names)}")
        return waxes

    def parameters(self) -> Iterator[tuple[str, float]]:
        """Yield the dotted plant name and the value of everything described."""
        for part in ("bath", "chain", "bath_probe", "guard_probe"):
            for name, value in getattr(self, part):
                yield f"{part}.{name}", float(value)
        for station in self.station:
            for name, value in station:
                if name != "station":
                    yield f"station.{station.station}.{name}", float(value)
        for unit in self.unit:
            yield f"unit.{unit.station}.present", 1.0
            for name, value in unit.parameters().items():
                yield f"unit.{unit.station}.{name}", value


def _twice(placed: tuple[_Placed, ...]) -> list[int]:
    numbers = [p.station for p in placed]
    return sorted({n for n in numbers if numbers.count(n) > 1})


def _refuse(placed: tuple[_Placed, ...], faults: list[str]) -> tuple[_Placed, ...]:
    if faults:
        raise ValueError("; ".join(faults))
    return placed
