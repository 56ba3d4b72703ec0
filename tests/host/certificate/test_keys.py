"""Keys: made once, kept private, rotated, refused where unsafe."""

from __future__ import annotations

import hashlib
import stat
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from proofbath.certificate.keys import (
    SigningKey,
    fingerprint,
    open_key,
    parse_fingerprint,
    public_keys,
    rotate_key,
    trusted_fingerprints,
)
from proofbath.certificate.signature import check, holds, sign
from proofbath.errors import InputError

# RFC 8032 section 7.1, test 2: secret key, public key, message 72, signature
SECRET = "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb"
PUBLIC = "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c"
SIGNATURE = (
    "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
    "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
)


def test_the_signature_is_ed25519() -> None:
    key = SigningKey(1, Ed25519PrivateKey.from_private_bytes(bytes.fromhex(SECRET)))
    assert key.public.hex() == PUBLIC
    assert key.private.sign(b"\x72").hex() == SIGNATURE
    assert holds(key.public, bytes.fromhex(SIGNATURE), b"\x72")
    assert not holds(key.public, bytes.fromhex(SIGNATURE), b"\x73")


def test_the_first_use_makes_key_1_and_later_uses_find_it(tmp_path: Path) -> None:
    folder = tmp_path / "keys"
    made = open_key(folder)
    assert made.number == 1
    assert open_key(folder).public == made.public
    assert stat.S_IMODE((folder / "key-1.pem").stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert public_keys(folder) == {1: made.public}


def test_a_passphrase_locks_the_key(tmp_path: Path) -> None:
    made = open_key(tmp_path, b"open sesame")
    assert open_key(tmp_path, b"open sesame").public == made.public
    with pytest.raises(InputError, match="wrong passphrase"):
        open_key(tmp_path, b"open barley")
    with pytest.raises(InputError, match="is locked; give its passphrase"):
        open_key(tmp_path)
    open_key(tmp_path / "plain")
    with pytest.raises(InputError, match="has no passphrase"):
        open_key(tmp_path / "plain", b"open sesame")


def test_rotation_keeps_public_keys_and_drops_the_private_one(tmp_path: Path) -> None:
    first = open_key(tmp_path)
    signed = sign({"number": "1"}, first)
    second = rotate_key(tmp_path)
    assert second.number == 2
    assert open_key(tmp_path).public == second.public
    assert public_keys(tmp_path) == {1: first.public, 2: second.public}
    assert not (tmp_path / "key-1.pem").exists()
    assert check(signed).fingerprint in trusted_fingerprints(tmp_path)


def test_a_key_that_others_can_read_is_refused(tmp_path: Path) -> None:
    open_key(tmp_path)
    (tmp_path / "key-1.pem").chmod(0o640)
    with pytest.raises(InputError, match="rights 640, at most 600"):
        open_key(tmp_path)


def test_a_lost_private_key_is_not_silently_made_anew(tmp_path: Path) -> None:
    open_key(tmp_path)
    (tmp_path / "key-1.pem").unlink()
    with pytest.raises(InputError, match="no private key; restore"):
        open_key(tmp_path)
    assert rotate_key(tmp_path).number == 2


def test_a_lost_public_key_is_written_again_and_a_foreign_one_refused(tmp_path: Path) -> None:
    made = open_key(tmp_path)
    (tmp_path / "key-1.pub").unlink()
    with pytest.raises(InputError, match="never published"):
        rotate_key(tmp_path)
    assert open_key(tmp_path).public == made.public
    assert public_keys(tmp_path) == {1: made.public}
    (tmp_path / "key-1.pub").write_text("00" * 32)
    with pytest.raises(InputError, match="do not belong together"):
        open_key(tmp_path)
    (tmp_path / "key-1.pub").write_text("not a key")
    with pytest.raises(InputError, match="a public key is 64 hex digits"):
        public_keys(tmp_path)


def test_a_file_that_is_no_key_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "key-1.pem"
    path.write_text("nonsense")
    path.chmod(0o600)
    with pytest.raises(InputError, match="no private key"):
        open_key(tmp_path)


def test_a_fingerprint_is_read_as_it_is_printed() -> None:
    public = bytes.fromhex(PUBLIC)
    printed = fingerprint(public)
    assert printed.replace(" ", "") == hashlib.sha256(public).hexdigest()[:32]
    assert len(printed) == 39
    assert parse_fingerprint(f" {printed.upper()} ") == printed
    assert parse_fingerprint(printed.replace(" ", "")) == printed
    with pytest.raises(InputError, match="32 hex digits are needed"):
        parse_fingerprint(printed[:-1])
