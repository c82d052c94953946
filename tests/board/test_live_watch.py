"""When the live board reads anew, and what it may still show: by a clock that the test turns.

How long is long enough is our own choice; that an old standing is never shown is docs/meaning.md,
part 11.
"""

from __future__ import annotations

import threading
import time

import pytest

from checkwatch.core.instant import MINUTE, SECOND, Instant
from checkwatch.errors import CannotTell, Problem
from checkwatch.run.live import Reader, Watch
from checkwatch.views.board import Blind, Screen
from tests.board.fleet import FRAME, twelve
from tests.build import t

BEGAN = t("06:50")


def after(seconds: float) -> Instant:
    return Instant(BEGAN + int(seconds * SECOND))


@pytest.fixture
def watch() -> Watch:
    return Watch.of(twelve(), FRAME, BEGAN)


def test_the_book_is_read_every_few_seconds(watch: Watch) -> None:
    assert not watch.due(after(4.9))
    assert watch.due(after(5))


def test_it_is_read_at_once_when_a_standing_ends(watch: Watch) -> None:
    """The standing of AM-02 ends at 07:20."""
    watch.tried = Instant(t("07:20") - SECOND)
    assert not watch.due(Instant(t("07:20") - 1))
    assert watch.due(t("07:20"))
    watch.tried = t("07:20")
    assert not watch.due(Instant(t("07:20") + SECOND))


def test_nothing_is_shown_a_minute_after_the_last_reading_began(watch: Watch) -> None:
    last = watch.shown(Instant(BEGAN + MINUTE - 1), 24)
    assert isinstance(last, Screen)
    assert last.late is not None
    assert isinstance(watch.shown(Instant(BEGAN + MINUTE), 24), Blind)


def test_a_clock_that_goes_back_shows_nothing_until_the_book_is_read_again(watch: Watch) -> None:
    assert watch.due(after(-1))
    assert isinstance(watch.shown(after(-1), 24), Blind)
    watch.took(twelve("06:49"), FRAME, after(-1))
    assert isinstance(watch.shown(after(-1), 24), Screen)


def test_fresh_data_says_nothing_of_its_age(watch: Watch) -> None:
    shown = watch.shown(after(6), 24)
    assert isinstance(shown, Screen)
    assert shown.late is None


def _tell(reader: Reader, watch: Watch) -> None:
    end = time.monotonic() + 5
    while not reader.tell(watch):
        assert time.monotonic() < end
        time.sleep(0.01)


def test_a_refusal_of_the_store_is_told_and_leaves_the_data_its_age(watch: Watch) -> None:
    def load() -> None:
        raise CannotTell(Problem("book.db", "is locked", "wait"), Problem("", "twice"))

    reader = Reader(load)  # type: ignore[arg-type]
    assert reader.start(after(5))
    _tell(reader, watch)
    assert watch.why == "book.db: is locked; wait; twice"
    assert watch.read == BEGAN


def test_a_mistake_of_ours_ends_the_board(watch: Watch) -> None:
    def load() -> None:
        raise ZeroDivisionError

    reader = Reader(load)  # type: ignore[arg-type]
    reader.start(after(5))
    with pytest.raises(ZeroDivisionError):
        _tell(reader, watch)


def test_one_reading_at_a_time_and_its_age_counts_from_its_beginning(watch: Watch) -> None:
    go = threading.Event()

    def load():  # type: ignore[no-untyped-def]
        go.wait(5)
        return twelve(), FRAME

    reader = Reader(load)
    assert reader.start(after(5))
    assert not reader.start(after(10))
    assert not reader.tell(watch)
    go.set()
    _tell(reader, watch)
    assert watch.read == after(5)
