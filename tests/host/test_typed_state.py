"""Nothing is decided by a search in words for people: they may be polished without a change.

The rule is the project's own (DEVELOPERS.md). What may be searched is a format for machines, listed
here with what it is; an entry that no longer applies fails too.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from jinja2 import Environment, nodes

import proofbath

ROOT = Path(proofbath.__file__).parent
TEMPLATES = sorted((ROOT / "web" / "templates").glob("*.html"))
SEARCHES = {"startswith", "removeprefix", "partition"}
PYDANTIC = "the mark that the validating library sets before our own sentence"
BYTE_ORDER = "byte order mark and first line of a text file"
FORMATS = {
    "bench/connect.py": "port address",
    "bench/control_socket.py": "protocol of the bench's socket",
    "bench/hand_typed.py": "command typed by a person",
    "bench/lock.py": "key of a lock: kind and path",
    "bench/notes.py": "warnings of journals written before a note had its turn",
    "bench/notify.py": "mail address",
    "bench/scpi_dialogue.py": "SCPI line",
    "bench/serial_image.py": "Intel HEX record",
    "bench/simulator_port.py": "port address and protocol of the simulator",
    "certificate/then_and_now_view.py": "sign of a number",
    "cli/demo.py": "mark of a file",
    "cli/records.py": "link of the chain as number:digest",
    "curve/hand_record.py": BYTE_ORDER,
    "curve/record.py": BYTE_ORDER,
    "description.py": PYDANTIC,
    "proof/log_table.py": BYTE_ORDER,
    "proof/specification.py": "name of a field",
    "store/migrations/record_table.py": "column as name:type",
    "store/remedy.py": "first line of the database's message, only shown",
    "web/access_sign_in.py": "path of a URL",
    "web/api_page.py": "HTTP status",
    "web/errors.py": f"path of a URL; {PYDANTIC}",
    "web/metrics.py": "HTTP header and first line of a file",
    "web/security.py": "path of a URL, host of a header, name of a file",
    "web/systemd.py": "address of a socket",
    "web/templating.py": "path of a URL",
    "wire/heat_hazards.py": "name of a lead",
    "workshop/entry.py": PYDANTIC,
    "workshop/history.py": "stored form of a calibration's uncertainty, shown without its U",
    "workshop/mqtt_settings.py": "first line of a file",
    "workshop/numbers.py": "number of a document",
    "workshop/papers.py": PYDANTIC,
    "workshop/unit_list.py": BYTE_ORDER,
}
SHOWN_OTHERWISE = {
    ("calibration.html", "U "): "the column's head says U",
    ("benches.html", "T"): "ISO 8601 time",
    ("people.html", "T"): "ISO 8601 time",
    ("people_record.html", "T"): "ISO 8601 time",
    ("unit.html", "ohm"): "unit in the name of a field",
    ("unit.html", "mohm"): "unit in the name of a field",
}
CALLS = {
    ("api.html", "split"): "names in the shape of an API's answer",
    ("start.html", "endswith"): "a full stop is set where there is none",
}


def searched(source: str) -> Iterator[str]:
    """Yield each search in a text that Python source makes."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            if node.func.attr in SEARCHES:
                yield ast.unparse(node)
        elif isinstance(node, ast.Compare):
            pairs = zip(node.ops, node.comparators, strict=True)
            if any(isinstance(op, ast.In | ast.NotIn) and _is_text_of(of) for op, of in pairs):
                yield ast.unparse(node)


def _is_text_of(node: ast.expr) -> bool:
    return isinstance(node, ast.Call) and ast.unparse(node.func) in ("str", "repr")


def compared(name: str, source: str) -> Iterator[str]:
    """Yield each decision by words that a template makes."""
    tree = Environment().parse(source)
    for compare in tree.find_all(nodes.Compare):
        words = [c.value for c in compare.find_all(nodes.Const) if isinstance(c.value, str)]
        yield from (f"{name}:{compare.lineno}: {word!r}" for word in words if " " in word)
        within, sought = compare.ops[0], compare.expr
        rights = isinstance(within.expr, nodes.Getattr) and within.expr.attr == "rights"
        if within.op in ("in", "notin") and isinstance(sought, nodes.Const) and not rights:
            yield f"{name}:{compare.lineno}: {sought.value!r} in a text"
    for used in tree.find_all(nodes.Filter):
        first = used.args[0] if used.args else None
        old = first.value if isinstance(first, nodes.Const) else ""
        if used.name == "replace" and old != "_" and (name, old) not in SHOWN_OTHERWISE:
            yield f"{name}:{used.lineno}: replaces {old!r}"
    for call in tree.find_all(nodes.Call):
        attr = call.node.attr if isinstance(call.node, nodes.Getattr) else ""
        if attr in SEARCHES | {"endswith", "split"} and (name, attr) not in CALLS:
            yield f"{name}:{call.lineno}: {attr}"


def test_python_searches_only_in_formats_for_machines() -> None:
    found = {
        path.relative_to(ROOT).as_posix(): [*searched(path.read_text())]
        for path in ROOT.rglob("*.py")
    }
    assert {name: lines for name, lines in found.items() if lines and name not in FORMATS} == {}
    assert [name for name in FORMATS if not found.get(name)] == [], "listed, searched no more"


def test_templates_compare_codes_only() -> None:
    assert len(TEMPLATES) > 20
    found = [line for path in TEMPLATES for line in compared(path.name, path.read_text())]
    assert found == []


@pytest.mark.parametrize(
    "source",
    [
        'if "no run" not in str(error): raise',
        'if step.startswith("measure as "): pass',
        'name = said.partition(": ")[2]',
    ],
)
def test_a_search_in_python_is_seen(source: str) -> None:
    assert [*searched(source)]


@pytest.mark.parametrize(
    "source",
    [
        '{% if "see rework" in unit.next_step %}{% endif %}',
        '{% if unit.state == "not measured yet" %}{% endif %}',
        '{{ {"a b": "good"}[x] if x == "a b" else x | replace("see", "") }}',
        '{% if line.startswith("failed") %}{% endif %}',
    ],
)
def test_a_search_in_a_template_is_seen(source: str) -> None:
    assert [*compared("any.html", source)]
