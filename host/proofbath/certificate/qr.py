"""The QR code of a certificate: what ties label and paper to the signed data."""

from __future__ import annotations

import io

import segno

DIGEST_START = 16


def qr_text(number: str, serial: str, key: int, fingerprint: str, sha256: str) -> str:
    """Return what the code carries: number, serial, key with fingerprint, start of the digest."""
    return (
        f"certificate {number}\nunit {serial}\nkey {key} {fingerprint}\n"
        f"sha-256 {sha256[:DIGEST_START]}"
    )


def qr_svg(text: str) -> bytes:
    """Return the code of a text as SVG, error correction at least M, quiet zone included."""
    picture = io.BytesIO()
    segno.make(text, error="m", micro=False).save(picture, kind="svg", xmldecl=False, border=4)
    return picture.getvalue()
