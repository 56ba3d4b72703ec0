"""Files an operator names: read whole, or refused in one line."""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

from proofbath.description import Described, parse_toml
from proofbath.errors import InputError

_D = TypeVar("_D", bound=Described)
LARGEST_BYTES = 500_000_000


def read_text(path: Path) -> str:
    """Return the UTF-8 text of a file; raises InputError when it is not one."""
    try:
        if path.is_dir():
            raise InputError(f"{path}: is a folder; name a file")
        if path.stat().st_size > LARGEST_BYTES:
            raise InputError(f"{path}: larger than {LARGEST_BYTES // 10**6} MB; split it")
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        raise InputError(f"{path}: no such file") from error
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: not UTF-8 text (byte {error.start})") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror}") from error


def read_toml(path: Path, model: type[_D]) -> _D:
    """Return the model a TOML file describes; raises InputError listing every fault."""
    described = parse_toml(read_text(path), model, str(path))
    described.read_from(path)
    return described
