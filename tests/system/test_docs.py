"""The pages do what they say: commands are typed, links and figures are there, words exist."""

from __future__ import annotations

import re
import shlex
import sys
import tomllib
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import click
import pytest
from pydantic import BaseModel

from proofbath.bench.description import BenchFile
from proofbath.cli import VERBS
from proofbath.workshop.settings import ShopFile

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "rig_docs"
sys.path.insert(0, str(DOCS / "make"))
run = import_module("docs_run")
sys.path.remove(str(DOCS / "make"))

PAGES = run.pages()
TEXTS = {page: page.read_text(encoding="utf-8") for page in PAGES}
LEFT_OUT = {"serve"}
"""Verbs that no block can run to their end."""


def ident(page: Path) -> str:
    return str(page.relative_to(ROOT))


def group_of(page: Path) -> list[pytest.MarkDecorator]:
    """Pages of the demo's folder are typed by one worker, so that the demo runs once."""
    return [pytest.mark.xdist_group("demo")] if run.place_of(TEXTS[page]) == "demo" else []


TYPED = [
    pytest.param(page, id=ident(page), marks=group_of(page))
    for page in PAGES
    if any(block.is_typed(long=False) for block in run.fences(TEXTS[page]))
]


@pytest.fixture
def demo(request: pytest.FixtureRequest) -> Callable[[], Path]:
    """The demo's folder, made when a page wants it."""
    return lambda: Path(request.getfixturevalue("night"))


@pytest.mark.parametrize("page", TYPED)
def test_commands_of_a_page_do_what_it_says(page: Path, demo: Callable[[], Path]) -> None:
    """How a block is marked: rig_docs/make/docs_run.py"""
    assert run.run_page(page, demo) > 0


def test_a_block_that_does_not_do_as_said_is_found(
    tmp_path: Path, demo: Callable[[], Path]
) -> None:
    cases = {
        "```sh\nproofbath curve nothing.csv\n```": "left with 2",
        "```sh exits-2\nproofbath --version\n```": "left with 0",
        "```sh\nfalse | cat\n```": "left with 1",
        "```sh\necho one two\n```\n```output\none three\n```": "the page shows",
        "```sh\nread x; test $x = yes\n```\n```typed\nno\n```": "left with 1",
        "```sh until-stopped\nfalse\n```": "ended with 1",
        "```sh\necho": "not closed",
    }
    for text, fault in cases.items():
        page = tmp_path / "page.md"
        page.write_text(text)
        with pytest.raises(run.PageError, match=fault):
            run.run_page(page, demo)


@pytest.mark.parametrize("page", PAGES, ids=ident)
def test_blocks_are_marked_as_the_reader_of_blocks_knows(page: Path) -> None:
    for block in run.fences(TEXTS[page]):
        assert block.language, f"line {block.line}: a block without a language"
        if block.is_command:
            known = [w for w in block.words if w in run.MARKS or run.STATUS.fullmatch(w)]
            assert list(block.words) == known, f"line {block.line}"
        if block.language == "toml":
            tomllib.loads(block.text)
    lines = _outside_fences(TEXTS[page])
    indented = [line for line in lines if re.match(r" {4}(proofbath|python|make|bash) ", line)]
    assert indented == [], "a command that is not in a block is not typed"


# ---- The words of the command line ---------------------------------------------------------------


def _commands() -> dict[str, click.Command]:
    """Every verb and subcommand by its words, groups that do something by themselves too."""
    found: dict[str, click.Command] = {}

    def walk(command: click.Command, words: str) -> None:
        if isinstance(command, click.Group):
            context = click.Context(command)
            for name in command.list_commands(context):
                below = command.get_command(context, name)
                assert below is not None
                walk(below, f"{words} {name}")
        if not isinstance(command, click.Group) or command.invoke_without_command:
            found[words] = command

    for verb in VERBS:
        walk(import_module(f"proofbath.cli.{verb}").command, verb)
    return found


COMMANDS = _commands()


def _outside_fences(text: str) -> list[str]:
    inside = {
        number
        for block in run.fences(text)
        for number in range(block.line, block.line + block.text.count("\n") + 3)
    }
    return [line for n, line in enumerate(text.splitlines(), start=1) if n not in inside]


SHORT = re.compile(rf"`((?:{'|'.join(words for words in COMMANDS if ' ' in words)})(?: [^`|]*)?)`")
"""A verb and its subcommand between backticks, without the program's name."""


def _said(text: str) -> list[str]:
    """Every command of ours that a page says: in the text between backticks, and in blocks."""
    inline = re.findall(r"`(proofbath [^`|]+)[^`]*`", " ".join(_outside_fences(text)))
    inline += [f"proofbath {said}" for said in SHORT.findall(" ".join(_outside_fences(text)))]
    typed = [
        line.strip()
        for block in run.fences(text)
        if block.is_command
        for line in block.text.replace("\\\n", " ").splitlines()
    ]
    return inline + [
        part.strip() for line in typed for part in re.findall(r"proofbath [^&|;>#]+", line)
    ]


def _look_up(said: str) -> tuple[str, click.Command, list[str]]:
    """Return the longest known words a command begins with, and what follows."""
    words = shlex.split(said.replace("…", "x"))[1:]
    for count in (2, 1):
        name = " ".join(words[:count])
        if name in COMMANDS:
            return name, COMMANDS[name], words[count:]
    raise AssertionError(f"{said}: no such verb")


