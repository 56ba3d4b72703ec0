"""Types and serials of examples, scenario, pages, tests and book are the three of our own.

Values are read where they are given: TOML in files and in strings, keywords and keys of Python,
words of commands in the book and in help texts.  What is none of a type's may stand only where it
reads as nobody's: a type as a word without digits, a serial by the rule at `NEUTRAL`.
"""

from __future__ import annotations

import ast
import re
import shlex
import subprocess
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).parents[2]
TYPES = {"Teal-82": "T82", "Heron-103": "H103", "Wigeon-90": "W90"}
BIRDS = {name.partition("-")[0] for name in TYPES}
SERIAL = re.compile(rf"(?:{'|'.join(TYPES.values())})-[A-Za-z0-9][A-Za-z0-9-]*")
NEUTRAL = re.compile(r"-|[A-EG-Z]?-?\d|\d|[A-Z]|[A-Z]-?REF|[A-Z]+(?:-\d)?|[a-z]+(?:-\d)?")
"""A letter and a digit, where the letter is no F; or a plain word, perhaps numbered."""
TYPE_KEYS = {"unit_type", "type_name", "reference_type"}
TYPE_SECTIONS = {"unit_type", "reference_type"}
SERIAL_KEYS = {"serial"}
CODE = re.compile(r"[A-Z][A-Za-z]{0,7}-?\d[\w-]*")
"""A word of a command that reads as a type or a serial."""
SHAPE = re.compile(r"[A-Z]{1,2}\d{2,3}-\w+|[A-Z][a-z]+-\d{2,3}")
"""A whole string that is a type or a serial wherever it stands."""
PAPER = re.compile(r"LN-\d{4}-\d{4}")
PLACES = ("host", "tests", "rig_docs", "firmware", "README.md", "DEVELOPERS.md")
SUFFIXES = (".py", ".toml", ".md", ".html", ".typ", ".js", ".cpp", ".h")


class Named(NamedTuple):
    """A name somewhere: `kind` is type or serial."""

    kind: str
    value: str
    where: str


def allowed(named: Named) -> bool:
    """Whether a name is one of ours, or reads as nobody's."""
    if named.kind == "type":
        return named.value in TYPES or not re.search(r"\d", named.value)
    return bool(SERIAL.fullmatch(named.value) or NEUTRAL.fullmatch(named.value))


