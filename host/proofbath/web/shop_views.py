"""What the workshop's pages share: who may work on units, the day, things by number, forms."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Annotated, TypeVar
from urllib.parse import quote, urlencode

from fastapi import Depends, File, HTTPException, UploadFile
from fastapi.responses import RedirectResponse
from starlette.requests import HTTPConnection, Request
from starlette.responses import Response

from proofbath.errors import InputError, ProofbathError, RecordError
from proofbath.store.kinds import Batch, Kind, Unit
from proofbath.store.records import Kept
from proofbath.web.deps import need
from proofbath.web.frame import frame_of
from proofbath.web.sessions import Signed
from proofbath.web.shop_words import GivenText
from proofbath.workshop.shop import Shop

K = TypeVar("K", bound=Kind)
LARGEST_FILE = 4_000_000
"""Bytes of an uploaded text; a log of a day at ten samples a second is smaller."""

Hands = Annotated[Signed, Depends(need("operator", "certifier"))]
"""Whoever takes in, loads and reworks units: the rights that the records ask for."""


def today(connection: HTTPConnection) -> dt.date:
    """Return the day of a request."""
    return dt.date.fromisoformat(frame_of(connection).utc()[:10])


Today = Annotated[dt.date, Depends(today)]


async def given_form(request: Request) -> GivenText:
    """Return the text fields of a form as they were given, to show the form again."""
    if "form" not in request.headers.get("content-type", ""):
        return GivenText()
    fields = (await request.form()).items()
    return GivenText({key: text for key, text in fields if isinstance(text, str)})


Given = Annotated[GivenText, Depends(given_form)]


def numbered(shop: Shop, kind: type[K], number: int) -> Kept[K]:
    """Return an entry by its number; 404 where there is none."""
    try:
        return shop.records.one(kind, number)
    except RecordError:
        raise HTTPException(404, f"there is no {kind.table.replace('_', ' ')} {number}") from None


def batch_name(shop: Shop, number: int) -> str:
    """Return the name of a batch by its number; 404 where there is none."""
    return numbered(shop, Batch, number).entry.name


def known_unit(shop: Shop, serial: str) -> Kept[Unit]:
    """Return a unit by its serial; 404 where there is none."""
    found = shop.records.current(Unit, serial=serial)
    if not found:
        raise HTTPException(404, f"unit {serial[:60]}: not on record")
    return found[0]


def back(path: str, **query: str) -> RedirectResponse:
    """Return the redirect after a form: to a page, with what it should say."""
    return RedirectResponse(quote(path) + (f"?{urlencode(query)}" if query else ""), 303)


def tried(act: Callable[[], Response], refused: Callable[[tuple[str, ...]], Response]) -> Response:
    """Return what an act answers, or the page that shows why it was refused."""
    try:
        return act()
    except ProofbathError as error:
        return refused(error.faults)


def text_of(file: UploadFile, name: str) -> str:
    """Return the text of an uploaded file; raises InputError."""
    data = file.file.read(LARGEST_FILE + 1)
    if not data:
        raise InputError(f"{name}: no file, or an empty one; choose one")
    if len(data) > LARGEST_FILE:
        raise InputError(f"{name}: larger than {LARGEST_FILE // 10**6} MB; give a shorter one")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"{name}: not UTF-8 text; save it as UTF-8") from error


Uploaded = Annotated[UploadFile, File()]


def file_name(file: UploadFile, usual: str) -> str:
    """Return what an uploaded file is called, in signs that may be put on record."""
    name = "".join(sign for sign in file.filename or "" if sign.isprintable())
    return name[-100:] or usual


def number_in(text: str, called: str) -> float | None:
    """Return the number of a form's field, None where it is empty; raises InputError."""
    if not text.strip():
        return None
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise InputError(f"{called}: {text[:40]!r} is no number; type digits") from None


def day_in(text: str, called: str, usual: dt.date) -> dt.date:
    """Return the day of a form's field, `usual` where it is empty; raises InputError."""
    if not text.strip():
        return usual
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{called}: {text[:40]!r} is no day; write it as 2025-10-02") from None


def key_phrase(text: str) -> bytes | None:
    """Return the passphrase of the signing key, None where none was given."""
    return text.encode() if text else None


def said(words: Mapping[str, str], request: Request) -> str:
    """Return what a page says after a form, by the word in its address."""
    return words.get(request.query_params.get("said", ""), "")
