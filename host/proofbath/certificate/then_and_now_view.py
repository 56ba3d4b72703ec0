"""A comparison's content as the strings and the drawing its page shows."""

from __future__ import annotations

from typing import Any

from proofbath.certificate.agreement import Change
from proofbath.certificate.plot import overlay_view
from proofbath.certificate.result_view import in_its_form, result_view
from proofbath.certificate.then_and_now import Measurement, ThenAndNow
from proofbath.certificate.words import day, decimals_of, fixed


def then_and_now_view(content: ThenAndNow) -> dict[str, Any]:
    """Return what the page of a comparison prints."""
    first = content.changes[0]
    return {
        **content.model_dump(mode="json", exclude={"then", "now", "changes"}),
        "issued": day(content.issued),
        "headline": "AGREES" if first.verdict == "agrees" else "HAS SHIFTED",
        "what": in_its_form(first.now),
        "then": _measurement(content.then),
        "now": _measurement(content.now),
        "told": f"{first.now.words} {first.words}.",
        "changes": [_change(change) for change in content.changes],
        "plot": overlay_view((content.then.curve, content.now.curve), (first.then, first.now)),
    }


def _measurement(told: Measurement) -> dict[str, str]:
    return {
        **told.model_dump(mode="json", exclude={"curve"}),
        "date": day(told.date),
        "certificate": f"certificate {told.certificate}" if told.certificate else "no certificate",
    }


def _change(change: Change) -> dict[str, str]:
    then, now = result_view(change.then), result_view(change.now)
    decimals = decimals_of(change.expanded_uncertainty)
    difference = fixed(change.difference, decimals)
    return {
        "words": now["words"],
        "form": now["form"],
        "unit": now["unit"],
        "then": f"{then['value']} ± {then['u']}",
        "now": f"{now['value']} ± {now['u']}",
        "difference": difference if difference.startswith("−") else f"+{difference}",
        "u": fixed(change.expanded_uncertainty, decimals),
        "e_n": fixed(change.e_n, 2),
        "verdict": change.verdict,
    }
