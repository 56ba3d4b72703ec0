"""The records as they stand at one moment, each kind read once: for what looks at years of them."""

from __future__ import annotations

from collections import defaultdict
from typing import Any, TypeVar

from proofbath.store.chain import Link
from proofbath.store.kinds import Kind
from proofbath.store.records import Kept, RecordsReader

K = TypeVar("K", bound=Kind)
Found = dict[Any, list[Kept[Any]]]


class Snapshot(RecordsReader):
    """Answers `current`, `find`, `one`, `places` from memory, only histories from the records."""

    def __init__(self, records: RecordsReader) -> None:
        self._records = records
        self.name, self.place = records.name, records.place
        self._head = records.head()
        self._by_field: dict[tuple[type[Kind], str | None], Found] = {}
        self._places: dict[tuple[type[Kind], ...], dict[tuple[type[Kind], int], int]] = {}

    def current(self, kind: type[K], **equal: Any) -> list[Kept[K]]:
        """Return the entries of a kind whose fields are `equal`, oldest first."""
        first = next(iter(equal), None)
        found = self._index(kind, first).get(equal.get(first) if first else None, [])
        return [
            kept
            for kept in found
            if all(getattr(kept.entry, name) == value for name, value in equal.items())
        ]

    def history(self, kind: type[K], root: int) -> list[Kept[K]]:
        """Return an entry and its corrections in order."""
        return self._records.history(kind, root)

    def places(self, *kinds: type[Kind]) -> dict[tuple[type[Kind], int], int]:
        """Return where in the chain each row of some kinds stands."""
        if kinds not in self._places:
            self._places[kinds] = self._records.places(*kinds)
        return self._places[kinds]

    def head(self) -> Link:
        """Return the chain's last link when the snapshot was begun; nothing in it is older."""
        return self._head

    def one(self, kind: type[K], root: int) -> Kept[K]:
        """Return an entry as last corrected; raises RecordError when there is none."""
        found = self._index(kind, "root").get(root)
        return found[0] if found else self._records.one(kind, root)

    def _index(self, kind: type[Kind], field: str | None) -> Found:
        """Return the entries of a kind by the value of a field, `root` for the number."""
        if (kind, field) not in self._by_field:
            everything = self._everything(kind)
            found: Found = defaultdict(list)
            for kept in everything:
                value = kept.root if field == "root" else getattr(kept.entry, field or "", None)
                found[value].append(kept)
            self._by_field[kind, field] = found
        return self._by_field[kind, field]

    def _everything(self, kind: type[Kind]) -> list[Kept[Any]]:
        if (kind, None) not in self._by_field:
            self._by_field[kind, None] = {None: self._records.current(kind)}
        return self._by_field[kind, None][None]
