"""Each kind of message as somebody reads it at night on a telephone, alone and together.

Golden texts in tests/golden/notices, the title first; written anew where CHECKWATCH_GOLDEN is
"write".
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checkwatch.answers.board import board
from checkwatch.answers.book import Book
from checkwatch.answers.notice.kinds import Kind
from checkwatch.answers.notice.lists import Late
from checkwatch.answers.notice.matter import Matter, foreseen
from checkwatch.answers.risks import risks
from checkwatch.core import entry as e
from checkwatch.core.period import parse_period
from checkwatch.views.message import COLUMNS, Composed, Known, Told, compose
from checkwatch.views.words import Here, columns
from tests.board.fleet import RULES, TWELVE, with_places
from tests.build import ZONE, ask, book, did, enrolled, happened, passed, rules, t, wrote
from tests.notices.told import matter
from tests.views.page_reader import VOID, Reader, measured

GOLDEN = Path(__file__).parents[1] / "golden" / "notices"
AHEAD = (parse_period("PT1H"),)

TESTED = (
    enrolled("AM-04"),
    enrolled("AM-05", "Theatre 5"),
    passed("AM-04", "self-test", "2026-03-11T03:50"),
    passed("AM-05", "self-test", "2026-03-11T03:55"),
)
BOOKS: dict[str, tuple[e.Entry, ...]] = {
    "gate-failed": (did("AM-04", "leak-test", e.Outcome.FAIL, "03:08", note="hose split"),),
    "gate-failed-out-of-use": (
        did("AM-04", "leak-test", e.Outcome.FAIL, "03:04"),
        wrote(e.Withdrawn, "AM-04", "03:06"),
    ),
    "stop-use-fault": (
        wrote(e.Fault, "AM-04", "03:09", severity=e.Severity.STOP_USE, note="smell of agent"),
    ),
    "stop-use-fault-without-a-word": (
        wrote(e.Fault, "AM-04", "03:09", severity=e.Severity.STOP_USE),
    ),
    "exception-taken": (
        happened("AM-04", "power-on", "03:01"),
        wrote(e.EmergencyUse, "AM-04", "03:05", until=t("06:00"), decided="R1", note="bleeding"),
    ),
    "exception-unpaid": (
        happened("AM-04", "power-on", "2026-03-11T23:00"),
        wrote(e.EmergencyUse, "AM-04", "2026-03-11T23:05", until=t("03:00"), decided="R1"),
    ),
    "lapse-soon": (happened("AM-05", "power-on", "03:01"),),
    "lapse-soon-in-a-case": (
        happened("AM-05", "power-on", "03:01"),
        wrote(e.CaseStart, "AM-04", "02:50"),
    ),
    "lapses-together": (wrote(e.CaseStart, "AM-04", "02:50"),),
}


def numbered(matters: Iterable[Matter]) -> list[Told]:
    return [Told(number, one.kind, one) for number, one in enumerate(matters, 41)]


def matters_of(entries: Iterable[e.Entry], at: str = "03:10") -> list[Matter]:
    """All that people should hear of both machines."""
    of = book(rules(), *TESTED, *entries, places=("Theatre 4", "Theatre 5"))
    tags = ("AM-04", "AM-05")
    return [one for tag in tags for one in foreseen(tag, of, ask(at, at), AHEAD).matters]


def composed(told: Iterable[Told], of: Book | None = None, at: str = "03:10") -> Composed:
    known = None
    if of is not None:
        question = ask(at, at)
        known = Known(board(of, question), risks(of, question))
    return compose([*told], known, Here(ZONE, t(at)), "Saltmere theatres")


def expect(name: str, found: Composed) -> None:
    """It is as it was read once, and each line fits but those to type."""
    path, text = GOLDEN / f"{name}.txt", f"{found.title}\n\n{found.body}"
    if os.environ.get("CHECKWATCH_GOLDEN") == "write":
        path.write_text(text)
    assert text == path.read_text()
    fits(found)


def fits(found: Composed) -> None:
    for line in found.body.splitlines():
        assert columns(line) <= COLUMNS or line.startswith("  checkwatch "), line


@pytest.mark.parametrize("name", BOOKS)
def test_what_came_about_says_where_since_when_and_what_to_do(name: str) -> None:
    kind = Kind(re.match("gate-failed|stop-use-fault|exception-[a-z]+|lapse", name)[0] + (
        "-soon" if name.startswith("lapse") else ""
    ))  # fmt: skip
    matters = [one for one in matters_of(BOOKS[name]) if one.kind is kind]
    assert len(matters) == (4 if name == "lapses-together" else 2 if "lapse" in name else 1)
    expect(name, composed(numbered(matters)))


def test_a_lapse_alone_is_told_as_any_other_thing() -> None:
    (one, _) = matters_of(BOOKS["lapse-soon"])
    expect("lapse-soon-one", composed(numbered([one])))
    in_case = composed(numbered([one._replace(in_use=True)])).body
    assert "In use: owed at the end of this case." in in_case


def test_that_the_watcher_was_away_says_from_when() -> None:
    words = "What came about meanwhile is told now."
    away = Matter(Kind.WATCHER_BACK, "watcher", "x", t("2026-03-11T22:40"), words=words)
    expect("watcher-back", composed(numbered([away])))


def test_a_book_that_is_not_believed_says_why_and_what_to_go_by() -> None:
    why = "the clock is behind the newest entry by 2 h"
    doubted = Matter(Kind.CANNOT_TELL, "book", "x", t("03:10"), words=why)
    expect("cannot-tell", composed(numbered([doubted])))


def test_several_things_are_one_message_the_most_urgent_first() -> None:
    matters = matters_of((*BOOKS["stop-use-fault"], *BOOKS["gate-failed"]))
    told = [Told(7, Kind.NIGHTLY_LIST, None), *numbered(matters)]
    found = composed(told, with_places(book(RULES, *TWELVE)))
    expect("several", found)
    assert found.body.index("fault, not to be") < found.body.index("self-test until")
    assert found.title.startswith("5 to act on: AM-04, Theatre 4: leak test failed; AM-04")


# Lists


def test_a_list_of_an_area_that_is_not_there_is_of_all_and_says_so() -> None:
    of_mars = listed(TWELVE_PLACES, areas=("Mars",))
    assert "No place is in Mars: look at the notices file." in " ".join(of_mars.body.split())
    assert of_mars.title == listed(TWELVE_PLACES).title != "nothing owed on 0 machines"


TWELVE_PLACES = with_places(book(RULES, *TWELVE))
TWO_PLACES = (("Theatre 1", "theatre", "Main theatres"), ("Store", "store", "Main theatres"))
EARLY = (enrolled("AM-01", "Theatre 1"), enrolled("AM-10", "Store"))
READY = (
    *EARLY,
    passed("AM-01", "self-test", "2026-03-11T23:40"),
    passed("AM-10", "self-test", "2026-03-11T23:10"),
)


def listed(of: Book, at: str = "06:50", **more: object) -> Composed:
    return composed([Told(7, Kind.NIGHTLY_LIST, **more)], of, at)  # type: ignore[arg-type]


def test_the_list_is_an_order_of_work_with_its_minutes() -> None:
    expect("nightly-list", listed(TWELVE_PLACES))


def test_the_list_of_an_area_is_about_its_machines_only() -> None:
    found = listed(TWELVE_PLACES, areas=("Day surgery",))
    expect("nightly-list-of-an-area", found)
    assert set(re.findall(r"AM-\d\d", found.body)) == {"AM-07", "AM-09"}


def test_nothing_owed_is_said_with_when_the_book_was_last_written() -> None:
    found = listed(with_places(book(RULES, *READY), TWO_PLACES), "05:30")
    assert found.title == "nothing owed on 2 machines; book last written Wed 11 Mar 23:40 GMT"
    expect("nightly-list-nothing-owed", found)


def test_nothing_owed_where_work_is_near_is_not_nothing_owed() -> None:
    owing = (*READY, happened("AM-10", "power-on", "01:00"))
    found = listed(with_places(book(RULES, *owing), TWO_PLACES), "05:30")
    assert found.title.startswith("nothing owed where work is near; 1 of 2 machines elsewhere; ")
    assert "Owed where nobody works soon: AM-10." in found.body


def test_a_late_list_says_how_late_and_which_were_never_sent() -> None:
    nights = tuple(t(f"2026-03-{day:02}T05:30") for day in range(1, 12))
    late = listed(TWELVE_PLACES, late=Late(t("05:30"), nights[-2:]))
    expect("nightly-list-late", late)
    one = listed(TWELVE_PLACES, late=Late(t("05:30"), nights[-1:])).body
    assert "Never sent: that for Wed 11 Mar 05:30 GMT." in " ".join(one.split())
    many = listed(TWELVE_PLACES, late=Late(t("05:30"), nights)).body
    said = "11 before it were never sent, the first for Sun 1 Mar 05:30 GMT."
    assert said in " ".join(many.split())


def test_a_list_of_a_book_that_is_not_believed_lists_nothing() -> None:
    doubted = with_places(book(RULES, *TWELVE, doubts=("the clock is behind it",)))
    found = listed(doubted)
    expect("nightly-list-not-believed", found)
    assert composed([Told(1, Kind.TOMORROWS_RISKS)], doubted).title == (
        "cannot tell what tomorrow brings"
    )


def test_machines_that_are_unknown_are_counted_each() -> None:
    odd = [enrolled(f"WM-{n:02}", "Theatre 1", kind="odd") for n in range(1, 4)]
    found = listed(with_places(book(RULES, *EARLY, *odd), TWO_PLACES))
    assert found.title.startswith("4 of 5 machines to see to, 6 min")


def test_what_tomorrow_brings_names_what_is_rare_and_counts_what_is_daily() -> None:
    expect("tomorrows-risks", composed([Told(7, Kind.TOMORROWS_RISKS)], TWELVE_PLACES, "15:30"))


def test_nothing_that_lapses_tomorrow_is_said() -> None:
    ready = (
        enrolled("AM-10", "Store"),
        passed("AM-10", "self-test", "2026-03-11T23:10"),
    )
    found = composed([Told(7, Kind.TOMORROWS_RISKS)], with_places(book(RULES, *ready)))
    expect("tomorrows-risks-none", found)
    assert "used" not in found.body.partition("A recorded check")[0]


# What people wrote

NASTY = '<script>alert(1)</script>\n\x1b[31m"&\u202e' + "x" * 90


def test_what_people_wrote_stays_text_on_lines_of_forty_columns() -> None:
    told = numbered(
        matter(kind, "03:00", until=t("04:00"), place=NASTY, title="leak test", words=NASTY)
        for kind in Kind
        if kind not in (Kind.NIGHTLY_LIST, Kind.TOMORROWS_RISKS)
    )
    found = composed(told)
    fits(found)
    assert not re.search(r"[^\n\x20-\x7e…]", found.body)
    assert found.title.isprintable()
    assert "script" not in {tag for tag, _ in Reader(found.html).elements}
    assert "<script>alert(1)</script>" in Reader(found.html).text


@given(st.text(max_size=400), st.text(max_size=80), st.text(min_size=1, max_size=30))
def test_any_note_fits_and_escapes(words: str, place: str, machine: str) -> None:
    one = matter(Kind.GATE_FAILED, "03:00", words=words, place=place, machine=machine)
    found = composed(numbered([one]))
    fits(found)
    assert {tag for tag, _ in Reader(found.html).elements} <= {
        "html", "head", "title", "style", "body", "h2", "p", "pre", "ol", "li", "strong", "small",
        *VOID,
    }  # fmt: skip
    assert found.body.splitlines().count("  checkwatch heard 41 --by YOUR-CODE") == 1


def test_wide_letters_take_two_columns() -> None:
    fits(composed(numbered([matter(Kind.GATE_FAILED, "03:00", words="漏" * 250)])))


def test_no_time_is_told_as_from_now() -> None:
    """A message may be read hours after it was written."""
    for path in GOLDEN.glob("*.txt"):
        assert not re.search(r" ago\b|\bin \d+ (min|h|d)\b", path.read_text()), path


def test_no_message_says_that_anything_is_cleared() -> None:
    for path in GOLDEN.glob("*.txt"):
        text = " ".join(path.read_text().split())
        no = r"(not|No machine is|what is|checkwatch) cleared"
        assert "cleared" not in re.sub(no, "", text, flags=re.IGNORECASE), path


@pytest.mark.parametrize("width", [390, 600])
def test_the_page_fits_on_a_telephone(width: int, tmp_path: Path) -> None:
    told = [Told(7, Kind.NIGHTLY_LIST), Told(8, Kind.TOMORROWS_RISKS)]
    told += numbered(matters_of((*BOOKS["stop-use-fault"], *BOOKS["gate-failed"])))
    for page in (composed(told, TWELVE_PLACES).html, composed(told[2:]).html):
        found = measured(tmp_path, page, (width, 844), dark=False)
        assert int(found["wide"]) <= width
        assert found["cut"] == ""
