"""`proofbath verify`: is a certificate what the workshop issued? Offline, from the file alone."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from proofbath.certificate.keys import parse_fingerprint, trusted_fingerprints
from proofbath.certificate.verify import Outcome, Verification, verify
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.errors import InputError
from proofbath.files import LARGEST_BYTES, read_toml
from proofbath.workshop.settings import ShopFile
from proofbath.workshop.shop import DEFAULT_FILE

STATUS = {Outcome.GENUINE: 0, Outcome.UNKNOWN_KEY: 1, Outcome.ALTERED: 1, Outcome.NOT_OURS: 2}


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--fingerprint",
    "fingerprints",
    multiple=True,
    help="Fingerprint you trust, as the workshop told you; may be given more than once.",
)
@click.option("--keys", type=click.Path(path_type=Path), help="Folder of public keys you trust.")
@click.option(
    "--shop",
    "shop_file",
    type=click.Path(path_type=Path),
    help="Workshop whose keys you trust; in a workshop's own folder that one, where no other key"
    " is named.",
)
@json_option
def command(
    files: Sequence[Path],
    fingerprints: Sequence[str],
    keys: Path | None,
    shop_file: Path | None,
    as_json: bool,
) -> int:
    """Tell whether FILES (PDF or JSON) are unchanged and signed by a key you trust.

    Exit status 0 genuine, 1 altered or signed by an unknown key, 2 no document of this kind.
    Needs no network and no records; whether a certificate was withdrawn later it cannot know.
    """
    trusted = _trusted(fingerprints, keys, shop_file)
    found = {path: verify(_read(path), trusted) for path in files}
    if as_json:
        print_json({"files": [{"file": str(path), **v.to_json()} for path, v in found.items()]})
    else:
        for path, verification in found.items():
            _tell(path, verification)
    return max(STATUS[verification.outcome] for verification in found.values())


def _trusted(
    fingerprints: Sequence[str], keys: Path | None, shop_file: Path | None
) -> frozenset[str]:
    trusted = frozenset(parse_fingerprint(text) for text in fingerprints)
    folders = [] if keys is None else [keys]
    if not trusted and not folders and shop_file is None and DEFAULT_FILE.is_file():
        shop_file = DEFAULT_FILE
    if shop_file is not None:
        places = read_toml(shop_file, ShopFile).places
        folders.append(shop_file.resolve().parent / places.keys)
    for folder in folders:
        found = trusted_fingerprints(folder)
        if not found:
            raise InputError(f"{folder}: holds no public key (key-N.pub); name the keys' folder")
        trusted |= found
    return trusted


def _read(path: Path) -> bytes:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise InputError(f"{path}: larger than {LARGEST_BYTES // 10**6} MB; no certificate is")
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error


def _tell(path: Path, found: Verification) -> None:
    out = console()
    said = f"{path}: {found.outcome.value}"
    if found.document:
        said += f": {found.document.get('title')} {found.number}"
    for line in (said, f"  {found.reason}", f"  {found.caution}"):
        out.print(line, markup=False, soft_wrap=True)
