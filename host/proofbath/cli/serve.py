"""`proofbath serve`: the pages on this computer or the shop's network, and who may use them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path

import click
from pydantic import ValidationError

from proofbath.bench.clock import utc_text
from proofbath.cli.output import console
from proofbath.cli.serve_service import COMMANDS
from proofbath.cli.shop_options import shop_option
from proofbath.errors import InputError
from proofbath.files import read_text
from proofbath.store.access import Access
from proofbath.store.kinds import Person, Right
from proofbath.store.records import Stamp
from proofbath.web.access_people import set_password
from proofbath.web.password import Passwords, check_password
from proofbath.workshop.serve_settings import ServeSettings
from proofbath.workshop.shop import Shop, open_shop


@click.group(invoke_without_command=True)
@click.pass_context
@shop_option
@click.option("--host", help="Address to listen on; by default the workshop file's.")
@click.option("--port", type=click.IntRange(1, 65535), help="Port; by default the file's.")
@click.option("--virtual", is_flag=True, help="Try everything on virtual benches, no hardware.")
@click.option(
    "--speed",
    type=click.FloatRange(1, 500),
    default=1.0,
    show_default=True,
    help="How many times faster than life virtual benches run.",
)
@click.option(
    "--passwords-may-be-read-on-the-network",
    "unprotected",
    is_flag=True,
    help="Listen beyond this computer without TLS or without people: on your own head.",
)
def command(
    context: click.Context,
    shop_file: Path,
    host: str | None,
    port: int | None,
    virtual: bool,
    speed: float,
    unprotected: bool,
) -> None:
    """Serve the pages of a workshop until stopped (Ctrl-C).

    Whoever signs in may stop a bench; heating needs an operator's right. The big stop of the
    pages does not replace the emergency-stop button at the bench.
    """
    if context.invoked_subcommand is not None:
        context.default_map = {context.invoked_subcommand: {"shop_file": shop_file}}
        return
    from proofbath.web.app import make_app
    from proofbath.web.app_server import refuse_unsafe, serve
    from proofbath.web.mqtt import mqtt_service

    with _opened(shop_file, virtual, speed) as found:
        settings = _settings(found.file.serve, host, port, virtual)
        shop = replace(found, file=found.file.model_copy(update={"serve": settings}))
        mqtt_service(shop)  # refuses here what it cannot tell, not when the pages have started
        app = make_app(shop, virtual_speed=speed if virtual else None)
        people = bool(app.state.frame.access.credentials())
        refuse_unsafe(settings, people, unprotected)
        if not people:
            console().print("nobody has a password yet: proofbath serve administrator NAME")
        serve(app, settings, shop.folder, _say)


@command.command()
@click.argument("name")
@shop_option
@click.option(
    "--password-file",
    type=click.Path(path_type=Path),
    help="Take the password from the first line of this file; by default it is asked for.",
)
@click.option(
    "--right",
    "rights",
    multiple=True,
    type=click.Choice(["viewer", "operator", "certifier"]),
    help="A further right of somebody new; may be given more than once.",
)
@click.option("--by", help="Who puts NAME on record, where people are on record already.")
def administrator(
    name: str,
    shop_file: Path,
    password_file: Path | None,
    rights: tuple[Right, ...],
    by: str | None,
) -> None:
    """Give the administrator NAME a password; the first one comes on record by it.

    All sessions of NAME end. Others are added on the Settings page.
    """
    with open_shop(shop_file) as shop, closing(Access(shop.records.place)) as access:
        known = shop.records.current(Person, name=name)
        if known and "administrator" not in known[0].entry.rights:
            raise InputError(f"{name} is on record without the right administrator")
        password = _password(password_file)
        at = utc_text()
        if known:
            number = known[0].root
        else:
            who = shop.person(by).root if by else None
            entry = Person(name=name, rights=("administrator", *rights))
            number = shop.records.add(entry, Stamp(at, who))
        stamp = Stamp(at, number)
        set_password(
            shop.records,
            access,
            Passwords(),
            number=number,
            password=password,
            stamp=stamp,
            first=False,
        )
    console().print(f"{name}: may sign in as administrator", markup=False)


for _service_command in COMMANDS:
    command.add_command(_service_command)


@contextmanager
def _opened(shop_file: Path, virtual: bool, speed: float) -> Iterator[Shop]:
    if virtual:
        from proofbath.web.virtual_serve import open_virtual_shop

        with open_virtual_shop(shop_file, speed) as shop:
            yield shop
    else:
        with open_shop(shop_file) as shop:
            yield shop


def _settings(
    of_file: ServeSettings, host: str | None, port: int | None, virtual: bool
) -> ServeSettings:
    given = {"host": host, "port": port}
    told: dict[str, object] = {name: value for name, value in given.items() if value is not None}
    if virtual and "code_on_virtual_benches" not in of_file.model_fields_set:
        told["code_on_virtual_benches"] = False
    try:
        return ServeSettings.model_validate(of_file.model_dump() | told)
    except ValidationError as error:
        raise InputError(f"--host {host}: is no address or name of a computer") from error


def _password(file: Path | None) -> str:
    if file is not None:
        lines = read_text(file).splitlines()
        password = lines[0] if lines else ""
    else:
        password = click.prompt("Password", hide_input=True, confirmation_prompt=True)
    check_password(password)
    return password


def _say(address: str) -> None:
    console().print(f"serving {address}; stop with Ctrl-C", markup=False)
