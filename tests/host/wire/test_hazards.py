"""The hazard table: nothing seen without a row, no row without what provokes it, no two texts."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable
from pathlib import Path

import pytest

from proofbath.bench.interlocks import AT_STATION, DECLARED, TRIPS, station_name, wanted_rows
from proofbath.wire.guards import GUARDS, guard_of
from proofbath.wire.hazard_rows import (
    HAZARDS,
    nights_of_faults,
    own_tests,
    proofs_of,
    remaining,
)
from proofbath.wire.hazards import ByTest, Eye, Fault, Harm, Link, Proof, Wired, key
from proofbath.wire.table import RefusedReason, StationFlag, StopReason, TripReason
from proofbath.wire.trip_words import FLAG_WORDS, STOP_WORDS, TRIP_WORDS, Clears
from proofbath.wire.watches import Before, Watch

ROOT = Path(__file__).parents[3]
FIRMWARE: tuple[type, ...] = (TripReason, StopReason, StationFlag, RefusedReason)
NATIVE, AVR = "tests/firmware/", "tests/system/simulator/"
AT_A_STATION = {*(row.name for row in AT_STATION), Proof.STATION_OFF}


def keys(eyes: Iterable[Eye]) -> set[tuple[type, Eye]]:
    return {key(eye) for eye in eyes}


def everything() -> set[tuple[type, Eye]]:
    """Every member that may see a hazard, the zeros left out, which say that nothing is."""
    kinds = (TripReason, StopReason, StationFlag, RefusedReason, Watch, Before, Wired)
    members = [member for kind in kinds for member in kind]
    return keys(m for m in members if m not in (TripReason.NONE, StopReason.NONE))


def provoked_at_night() -> set[tuple[type, Eye]]:
    """What the nights with a fault end by or latch, or flag."""
    found: set[tuple[type, Eye]] = set()
    for row in nights_of_faults():
        for end in (row.end, *row.differs.values()):
            found |= keys(end.by[:1]) | keys([end.latched] if end.latched else [])
            found |= keys([end.flag] if end.flag is not None else [])
    return found


def test_each_that_sees_a_hazard_has_one_guard_row() -> None:
    assert len(keys(guard.by for guard in GUARDS)) == len(GUARDS)
    assert keys(guard.by for guard in GUARDS) == everything()


def test_each_guard_stands_in_a_hazard_and_each_layer_has_its_guard() -> None:
    named = keys(eye for hazard in HAZARDS for eye in hazard.layers)
    # A bench given back is no hazard; a trip at the host is every trip's.
    idle = keys([StopReason.RELEASED, Watch.TRIPPED])
    assert everything() - named == idle
    assert {key(Proof.LOCAL_RULES)} <= named
    for hazard in HAZARDS:
        for eye in hazard.layers:
            assert isinstance(eye, Proof) or guard_of(eye), hazard.name


def test_each_hazard_says_what_is_left_and_what_remains_when_a_layer_fails() -> None:
    assert len({hazard.name for hazard in HAZARDS}) == len(HAZARDS)
    for hazard in HAZARDS:
        assert hazard.left
        assert hazard.cause
        assert hazard.harm is Harm.VALUE or hazard.layers, hazard.name
        assert len(keys(hazard.layers)) == len(hazard.layers), hazard.name
        for eye in hazard.layers:
            assert len(remaining(hazard, eye)) == len(hazard.layers) - 1


def test_a_proof_is_named_by_a_hazard_and_a_hazard_names_no_other() -> None:
    """Both ways: rows of the commissioning, and proofs behind the layers of hazards."""
    named = {proof for hazard in HAZARDS for proof in proofs_of(hazard)}
    assert named == set(Proof)
    wanted = [station_name(p, 1) if p in AT_A_STATION else p.value for p in Proof]
    assert sorted(wanted) == sorted(wanted_rows([1]))


def test_a_proof_of_a_trip_proves_the_trip_it_is_named_for() -> None:
    by_proof: dict[Proof, set[tuple[type, Eye]]] = {}
    for guard in GUARDS:
        for proof in guard.proofs:
            by_proof.setdefault(proof, set()).add(key(guard.by))
    for row in TRIPS:
        assert key(row.reason) in by_proof[row.name], row.name
    for at in AT_STATION:
        assert key(at.flag) in by_proof[at.name], at.name
    assert set(by_proof) == set(Proof) - (set(DECLARED) - {Proof.RESIDUAL_CURRENT, Proof.WIRING,
                                                          Proof.CUT_OUT_WIRING})  # fmt: skip


def test_each_guard_of_the_controller_is_provoked_natively_and_on_the_avr_binary() -> None:
    """A fault of the plant is run on both builds; a test of its own must be one on each.

    Left out: a station that the board lacks, for the native build has all six.
    """
    at_night = provoked_at_night()
    for guard in GUARDS:
        if not isinstance(guard.by, FIRMWARE):
            continue
        nodes = [n for t in own_tests() if key(guard.by) in keys(t.shows) for n in t.nodes]
        both = any(n.startswith(NATIVE) for n in nodes) and any(n.startswith(AVR) for n in nodes)
        one_build = nodes and guard.by is RefusedReason.STATION_ABSENT
        assert both or one_build or key(guard.by) in at_night, guard.by
    # A boot by the watchdog cannot be had by a word on the AVR binary.
    assert keys([TripReason.WATCHDOG]) <= keys(e for t in own_tests() for e in t.shows)


def test_each_watch_and_check_of_the_host_is_provoked() -> None:
    shown = provoked_at_night() | keys(e for t in own_tests() for e in t.shows)
    wanted = keys([*Watch, *Before]) - keys([Watch.TRIPPED])
    assert wanted <= shown, wanted - shown


def test_each_hazard_of_the_bench_is_provoked_or_proven_by_a_person() -> None:
    for hazard in HAZARDS:
        by_person = hazard.harm is Harm.PERSON
        assert hazard.provoked or by_person, hazard.name
        assert all(isinstance(p, (Fault, Link, ByTest)) for p in hazard.provoked)


@pytest.mark.parametrize("node", sorted({n for t in own_tests() for n in t.nodes}))
def test_each_test_that_a_row_names_is_there(node: str) -> None:
    path, _, name = node.partition("::")
    text = (ROOT / path).read_text(encoding="utf-8")
    if path.endswith(".cpp"):
        assert name in re.findall(r"^TEST\((\w+)\)", text, re.MULTILINE)
    else:
        tree = ast.parse(text)
        assert name in {n.name for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)}


def test_every_trip_stop_and_flag_has_its_words() -> None:
    assert {*TRIP_WORDS} == {*TripReason} - {TripReason.NONE}
    assert {*STOP_WORDS} == {*StopReason} - {StopReason.NONE}
    assert {*FLAG_WORDS} == {*StationFlag}


def test_a_trip_that_a_boot_alone_clears_calls_for_a_repair() -> None:
    for reason, words in TRIP_WORDS.items():
        assert words.clears is Clears.CAUSE or words.repair, reason


def test_an_alarm_puts_its_figures_where_the_book_shows_a_gap() -> None:
    assert Watch.NO_SAMPLES.pattern == "no sample for … s; check the cable"
    assert Watch.NO_SAMPLES.say(limit_s=10) == "no sample for 10 s; check the cable"
    said = Watch.ZERO_MOVED.say(station=2, moved_mm=0.0712, limit_mm=0.05)
    assert said == "station 2: zero moved by +0.071 mm since the first cycle, limit 0.05 mm"
