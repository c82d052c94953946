"""Times that an option takes as people type them, and those that it refuses."""

from __future__ import annotations

import pytest
from freezegun import freeze_time

from tests.cli.line import Said, run

KIND = ("--kind", "anaesthetic-machine", "--place", "Theatre 1")
#: 13:00 in London, which is an hour ahead of UTC in summer.
NOON = "2040-06-01T12:00:00Z"


def enrolled(book: str, commissioned: str) -> Said:
    with freeze_time(NOON):
        return run("--db", book, "enrol", "AM-09", *KIND, "--commissioned", commissioned)


@pytest.mark.parametrize(
    ("commissioned", "since"),
    [
        ("yesterday 08:00", "2040-05-31T07:00:00Z"),
        ("07:30", "2040-06-01T06:30:00Z"),
        ("2040-05-01", "2040-04-30T23:00:00Z"),
        ("2040-05-01T08:00+00:00", "2040-05-01T08:00:00Z"),
        ("13:01", "2040-06-01T12:00:00Z"),  # ahead within the clock tolerance: stored as now
    ],
)
def test_a_machine_is_commissioned_at_a_time_as_people_type_it(
    small: str, commissioned: str, since: str
) -> None:
    assert enrolled(small, commissioned).code == 0
    with freeze_time(NOON):
        (check,) = run("--db", small, "cleared", "AM-09", "--json").document["because"]
    assert check["since"] == since


@pytest.mark.parametrize(
    ("commissioned", "said"),
    [
        ("tomorrow 08:00", "--commissioned: 'tomorrow 08:00' is still to come; enrol it when it"),
        ("13:03", "--commissioned: '13:03' is still to come"),
        ("2041-01-01", "--commissioned: '2041-01-01' is still to come"),
        ("soon", "--commissioned: 'soon' is not a time; type it like"),
        ("2039-10-30T01:30", "--commissioned: '2039-10-30T01:30' occurs twice in Europe/London"),
    ],
)
def test_a_commissioning_that_is_refused_names_its_option(
    small: str, commissioned: str, said: str
) -> None:
    refused = enrolled(small, commissioned)
    assert (refused.code, refused.out) == (2, "")
    assert said in refused.err


def asked(book: str, known_at: str) -> Said:
    with freeze_time(NOON):
        return run("--db", book, "cleared", "AM-01", "--known-at", known_at, "--json")


@pytest.mark.parametrize("known_at", ["tomorrow 07:00", "13:03", "2041-01-01T00:00:00Z"])
def test_what_the_book_will_know_cannot_be_asked(small: str, known_at: str) -> None:
    said = asked(small, known_at)
    assert (said.code, said.out) == (2, "")
    assert f"--known-at: '{known_at}' is still to come, and what will be written by" in said.err
    assert "; name an earlier time, or leave it out for now" in said.err


@pytest.mark.parametrize("known_at", ["13:02", "13:00", "2040-06-01T12:01:59.5Z"])
def test_a_clock_a_little_ahead_asks_for_what_is_known_now(small: str, known_at: str) -> None:
    said = asked(small, known_at)
    assert (said.code, said.document["known_at"]) == (1, NOON)


def test_what_the_book_knows_is_asked_for_by_a_clock_that_is_behind_too(small: str) -> None:
    """Such a book is not believed, and says so: that it knows no such time is not the reason."""
    with freeze_time("2040-06-01T13:00:00Z"):
        assert run("--db", small, "note", "AM-01", "words").code == 0
    said = asked(small, "14:00")
    assert (said.code, said.document["standing"]) == (6, "unknown")
