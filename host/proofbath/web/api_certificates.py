"""The API of certificates: their content and state, files, withdrawal, keys, verification."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Depends, HTTPException, Query
from starlette.responses import FileResponse

from proofbath.certificate.keys import fingerprint, open_key, public_keys, rotate_key
from proofbath.certificate.verify import Verification, verify
from proofbath.description import Described
from proofbath.errors import InputError
from proofbath.store.kinds import Action, Line
from proofbath.store.records import Stamp
from proofbath.web.api_batches import CertifiedUnit, certified
from proofbath.web.api_units import Document, Passphrase, Signing
from proofbath.web.deps import Certifier, CurrentShop, CurrentStamp, need
from proofbath.web.security import safe_child
from proofbath.workshop.issued import certificates_of, doubts_of
from proofbath.workshop.papers import WHAT_TO_DO, replace, withdraw
from proofbath.workshop.shop import Shop
from proofbath.workshop.unit_view import CertificateLine, certificate_line

router = APIRouter(prefix="/api", tags=["certificates"], dependencies=[Depends(need("viewer"))])
Named = Annotated[str | None, Query(max_length=200)]
KINDS = {".pdf": "application/pdf", ".json": "application/json"}


class CertificateView(Described):
    """A certificate as issued: what became of it, what its file is worth, and its content."""

    state: CertificateLine
    outcome: str
    """Whether the signed file is whole: genuine, or why not."""
    reason: str
    sha256: str | None
    content: dict[str, Any] | None
    """The signed document; null where its file is missing or was altered."""


class NewWithdrawal(Described):
    """Why a certificate no longer counts, and what its holder should do; both are printed."""

    reason: Line
    what_to_do: Line = WHAT_TO_DO
    passphrase: Passphrase | None = None


class NewReplacement(Described):
    """Why another certificate takes its place, and what is different; both are printed."""

    reason: Line
    changes: Line
    passphrase: Passphrase | None = None


class Verified(Described):
    """What a file is: genuine, altered, of an unknown key, or no document of this kind."""

    outcome: Literal["genuine", "unknown_key", "altered", "not_ours"]
    reason: str
    caution: str
    number: str | None
    kind: str | None
    title: str | None
    key: int | None
    fingerprint: str | None
    sha256: str | None


class Key(Described):
    """A public key of the workshop; customers are told its fingerprint by another way."""

    number: int
    fingerprint: str
    in_use: bool


@router.get("/certificates")
def list_certificates(
    shop: CurrentShop, serial: Named = None, batch: Named = None, doubtful: bool = False
) -> list[CertificateLine]:
    """List the certificates, oldest first, with what became of them and what puts them in doubt."""
    return [line for line in certificate_lines(shop, serial, batch) if line.doubts or not doubtful]


@router.get("/certificates/{number}")
def show_certificate(shop: CurrentShop, number: str) -> CertificateView:
    """Return one certificate: what it states, and whether it stands."""
    return certificate_view(shop, number)


@router.post("/certificates/{number}/withdrawal", status_code=201)
def withdraw_certificate(
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    number: str,
    asked: NewWithdrawal,
) -> Document:
    """Withdraw a certificate by a document to hand to the customer."""
    known_certificate(shop, number)
    phrase = Signing(passphrase=asked.passphrase).phrase()
    pdf = withdraw(shop, number, asked.reason, stamp, phrase, asked.what_to_do)
    return Document(number=pdf.stem)


@router.post("/certificates/{number}/replacement", status_code=201)
def replace_certificate(
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    number: str,
    asked: NewReplacement,
) -> CertifiedUnit:
    """Issue another certificate in the place of one, from what is on record now."""
    known_certificate(shop, number)
    phrase = Signing(passphrase=asked.passphrase).phrase()
    return certified(replace(shop, number, asked.reason, asked.changes, stamp, phrase))


@router.get(
    "/documents/{name}",
    response_class=FileResponse,
    responses={200: {"content": {kind: {} for kind in KINDS.values()}}},
)
def document(shop: CurrentShop, name: str) -> FileResponse:
    """Return the file of a document that was issued: NUMBER.pdf, or NUMBER.json as signed."""
    return document_file(shop, name)


@router.post("/verifications")
def verify_file(
    shop: CurrentShop,
    data: Annotated[bytes, Body(media_type="application/octet-stream")],
) -> Verified:
    """Tell whether a file (PDF or JSON, the body itself) is unchanged and signed by this workshop.

    Whether a certificate was withdrawn later no file can know: see its state.
    """
    return verified(shop, data)


@router.get("/keys")
def list_keys(shop: CurrentShop) -> list[Key]:
    """Return the fingerprints of all signing keys; the one with the highest number signs."""
    return keys_of(shop)


@router.post("/keys", status_code=201)
def make_key(
    shop: CurrentShop, signed: Certifier, stamp: CurrentStamp, signing: Signing
) -> list[Key]:
    """Make key 1 where there is none, a new key else; the earlier one can sign no more."""
    return new_key(shop, stamp, signing.phrase())


def certificate_lines(
    shop: Shop, serial: str | None = None, batch: str | None = None
) -> list[CertificateLine]:
    """Return certificates on record with what puts them in doubt; raises InputError."""
    doubts = doubts_of(shop)
    return [
        certificate_line(line, tuple(doubts.get(line.number, ())))
        for line in certificates_of(shop.records, serial, batch)
    ]


def known_certificate(shop: Shop, number: str) -> CertificateLine:
    """Return a certificate by its number; 404 where there is none."""
    for line in certificate_lines(shop):
        if line.number == number:
            return line
    raise HTTPException(404, f"certificate {number[:40]}: not on record")


def certificate_view(shop: Shop, number: str) -> CertificateView:
    """Return a certificate with its signed content; 404 where there is none."""
    state = known_certificate(shop, number)
    try:
        data = (shop.certificates / f"{state.number}.json").read_bytes()
    except OSError:
        missing = "its file is missing; restore it from the backup"
        return CertificateView(
            state=state, outcome="missing", reason=missing, sha256=None, content=None
        )
    found = _verified(shop, data)
    return CertificateView(
        state=state,
        outcome=found.outcome.value,
        reason=found.reason,
        sha256=found.sha256,
        content=found.document,
    )


def document_file(shop: Shop, name: str) -> FileResponse:
    """Return a document's file right inside the folder of documents; 404 for anything else."""
    path = safe_child(shop.certificates, name)
    kind = KINDS.get(path.suffix)
    if kind is None:
        raise HTTPException(404, "there is no such file")
    return FileResponse(
        path, media_type=kind, filename=path.name, content_disposition_type="inline"
    )


def verified(shop: Shop, data: bytes) -> Verified:
    """Return what a file is, by the workshop's own keys."""
    return Verified.model_validate(_verified(shop, data).to_json())


def keys_of(shop: Shop) -> list[Key]:
    """Return the workshop's public keys."""
    known = public_keys(shop.keys) if shop.keys.is_dir() else {}
    newest = max(known, default=0)
    return [
        Key(number=number, fingerprint=fingerprint(public), in_use=number == newest)
        for number, public in known.items()
    ]


def new_key(shop: Shop, stamp: Stamp, phrase: bytes | None) -> list[Key]:
    """Make the first key, or one that takes the place of the last; a passphrase locks it."""
    before = keys_of(shop)
    used = (rotate_key if before else open_key)(shop.keys, phrase)
    what = "key rotated" if before else "key made"
    detail = f"key {used.number} {used.fingerprint}"
    shop.records.add(Action(what=what, detail=detail), stamp)
    return keys_of(shop)


def _verified(shop: Shop, data: bytes) -> Verification:
    known = frozenset(key.fingerprint for key in keys_of(shop))
    try:
        return verify(data, known)
    except RecursionError:  # nested deeper than any document of ours
        raise InputError("file: nested too deep for a document of this kind") from None
