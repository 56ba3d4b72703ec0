"""A withdrawal's content as the strings its page shows."""

from __future__ import annotations

from typing import Any

from proofbath.certificate.withdrawal import Withdrawal
from proofbath.certificate.words import day


def withdrawal_view(content: Withdrawal) -> dict[str, Any]:
    """Return what the page of a withdrawal prints."""
    return {
        **content.model_dump(mode="json"),
        "issued": day(content.issued),
        "withdraws_issued": day(content.withdraws_issued),
    }
