"""Who may sign in and do what: each change is on record with who made it."""

from __future__ import annotations

from typing import Literal

from proofbath.description import Described
from proofbath.errors import InputError
from proofbath.store.access import Access, Credential
from proofbath.store.kinds import Action, Person, Right
from proofbath.store.records import Kept, Records, Stamp
from proofbath.web.frame import Frame
from proofbath.web.password import Passwords, check_password


class PersonState(Described):
    """A person, and whether that one can sign in."""

    number: int
    name: str
    rights: tuple[Right, ...]
    active: bool
    password: Literal["none", "first", "own"]
    sessions: int
    last_seen: str | None


def people_of(frame: Frame) -> list[PersonState]:
    """Return all people on record, the first one first."""
    kept, sessions = frame.access.credentials(), frame.access.sessions()
    return [
        PersonState(
            number=person.root,
            name=person.entry.name,
            rights=person.entry.rights,
            active=person.entry.active,
            password=_password_state(kept.get(person.root)),
            sessions=sum(s.person_id == person.root for s in sessions),
            last_seen=next((s.seen for s in sessions if s.person_id == person.root), None),
        )
        for person in frame.shop.records.current(Person)
    ]


def add_person(
    frame: Frame, name: str, rights: tuple[Right, ...], password: str, stamp: Stamp
) -> int:
    """Put a person on record with a first password; raises InputError when refused."""
    check_password(password)
    number = frame.shop.records.add(Person(name=name, rights=rights), stamp)
    set_first_password(frame, number, password, stamp)
    return number


def change_person(
    frame: Frame, number: int, rights: tuple[Right, ...], active: bool, stamp: Stamp
) -> None:
    """Give a person other rights, or take the person out; that one's sessions end.

    Raises InputError where no administrator would be left.
    """
    records = frame.shop.records
    person = records.one(Person, number)
    changed = person.entry.model_copy(update={"rights": rights, "active": active})
    if changed == person.entry:
        return
    with records.writing(stamp) as writer:
        others = (p.entry for p in writer.current(Person) if p.root != number)
        if not any(_administers(entry) for entry in (changed, *others)):
            raise InputError("no administrator would be left; make somebody else one first")
        writer.correct(number, changed, "rights changed in Settings")
    frame.access.end_all_of(number)


def set_first_password(frame: Frame, number: int, password: str, stamp: Stamp) -> None:
    """Give a person a password that must be changed at the next sign-in."""
    set_password(
        frame.shop.records,
        frame.access,
        frame.passwords,
        number=number,
        password=password,
        stamp=stamp,
        first=True,
    )


def set_password(
    records: Records,
    access: Access,
    passwords: Passwords,
    *,
    number: int,
    password: str,
    stamp: Stamp,
    first: bool,
) -> None:
    """Set a person's password; all the person's sessions end; a `first` one must be changed."""
    hashed = passwords.hash(password)
    name = records.one(Person, number).entry.name
    what = "first password set" if first else "password changed"
    records.add(Action(what=what, detail=name), stamp)
    access.set_password(Credential(number, hashed, first, stamp.at))


def end_sessions(frame: Frame, number: int, stamp: Stamp) -> None:
    """End all sessions of a person."""
    name = frame.shop.records.one(Person, number).entry.name
    frame.shop.records.add(Action(what="sessions ended", detail=name), stamp)
    frame.access.end_all_of(number)


def password_fits(frame: Frame, person: Kept[Person] | None, password: str) -> bool:
    """Whether a password is a person's who may sign in; takes as long for nobody's."""
    kept = frame.access.credential(person.root) if person and person.entry.active else None
    return frame.passwords.fits(kept.password_hash if kept else None, password)


def _password_state(kept: Credential | None) -> Literal["none", "first", "own"]:
    if kept is None:
        return "none"
    return "first" if kept.first else "own"


def _administers(person: Person) -> bool:
    return person.active and "administrator" in person.rights
