"""PINs on both databases: what was typed wrong is counted before anybody hears of it."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest

from checkwatch.core.instant import MINUTE, Instant
from checkwatch.core.person import Person
from checkwatch.errors import WrongUse
from checkwatch.run.people import take_in
from checkwatch.run.pin import Signature, set_pin, sign
from checkwatch.store import engine
from checkwatch.store.people import pin_of

NOW = Instant(1_790_000_000_000_000)


def tried(book: str, pin: str) -> bool:
    """Whether a PIN goes through."""
    try:
        return sign(book, NOW, "eb", pin) == Signature("EB")
    except WrongUse:
        return False


@pytest.fixture
def signing(book: str) -> str:
    take_in(book, [Person(code="EB")])
    set_pin(book, "EB", "2468", None)
    return book


def test_a_right_pin_goes_through_and_a_wrong_one_is_counted(signing: str) -> None:
    assert [tried(signing, pin) for pin in ("1111", "2468", "1111")] == [False, True, False]
    with engine.writing(signing) as conn:
        assert pin_of(conn, "EB")[1:] == (1, 0)


def test_who_tries_several_at_once_is_not_heard_more_often(signing: str) -> None:
    """Eight wrong ones in the same moment: three are looked at, then none."""
    with ThreadPoolExecutor(8) as threads:
        assert not any(threads.map(lambda pin: tried(signing, pin), map(str, range(1000, 1008))))
    with engine.writing(signing) as conn:
        assert pin_of(conn, "EB")[1:] == (3, NOW + MINUTE)
