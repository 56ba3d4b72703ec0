"""A workshop opened for work: its file, its records, its benches, and who is acting."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from proofbath.bench.description import BenchFile
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.store.kinds import Person
from proofbath.store.records import Kept, Records, RecordsReader, Stamp
from proofbath.store.tables import Place, place_of
from proofbath.workshop.settings import ShopFile

DEFAULT_FILE = Path("workshop.toml")


@dataclass(frozen=True)
class ShopView:
    """A workshop opened for reading; `path` is where its file was read."""

    file: ShopFile
    path: Path
    records: RecordsReader

    @property
    def folder(self) -> Path:
        """Where relative paths of the file start."""
        return self.path.parent

    @property
    def keys(self) -> Path:
        """Folder of the signing keys."""
        return self.folder / self.file.places.keys

    @property
    def certificates(self) -> Path:
        """Folder of the documents that were issued."""
        return self.folder / self.file.places.certificates

    @property
    def nights(self) -> Path:
        """Folder of the nights' files."""
        return self.folder / self.file.places.nights

    def bench_files(self) -> dict[str, Path]:
        """Return the bench files by the names of their benches; raises InputError."""
        paths = [self.folder / place.file for place in self.file.bench]
        return {read_toml(path, BenchFile).bench.name: path for path in paths}

    def bench(self, name: str) -> BenchFile:
        """Return a bench by its name; raises InputError for one that is not the workshop's."""
        files = self.bench_files()
        if name not in files:
            raise InputError(f"bench {name!r}: not in the workshop's file; there are {[*files]}")
        return read_toml(files[name], BenchFile)

    def person(self, name: str) -> Kept[Person]:
        """Return a person by name; raises InputError for one who is not on record."""
        return self.records.find(Person, name=name)

    def stamp(self, name: str, at: str) -> Stamp:
        """Return the stamp of what a person does; `at` is ISO 8601 UTC."""
        return Stamp(at, self.person(name).root)


@dataclass(frozen=True)
class Shop(ShopView):
    """A workshop opened for work: its records can be written."""

    records: Records


def records_place(file: ShopFile, folder: Path) -> Place:
    """Return where a workshop's records are."""
    place = place_of(file.places.records)
    return folder / place if isinstance(place, Path) else place


@contextmanager
def open_shop(path: Path = DEFAULT_FILE) -> Iterator[Shop]:
    """Open the workshop a file describes; raises InputError or RecordError."""
    file = read_toml(path, ShopFile)
    path = path.resolve()
    with closing(Records(records_place(file, path.parent))) as records:
        yield Shop(file, path, records)
