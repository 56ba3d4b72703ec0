"""A furnished ferry workshop and its pages, served by a process of its own on virtual benches.

The demo's story is told in it; besides, a batch is measured and waits for its certificates, one
waits to be measured, and a second bench is about to lose coolant.  All is invented.
"""

from __future__ import annotations

import datetime as dt
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

import tomlkit

from proofbath.bench.clock import utc_text
from proofbath.bench.connect import control_path
from proofbath.bench.control_socket import command
from proofbath.bench.description import BenchFile
from proofbath.errors import BenchFaultError
from proofbath.files import read_toml
from proofbath.scenario.ferry import BENCH, REFERENCE, TEAL_82
from proofbath.scenario.story import ADDRESS, CUSTOMER, GOOD, tell_story
from proofbath.scenario.workshop import CERTIFIER, OPERATOR
from proofbath.store.access import Access
from proofbath.store.kinds import Person, Unit
from proofbath.store.records import Stamp
from proofbath.virtual.description import VirtualFault
from proofbath.web.access_people import set_password
from proofbath.web.password import Passwords
from proofbath.workshop.intake import add_unit, open_batch, take_in
from proofbath.workshop.nights import shop_night
from proofbath.workshop.planning import plan_night
from proofbath.workshop.shop import Shop, open_shop

PASSWORD = "nine knots upstream"
VIEWER, ADMINISTRATOR, EVERYBODY = "Nils Oster", "Ida Berg", "Edda Holm"
PEOPLE = {
    "viewer": VIEWER,
    "operator": OPERATOR,
    "certifier": CERTIFIER,
    "administrator": ADMINISTRATOR,
}
"""Somebody of each right; besides, `EVERYBODY` has all of them."""
TOLD, MEASURED, WAITING = "ferry-teal-82-spring", "ferry-teal-82-autumn", "ferry-teal-82-winter"
"""Batches: told by the story; measured as found and not judged; not measured yet."""
LEAKY = "leaky bench"
LEAKS_AT_S = 1500.0
SPEED = 500


class Served(NamedTuple):
    """A workshop's pages at an address."""

    address: str
    folder: Path
    runtime: Path
    """Where locks and control sockets of its benches are, for programs beside it."""


def furnish(folder: Path, seed: int = 3) -> Path:
    """Make the workshop in a folder and return its file."""
    at = utc_text()
    with TemporaryDirectory() as locks:
        told = tell_story(folder, seed, at, Path(locks), lambda _: None, lambda _: None)
        with open_shop(folder / "workshop.toml") as shop:
            assert told.plain.bench.virtual is not None
            serials = [u.serial for u in told.plain.bench.virtual.unit if u.serial != REFERENCE]
            stamp = shop.stamp(CERTIFIER, at)
            _receive(shop, MEASURED, serials, stamp)
            plan = plan_night(shop, MEASURED, "as-found", BENCH, REFERENCE)
            shop_night(shop, plan, BENCH, OPERATOR, at, clear=True, folder=Path(locks))
            _receive(shop, WAITING, [f"T82-09{n:02}" for n in range(1, 6)], stamp)
            for name, rights in (
                (VIEWER, ("viewer",)),
                (ADMINISTRATOR, ("administrator",)),
                (EVERYBODY, tuple(PEOPLE)),
            ):
                shop.records.add(Person.model_validate({"name": name, "rights": rights}), stamp)
            give_passwords(shop, stamp)
    return add_leaky_bench(folder / "workshop.toml")


def give_passwords(shop: Shop, stamp: Stamp) -> None:
    """Let everybody on record sign in by the same password."""
    passwords = Passwords()
    with closing(Access(shop.records.place)) as access:
        for person in shop.records.current(Person):
            set_password(
                shop.records,
                access,
                passwords,
                number=person.root,
                password=PASSWORD,
                stamp=stamp,
                first=False,
            )


def add_leaky_bench(shop_file: Path) -> Path:
    """Add a bench that is like the first one until its level falls; return the shop's file."""
    bench = read_toml(shop_file.with_name("bench.toml"), BenchFile)
    assert bench.virtual is not None
    fault = VirtualFault(kind="level_low", at_s=LEAKS_AT_S)
    leaky = bench.model_copy(
        update={
            "bench": bench.bench.model_copy(update={"name": LEAKY}),
            "virtual": bench.virtual.model_copy(update={"fault": (fault,)}),
        }
    )
    text = tomlkit.dumps(leaky.model_dump(mode="json", exclude_defaults=True))
    shop_file.with_name("leaky.toml").write_text(text)
    shop_file.write_text(shop_file.read_text() + '\n[[bench]]\nfile = "leaky.toml"\n')
    return shop_file


@contextmanager
def served(shop_file: Path, speed: int = SPEED) -> Iterator[Served]:
    """Serve a workshop on virtual benches until left; runs that are under way are stopped."""
    words = ["serve", "--shop", shop_file, "--virtual", "--speed", speed, "--port", free_port()]
    with TemporaryDirectory() as runtime, (shop_file.parent / "serve.log").open("wb") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "proofbath", *map(str, words)],
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
            env=os.environ | {"XDG_RUNTIME_DIR": runtime},
        )
        with process:
            try:
                assert process.stdout
                line = process.stdout.readline()
                assert line.startswith("serving "), line
                yield Served(line.split()[1].rstrip(";/"), shop_file.parent, Path(runtime))
            finally:
                stop_runs(shop_file, Path(runtime, "proofbath"))
                process.send_signal(signal.SIGTERM)


def stop_runs(shop_file: Path, runtime: Path) -> None:
    """Ask whatever runs on the workshop's benches to stop."""
    with open_shop(shop_file) as shop:
        for name in shop.bench_files():
            with suppress(BenchFaultError):
                command(control_path(shop.bench(name), runtime), "stop at the end")


def free_port() -> int:
    """Return a port that nobody listened on a moment ago."""
    with socket.create_server(("127.0.0.1", 0)) as opened:
        port: int = opened.getsockname()[1]
        return port


def _receive(shop: Shop, batch: str, serials: list[str], stamp: Stamp) -> None:
    day = dt.date.fromisoformat(stamp.at[:10])
    open_batch(
        shop,
        batch,
        CUSTOMER,
        address=ADDRESS,
        contact="Engineering stores",
        received=day,
        type_name=TEAL_82.name,
        stamp=stamp,
    )
    for serial in serials:
        if not shop.records.current(Unit, serial=serial):
            add_unit(shop, Unit(serial=serial, unit_type=TEAL_82.name), stamp)
        take_in(
            shop,
            batch,
            serial,
            cause="rework",
            findings=GOOD,
            accepted=True,
            remark="gets a new seal",
            stamp=stamp,
        )
