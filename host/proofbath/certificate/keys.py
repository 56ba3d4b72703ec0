"""Numbered Ed25519 keys in a folder: made at first use, rotated, known by their fingerprints.

`key-N.pem` is the one private key in use, readable by its owner only; every `key-N.pub`, 64 hex
digits, stays for ever, so that what an earlier key signed can be checked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    KeySerializationEncryption,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)

from proofbath.certificate.atomic import write_new
from proofbath.certificate.canonical import sha256
from proofbath.errors import InputError

OTHERS = 0o077
FINGERPRINT_DIGITS = 32
PUBLIC_KEY = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class SigningKey:
    """The private key in use and its number."""

    number: int
    private: Ed25519PrivateKey

    @property
    def public(self) -> bytes:
        """The 32 bytes of the public key."""
        return self.private.public_key().public_bytes_raw()

    @property
    def fingerprint(self) -> str:
        """The fingerprint as printed."""
        return fingerprint(self.public)


def fingerprint(public: bytes) -> str:
    """Return a public key's fingerprint: the first 128 bits of its SHA-256 in groups of four."""
    digits = sha256(public)[:FINGERPRINT_DIGITS]
    return " ".join(digits[i : i + 4] for i in range(0, FINGERPRINT_DIGITS, 4))


def parse_fingerprint(text: str) -> str:
    """Return a typed fingerprint in its printed form; raises InputError where it is none."""
    digits = "".join(text.split()).lower()
    if not re.fullmatch(f"[0-9a-f]{{{FINGERPRINT_DIGITS}}}", digits):
        raise InputError(
            f"fingerprint {text!r}: {len(digits)} signs; {FINGERPRINT_DIGITS} hex digits are needed"
        )
    return " ".join(digits[i : i + 4] for i in range(0, FINGERPRINT_DIGITS, 4))


def open_key(folder: Path, passphrase: bytes | None = None) -> SigningKey:
    """Return the key in use, making key 1 at first use; raises InputError where it is not safe."""
    numbers = _numbers(folder, "pem")
    if not numbers:
        known = _numbers(folder, "pub")
        if known:
            raise InputError(
                f"{folder}: holds public key {known[-1]} but no private key; restore"
                f" key-{known[-1]}.pem from the backup, or rotate"
            )
        return _make(folder, 1, passphrase)
    key = SigningKey(numbers[-1], _load(folder / f"key-{numbers[-1]}.pem", passphrase))
    _publish(folder, key)
    return key


def rotate_key(folder: Path, passphrase: bytes | None = None) -> SigningKey:
    """Return a new key under the next number; private keys before it go, public ones stay."""
    retired = _numbers(folder, "pem")
    for number in retired:
        if not (folder / f"key-{number}.pub").exists():
            raise InputError(f"{folder}: key {number} was never published; open it before rotating")
    key = _make(folder, max([0, *retired, *_numbers(folder, "pub")]) + 1, passphrase)
    for number in retired:
        (folder / f"key-{number}.pem").unlink()
    return key


def public_keys(folder: Path) -> dict[int, bytes]:
    """Return all public keys of a folder by number; raises InputError for a spoilt file."""
    found = {}
    for number in _numbers(folder, "pub"):
        path = folder / f"key-{number}.pub"
        text = path.read_text(encoding="ascii", errors="replace").strip()
        if not PUBLIC_KEY.fullmatch(text):
            raise InputError(f"{path}: {len(text)} signs; a public key is 64 hex digits")
        found[number] = bytes.fromhex(text)
    return found


def trusted_fingerprints(folder: Path) -> frozenset[str]:
    """Return the fingerprints of all public keys of a folder."""
    return frozenset(fingerprint(public) for public in public_keys(folder).values())


def _make(folder: Path, number: int, passphrase: bytes | None) -> SigningKey:
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    private = Ed25519PrivateKey.generate()
    sealed: KeySerializationEncryption = (
        BestAvailableEncryption(passphrase) if passphrase else NoEncryption()
    )
    pem = private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, sealed)
    write_new(folder / f"key-{number}.pem", pem, mode=0o600)
    key = SigningKey(number, private)
    _publish(folder, key)
    return key


def _publish(folder: Path, key: SigningKey) -> None:
    """Write the public key once; one that is there and differs is never replaced."""
    known = public_keys(folder).get(key.number)
    if known is None:
        write_new(folder / f"key-{key.number}.pub", key.public.hex().encode() + b"\n")
    elif known != key.public:
        raise InputError(f"{folder}: private and public key {key.number} do not belong together")


def _load(path: Path, passphrase: bytes | None) -> Ed25519PrivateKey:
    rights = path.stat().st_mode & 0o777
    if rights & OTHERS:
        raise InputError(f"{path}: rights {rights:03o}, at most 600; type: chmod 600 {path}")
    pem = path.read_bytes()
    try:
        private = load_pem_private_key(pem, passphrase)
    except TypeError as error:
        needed = "is locked; give its passphrase" if passphrase is None else "has no passphrase"
        raise InputError(f"{path}: {needed}") from error
    except ValueError as error:
        raise InputError(f"{path}: wrong passphrase, or no private key") from error
    if not isinstance(private, Ed25519PrivateKey):
        raise InputError(f"{path}: not an Ed25519 key")
    return private


def _numbers(folder: Path, ending: str) -> list[int]:
    names = (re.fullmatch(rf"key-([1-9]\d*)\.{ending}", p.name) for p in folder.glob("key-*"))
    return sorted(int(name[1]) for name in names if name)
