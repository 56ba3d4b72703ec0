"""A signed document as a sealed PDF: its pages, its JSON attached, its seal over every byte."""

from __future__ import annotations

import datetime as dt
from typing import Any

from proofbath.certificate.batch import BatchSummary
from proofbath.certificate.batch_view import batch_view
from proofbath.certificate.canonical import sha256
from proofbath.certificate.content import Certificate
from proofbath.certificate.keys import SigningKey
from proofbath.certificate.qr import qr_svg, qr_text
from proofbath.certificate.render import ATTACHMENT, pdf_of
from proofbath.certificate.seal import seal
from proofbath.certificate.then_and_now import ThenAndNow
from proofbath.certificate.then_and_now_view import then_and_now_view
from proofbath.certificate.view import certificate_view
from proofbath.certificate.withdrawal import Withdrawal
from proofbath.certificate.withdrawal_view import withdrawal_view

Document = Certificate | Withdrawal | BatchSummary | ThenAndNow


def sealed_pdf(document: Document, signed: bytes, key: SigningKey) -> bytes:
    """Return the PDF of a document around its signed JSON; the same bytes every time.

    Raises InputError where a text holds a sign that the page's fonts lack.
    """
    digest = sha256(signed)
    page, view, about, issued = _laid_out(document)
    view |= {
        "date": {"year": issued.year, "month": issued.month, "day": issued.day},
        "proof": {"key": key.number, "fingerprint": key.fingerprint, "sha256": digest},
    }
    code = qr_svg(qr_text(document.number, about, key.number, key.fingerprint, digest))
    return seal(pdf_of(page, view, {ATTACHMENT: signed, "qr.svg": code}), key)


def _laid_out(document: Document) -> tuple[str, dict[str, Any], str, dt.date]:
    """Return template, view, what the code names beside the number, and the date of issue."""
    match document:
        case Certificate():
            view = certificate_view(document)
            return "certificate", view, document.unit.serial, document.dates.issued
        case Withdrawal():
            return "withdrawal", withdrawal_view(document), document.unit_serial, document.issued
        case BatchSummary():
            return "batch", batch_view(document), document.batch, document.issued
        case ThenAndNow():
            view = then_and_now_view(document)
            return "then_and_now", view, document.unit.serial, document.issued
