"""The workshop's file: who it is, where records, keys and certificates are, and its benches."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from proofbath.certificate.parties import Workshop
from proofbath.description import Described
from proofbath.proof.effort import Effort
from proofbath.workshop.mqtt_settings import MqttSettings
from proofbath.workshop.serve_settings import ServeSettings

FileName = Annotated[str, Field(min_length=1)]
"""A path; relative ones start at the workshop file's folder."""


class Places(Described):
    """Where things are kept."""

    records: FileName = "records.sqlite"
    """Database of journal and records: a file, or a URL of PostgreSQL."""
    keys: FileName = "keys"
    certificates: FileName = "certificates"
    nights: FileName = "nights"
    """Each night's plan, curves and pictures."""


class BenchPlace(Described):
    """One bench of the workshop."""

    file: FileName


class ShopFile(Described):
    """A whole workshop file."""

    workshop: Workshop
    number_prefix: Annotated[str, Field(pattern=r"^[A-Za-z0-9]{1,12}$")] = "PB"
    """Documents are numbered PREFIX-YEAR-NNNN."""
    places: Places = Places()
    bench: tuple[BenchPlace, ...] = ()
    effort: Effort = Effort()
    """What rework takes, in minutes, as the advice weighs it."""
    serve: ServeSettings = ServeSettings()
    mqtt: MqttSettings | None = None
