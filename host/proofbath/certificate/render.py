"""Pages from templates: PDF/A-3b, the same bytes for the same content."""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

import typst

from proofbath.errors import InputError

_PAGES = Path(__file__).parent / "pages"
ATTACHMENT = "document.json"


def pdf_of(page: str, view: Mapping[str, Any], files: Mapping[str, bytes]) -> bytes:
    """Return the PDF of a page template, its view and further files by name.

    Raises InputError where a text holds a sign that the page's fonts lack.
    """
    return _compiled(page, view, files, "pdf", None)


def png_of(page: str, view: Mapping[str, Any], files: Mapping[str, bytes], ppi: float) -> bytes:
    """Return a one-page template as a PNG of `ppi` pixels per inch."""
    return _compiled(page, view, files, "png", ppi)


def _compiled(
    page: str,
    view: Mapping[str, Any],
    files: Mapping[str, bytes],
    form: Literal["pdf", "png"],
    ppi: float | None,
) -> bytes:
    # Files by name are accepted, though the package's own types do not say so.
    sources: Any = {**_templates(), **files, "view.json": json.dumps(view).encode()}
    sources["main.typ"] = sources[f"{page}.typ"]
    try:
        made = _compiler().compile(
            input=sources, format=form, ppi=ppi, pdf_standards="a-3b" if form == "pdf" else None
        )
    except typst.TypstError as error:
        told = " ".join(str(error).split())
        raise InputError(f"{page}: the page cannot be made: {told}") from error
    assert isinstance(made, bytes)  # a list of pictures comes only of several pages
    return made


@functools.cache
def _templates() -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(_PAGES.glob("*.typ"))}


@functools.cache
def _compiler() -> typst.Compiler:
    """Return the one compiler: its fonts, those it brings itself, are loaded once."""
    return typst.Compiler(b"", ignore_system_fonts=True)
