"""One value, one text."""

from __future__ import annotations

import hashlib
import json
import math
import unicodedata
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from proofbath.certificate.canonical import canonical, parse_canonical, sha256
from proofbath.errors import RecordError

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8).map(
    lambda text: unicodedata.normalize("NFC", text)
)
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=12,
)


@settings(deadline=None)
@given(VALUES)
def test_canonical_json_reads_back_to_the_same_value(value: Any) -> None:
    assert json.loads(canonical(value)) == value
    assert canonical(parse_canonical(canonical(value))) == canonical(value)


def test_order_and_form_of_the_letters_make_no_difference() -> None:
    # U+00E9 and e + U+0301 are one letter in NFC (Unicode Standard Annex 15)
    assert canonical({"b": 1, "a": "caf\u00e9"}) == canonical({"a": "cafe\u0301", "b": 1})
    assert canonical({"b": 1, "a": [1.0, 0.1, None, True]}) == b'{"a":[1.0,0.1,null,true],"b":1}'


@pytest.mark.parametrize(
    "value",
    [math.nan, math.inf, -math.inf, [math.nan], {1: 2}, {"\u00e9": 1, "e\u0301": 2}, {1}, "\ud800"],
)
def test_what_is_no_json_is_refused(value: Any) -> None:
    with pytest.raises(RecordError):
        canonical(value)


@pytest.mark.parametrize(
    "data",
    [
        *(
            b'{"a": 1}',
            b'{"b":1,"a":2}',
            b'{"a":1,"a":1}',
            b'{"a":1}\n',
            b'{"a":1e0}',
            b'"\\u0041"',
        ),
        *(b"[NaN]", b"[1e999]", b"\xff", b"{", b"", b"[" * 100_000, b'\xef\xbb\xbf{"a":1}'),
    ],
)
def test_any_other_spelling_is_refused(data: bytes) -> None:
    with pytest.raises(RecordError):
        parse_canonical(data)


def test_the_digest_is_sha_256() -> None:
    # FIPS 180-4 example "abc", published with the standard
    assert sha256(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert sha256(b"x") == hashlib.sha256(b"x").hexdigest()
