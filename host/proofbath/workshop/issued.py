"""Certificates on record: whose they are, whether they stand, and what puts them in doubt."""

from __future__ import annotations

import datetime as dt
from contextlib import closing
from pathlib import Path
from typing import Literal, NamedTuple

from proofbath.bench.recompute import look_back
from proofbath.errors import InputError
from proofbath.store import kinds
from proofbath.store.journal import Journal
from proofbath.store.records import Kept, RecordsReader
from proofbath.workshop.shop import Shop


class IssuedLine(NamedTuple):
    """A certificate with its unit, batch, and what became of it.

    `document` is the withdrawal or the successor, `recomputed` why its result was computed anew
    after it was issued; both empty for most.
    """

    root: int
    number: str
    serial: str
    batch: str
    issued: dt.date
    state: Literal["valid", "withdrawn", "replaced"]
    document: str
    why: str
    recomputed: str
    certificate: Kept[kinds.Certificate]
    ended_at: str


def certificates_of(
    records: RecordsReader, serial: str | None = None, batch: str | None = None
) -> list[IssuedLine]:
    """Return the certificates on record, of a unit or a batch where named, oldest first.

    Raises InputError for a unit or a batch that is not on record.
    """
    units = {kept.root: kept.entry.serial for kept in records.current(kinds.Unit)}
    batches = {kept.root: kept.entry.name for kept in records.current(kinds.Batch)}
    if serial is not None:
        records.find(kinds.Unit, serial=serial)
    if batch is not None:
        records.find(kinds.Batch, name=batch)
    of_batch = {kept.root: kept.entry.batch_id for kept in records.current(kinds.Decision)}
    results = {kept.root: kept for kept in records.current(kinds.Result)}
    states = {kept.entry.certificate_id: kept for kept in records.current(kinds.CertificateState)}
    lines = [
        _line(kept, units, batches[of_batch[kept.entry.decision_id]], results, states)
        for kept in records.current(kinds.Certificate)
    ]
    return [line for line in lines if serial in (None, line.serial) and batch in (None, line.batch)]


def _line(
    kept: Kept[kinds.Certificate],
    units: dict[int, str],
    batch: str,
    results: dict[int, Kept[kinds.Result]],
    states: dict[int, Kept[kinds.CertificateState]],
) -> IssuedLine:
    entry, ended = kept.entry, states.get(kept.root)
    result = results[entry.result_id]
    return IssuedLine(
        root=kept.root,
        number=entry.number,
        serial=units[entry.unit_id],
        batch=batch,
        issued=entry.issued,
        state=ended.entry.state if ended else "valid",
        document=ended.entry.document if ended else "",
        why=ended.entry.why if ended else "",
        recomputed=recomputed_since(kept, result),
        certificate=kept,
        ended_at=ended.at if ended else "",
    )


def recomputed_since(certificate: Kept[kinds.Certificate], result: Kept[kinds.Result]) -> str:
    """Return why a certificate's result was computed anew after it was issued; empty for most."""
    return result.reason if result.id > result.root and result.at >= certificate.at else ""


def find_valid(records: RecordsReader, number: str) -> IssuedLine:
    """Return a certificate that stands; raises InputError for an unknown or an ended one."""
    line = next((each for each in certificates_of(records) if each.number == number), None)
    if line is None:
        raise InputError(f"certificate {number}: not on record; list the certificates")
    if line.state != "valid":
        raise InputError(f"certificate {number}: was {line.state} by {line.document} already")
    return line


def doubts_of(shop: Shop) -> dict[str, list[str]]:
    """Return what puts certificates that stand in doubt, by number.

    That is a result computed anew since, and a probe that was found to have drifted since the
    last good check before the measurement.
    """
    found = dict[str, list[str]]()
    standing = [line for line in certificates_of(shop.records) if line.state == "valid"]
    for line in standing:
        if line.recomputed:
            found.setdefault(line.number, []).append(f"result computed anew: {line.recomputed}")
    numbers = {line.root: line.number for line in standing}
    places = shop.records.places(kinds.Certificate, kinds.Calibration)
    with closing(Journal(shop.records.place)) as journal:
        for kept in shop.records.current(kinds.Calibration):
            if kept.entry.kind not in ("probe", "check"):
                continue
            back = look_back(shop.records, journal, kept.entry.bench, kept.root)
            if back is None:
                continue
            text = f"probes {back.off_k:+.3f} K off on {kept.entry.done}"
            found_at = places[kinds.Calibration, kept.root]
            for certificate in back.certificates:
                issued_at = places[kinds.Certificate, certificate.root]
                if certificate.root in numbers and issued_at < found_at:
                    found.setdefault(numbers[certificate.root], []).append(text)
    return found


def pdf_path(shop: Shop, number: str) -> Path:
    """Return where a document's PDF is."""
    return shop.certificates / f"{number}.pdf"
