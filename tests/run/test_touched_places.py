"""Which outlooks an entry about a place or in it makes anew: also those of places further up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from checkwatch.core import entry as e
from checkwatch.core.instant import MINUTE, Instant
from checkwatch.run.foresee import changing
from checkwatch.store import journal
from tests.run.test_foresee import NOW, every_outlook_is_right, made


def test_what_is_written_of_a_room_touches_every_place_to_which_it_ever_belonged(
    tmp_path: Path,
) -> None:
    url = made(tmp_path / "book.db")
    common: dict[str, Any] = {"seq": 0, "at": NOW, "recorded": NOW}
    # R1 belongs to T1 from the beginning, T2 to R1 for a while.
    steps: tuple[e.Entry, ...] = (
        e.PlaceKnown(machine="", place="R1", place_kind="store", belongs="T2", **common),
        e.Moved(machine="AM-02", place="T2", **common),
        e.Result(machine="AM-02", check="self-test", outcome=e.Outcome.PASS, **common),
        e.Result(machine="AM-01", check="self-test", outcome=e.Outcome.PASS, **common),
        e.PlaceKnown(machine="", place="T2", place_kind="a kind that nobody knows", **common),
        e.PlaceKnown(machine="", place="T2", place_kind="theatre", **common),
        e.PlaceKnown(machine="", place="R1", place_kind="store", **common),
        e.Happening(machine="AM-02", code="power-on", **common),
    )
    now = NOW
    for draft in steps:
        now = Instant(now + MINUTE)
        with changing(url, now) as conn:
            journal.append(conn, [draft], now)
        every_outlook_is_right(url, now)
