"""Certificates: all of them, one with its content and state, files, verification, signing keys."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Query
from starlette.requests import Request
from starlette.responses import Response

from proofbath.errors import InputError
from proofbath.store.kinds import Batch
from proofbath.web.api_certificates import (
    Verified,
    certificate_lines,
    certificate_view,
    document_file,
    keys_of,
    known_certificate,
    new_key,
    verified,
)
from proofbath.web.deps import Certifier, CurrentShop, CurrentStamp, Viewer
from proofbath.web.shop_views import (
    LARGEST_FILE,
    Given,
    Uploaded,
    back,
    key_phrase,
    said,
    tried,
)
from proofbath.web.shop_words import GivenText, shop_page
from proofbath.workshop.papers import WHAT_TO_DO, replace, withdraw
from proofbath.workshop.shop import Shop

router = APIRouter(include_in_schema=False)
Text = Annotated[str, Form(max_length=2000)]
LIST = "/batches/certificates"
SAID = {
    "withdrawn": "The certificate is withdrawn; hand the withdrawal to the customer.",
    "replaced": "This certificate takes the place of the earlier one.",
    "key": "The new key is made; tell customers its fingerprint by another way.",
}


@router.get(LIST)
def certificates_page(
    request: Request,
    shop: CurrentShop,
    signed: Viewer,
    batch: Annotated[str, Query(max_length=60)] = "",
    doubtful: bool = False,
) -> Response:
    """List the certificates, of a batch or only those in doubt where asked."""
    return _list(request, shop, batch, doubtful)


@router.post(f"{LIST}/verify")
def verify_form(request: Request, shop: CurrentShop, signed: Viewer, file: Uploaded) -> Response:
    """Tell whether an uploaded file is unchanged and signed by this workshop."""

    def act() -> Response:
        data = file.file.read(LARGEST_FILE + 1)
        if not 0 < len(data) <= LARGEST_FILE:
            raise InputError("file: empty or too large for a certificate; choose another")
        return _list(request, shop, "", False, checked=verified(shop, data))

    return tried(act, lambda faults: _list(request, shop, "", False, faults))


@router.post(f"{LIST}/keys")
def key_form(
    request: Request,
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    passphrase: Text = "",
    sure: Annotated[bool, Form()] = False,
) -> Response:
    """Make the first signing key, or a new one in the place of the last."""

    def act() -> Response:
        if keys_of(shop) and not sure:
            raise InputError("key: tick that the present key may sign no more")
        new_key(shop, stamp, key_phrase(passphrase))
        return back(LIST, said="key")

    return tried(act, lambda faults: _list(request, shop, "", False, faults))


@router.get(LIST + "/{number}")
def certificate_page(request: Request, shop: CurrentShop, signed: Viewer, number: str) -> Response:
    """Show what a certificate states, and whether it stands."""
    return _certificate(request, shop, number)


@router.get("/batches/documents/{name}")
def document(shop: CurrentShop, signed: Viewer, name: str) -> Response:
    """Give the file of a document that was issued."""
    return document_file(shop, name)


@router.post(LIST + "/{number}/withdraw")
def withdraw_form(
    request: Request,
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    given: Given,
    number: str,
    reason: Text,
    what_to_do: Text = WHAT_TO_DO,
    passphrase: Text = "",
) -> Response:
    """Withdraw the certificate by a document of its own."""
    known_certificate(shop, number)
    phrase = key_phrase(passphrase)

    def act() -> Response:
        withdraw(shop, number, reason, stamp, phrase, what_to_do)
        return back(f"{LIST}/{number}", said="withdrawn")

    return tried(act, lambda faults: _certificate(request, shop, number, faults, given))


@router.post(LIST + "/{number}/replace")
def replace_form(
    request: Request,
    shop: CurrentShop,
    signed: Certifier,
    stamp: CurrentStamp,
    given: Given,
    number: str,
    reason: Text,
    changes: Text,
    passphrase: Text = "",
) -> Response:
    """Issue another certificate in the place of this one."""
    known_certificate(shop, number)
    phrase = key_phrase(passphrase)

    def act() -> Response:
        unit = replace(shop, number, reason, changes, stamp, phrase)
        return back(f"{LIST}/{unit.number}", said="replaced")

    return tried(act, lambda faults: _certificate(request, shop, number, faults, given))


def _list(
    request: Request,
    shop: Shop,
    batch: str,
    doubtful: bool,
    faults: tuple[str, ...] = (),
    checked: Verified | None = None,
) -> Response:
    known = not batch or bool(shop.records.current(Batch, name=batch))
    lines = certificate_lines(shop, batch=batch or None) if known else []
    return shop_page(
        request,
        "certificates.html",
        422 if faults else 200,
        lines=[line for line in reversed(lines) if line.doubts or not doubtful],
        batch=batch,
        doubtful=doubtful,
        in_doubt=sum(bool(line.doubts) for line in lines),
        keys=keys_of(shop),
        checked=checked,
        faults=faults,
        done=said(SAID, request),
    )


def _certificate(
    request: Request,
    shop: Shop,
    number: str,
    faults: tuple[str, ...] = (),
    given: GivenText | None = None,
) -> Response:
    view = certificate_view(shop, number)
    return shop_page(
        request,
        "certificate.html",
        422 if faults else 200,
        view=view,
        line=view.state,
        content=view.content,
        what_to_do=WHAT_TO_DO,
        faults=faults,
        given=given or GivenText(),
        done=said(SAID, request),
    )
