"""Descriptions in TOML: every mistake at once, each with its place and what to do."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import pytest
from pydantic import Field

from proofbath.description import Described, parse_toml
from proofbath.errors import InputError
from proofbath.files import read_text, read_toml


class Round(Described):
    kind: Literal["round"]
    radius_mm: float = Field(gt=0)


class Square(Described):
    kind: Literal["square"]
    side_mm: float


class Drawing(Described):
    title: str
    shape: list[Annotated[Round | Square, Field(discriminator="kind")]] = Field(
        default_factory=list
    )


def faults(text: str) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        parse_toml(text, Drawing, "plan.toml")
    return caught.value.faults


def test_a_good_text_is_read() -> None:
    text = 'title = "lid"\n[[shape]]\nkind = "round"\nradius_mm = 3'
    assert parse_toml(text, Drawing, "x").shape == [Round(kind="round", radius_mm=3)]


def test_a_misspelt_key_is_named_with_its_neighbour() -> None:
    assert "plan.toml: titel: unknown key; did you mean 'title'?" in faults('titel = "lid"')


def test_all_mistakes_are_listed_at_once_with_their_place() -> None:
    text = '[[shape]]\nkind = "square"\nside_mm = "wide"\n[[shape]]\nkind = "square"\nsid_mm = 1'
    found = faults(text)
    assert any(f.startswith("plan.toml: title: field required") for f in found)
    assert any(f.startswith("plan.toml: shape[1].side_mm: ") and "given 'wide'" in f for f in found)
    assert "plan.toml: shape[2].sid_mm: unknown key; did you mean 'side_mm'?" in found


class Hung(Described):
    hook: tuple[Round, ...] = Field(min_length=1)


def test_a_list_with_a_faulty_item_is_not_called_too_short() -> None:
    with pytest.raises(InputError) as caught:
        parse_toml('[[hook]]\nkind = "round"\nradius_mm = -1', Hung, "wall.toml")
    (fault,) = caught.value.faults
    assert fault.startswith("wall.toml: hook[1].radius_mm: input should be greater than 0")
    with pytest.raises(InputError, match=r"wall.toml: hook: tuple should have at least 1 item"):
        parse_toml("hook = []", Hung, "wall.toml")


def test_text_that_is_not_toml_is_said() -> None:
    (fault,) = faults("title = ")
    assert fault.startswith("plan.toml: not TOML")


@pytest.mark.parametrize("number", ["nan", "inf"])
def test_no_field_takes_a_number_that_is_none(number: str) -> None:
    text = f'title = "a"\n[[shape]]\nkind = "square"\nside_mm = {number}'
    assert any("side_mm" in f for f in faults(text))


def test_files_are_refused_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "binary").write_bytes(b"\xff\x00\x80")
    for name, words in (("none", "no such file"), ("", "is a folder"), ("binary", "not UTF-8")):
        with pytest.raises(InputError, match=words):
            read_text(tmp_path / name)


def test_a_byte_order_mark_is_taken(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_bytes(b'\xef\xbb\xbftitle = "lid"')
    assert read_toml(tmp_path / "plan.toml", Drawing).title == "lid"
