"""What is odd in the dams' file is told, and all of them fit into one book.

The oddities are those that the description of the data names (tests/outside/dams.py); that a row
is odd is no finding about a dam.
"""

from __future__ import annotations

import io
from collections import Counter
from contextlib import nullcontext
from pathlib import Path

from checkwatch.answers.board import board
from checkwatch.answers.overdue import overdue
from checkwatch.core.instant import iso
from checkwatch.core.states import Standing
from checkwatch.run import setup
from checkwatch.run.importing import import_log
from checkwatch.run.world import ask
from tests.outside.dams import COUNTED_AT, at, dams, dirt, enrolled, rulebook_text


def test_what_is_odd_is_told() -> None:
    found = list(dirt(dams()))
    assert Counter(what for _, what in found) == {
        "was inspected before 1940": 116,
        "comes twice": 2,
        "was inspected after it was submitted": 1,
    }
    told = {tag: what for tag, what in found if "before" not in what}
    assert set(told) == {"NJ00457 (2)", "NJ00459 (2)", "NE01053"}


HEADING = "machine,what,at,started,outcome,measures,limits,until,place,of,by,decided,note,ref"


def logbook() -> str:
    """The logbook file: one inspection for each dam that has an interval and a date."""
    rows = (
        f"{dam.tag},inspection-{dam.years},{dam.inspected}T00:00:00Z,,pass,,,,,,,,,"
        for dam in dams()
        if dam.inspected and dam.years
    )
    return "\n".join((HEADING, *rows)) + "\n"


def test_all_dams_in_one_book(tmp_path: Path) -> None:
    url, now = str(tmp_path / "dams.db"), at(COUNTED_AT, 12)
    fleet = [enrolled(dam) for dam in dams()]
    setup.begin(url, now, rulebook_text(), fleet, [], "")
    text = logbook()
    found = import_log(
        url, now, lambda: nullcontext(io.StringIO(text)), "dams", None, lambda *_: None
    )
    assert found.written == 25173
    asked = ask(url, now)
    owed = overdue(asked.book, asked.question)
    assert iso(asked.question.at) == "2013-03-15T12:00:00Z"
    assert owed.machines == len(owed.unknown) + 28147 == 74096
    assert len(owed.overdue) + len(owed.owed) == 9144 + 2974
    standings = board(asked.book, asked.question).counts
    assert standings[Standing.CLEARED] == 25173 - 9144
    assert standings[Standing.NOT_CLEARED] == 9144 + 2974
