"""`proofbath serve unit-file`, `schema` and `settings`: what a service needs to be set up."""

from __future__ import annotations

import getpass
import json
import pwd
import shutil
import sys
from pathlib import Path

import click

from proofbath.cli.shop_options import shop_option
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.store.tables import place_of
from proofbath.workshop.settings import ShopFile

UNIT = """\
[Unit]
Description=proofbath: the pages of the workshop in {folder}
Wants=network-online.target
After=network-online.target{database}

[Service]
Type=notify
ExecStart={command} serve --shop {shop_file}
WorkingDirectory={folder}
User={user}
# One folder of locks and control sockets for this service and for the verbs of the same user;
# needs once: loginctl enable-linger {user}
Environment=XDG_RUNTIME_DIR=/run/user/{uid}
Restart=on-failure
RestartSec=5
WatchdogSec=60
TimeoutStopSec=20
# A night is a process of its own and goes on when the pages are stopped or fail.
KillMode=process
NoNewPrivileges=yes
ProtectSystem=full
ProtectControlGroups=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
RestrictSUIDSGID=yes
LockPersonality=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
UMask=0027

[Install]
WantedBy=multi-user.target
"""


@click.command("unit-file")
@shop_option
@click.option("--user", help="Who it runs as; by default whoever asks.")
def unit_file(shop_file: Path, user: str | None) -> None:
    """Print the systemd unit that serves a workshop's pages.

    To be written to /etc/systemd/system/proofbath.service; rig_docs/service.md says how.
    """
    file = read_toml(shop_file, ShopFile)
    click.echo(unit_text(file, shop_file.resolve(), user or getpass.getuser()), nl=False)


@click.command("schema")
@click.argument("which", type=click.Choice(["workshop", "bench"]), default="workshop")
def schema(which: str) -> None:
    """Print the JSON schema of the workshop's file or of a bench file, for an editor."""
    from proofbath.web import config_schema

    found = config_schema.schema(config_schema.FILES[which])
    click.echo(json.dumps(found, indent=2, ensure_ascii=False))


@click.command("settings")
def settings() -> None:
    """Print the page of all settings, as it stands in rig_docs/settings.md."""
    from proofbath.web import config_schema

    click.echo(config_schema.settings_page(), nl=False)


COMMANDS = (unit_file, schema, settings)
"""To be added to the group `serve`."""


def unit_text(file: ShopFile, shop_file: Path, user: str) -> str:
    """Return the unit of a workshop; raises InputError for a user this computer does not know."""
    try:
        uid = pwd.getpwnam(user).pw_uid
    except KeyError as error:
        raise InputError(f"--user {user}: this computer does not know them") from error
    spaced = [str(path) for path in (shop_file, program()) if any(map(str.isspace, str(path)))]
    if spaced:
        raise InputError(f"{spaced[0]}: a unit file cannot name a path with a space; move it")
    place = place_of(file.places.records)
    return UNIT.format(
        command=program(),
        shop_file=shop_file,
        folder=shop_file.parent,
        user=user,
        uid=uid,
        database="" if isinstance(place, Path) else " postgresql.service",
    )


def program() -> Path:
    """Return the command of this installation."""
    beside = Path(sys.executable).with_name("proofbath")
    found = beside if beside.is_file() else shutil.which("proofbath")
    if found is None:
        raise InputError("the command proofbath is not in this installation; install it again")
    return Path(found)
