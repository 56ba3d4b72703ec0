"""Labels for certified units: what a mechanic reads, and a QR code that names the certificate."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from proofbath.certificate.canonical import sha256
from proofbath.certificate.content import Certificate
from proofbath.certificate.qr import qr_svg, qr_text
from proofbath.certificate.render import pdf_of, png_of
from proofbath.certificate.result_view import result_view
from proofbath.certificate.signature import check
from proofbath.certificate.words import day


class LabelPages(NamedTuple):
    """The view of a sheet of labels and the codes they show, by file name."""

    view: dict[str, Any]
    codes: dict[str, bytes]


def labels_pdf(signed: Sequence[bytes]) -> bytes:
    """Return the labels of signed certificates, a page of 76 mm by 36 mm each.

    Raises RecordError where a JSON was changed after signing.
    """
    pages = _pages(signed)
    return pdf_of("label", pages.view, pages.codes)


def label_png(signed: bytes, ppi: float = 300.0) -> bytes:
    """Return one certificate's label as a picture for a label printer."""
    pages = _pages([signed])
    return png_of("label", pages.view, pages.codes, ppi)


def _pages(signed: Sequence[bytes]) -> LabelPages:
    views, codes = [], dict[str, bytes]()
    for number, data in enumerate(signed):
        told = check(data)
        content = Certificate.model_validate(told.document)
        code = f"code-{number}.svg"
        serial = content.unit.serial
        codes[code] = qr_svg(
            qr_text(content.number, serial, told.key, told.fingerprint, sha256(data))
        )
        views.append(_label(content) | {"code": code})
    return LabelPages({"labels": views}, codes)


def _label(content: Certificate) -> dict[str, str]:
    judged = next(result for result in content.results if result.judgement)
    shown = result_view(judged)
    return {
        "workshop": f"SIMULATED · {content.workshop.name}"
        if content.simulated
        else content.workshop.name,
        "type": content.unit.unit_type,
        "serial": content.unit.serial,
        "result": f"{shown['value']} ± {shown['u']} {shown['unit']}",
        "form": ", ".join(filter(None, [shown["words"], shown["form"]])),
        "outcome": content.conformity.outcome.value,
        "number": content.number,
        "issued": day(content.dates.issued),
    }
