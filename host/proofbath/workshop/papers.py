"""Certifying a batch; withdrawing and replacing a certificate."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from pydantic import ValidationError

from proofbath.certificate.content import Replaces
from proofbath.certificate.issue import Issued
from proofbath.certificate.withdrawal import Withdrawal
from proofbath.errors import InputError, ProofbathError
from proofbath.store import kinds
from proofbath.store.journal import Journal
from proofbath.store.records import Kept, Stamp, Writer
from proofbath.workshop.assemble import Certifiable, certifiable, certificate_content
from proofbath.workshop.desk import Desk, as_document, open_desk
from proofbath.workshop.entry import made
from proofbath.workshop.issued import IssuedLine, certificates_of, find_valid, pdf_path
from proofbath.workshop.judging import Judged, decide
from proofbath.workshop.parties import customer_of
from proofbath.workshop.run_shelf import RunShelf
from proofbath.workshop.shop import Shop

WHAT_TO_DO = "Do not rely on the certificate; ask the workshop before the unit is used further"


class Certified(NamedTuple):
    """A unit with its certificate, or the reasons why it has none, one line each.

    `new` is false where the certificate stood already; reasons beside it say why it is in doubt.
    """

    serial: str
    number: str | None
    refusals: tuple[str, ...]
    pdf: Path | None
    new: bool = False


def certify(
    shop: Shop,
    batch_name: str,
    stamp: Stamp,
    passphrase: bytes | None = None,
) -> list[Certified]:
    """Decide on a batch and issue a certificate for each unit that may have one.

    `at` is ISO 8601 UTC.  What keeps one unit from it does not keep the others.  Raises
    InputError where nobody could be certified: no such batch, no certifier, a locked key.
    """
    shop.records.find(kinds.Batch, name=batch_name)
    with (
        open_desk(shop, stamp, passphrase) as desk,
        closing(Journal(shop.records.place)) as journal,
    ):
        judged = decide(shop, batch_name, desk.signer.stamp)
        earlier = certificates_of(shop.records, batch=batch_name)
        runs = RunShelf(shop.records, journal)
        return [_certified(shop, desk, runs, each, earlier) for each in judged]


def _certified(
    shop: Shop, desk: Desk, runs: RunShelf, judged: Judged, earlier: Sequence[IssuedLine]
) -> Certified:
    serial = judged.story.unit.entry.serial
    last = next((line for line in reversed(earlier) if line.serial == serial), None)
    if last is not None and last.state == "valid":
        doubt = _outdated(last, judged.result)
        path = pdf_path(shop, last.number)
        return Certified(serial, last.number, (doubt,) if doubt else (), path)
    try:
        unit = certifiable(judged)
        if last is not None:
            _check_not_withdrawn(last, unit.result)
        issued = _issue(shop, desk, runs, unit)
    except (ProofbathError, ValueError) as error:
        return Certified(serial, None, lines_of(error), None)
    return Certified(serial, issued.number, (), pdf_path(shop, issued.number), True)


def _issue(
    shop: Shop,
    desk: Desk,
    runs: RunShelf,
    unit: Certifiable,
    replaces: Replaces | None = None,
    replaced: IssuedLine | None = None,
) -> Issued:
    signer = desk.signer

    def put(writer: Writer, issued: Issued) -> None:
        if replaced is not None and replaces is not None:
            _put_state(writer, replaced, "replaced", issued.number, replaces.reason)
        _check_first(writer, unit)
        entry = kinds.Certificate(
            number=issued.number,
            sha256=issued.sha256,
            unit_id=unit.story.unit.root,
            decision_id=unit.decision.root,
            result_id=unit.result.root,
            issued=signer.stamp.day,
        )
        writer.add(entry)

    return desk.issue(
        lambda number: certificate_content(
            shop, runs, unit, number, signer.stamp.day, signer.person, replaces
        ),
        put,
    )


def withdraw(
    shop: Shop,
    number: str,
    reason: str,
    stamp: Stamp,
    passphrase: bytes | None = None,
    what_to_do: str = WHAT_TO_DO,
) -> Path:
    """Withdraw a certificate by a document of its own and return that one's PDF."""
    with open_desk(shop, stamp, passphrase) as desk:
        line = find_valid(shop.records, number)
        batch = shop.records.find(kinds.Batch, name=line.batch).entry

        def written(own: str) -> Withdrawal:
            return made(
                Withdrawal,
                f"withdrawal of {number}",
                number=own,
                workshop=shop.file.workshop,
                customer=customer_of(batch),
                unit_serial=line.serial,
                withdraws=number,
                withdraws_sha256=line.certificate.entry.sha256,
                withdraws_issued=line.issued,
                reason=reason,
                what_to_do=what_to_do,
                issued=stamp.day,
                authorised_by=desk.signer.person,
            )

        def put(writer: Writer, issued: Issued) -> None:
            _put_state(writer, line, "withdrawn", issued.number, reason)
            as_document("withdrawal", number)(writer, issued)

        return pdf_path(shop, desk.issue(written, put).number)


