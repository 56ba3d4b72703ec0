"""Where a certifier signs: documents numbered, put on record and issued, each whole or not at all.

A document is first set aside, then comes on record together with all that goes with it, then is
brought out.  What a killed process left in between, the next desk finishes or removes by the
records.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import NamedTuple

from proofbath.certificate.atomic import only_writer
from proofbath.certificate.issue import Issued, Mended, issue, mend_folder
from proofbath.certificate.keys import SigningKey, open_key, rotate_key
from proofbath.certificate.parties import Person
from proofbath.certificate.pdf import Document
from proofbath.errors import InputError, RecordError
from proofbath.store import kinds
from proofbath.store.kinds import Action, Sort
from proofbath.store.records import Records, Stamp, Writer
from proofbath.workshop.numbers import (
    digests_on_record,
    first_free,
    number_of,
    on_record,
)
from proofbath.workshop.shop import Shop

TRIES = 20
"""How often a number may be taken from another computer before ours is on record."""
Put = Callable[[Writer, Issued], None]
"""Writes what goes on record with a document, in one transaction."""


class Signer(NamedTuple):
    """Who signs, with which key, when."""

    person: Person
    key: SigningKey
    stamp: Stamp


class _TakenError(InputError):
    """Somebody on another computer took the number."""


class Desk:
    """Issues documents; `mended` is what was left undone before."""

    def __init__(self, shop: Shop, signer: Signer) -> None:
        """Mend the folder of documents, which nobody else may be writing to."""
        self.signer = signer
        self._folder = shop.certificates
        self._records: Records = shop.records
        self._prefix = shop.file.number_prefix
        self._count = 0
        self.mended = self._mend()

    def issue(self, written: Callable[[str], Document], put: Put) -> Issued:
        """Issue what `written` makes of a free number; `put` writes what goes with it on record.

        Raises InputError, RecordError or ValueError where it is refused: nothing is issued then.
        """
        for _ in range(TRIES):
            number = number_of(self._prefix, self.signer.stamp.day.year, self._count)
            try:
                issued = issue(written(number), self.signer.key, self._folder, self._puts(put))
            except _TakenError:
                self._count += 1
                continue
            except RecordError:  # whether it came on record is for the records to say
                self._mend()
                raise
            self._count += 1
            return issued
        raise InputError(f"no free number after {TRIES} tries; try again")

    def _mend(self) -> Mended:
        """Finish or remove what was left undone, and find the next number."""
        known = digests_on_record(self._records)
        self._count = first_free(known, self._prefix, self.signer.stamp.day.year)
        return mend_folder(self._folder, known)

    def _puts(self, put: Put) -> Callable[[Issued], None]:
        def puts(issued: Issued) -> None:
            with self._records.writing(self.signer.stamp) as writer:
                if on_record(writer, issued.number):
                    raise _TakenError(f"{issued.number}: taken meanwhile")
                put(writer, issued)

        return puts


@contextmanager
def open_desk(shop: Shop, stamp: Stamp, passphrase: bytes | None = None) -> Iterator[Desk]:
    """Let a certifier sign; raises InputError for one who may not, and for a locked key."""
    name = _check_certifier(shop, stamp)
    with only_writer(shop.certificates):
        key = open_key(shop.keys, passphrase)
        yield Desk(shop, Signer(Person(name=name, role="certifier"), key, stamp))


def signing_key(
    shop: Shop, stamp: Stamp, passphrase: bytes | None = None, rotate: bool = False
) -> SigningKey:
    """Return the key in use, made at first use, or the next one; a rotation goes on record.

    Raises InputError for one who is no certifier, and for a locked key.
    """
    _check_certifier(shop, stamp)
    with only_writer(shop.certificates):
        if not rotate:
            return open_key(shop.keys, passphrase)
        key = rotate_key(shop.keys, passphrase)
        shop.records.add(
            Action(what="key rotated", detail=f"{key.number} {key.fingerprint}"), stamp
        )
        return key


def _check_certifier(shop: Shop, stamp: Stamp) -> str:
    """Return the name of the certifier whose stamp it is; raises InputError for anybody else."""
    if stamp.by is None:
        raise InputError("the program itself cannot sign; let a certifier sign")
    person = shop.records.one(kinds.Person, stamp.by).entry
    if "certifier" not in person.rights or not person.active:
        raise InputError(f"{person.name} has not the right certifier; let a certifier sign")
    return person.name


def as_document(sort: Sort, about: str) -> Put:
    """Return what puts a document on record that is no certificate."""

    def put(writer: Writer, issued: Issued) -> None:
        writer.add(
            kinds.Document(number=issued.number, sha256=issued.sha256, sort=sort, about=about)
        )

    return put
