"""Settings: the page is what the models say, and the schemas take what the program takes."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import jsonschema_rs
import pytest
from click.testing import CliRunner

from host.bench.nights import BENCH
from host.web.committed import WORKSHOP
from proofbath.cli.serve_service import schema, settings
from proofbath.web.config_schema import FILES, meaning, sections, settings_page
from proofbath.workshop.mqtt_settings import MqttSettings

PAGE = Path(__file__).parents[3] / "rig_docs" / "settings.md"


def test_the_page_is_up_to_date() -> None:
    assert PAGE.read_text(encoding="utf-8") == settings_page(), (
        "type: proofbath serve settings > rig_docs/settings.md"
    )
    assert CliRunner().invoke(settings).output == settings_page()


@pytest.mark.parametrize(
    ("which", "text", "wrong"),
    [
        ("workshop", WORKSHOP, 'number_prefx = "PB"\n' + WORKSHOP),
        ("workshop", WORKSHOP, WORKSHOP + '[mqtt]\nhost = "b"\nport = 70000\n'),
        ("bench", BENCH, BENCH.replace("share_by_volume = 0.4", "share_by_volume = 0.9")),
        ("bench", BENCH, BENCH.replace('name = "quay"', "name = 7")),
    ],
)
def test_a_schema_takes_a_right_file_and_no_wrong_one(which: str, text: str, wrong: str) -> None:
    printed = CliRunner().invoke(schema, [which]).output
    assert jsonschema_rs.meta.is_valid(json.loads(printed))
    checker = jsonschema_rs.Draft202012Validator(json.loads(printed))
    assert checker.is_valid(tomllib.loads(text))
    assert not checker.is_valid(tomllib.loads(wrong))


@pytest.mark.parametrize("which", FILES)
def test_every_setting_stands_in_its_schema_with_a_meaning(which: str) -> None:
    for section in sections(FILES[which]):
        for name in section.model.model_fields:
            assert meaning(section.model, name).strip(" .")


def test_a_meaning_is_what_stands_beneath_the_setting() -> None:
    assert meaning(MqttSettings, "prefix") == "First part of every topic."