def replace(
    shop: Shop,
    number: str,
    reason: str,
    changes: str,
    stamp: Stamp,
    passphrase: bytes | None = None,
) -> Certified:
    """Issue a certificate in another's place from what is on record now, and return it.

    Raises InputError where the unit may not be certified as it stands: withdraw it then.
    """
    with (
        open_desk(shop, stamp, passphrase) as desk,
        closing(Journal(shop.records.place)) as journal,
    ):
        line = find_valid(shop.records, number)
        replaces = made(
            Replaces,
            f"replacement of {number}",
            number=number,
            sha256=line.certificate.entry.sha256,
            reason=reason,
            changes=changes,
        )
        judged = decide(shop, line.batch, desk.signer.stamp)
        mine = next(each for each in judged if each.story.unit.entry.serial == line.serial)
        runs = RunShelf(shop.records, journal)
        try:
            issued = _issue(shop, desk, runs, certifiable(mine), replaces, line)
        except (ProofbathError, ValueError) as error:
            told = (f"replacement of {number}: {text}" for text in lines_of(error))
            raise InputError(*told) from error
        return Certified(line.serial, issued.number, (), pdf_path(shop, issued.number), True)


def lines_of(error: ProofbathError | ValueError) -> tuple[str, ...]:
    """Return what kept from a document, one line a fault."""
    if isinstance(error, ProofbathError):
        return error.faults
    if isinstance(error, ValidationError):
        return tuple(e["msg"].removeprefix("Value error, ") for e in error.errors())
    return (str(error),)


def _outdated(line: IssuedLine, result: Kept[kinds.Result] | None) -> str:
    """Return why a certificate that stands is not the last word; nothing where it is."""
    if line.recomputed:
        return (
            f"{line.number} rests on an earlier computation of its result ({line.recomputed});"
            " look at both, then replace or withdraw it"
        )
    if result is not None and result.root != line.certificate.entry.result_id:
        return f"{line.number} rests on an earlier measurement; replace or withdraw it"
    return ""


def _check_not_withdrawn(line: IssuedLine, result: Kept[kinds.Result]) -> None:
    """Refuse to certify once more the very result whose certificate was withdrawn."""
    same = line.certificate.entry.result_id == result.root and result.at <= line.ended_at
    if line.state == "withdrawn" and same:
        raise InputError(
            f"{line.number} of this result was withdrawn ({line.why}); measure again, or compute"
            " the result anew"
        )


def _check_first(writer: Writer, unit: Certifiable) -> None:
    """Refuse a second certificate of the same result, whoever issued the first meanwhile."""
    for kept in writer.current(kinds.Certificate, result_id=unit.result.root):
        if not writer.current(kinds.CertificateState, certificate_id=kept.root):
            raise InputError(f"{kept.entry.number}: certifies this result already")


def _put_state(writer: Writer, line: IssuedLine, state: str, document: str, why: str) -> None:
    if writer.current(kinds.CertificateState, certificate_id=line.root):
        raise InputError(f"certificate {line.number}: was withdrawn or replaced meanwhile")
    called = f"certificate {line.number}"
    fields = {"certificate_id": line.root, "state": state, "document": document, "why": why}
    writer.add(made(kinds.CertificateState, called, **fields))
