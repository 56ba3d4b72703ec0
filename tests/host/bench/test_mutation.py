"""Spoiled lines, a few of the mutation benchmark's: none does anything in either direction."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.mutation import KINDS, WAYS, bursts, passes_checksum, replacements, verdict
from proofbath.wire.line import encode
from proofbath.wire.table import Demand

TRUE = encode(Demand(7, 1234, 2000, 250, 1, 0, (0,) * 6))


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("kind", KINDS)
def test_spoiled_lines_do_nothing(way: str, kind: str) -> None:
    found = WAYS[way](KINDS[kind], 4000, seed=5)
    assert verdict(kind, found) == ""
    assert found["not understood"] >= 4000 - found["stopped"]


def test_a_burst_flips_what_it_says_and_no_more() -> None:
    true = int.from_bytes(TRUE, "little")
    lengths = set()
    for line in bursts(TRUE, 2000, np.random.default_rng(1)):
        flipped = int.from_bytes(line, "little") ^ true
        lengths.add(flipped.bit_length() - (flipped & -flipped).bit_length() + 1)
    assert lengths == set(range(1, 17))


def test_a_replacement_has_the_shape_of_a_line_and_sometimes_its_checksum() -> None:
    lines = replacements(TRUE, 200_000, np.random.default_rng(1))
    assert all(len(line) == len(TRUE) for line in lines[:100])
    # 200000 / 65536 = 3.05; Poisson puts 14 or more at 2e-6.
    assert 0 < sum(map(passes_checksum, lines)) < 14
    assert passes_checksum(TRUE)
