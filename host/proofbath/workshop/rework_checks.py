"""What a reworked unit is held back for: its closing, its cold pin, a round that cannot be."""

from __future__ import annotations

from proofbath.proof.trim_knowledge import STICK_OUT_SD_MM
from proofbath.store.kinds import Rework, StationRun
from proofbath.store.records import Kept, RecordsReader
from proofbath.workshop.rework_heat import closure_faults
from proofbath.workshop.story import UnitStory, unit_story
from proofbath.workshop.trim_shop import forecast_of, surprise_of


def heat_faults(records: RecordsReader, serial: str) -> list[str]:
    """Return why a unit may not be heated as it was closed last, one line each; none: it may."""
    stories = unit_story(records, serial)
    if not stories:
        return []
    return [*closure_faults(records, stories), *_pin_faults(records, stories[-1])]


def round_question(records: RecordsReader, story: UnitStory) -> str | None:
    """Return what is to be asked about a unit's last round that was measured, None for nothing.

    A rework that was corrected after it was measured was looked at already, whatever it says.
    """
    last = _measured_round(story)
    if last is None or _seen_since(records, story, last):
        return None
    found = surprise_of(records, story)
    if found is None or not found.implausible:
        return None
    return (
        f"its rework of {last.entry.date} moved the curve by {found.found_mm:+.2f} mm of lift,"
        f" {found.foretold_mm:+.2f} ± {2 * found.sd_mm:.2f} was foretold: look whether what went"
        " on record is what was done, and correct it; where it is right, correct it with the same"
        " figures and say so"
    )


def _pin_faults(records: RecordsReader, story: UnitStory) -> list[str]:
    """Return why a unit's cold pin says that it is not filled as its masses say."""
    stands_mm = _stick_out_mm(story)
    if stands_mm is None:
        return []
    forecast = forecast_of(records, story)
    expected = forecast.pin_stick_out_mm if forecast is not None else None
    if expected is None:
        return []
    low, high = expected.low - 2 * STICK_OUT_SD_MM, expected.high + 2 * STICK_OUT_SD_MM
    if low <= stands_mm <= high:
        return []
    return [
        f"its cold pin stands {stands_mm:+.2f} mm further out than before, by its masses it should"
        f" by {low:+.2f} to {high:+.2f}: read pin and balance again and correct its rework, or open"
        " it once more; too much wax drives the pin out hot"
    ]


def _stick_out_mm(story: UnitStory) -> float | None:
    """Return how much further the cold pin stands out than when the unit was measured last."""
    acts = [kept.entry.act for kept in _unmeasured(story)]
    first = next((a.pin_before_mm for a in acts if a and a.pin_before_mm is not None), None)
    last = next((a.pin_after_mm for a in reversed(acts) if a and a.pin_after_mm is not None), None)
    return None if first is None or last is None else last - first


def _unmeasured(story: UnitStory) -> list[Kept[Rework]]:
    kept = list[Kept[Rework]]()
    for step in story.steps:
        if step.rework is not None:
            kept.append(step.rework)
        elif step.result is not None:
            kept.clear()
    return kept


def _measured_round(story: UnitStory) -> Kept[Rework] | None:
    """Return the rework before the last measurement; None where none is, or one came since."""
    last = None
    for step in story.steps:
        last = step.rework or last
    return None if _unmeasured(story) else last


def _seen_since(records: RecordsReader, story: UnitStory, rework: Kept[Rework]) -> bool:
    """Whether a rework was corrected after the run that measured it went on record."""
    place = records.places(Rework, StationRun)
    runs = [step.station_run for step in story.steps if step.station_run is not None]
    return place[Rework, rework.id] > max((place[StationRun, run.id] for run in runs), default=0)
