"""Which machines an item with a serial number was ever fitted to, on both databases."""

from __future__ import annotations

import pytest

from checkwatch.core.entry import Enrolled, Happening, Note
from checkwatch.core.instant import Instant
from checkwatch.store import journal, read
from checkwatch.store.engine import reading, writing

NOW = Instant(1_790_000_000_000_000)
SERIALS = ("S1", "s%_1", 'a"b\\c', "SÄ1", "S11")


def fitted(machine: str, serial: str) -> Happening:
    return Happening(
        seq=0, machine=machine, at=NOW, recorded=NOW, code="vaporiser-change", serial=serial
    )


@pytest.mark.parametrize("serial", SERIALS)
def test_a_serial_number_is_found_letter_by_letter(book: str, serial: str) -> None:
    """What else has it says nothing: a machine's own serial number, a note."""
    other = {"seq": 0, "at": NOW, "recorded": NOW}
    drafts = [fitted(f"AM-{number}", one) for number, one in enumerate(SERIALS)]
    drafts += [fitted("AM-9", serial), fitted("AM-9", serial)]
    beside = [
        Enrolled(machine="KIT-1", kind="kit", serial=serial, **other),
        Note(machine="KIT-2", note=f'"serial":"{serial}"', **other),
    ]
    with writing(book) as conn:
        journal.append(conn, [*drafts, *beside], NOW)
    with reading(book) as conn:
        found = read.machines_with_serial(conn, serial)
    assert sorted(found) == [f"AM-{SERIALS.index(serial)}", "AM-9"]