@cache
def files() -> tuple[Path, ...]:
    """Return what is under version control, or in a source distribution all there is."""
    listed = subprocess.run(
        ["git", "ls-files", "--", *PLACES], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.split("\n")
    every = [ROOT / name for name in listed if name] or [
        path for place in PLACES for path in (ROOT / place, *(ROOT / place).rglob("*"))
    ]
    return tuple(path for path in every if path.suffix in SUFFIXES and path.exists())


def of(*suffixes: str) -> list[Path]:
    """Return the files that end so, this one left out: it names what must not be."""
    return [path for path in files() if path.suffix in suffixes and path != Path(__file__)]


def where(path: Path, line: int) -> str:
    return f"{path.relative_to(ROOT)}:{line}"


# ---- TOML ----------------------------------------------------------------------------------------


def in_toml(text: str, path: Path, first: int = 1) -> Iterator[Named]:
    """Yield the names in TOML, line by line, so that a template with gaps is read too."""
    section = ""
    for number, line in enumerate(text.split("\n"), first):
        if header := re.fullmatch(r"\s*\[+([\w.]+)\]+\s*", line):
            section = header[1]
            continue
        try:
            given = tomllib.loads(line.strip())
        except tomllib.TOMLDecodeError:
            continue
        for key, value in given.items():
            kind = kind_of(key) or ("type" if key == "name" and section in TYPE_SECTIONS else None)
            if kind and isinstance(value, str) and "{" not in value:
                yield Named(kind, value, where(path, number))


def kind_of(key: str | None) -> str | None:
    if key in TYPE_KEYS:
        return "type"
    return "serial" if key in SERIAL_KEYS else None


# ---- Python --------------------------------------------------------------------------------------


def text_of(node: ast.expr | None) -> str | None:
    """Return a string as far as it is written down, 1 for what is filled in."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        parts = [text_of(part) if isinstance(part, ast.Constant) else "1" for part in node.values]
        return "".join(part or "" for part in parts)
    return None


def called(node: ast.Call) -> str:
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def given_in(node: ast.AST) -> Iterator[tuple[str | None, ast.expr]]:
    """Yield the kind and the value of what a call or a dictionary names."""
    if isinstance(node, ast.Call):
        for keyword in node.keywords:
            named = keyword.arg == "name" and called(node) == "UnitType"
            yield "type" if named else kind_of(keyword.arg), keyword.value
    elif isinstance(node, ast.Dict):
        for key, value in zip(node.keys, node.values, strict=True):
            yield kind_of(text_of(key)), value
            if text_of(key) in TYPE_SECTIONS and isinstance(value, ast.Dict):
                inner = zip(value.keys, value.values, strict=True)
                yield from (("type", v) for k, v in inner if text_of(k) == "name")


def in_python(path: Path) -> Iterator[Named]:
    """Yield the names a module gives, in its TOML strings, and in commands of its help texts."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        for kind, value in given_in(node):
            text = text_of(value)
            if kind and text and not text.startswith("1"):
                yield Named(kind, text, where(path, value.lineno))
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield from in_toml(node.value, path, node.lineno)
            if SHAPE.fullmatch(node.value):
                kind = "type" if node.value[1].islower() else "serial"
                yield Named(kind, node.value, where(path, node.lineno))
        if isinstance(node, ast.FunctionDef) and (help_text := ast.get_docstring(node)):
            for example in re.findall(r"Example:  (.*(?:\n(?!\n).*)*)", help_text):
                yield from in_command(example.replace("\n", " "), where(path, node.lineno))


# ---- Commands and the book -----------------------------------------------------------------------


def in_command(command: str, place: str) -> Iterator[Named]:
    """Yield the words of a command that are types by their option, or read as codes."""
    try:
        words = shlex.split(command, comments=True)
    except ValueError:  # an awk program over several lines names nothing
        return
    for before, word in zip(["", *words], words, strict=False):
        if before == "--type":
            yield Named("type", word, place)
        elif CODE.fullmatch(word) and not PAPER.fullmatch(word):
            yield Named("type" if word in TYPES else "serial", word, place)


def in_page(path: Path) -> Iterator[Named]:
    """Yield the names in a page's blocks of commands, data and TOML, and in its inline code."""
    text = path.read_text(encoding="utf-8")
    for block in re.finditer(r"^```(\w*)[^\n]*\n(.*?)^```", text, re.MULTILINE | re.DOTALL):
        line = text[: block.start()].count("\n") + 2
        yield from in_toml(block[2], path, line)
        if block[1] in ("sh", "csv", "typed"):
            for n, command in enumerate(block[2].replace("\\\n", "  ").split("\n")):
                words = command.replace(",", " ") if block[1] == "csv" else command
                yield from in_command(words, where(path, line + n))
    for code in re.finditer(r"`(proofbath [^`\n]*|batch [^`\n]*|unit [^`\n]*)`", text):
        yield from in_command(code[1], where(path, text[: code.start()].count("\n") + 1))


@cache
def all_named() -> tuple[Named, ...]:
    names = [named for path in of(".py") for named in in_python(path)]
    for path in of(".toml"):
        names += in_toml(path.read_text(encoding="utf-8"), path)
    for path in of(".md"):
        names += in_page(path)
    return tuple(names)


@pytest.mark.parametrize("kind", ["type", "serial"])
def test_every_type_and_serial_is_one_of_ours(kind: str) -> None:
    wrong = [f"{n.where}: {n.value}" for n in all_named() if n.kind == kind and not allowed(n)]
    assert wrong == []


def test_the_names_were_looked_for_where_they_stand() -> None:
    """A reader that finds nothing would let all pass: each kind of place must have some."""
    places = {(named.kind, Path(named.where.split(":")[0]).suffix) for named in all_named()}
    assert places == {(kind, end) for kind in ("type", "serial") for end in (".py", ".toml", ".md")}
    rooms = {named.where.split("/")[0] for named in all_named() if "/" in named.where}
    assert rooms >= {"host", "tests", "rig_docs"}
    assert {named.value for named in all_named() if named.kind == "type"} >= TYPES.keys()


@pytest.mark.parametrize(
    ("kind", "value", "fits"),
    [
        *(("type", "Teal-82", True), ("type", "blank", True), ("type", "Teal-83", False)),
        *(("serial", "T82-0832", True), ("serial", "U1", True), ("serial", "block", True)),
        *(("serial", "A320", False), ("serial", "F8", False), ("serial", "Teal-82", False)),
        *(("serial", "W91-0101", False), ("type", "X90", False), ("serial", "T82", False)),
    ],
)
def test_the_rule_knows_ours_and_nobodys_from_others(kind: str, value: str, fits: bool) -> None:
    assert allowed(Named(kind, value, "")) is fits


def test_no_vessel_engine_or_person_is_called_like_a_type() -> None:
    """The birds of the types stand only with their numbers."""
    alone = re.compile(rf"\b({'|'.join(BIRDS)})\b(?!-(?:82|103|90)\b)", re.IGNORECASE)
    numbered = re.compile(rf"\b({'|'.join(BIRDS)})[-_](\d+)", re.IGNORECASE)
    wrong = []
    for path in of(*SUFFIXES):
        for number, line in enumerate(path.read_text(encoding="utf-8").split("\n"), 1):
            said = [f"{a}-{b}".capitalize() for a, b in numbered.findall(line)]
            if alone.search(line) or not {*said} <= TYPES.keys():
                wrong.append(f"{where(path, number)}: {line.strip()[:80]}")
    assert wrong == []
