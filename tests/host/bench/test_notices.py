"""What people are told of a night on the virtual bench, and what it costs the night: nothing."""

from __future__ import annotations

import itertools
import json
import sys
from email import message_from_bytes, policy
from pathlib import Path

import pytest

from host.bench.mail_server import MailServer
from host.bench.nights import BENCH, bench_file, plan
from host.bench.test_loop import Bench
from proofbath.bench.loop import Outcome
from proofbath.bench.notices import UNSENT, Notices
from proofbath.bench.notify import Notice, Notifier, NotifySettings
from proofbath.bench.process import bench_night
from proofbath.errors import BenchFaultError, InputError
from proofbath.run.note import Note
from proofbath.store.journal import Journal

WARM = BENCH.replace("seed = 3", "seed = 3\nbath.start_c = 38.0")
APPEND = "import sys; open(sys.argv[1], 'a').write(sys.stdin.read() + chr(10))"


def command(*run: str) -> str:
    return f"\n[notify.command]\nrun = {json.dumps([sys.executable, '-c', *run])}\n"


def fault(kind: str, station: int = 0) -> str:
    return f'\n[[virtual.fault]]\nkind = "{kind}"\nat_s = 60\nstation = {station}\n'


def night(folder: Path, more: str, clear: bool = True) -> Outcome:
    turns = itertools.count()
    return bench_night(
        plan(),
        bench_file(WARM + more),
        folder / "night.db",
        clear=clear,
        folder=folder,
        wall_s=lambda: next(turns) * 0.1,
    )


def told(folder: Path, more: str) -> list[Notice]:
    """Return the notices of a night, as a command of the operator's got them."""
    night(folder, command(APPEND, str(folder / "told")) + more)
    lines = (folder / "told").read_text().splitlines()
    return [Notice(**json.loads(line)) for line in lines]


def test_the_end_of_a_night_is_told(tmp_path: Path) -> None:
    (end,) = told(tmp_path, "")
    assert (end.kind, end.bench, end.run, end.text) == ("end", "quay", "run 1", "done")


def test_a_trip_is_told_with_its_reason(tmp_path: Path) -> None:
    (trip,) = told(tmp_path, fault("emergency_stop"))
    assert (trip.kind, trip.text) == ("trip", "tripped: controller tripped: emergency_stop")


def test_a_station_that_fails_is_an_alarm_at_once_and_the_night_ends_as_it_would(
    tmp_path: Path,
) -> None:
    alarm, end = told(tmp_path, fault("gauge_open", 3))
    assert alarm.kind == "alarm"
    assert alarm.text.startswith("station 3: gauge_fault; it is fed no more, the others go on")
    assert (end.kind, end.text) == ("end", "done")


def test_a_trip_reaches_a_mailbox(tmp_path: Path) -> None:
    with MailServer() as server:
        mail = (
            f'\n[notify]\nevents = ["trip"]\n[notify.mail]\nhost = "localhost"\n'
            f'port = {server.port}\nsecurity = "none"\nsender = "bench@ferry.test"\n'
            'to = ["night@ferry.test"]\n'
        )
        night(tmp_path, mail + fault("gauge_open", 3) + fault("emergency_stop"))
        (received,) = server.received
    message = message_from_bytes(received.data, policy=policy.default)
    assert message["Subject"] == "proofbath quay: trip"
    assert "emergency_stop" in message.get_content()


def test_notices_that_fail_are_counted_in_the_journal_and_disturb_nothing(tmp_path: Path) -> None:
    (tmp_path / "plain").mkdir()
    assert night(tmp_path / "plain", "").status == "done"
    outcome = night(tmp_path, command("raise SystemExit(3)") + fault("gauge_open", 3))
    assert outcome.status == "done"
    journal = Journal(tmp_path / "night.db")
    unsent = [e.text for e in journal.events(1) if e.kind == UNSENT]
    assert len(unsent) == 2
    assert all("ended with status 3" in text for text in unsent)
    assert (journal.run(1).status, journal.run(1).reason) == ("done", "")
    assert journal.verify_chain(1) > 0
    healthy = Journal(tmp_path / "plain" / "night.db").samples(1)
    assert len(journal.samples(1)) == len(healthy)


def test_a_night_refused_before_heat_tells_nobody(tmp_path: Path) -> None:
    with pytest.raises(BenchFaultError, match="power on"):
        night(tmp_path, command(APPEND, str(tmp_path / "told")), clear=False)
    assert not (tmp_path / "told").exists()


def test_a_password_that_is_not_there_is_refused_before_the_bench_is_touched(
    tmp_path: Path,
) -> None:
    mail = (
        '\n[notify.mail]\nhost = "localhost"\nsender = "b@ferry.test"\nto = ["n@ferry.test"]\n'
        f'user = "bench"\npassword_file = "{tmp_path}/none"\n'
    )
    with pytest.raises(InputError, match=r"password_file .*: No such file"):
        night(tmp_path, mail)
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_told_of_before_it_is_committed(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    seen: list[Note] = []

    def tell(note: Note) -> None:
        seen.append(note)
        assert note.text in " ".join(e.text for e in bench.journal.events(1))

    bench.loop._on_note = tell
    bench.run()
    assert [note.code for note in seen][-1] == "run_end"


class Kept(Notifier):
    """Keeps what it is given."""

    def __init__(self) -> None:
        super().__init__(NotifySettings())
        self.kept: list[Notice] = []

    def post(self, notice: Notice) -> None:
        self.kept.append(notice)


@pytest.mark.parametrize(
    ("code", "kinds"),
    [("late", ["delay"]), ("alarm", ["alarm"]), ("warning", []), ("step_begin", [])],
)
def test_each_kind_of_note_has_its_kind_of_notice(code: str, kinds: list[str]) -> None:
    notifier = Kept()
    notices = Notices(notifier, "quay", lambda: "2025-03-14T02:07:05+00:00")
    notices.note(4, Note(1.0, code, "what happened", bath_c=81.44))
    assert [notice.kind for notice in notifier.kept] == kinds
    assert all(n.text == "what happened (bath at 81.4 °C)" for n in notifier.kept)


def test_a_run_ended_by_a_fault_of_the_program_is_told() -> None:
    notifier = Kept()
    Notices(notifier, "quay", lambda: "t").failed(ZeroDivisionError("ours"))
    assert [(n.kind, n.text) for n in notifier.kept] == [("end", "failed: ours")]
