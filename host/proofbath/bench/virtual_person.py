"""A person who stands at a virtual bench: does by faults of the plant what hands would do."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from proofbath.bench.person import CONTACTOR_DROPPED, TRY_AGAIN, Act
from proofbath.bench.port import PortLostError
from proofbath.bench.virtual_port import VirtualPort
from proofbath.virtual.bench import VirtualBench
from proofbath.virtual.description import VirtualSection, VirtualUnit
from proofbath.wire.table import STATIONS, TICK_MS, BootCause


class Deed(NamedTuple):
    """What an act is to the plant: a fault for a time."""

    kind: str
    for_s: float
    size: float = 0.0


DEEDS = {
    "press": Deed("over_stroke", 1.5, 2.0),
    "lift plunger": Deed("vent_pin", 1.5, 3.0),
    "emergency stop": Deed("emergency_stop", 3.0),
    "level": Deed("level_low", 4.0),
    "stirrer": Deed("stirrer_stopped", 5.0),
    "bath probe": Deed("bath_probe_open", 3.0),
    "guard probe": Deed("guard_probe_open", 3.0),
    "probes apart": Deed("guard_probe_offset", 15.0, 8.0),
    "mirror unplugged": Deed("mirror_stuck_closed", 3.0),
    "mirror bridged": Deed("mirror_stuck_open", 3.0),
    "welded relay": Deed("heater_welded", 3.0),
    "heater open": Deed("heater_open", 3.0),
    "mains lost": Deed("mains_lost", 5.0),
    "element open": Deed("element_open", 4.0),
    "element short": Deed("element_short", 4.0),
    "element over": Deed("bypass_closed", 4.0, 0.4),
    "gauge": Deed("gauge_open", 4.0),
}
CUT_OUT_C = "chain.cut_out_c"
BY_THEMSELVES = frozenset({"undo", "fill", "cable back", "power back"})
CONTACTOR_DROPS_S = 4.0
POWER_IS_OFF_S = 10.0
DUMMY_OHM = 15.0


def with_dummy_loads(virtual: VirtualSection) -> VirtualSection:
    """Return a virtual bench whose stations all have a load of 15 ohm in their element leads."""
    units = {unit.station: unit for unit in virtual.unit}
    loads = [
        units.get(n, VirtualUnit(serial=f"load-{n}", station=n)).model_copy(
            update={"heater_ohm": DUMMY_OHM}
        )
        for n in range(1, STATIONS + 1)
    ]
    bars = [station.model_copy(update={"blank": False}) for station in virtual.station]
    return virtual.model_copy(update={"unit": tuple(loads), "station": tuple(bars)})


class Plug:
    """A virtual bench's port that can be pulled out: the bench lives on, unheard."""

    name = "virtual bench"

    def __init__(self, bench: VirtualBench) -> None:
        self.out = False
        self._bench = bench
        self._port = VirtualPort(bench)

    def read(self) -> bytes:
        """Return what the controller sent within the next tick; raises PortLostError."""
        self._look()
        return self._port.read()

    def write(self, data: bytes) -> None:
        """Keep bytes for the next tick; raises PortLostError."""
        self._look()
        self._port.write(data)

    def now_s(self) -> float:
        """Return the bench's own time."""
        return self._port.now_s()

    def close(self) -> None:
        """Do nothing: the bench lives on."""

    def pull(self) -> None:
        """Pull the plug; what was on its way is lost."""
        self.out = True
        self._port = VirtualPort(self._bench)

    def _look(self) -> None:
        if self.out:
            raise PortLostError("virtual bench: the cable is pulled")


class VirtualPerson:
    """Agrees to everything but another try, says what is wanted, and looks at the contactor."""

    def __init__(
        self,
        bench: VirtualBench,
        tell: Callable[[str], None] = lambda _: None,
        plug: Plug | None = None,
    ) -> None:
        self._bench = bench
        self._tell = tell
        self._plug = plug
        self._cut_out_c = bench.get(CUT_OUT_C)

    def tell(self, text: str) -> None:
        """Pass a line on."""
        self._tell(text)

    def wait(self, text: str) -> None:
        """Be ready at once."""
        self._tell(text)

    def act(self, act: Act) -> None:
        """Do it to the plant; raises KeyError for an act nobody has thought of."""
        self._tell(act.text)
        if act.name == "cut-out":  # its setting is turned down until it opens
            self._bench.put(CUT_OUT_C, self._bench.get("chain.cut_out_sensor_c") - 1.0)
        elif act.name == "reset cut-out":
            self._bench.put(CUT_OUT_C, self._cut_out_c)
            self._bench.put("chain.cut_out_reset", 1)
        elif act.name in ("cable", "power"):
            self._cut(act.name)
        elif self._plug is not None and act.name in ("cable back", "power back"):
            self._plug.out = False
        elif act.name not in BY_THEMSELVES:
            self._begin(act)

    def agrees(self, question: str) -> bool:
        """Agree to all but another try; what the contactor did is looked up."""
        if question == CONTACTOR_DROPPED:
            self._let_pass(CONTACTOR_DROPS_S)
            return not self._bench.get("output.contactor")
        return question != TRY_AGAIN

    def reads(self, what: str, wanted: str) -> str:
        """Read what is wanted."""
        return wanted

    def _begin(self, act: Act) -> None:
        deed = DEEDS[act.name]
        if act.name == "press" and not self._bench.get(f"unit.{act.station}.present"):
            deed = DEEDS["lift plunger"]
        self._bench.begin(deed.kind, act.station, deed.for_s, deed.size)

    def _cut(self, name: str) -> None:
        assert self._plug is not None, "a bench without a plug has no cable to pull"
        self._plug.pull()
        if name == "power":
            self._bench.boot(BootCause.POWER_ON)
            self._let_pass(POWER_IS_OFF_S)

    def _let_pass(self, seconds: float) -> None:
        for _ in range(round(seconds * 1000 / TICK_MS)):
            self._bench.advance(b"")
