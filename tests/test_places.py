"""What the book knows of places at an instant, as known at another, and what that clears."""

from __future__ import annotations

from typing import Any

from checkwatch.answers.adoption import Direction, adoption
from checkwatch.answers.board import board
from checkwatch.answers.book import Book
from checkwatch.answers.cleared import Cleared, cleared
from checkwatch.answers.which import which
from checkwatch.core.entry import PlaceKnown
from checkwatch.core.place import Untold
from checkwatch.core.rulebook import PlaceKind
from checkwatch.core.states import Standing
from checkwatch.views import adoption as adopting
from checkwatch.views import answer as answers
from checkwatch.views.fleet import Fleet, full
from checkwatch.views.report import plain
from checkwatch.views.words import Here
from tests.build import KIND, ZONE, ask, book, enrolled, passed, rules, t, wrote

HERE = Here(ZONE, t("15:20"))

#: AM-01 in Theatre 1 is tested, AM-09 in the anaesthetic room beside it is not.
LOG = (
    enrolled("AM-01", "Theatre 1"),
    passed("AM-01", "self-test", "07:00"),
    enrolled("AM-09", "Room 1"),
)


def place(name: str, at: str = "2026-03-02T08:00", **more: Any) -> PlaceKnown:
    kind = more.pop("kind", "theatre")
    entry = wrote(PlaceKnown, "", at, place=name, place_kind=kind, **more)
    assert isinstance(entry, PlaceKnown)
    return entry


def told(*places: PlaceKnown, log: Any = LOG, rulebook: Any = None) -> Book:
    """The log with what was told of places, in the order given."""
    made = book(rulebook or rules(), *log)
    return Book(made.versions, places, made.entries, newest=made.newest)


def sentence(answer: Cleared) -> str:
    return plain([answers.sentence(answer, HERE)]).replace("\n", " ")


ROOM = place("Room 1")
WITH = place("Theatre 1", belongs="Room 1")


def test_a_place_has_the_worst_of_its_rooms_and_of_the_rooms_of_these() -> None:
    assert cleared("Theatre 1", told(WITH, ROOM), ask()).standing is Standing.NOT_CLEARED
    store = place("Room 1", kind="store")
    assert cleared("Theatre 1", told(WITH, store), ask()).standing is Standing.CLEARED
    through = told(
        WITH, place("Room 1", kind="store", belongs="Room 2"), place("Room 2"), log=LOG[:2]
    )
    answer = cleared("Theatre 1", through, ask())
    assert (answer.standing, answer.missing[0].place) == (Standing.NOT_CLEARED, "Room 2")
    row = board(through, ask()).rows[-1]
    assert row.standing is not None
    assert (row.standing.place, row.standing.standing) == ("Theatre 1", Standing.NOT_CLEARED)


def test_a_place_kind_that_the_rulebook_does_not_know_is_no_kind_without_needs() -> None:
    misspelt = told(WITH, place("Room 1", kind="threatre"))
    answer = cleared("Theatre 1", misspelt, ask())
    assert (answer.standing, answer.untold) == (Standing.UNKNOWN, (Untold("Room 1", "threatre"),))
    assert sentence(answer) == (
        'Theatre 1 (AM-01) is unknown: the rulebook does not know the kind of Room 1, "threatre".'
    )
    assert 'does not know its kind, "threatre"' in sentence(cleared("Room 1", misspelt, ask()))
    untested = told(WITH, place("Room 1", kind="threatre"), log=LOG[:1])
    assert cleared("Theatre 1", untested, ask()).to_clear.checks == (), "no check clears it"


def test_a_place_of_a_kind_that_the_rulebook_does_not_know_is_not_passed_over() -> None:
    misspelt = told(place("Theatre 1", kind="threatre"), place("Store", kind="store"))
    found = which(misspelt, ask())
    assert [(one.asked, one.standing) for one in found.answers] == [("Theatre 1", Standing.UNKNOWN)]
    shown = "\n".join(line.plain for line in full(Fleet(board(misspelt, ask()), HERE)))
    assert 'the rulebook does not know its kind, "threatre"' in shown


