"""Everything without hardware: a workshop of virtual benches, furnished where there is none."""

from __future__ import annotations

import datetime as dt
import secrets
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory

import tomlkit

from proofbath.bench.clock import utc_text
from proofbath.bench.description import VIRTUAL_PORT, BenchFile
from proofbath.description import parse_toml
from proofbath.errors import InputError
from proofbath.files import read_text, read_toml
from proofbath.scenario.ferry import REFERENCE, TEAL_82, example_type, ferry_bench
from proofbath.scenario.workshop import calibrate_all, set_up, staff_and_type
from proofbath.store.access import Access
from proofbath.store.kinds import Findings, Person, Unit
from proofbath.store.records import Stamp
from proofbath.web.access_people import set_password
from proofbath.web.password import Passwords
from proofbath.workshop.intake import TypeFile, add_unit, open_batch, put_type, take_in
from proofbath.workshop.shop import Shop, open_shop

SEED = 1
HEATED_BENCH, HEATED_NAME = "bench-heated.toml", "heated types"
HEATED_BATCH = "ferry-heron-103-spring"
BATCH, CUSTOMER = "ferry-teal-82-spring", "Ness River Ferries"
ADDRESS = ("Pier House", "Upper Ness")
ADMINISTRATOR = "Ida Berg"
LOOKED_AT = Findings(
    identity="good",
    corrosion="good",
    spring="good",
    cracks="good",
    wax_seep="good",
    vent_pin="good",
    seal="good",
)
Say = Callable[[str], None]


def say_on_screen(text: str) -> None:
    """Show a line to who started the pages."""
    print(text, file=sys.stderr)


@contextmanager
def open_virtual_shop(
    path: Path, speed: float, say: Say = say_on_screen, passwords: Passwords | None = None
) -> Iterator[Shop]:
    """Open a workshop whose benches are virtual and run at `speed` times life.

    Where the file is missing, its folder is furnished; the first passwords of its people are said
    once.  Raises InputError for a workshop with a real bench.
    """
    if not path.exists():
        say(f"{path}: furnishing a ferry workshop with a virtual bench, please wait")
        for line in furnish(path, passwords or Passwords()):
            say(line)
    with open_shop(path) as shop:
        for bench_file in shop.bench_files().values():
            set_speed(bench_file, speed)
        yield shop


def furnish(path: Path, passwords: Passwords, at: str | None = None) -> list[str]:
    """Make a workshop at `path` as of a time (now), and return who may sign in by which password.

    Its bench for plain types is calibrated and has run a blank night, the one for heater-assisted
    types is new; on each a batch waits to be measured as found.
    """
    now = at or utc_text()
    bench = ferry_bench(SEED)
    made = set_up(path.parent, bench)
    heated, heated_type = _heated_bench(path.parent)
    document = tomlkit.parse(read_text(made))
    document["bench"].append({"file": HEATED_BENCH})
    made.write_text(tomlkit.dumps(document), encoding="utf-8")
    made.rename(path)
    with open_shop(path) as shop, TemporaryDirectory() as locks:
        stamp = staff_and_type(shop, now)
        calibrate_all(shop, bench, stamp, Path(locks))
        put_type(shop, heated_type, stamp)
        _receive(shop, BATCH, TEAL_82.name, bench, stamp)
        _receive(shop, HEATED_BATCH, heated_type.unit_type.name, heated, stamp)
        shop.records.add(Person(name=ADMINISTRATOR, rights=("administrator",)), stamp)
        with closing(Access(shop.records.place)) as access:
            return [
                _first_password(shop, access, passwords, person.root, stamp)
                for person in shop.records.current(Person)
            ]


def set_speed(bench_file: Path, speed: float) -> None:
    """Write into a virtual bench's file how fast its time passes; raises InputError for others."""
    if read_toml(bench_file, BenchFile).bench.port != VIRTUAL_PORT:
        raise InputError(f"{bench_file}: is no virtual bench; leave --virtual out")
    document = tomlkit.parse(read_text(bench_file))
    section = document["virtual"]
    assert isinstance(section, dict), "a bench file on port 'virtual' has the section"
    section["speed"] = float(speed)
    text = tomlkit.dumps(document)
    parse_toml(text, BenchFile, str(bench_file))
    bench_file.write_text(text, encoding="utf-8")


def _heated_bench(folder: Path) -> tuple[BenchFile, TypeFile]:
    """Write the example's bench for heater-assisted types; return it and what hangs on it."""
    examples = files("proofbath.virtual") / "examples"
    document = tomlkit.parse((examples / "heron_103_batch.toml").read_text(encoding="utf-8"))
    document["bench"]["name"] = HEATED_NAME
    document["limits"] = {"bath_limit_c": TEAL_82.cap_c + 1.5}  # the reference unit stands no more
    text = tomlkit.dumps(document)
    (folder / HEATED_BENCH).write_text(text, encoding="utf-8")
    return parse_toml(text, BenchFile, HEATED_BENCH), example_type("heron_103_type.toml")


def _receive(shop: Shop, batch: str, unit_type: str, bench: BenchFile, stamp: Stamp) -> None:
    assert bench.virtual is not None, "the scenario's benches are virtual ones"
    day = dt.date.fromisoformat(stamp.at[:10])
    open_batch(
        shop,
        batch,
        CUSTOMER,
        address=ADDRESS,
        contact="",
        received=day,
        type_name=unit_type,
        stamp=stamp,
    )
    for unit in bench.virtual.unit:
        if unit.serial != REFERENCE:
            add_unit(shop, Unit(serial=unit.serial, unit_type=unit_type), stamp)
            take_in(
                shop,
                batch,
                unit.serial,
                cause="rework",
                findings=LOOKED_AT,
                accepted=True,
                remark="",
                stamp=stamp,
            )


def _first_password(
    shop: Shop, access: Access, passwords: Passwords, number: int, stamp: Stamp
) -> str:
    password = secrets.token_urlsafe(9)
    person = shop.records.one(Person, number).entry
    set_password(
        shop.records, access, passwords, number=number, password=password, stamp=stamp, first=True
    )
    return f"{person.name} ({', '.join(person.rights)}): first password {password}"
