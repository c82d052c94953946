"""An entry of the wrong machine, as it is written about the right one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from checkwatch.answers.wrong_machine import about
from checkwatch.core import entry as e
from checkwatch.core.instant import Instant
from checkwatch.errors import WrongUse
from tests.build import passed, wrote

PASS = replace(passed("AM-01", "leak-test", "09:00", by="xx"), seq=7, signed="I did it", ref="a")
NOW = Instant(PASS.at + 1)


def moved(entry: e.Entry, *known: e.Entry) -> e.Entry:
    return about("AM-02", entry, known, "yy", NOW)


def test_it_is_the_word_of_whoever_moves_it_and_nobody_signed_that() -> None:
    draft = moved(PASS)
    assert (draft.machine, draft.at, draft.recorded) == ("AM-02", PASS.at, NOW)
    assert (draft.by, draft.signed, draft.ref) == ("yy", "", "")
    assert draft.note == "moved from AM-01, entry 7, by xx"


@pytest.mark.parametrize("restores", [False, True])
def test_what_is_struck_already_is_not_moved_once_more(restores: bool) -> None:
    """Else two strikings would write it twice."""
    striking = wrote(e.Struck, "AM-01", "09:30", of=7, restores=restores, note="slip")
    with pytest.raises(WrongUse, match=r"entry 7: is struck already .*; leave --was out, and"):
        moved(PASS, striking)
    assert moved(PASS, replace(striking, of=6)).machine == "AM-02"


@pytest.mark.parametrize("note", ["", "hose\nnew"])
def test_a_result_that_was_moved_is_not_moved_on(note: str) -> None:
    """Who did it stands in its note only: nobody could ask for training on a third kind."""
    second = replace(moved(replace(PASS, note=note)), seq=9)
    with pytest.raises(WrongUse, match="entry 9: was moved to AM-02 already"):
        about("AM-03", second, (), "yy", NOW)


def test_a_note_that_only_speaks_of_a_move_keeps_nothing_back() -> None:
    assert moved(replace(PASS, note="moved from theatre 4 for it")).machine == "AM-02"
    fault = wrote(e.Fault, "AM-01", "09:00", severity=e.Severity.LIMIT, note="x")
    assert about("AM-03", moved(fault), (), "yy", NOW).machine == "AM-03"
