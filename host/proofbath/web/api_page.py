"""The API's reference: every route from its OpenAPI description, made on the server."""

from __future__ import annotations

from typing import Any, NamedTuple

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from proofbath.web.deps import Viewer
from proofbath.web.shop_words import shop_page

router = APIRouter(include_in_schema=False)
METHODS = ("get", "post", "put", "patch", "delete")


class Part(NamedTuple):
    """One value that is sent or answered: its name, shape, whether it must be there, meaning."""

    name: str
    shape: str
    required: bool
    meaning: str


class Route(NamedTuple):
    """One route: what it does, what it takes, what it answers."""

    method: str
    path: str
    summary: str
    meaning: str
    parameters: tuple[Part, ...]
    body: str
    answer: str
    status: str


class Shown(NamedTuple):
    """One shape by its name."""

    name: str
    meaning: str
    parts: tuple[Part, ...]


@router.get("/api")
def api_page(request: Request, signed: Viewer) -> Response:
    """Show every route of the API and every shape it speaks in."""
    described = request.app.openapi()
    groups: dict[str, list[Route]] = {}
    for path, methods in described["paths"].items():
        for method in METHODS:
            if method in methods:
                told = methods[method]
                tag = (told.get("tags") or ["other"])[0]
                groups.setdefault(tag, []).append(_route(method, path, told))
    shapes = described.get("components", {}).get("schemas", {})
    return shop_page(
        request,
        "api.html",
        about=described["info"]["description"],
        version=described["info"]["version"],
        groups=groups,
        shapes=[_shown(name, schema) for name, schema in sorted(shapes.items())],
    )


def _route(method: str, path: str, told: dict[str, Any]) -> Route:
    good = next(code for code in sorted(told["responses"]) if code.startswith("2"))
    return Route(
        method.upper(),
        path,
        told.get("summary", ""),
        told.get("description", ""),
        tuple(
            Part(
                f"{part['name']} ({part['in']})",
                shape_of(part["schema"]),
                part.get("required", False),
                part.get("description", ""),
            )
            for part in told.get("parameters", ())
        ),
        _content(told.get("requestBody", {})),
        _content(told["responses"][good]) or "nothing",
        good,
    )


def _shown(name: str, schema: dict[str, Any]) -> Shown:
    must = {*schema.get("required", ())}
    parts = tuple(
        Part(key, shape_of(part), key in must, part.get("description", ""))
        for key, part in schema.get("properties", {}).items()
    )
    return Shown(name, schema.get("description", ""), parts)


def _content(told: dict[str, Any]) -> str:
    kinds = told.get("content", {})
    return "; ".join(
        shape_of(one["schema"]) if kind == "application/json" and "schema" in one else kind
        for kind, one in kinds.items()
    )


def shape_of(schema: dict[str, Any]) -> str:
    """Return a JSON schema's shape in words: what it is, or whose description it has."""
    if "$ref" in schema:
        return str(schema["$ref"]).rpartition("/")[2]
    values = schema.get("enum") or ([schema["const"]] if "const" in schema else [])
    if values:
        return " | ".join(f'"{value}"' for value in values)
    for joined in ("anyOf", "oneOf", "allOf"):
        if joined in schema:
            return " | ".join(dict.fromkeys(shape_of(part) for part in schema[joined]))
    kind = schema.get("type", "anything")
    if kind == "array":
        return f"list of {shape_of(schema.get('items', {}))}"
    if kind == "object" and isinstance(schema.get("additionalProperties"), dict):
        return f"object of {shape_of(schema['additionalProperties'])}"
    return str(schema["format"]) if "format" in schema else str(kind)