@pytest.mark.parametrize("page", PAGES, ids=ident)
def test_commands_that_a_page_names_exist_with_their_options(page: Path) -> None:
    groups = {verb for verb in VERBS if verb not in COMMANDS}
    for said in _said(TEXTS[page]):
        words = shlex.split(said.replace("…", "x"))
        if words[1:] in (["--help"], ["--version"], ["VERB"]) or (
            len(words) == 2 and words[1] in groups
        ):
            continue
        name, command, rest = _look_up(said)
        known = {text for option in command.params for text in option.opts} | {"--help"}
        known |= {text for option in command.params for text in option.secondary_opts}
        given = {word.split("=")[0] for word in rest if word.startswith("--")}
        assert given <= known, f"{said}: {name} has no {', '.join(sorted(given - known))}"


def test_every_verb_and_subcommand_is_on_some_page() -> None:
    named = set()
    for text in TEXTS.values():
        for said in _said(text):
            words = said.split()[1:]
            named |= {" ".join(words[:1]), " ".join(words[:2])}
    assert sorted(set(COMMANDS) - named) == []


# ---- Settings ------------------------------------------------------------------------------------


def _settings(model: type[BaseModel], table: str = "") -> Iterator[tuple[str, str]]:
    """Yield each setting with the name of its table, as TOML would head it."""
    for name, field in model.model_fields.items():
        inner, many = _model_in(field.annotation)
        if inner is None:
            yield table, field.alias or name
        else:
            path = f"{table.strip('[]')}.{name}".lstrip(".")
            yield from _settings(inner, f"[[{path}]]" if many else f"[{path}]")


def _model_in(annotation: Any) -> tuple[type[BaseModel] | None, bool]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    inner = getattr(annotation, "__args__", ())
    many = getattr(annotation, "__origin__", None) in (tuple, list)
    for part in inner:
        found, below = _model_in(part)
        if found is not None:
            return found, many or below
    return None, False


@pytest.mark.parametrize("model", [ShopFile, BenchFile])
def test_every_setting_is_on_the_page_of_settings(model: type[BaseModel]) -> None:
    page = (DOCS / "settings.md").read_text(encoding="utf-8")
    parts = re.split(r"^### ", page, flags=re.MULTILINE)
    names = {part.splitlines()[0].strip("` "): part for part in parts}
    missing = [
        f"{table} {name}"
        for table, name in _settings(model)
        if f"`{name}`" not in _part(names, table)
    ]
    assert missing == []


def _part(names: dict[str, str], table: str) -> str:
    """Return a table's part of the page; like tables, as two probes, may share one."""
    if not table:
        return "\n".join(names.values())
    part = names.get(table, "")
    like = re.search(r"(?:[Aa]s|like|same as) \[?`(\[+[\w.]+\]+)`", part)
    return part + (names.get(like[1], "") if like else "")


# ---- Links and figures ---------------------------------------------------------------------------


def _anchors(text: str) -> set[str]:
    heads = re.findall(r"^#+ (.*)$", text, re.MULTILINE)
    return {re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in heads}


@pytest.mark.parametrize("page", PAGES, ids=ident)
def test_links_and_anchors_lead_somewhere(page: Path) -> None:
    text = "\n".join(_outside_fences(TEXTS[page]))
    for target, anchor in re.findall(r"\]\(([^)#\s]*)(?:#([^)\s]*))?\)", text):
        if re.match(r"[a-z]+:", target):
            continue
        path = (page.parent / target).resolve() if target else page
        assert path.exists(), target
        if anchor:
            assert anchor in _anchors(path.read_text(encoding="utf-8")), f"{target}#{anchor}"


def test_every_page_is_reached_from_the_readme() -> None:
    reached, ahead = set(), [ROOT / "README.md"]
    while ahead:
        page = ahead.pop()
        if page in reached:
            continue
        reached.add(page)
        for target in re.findall(r"\]\(([^)#\s:]+)", page.read_text(encoding="utf-8")):
            path = (page.parent / target).resolve()
            if path.suffix == ".md":
                ahead.append(path)
            elif path.is_dir():
                ahead += sorted(path.glob("*.md"))
    assert [ident(page) for page in PAGES if page not in reached] == []


def test_every_figure_is_shown_and_made_by_a_command_that_stands_somewhere() -> None:
    made = {
        "drawings": "python rig_docs/make/book.py",
        "figures": "python rig_docs/make/troubleshooting.py",
        "screens": "python rig_docs/make/screenshots.py",
        "": "copy `DIR/curves.png` to `rig_docs/demo.png`",
    }
    text = "\n".join(TEXTS.values())
    pictures = [path for path in DOCS.rglob("*") if path.suffix in (".svg", ".png")]
    assert pictures
    for path in pictures:
        folder = str(path.parent.relative_to(DOCS)).strip(".")
        assert made[folder] in text
        assert f"{path.parent.name}/{path.name})" in text, f"{path.name}: no page shows it"


# ---- The typed commands cover the command line ---------------------------------------------------


def test_every_verb_is_typed_by_some_page() -> None:
    """Apart from those that want hardware or run until they are stopped."""
    typed = " ".join(
        block.text
        for text in TEXTS.values()
        for block in run.fences(text)
        if block.is_typed(long=True)
    )
    ran = {verb for verb in VERBS if re.search(rf"proofbath {verb}\b", typed)}
    assert sorted(set(VERBS) - ran - LEFT_OUT) == []
