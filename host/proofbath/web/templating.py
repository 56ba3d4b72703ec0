"""Pages from templates: all text escaped, an unknown name is an error, one base for all."""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse

from proofbath.proof import cautions
from proofbath.web.frame import frame_of

FOLDER = Path(__file__).parent


class Place(NamedTuple):
    """One entry of the navigation."""

    path: str
    name: str


NAVIGATION = (
    Place("/", "Start"),
    Place("/bench", "Bench"),
    Place("/night", "Night"),
    Place("/units", "Units"),
    Place("/batches", "Batches"),
    Place("/calibration", "Calibration"),
    Place("/reference", "Reference unit"),
    Place("/settings", "Settings"),
)
environment = Environment(
    loader=FileSystemLoader(FOLDER / "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def page(request: Request, template: str, /, status: int = 200, **context: Any) -> HTMLResponse:
    """Return the page of a template; `base.html` says what every context has."""
    signed = getattr(request.state, "signed", None)
    text = environment.get_template(template).render(
        {
            "request_path": request.url.path,
            "navigation": NAVIGATION,
            "shop_name": frame_of(request).shop.file.workshop.name,
            "signed": signed,
            "token": signed.form_token if signed else "",
            "faults": (),
            "done": "",
            **context,
        }
    )
    return HTMLResponse(text, status)


def here(path: str, request_path: str) -> bool:
    """Whether a page belongs to an entry of the navigation."""
    return request_path == path or (path != "/" and request_path.startswith(f"{path}/"))


environment.globals |= {"here": here, "cautions": cautions}
