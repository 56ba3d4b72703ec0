"""The sheet's colours can be read: contrast by the formula of WCAG 2, in light and in dark."""

from __future__ import annotations

import re

import pytest

from proofbath.web.templating import FOLDER

TEXT, LARGE_OR_SHAPE = 4.5, 3.0
"""Least contrasts of WCAG 2.2: success criteria 1.4.3 (text) and 1.4.11 (shapes)."""
PAIRS = [
    ("ink", "paper", 7.0),  # 1.4.6, enhanced: read at arm's length
    ("ink", "sheet", 7.0),
    ("soft", "paper", TEXT),
    ("soft", "sheet", TEXT),
    ("accent", "paper", TEXT),
    ("accent-ink", "accent", TEXT),
    ("ink", "accent-wash", TEXT),
    ("stop-ink", "stop", TEXT),
    ("focus", "paper", LARGE_OR_SHAPE),
    ("focus", "sheet", LARGE_OR_SHAPE),
    *[(state, f"{state}-wash", TEXT) for state in ("good", "warn", "bad")],
    *[(f"series-{name}", "sheet", LARGE_OR_SHAPE) for name in (*"123456", "set")],
]


def schemes() -> dict[str, dict[str, str]]:
    """Return the colours by name: those of the light scheme, and what the dark one makes of it."""
    css = (FOLDER / "static" / "proofbath.css").read_text()
    light, dark = (
        dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block))
        for block in re.findall(r":root {(.*?)}", css, re.DOTALL)[:2]
    )
    return {"light": light, "dark": light | dark}


def luminance(colour: str) -> float:
    """Return the relative luminance of #rrggbb, as WCAG 2 defines it."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def test_the_formula_gives_the_known_ends() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # the usual example


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("front", "back", "least"), PAIRS)
def test_front_and_back_stand_apart(scheme: str, front: str, back: str, least: float) -> None:
    colours = schemes()[scheme]
    assert contrast(colours[front], colours[back]) >= least


def test_templates_hold_no_script_or_style_of_their_own() -> None:
    for path in (FOLDER / "templates").rglob("*.html"):
        text = path.read_text()
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", text), path.name
        for attributes in re.findall(r"<script([^>]*)>", text):
            assert "src=" in attributes or "application/json" in attributes, path.name
        assert not re.search(r"(src|href)=\"(https?:)?//", text), path.name
