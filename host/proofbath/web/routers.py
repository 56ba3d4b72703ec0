"""The routers of the application, by the modules that hold them."""

from __future__ import annotations

from importlib import import_module

from fastapi import APIRouter

MODULES = (
    "live",
    "bench_page",
    "night_page",
    "access_pages",
    "access_api",
    "benches",
    "metrics",
    "access_people_api",
    "start_page",
    "unit_pages",
    "type_pages",
    "certificate_pages",
    "batch_work_pages",
    "rework_pages",
    "batch_pages",
    "calibration_page",
    "reference_page",
    "api_page",
    "api_units",
    "api_types",
    "api_batches",
    "api_certificates",
    "api_bench",
    "api_night",
    "api_calibration",
)
"""Modules of this package, each with its `router`; one line each, in the order of matching."""


def routers() -> list[APIRouter]:
    """Return the routers of all modules."""
    return [import_module(f"proofbath.web.{name}").router for name in MODULES]