def test_a_place_is_known_as_of_the_instant_asked_about() -> None:
    alone = place("Theatre 1", "12:00")
    changed = told(WITH, ROOM, alone)
    for at, standing in (("11:59", Standing.NOT_CLEARED), ("12:00", Standing.CLEARED)):
        answer = cleared("Theatre 1", changed, ask(at))
        rows = board(changed, ask(at)).rows
        assert answer.standing is standing
        assert [r.standing.standing for r in rows if r.standing][1] is standing
    assert cleared("Theatre 1", changed, ask("11:00"), t("11:30")).throughout is False


def test_the_first_word_on_a_place_holds_for_all_earlier_time() -> None:
    late = told(place("Theatre 1", "12:00", belongs="Room 1"), place("Room 1", "12:00"))
    assert cleared("Theatre 1", late, ask("09:00")).standing is Standing.NOT_CLEARED


def test_a_place_that_is_declared_anew_within_a_time_asked_for_is_judged_from_then_on() -> None:
    later = told(place("Theatre 1"), ROOM, place("Theatre 1", "12:00", belongs="Room 1"))
    answer = cleared("Theatre 1", later, ask("11:00"), t("13:00"))
    assert answer.gap is not None
    assert (answer.standing, answer.gap.at) == (Standing.CLEARED, t("12:00"))
    assert cleared("Theatre 1", later, ask("11:00"), t("12:00")).throughout is True
    # What is told after the instant asked about does not count for "until".
    assert answer.until == t("2026-03-13T07:00")


def test_a_place_as_it_was_known_before_it_was_corrected() -> None:
    corrected = told(WITH, ROOM, place("Theatre 1", "09:00", recorded="12:00"))
    assert cleared("Theatre 1", corrected, ask("10:00")).standing is Standing.CLEARED
    before = ask("10:00", known_at="11:00")
    assert cleared("Theatre 1", corrected, before).standing is Standing.NOT_CLEARED
    assert [row.place.place for row in board(corrected, before).rows if row.place] == [
        "Room 1",
        "Theatre 1",
    ]


def test_a_place_that_the_book_did_not_know_then_is_unknown_and_says_so() -> None:
    new = told(place("Theatre 1", "12:00"), place("Theatre 2", belongs="Theatre 1"))
    before = ask("10:00", known_at="11:00")
    answer = cleared("Theatre 1", new, before)
    assert answer.standing is Standing.UNKNOWN
    assert "the book did not know it then" in sentence(answer)
    assert "did not know Theatre 1 then" in sentence(cleared("Theatre 2", new, before))


def test_adopting_shows_the_places_that_change_and_the_kinds_that_are_lost() -> None:
    hall = place("Hall", kind="hall")
    before = rules()
    fewer = rules(needs=(KIND, KIND))
    fewer.place_kinds["hall"] = PlaceKind("hall", (KIND,))  # type: ignore[index]
    log = (*LOG, enrolled("AM-05", "Hall"), passed("AM-05", "self-test", "07:00"))
    known = (WITH, place("Room 1", kind="store"), hall)
    found = adoption(told(*known, log=log, rulebook=before), ask(), fewer, t("15:20"))
    assert [
        (c.after.place, c.before.standing, c.after.standing, c.direction) for c in found.places
    ] == [
        ("Hall", Standing.UNKNOWN, Standing.CLEARED, Direction.TOWARDS),
        ("Theatre 1", Standing.CLEARED, Standing.NOT_CLEARED, Direction.AWAY),
    ]
    assert (found.changes, found.lost_place_kinds) == ((), ())
    back = adoption(told(*known, log=log, rulebook=fewer), ask(), before, t("15:20"))
    assert back.lost_place_kinds == ("hall",)
    text = plain(adopting.adoption(back, HERE))
    assert "No longer known, so their places are unknown: hall." in text
    assert "2 places would change standing: 1 towards use, 1 away from use." in text
