"""How long a pass lasts by the expiry of what was fitted, worked by hand from docs/meaning.md, 5.

Every expiry stands on a label as the last day on which the item is good.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from zoneinfo import ZoneInfo

import pytest

from checkwatch.core import entry as e
from checkwatch.core.instant import FOREVER, Instant, iso, parse_instant
from checkwatch.core.judge import Judged
from checkwatch.core.logbook import as_of
from checkwatch.core.period import parse_period
from checkwatch.core.rulebook import Rulebook, UntilExpiry, ValidFor
from checkwatch.core.window import Ending, Window
from tests.build import check, enrolled, happened, passed, rules, t, wrote

TAG = "AM-01"
BEGUN = enrolled(TAG, at="2010-01-01T08:00")
FITTED = ("absorbent-change",)


def by_expiry(warn_before: str = "", zone: str = "Europe/London", *more: ValidFor) -> Rulebook:
    warned = parse_period(warn_before or "PT0S")
    clause = UntilExpiry("absorbent-change", warned)
    leak = check("leak-test", validity=(clause, *more), voided_by=FITTED, minutes=None)
    return replace(rules(leak), zone=ZoneInfo(zone))


def fitted(at: str, good_to: str = "", **more: object) -> e.Entry:
    """`good_to` as a day of March 2026, or a whole date."""
    good_to = good_to if not good_to or "-" in good_to else f"2026-03-{good_to}"
    expiry = date.fromisoformat(good_to) if good_to else None
    return happened(TAG, "absorbent-change", at, expiry=expiry, **more)


def leak(at: str, **more: object) -> e.Entry:
    return passed(TAG, "leak-test", at, **more)


def struck(of: int, at: str, **more: object) -> e.Entry:
    return wrote(e.Struck, TAG, at, of=of, **more)


def last_window(*entries: e.Entry, rulebook: Rulebook | None = None) -> Window:
    """The window of the last pass; the entries are numbered from 2, after the commissioning."""
    numbered = [replace(one, seq=seq) for seq, one in enumerate((BEGUN, *entries), 1)]
    log = as_of(numbered, FOREVER, FOREVER)
    window = Judged(log, rulebook or by_expiry()).tracks[0].windows[-1]
    assert window is not None
    return window


def lasts(*entries: e.Entry) -> Instant | None:
    """Until when the last pass lasts by the clock; None if it lasts no time."""
    window = last_window(*entries)
    assert window.due == window.expiry
    return None if window.expiry == window.start else window.expiry


# Without a day


def test_without_a_fitting_or_without_its_label_a_pass_lasts_no_time() -> None:
    assert lasts(leak("08:00")) is None
    assert lasts(fitted("07:00"), leak("08:00")) is None
    assert lasts(fitted("06:00", "31"), fitted("07:00"), leak("08:00")) is None
    assert lasts(leak("08:00"), fitted("09:00", "31")) is None
    window = last_window(leak("08:00"))
    assert (window.until, window.ended_by) == (t("08:00"), Ending.EXPIRY)


def test_what_had_expired_when_it_was_tested_gives_no_time() -> None:
    assert lasts(fitted("2026-03-10T07:00", "11"), leak("2026-03-11T23:59")) is not None
    assert lasts(fitted("2026-03-10T07:00", "11"), leak("2026-03-12T00:00")) is None


def test_another_happening_fits_nothing() -> None:
    power = happened(TAG, "power-on", "07:30", expiry=date(2026, 3, 31))
    assert lasts(power, leak("08:00")) is None
    assert lasts(fitted("07:00", "20"), power, leak("08:00")) == t("2026-03-21T00:00")


# The end of the day


@pytest.mark.parametrize(
    ("zone", "tested", "good_to", "ends"),
    [
        ("Europe/London", "2026-03-28T08:00", "2026-03-28", "2026-03-29T00:00:00Z"),
        ("Europe/London", "2026-03-28T08:00", "2026-03-29", "2026-03-29T23:00:00Z"),
        ("Europe/London", "2026-10-24T08:00", "2026-10-25", "2026-10-26T00:00:00Z"),
        ("Europe/London", "2026-10-24T08:00", "2026-10-24", "2026-10-24T23:00:00Z"),
        # From midnight to 01:00 on the 4th no clock showed a time in São Paulo.
        ("America/Sao_Paulo", "2018-11-03T08:00", "2018-11-03", "2018-11-04T03:00:00Z"),
        # In Havana the first hour of the 1st came twice: the day before ends with the first.
        ("America/Havana", "2026-10-31T08:00", "2026-10-31", "2026-11-01T04:00:00Z"),
        # Samoa left out 30 December 2011: what was good to the 29th or 30th ends with the 29th.
        ("Pacific/Apia", "2011-12-29T08:00", "2011-12-29", "2011-12-30T10:00:00Z"),
        ("Pacific/Apia", "2011-12-29T08:00", "2011-12-30", "2011-12-30T10:00:00Z"),
    ],
)
def test_a_pass_ends_with_the_last_day_on_the_wall(
    zone: str, tested: str, good_to: str, ends: str
) -> None:
    at = parse_instant(tested, ZoneInfo(zone))
    change = replace(fitted(tested, good_to), at=at, recorded=at)
    test = replace(leak(tested), at=at, recorded=at)
    rulebook = by_expiry("", zone)
    assert iso(last_window(change, test, rulebook=rulebook).expiry) == ends


@pytest.mark.parametrize(
    ("before", "due_from"),
    [
        ("P1D", "2026-03-29T00:00:00Z"),
        ("PT24H", "2026-03-28T23:00:00Z"),
        ("P1M", "2026-03-28T08:00:00Z"),
    ],
)
def test_it_is_due_from_so_long_before(before: str, due_from: str) -> None:
    """The last day has 23 hours; none of the instants lies before the pass."""
    log = (fitted("2026-03-28T07:00", "29"), leak("2026-03-28T08:00"))
    window = last_window(*log, rulebook=by_expiry(before))
    assert iso(window.due_from) == due_from
    assert iso(window.due) == iso(window.expiry) == "2026-03-29T23:00:00Z"


def test_beside_another_clause_the_earlier_end_counts() -> None:
    day = ValidFor(parse_period("PT24H"))
    rulebook = by_expiry("", "Europe/London", day)
    long = last_window(fitted("07:00", "31"), leak("08:00"), rulebook=rulebook)
    assert (long.expiry, long.expiry_clause) == (t("2026-03-13T08:00"), 1)
    short = last_window(fitted("07:00", "12"), leak("08:00"), rulebook=rulebook)
    assert (short.expiry, short.expiry_clause) == (t("2026-03-13T00:00"), 0)


# Fitted in error


@pytest.mark.parametrize(
    ("first", "second", "end"),
    [
        ("20", "31", "2026-03-21T00:00"),
        ("31", "20", "2026-03-21T00:00"),
        ("20", "", None),
        ("", "31", None),
    ],
)
def test_of_a_struck_fitting_and_the_one_before_the_earlier_day_counts(
    first: str, second: str, end: str | None
) -> None:
    """Which of them is in the machine nobody can say."""
    log = (fitted("06:00", first), fitted("07:00", second), leak("08:00"), struck(3, "09:00"))
    assert lasts(*log) == (t(end) if end else None)


def test_a_struck_fitting_alone_gives_nothing() -> None:
    assert lasts(fitted("07:00", "31"), leak("08:00"), struck(2, "09:00")) is None


def test_several_struck_ones_in_a_row_are_looked_through() -> None:
    log = (fitted("05:00", "30"), fitted("06:00", "20"), fitted("07:00", "31"), leak("08:00"))
    assert lasts(*log, struck(4, "09:00")) == t("2026-03-21T00:00")
    assert lasts(*log, struck(4, "09:00"), struck(3, "09:01")) == t("2026-03-21T00:00")
    assert lasts(*log, struck(3, "09:01")) == t("2026-04-01T00:00")


def test_restored_a_fitting_never_was() -> None:
    log = (fitted("06:00", "20"), leak("06:30"), fitted("07:00", "15"))
    again = struck(4, "09:00", restores=True, note="another machine")
    assert last_window(*log).ended_by is Ending.VOIDED
    window = last_window(*log, again)
    assert (window.ended_by, window.until) == (Ending.EXPIRY, t("2026-03-21T00:00"))


# Fitted afterwards, and under the test


def test_what_is_fitted_after_the_pass_ends_it_and_lends_it_no_day() -> None:
    log = (fitted("07:00", "20"), leak("08:00"), fitted("09:00", "31"))
    window = last_window(*log)
    assert (window.until, window.ended_by, window.ended_entry) == (t("09:00"), Ending.VOIDED, 4)
    assert window.expiry == t("2026-03-21T00:00")
    assert lasts(*log, leak("10:00")) == t("2026-04-01T00:00")


@pytest.mark.parametrize("at", ["07:50", "08:00"])
def test_fitted_under_the_test_or_as_it_ends_the_pass_counts_for_nothing(at: str) -> None:
    log = (fitted("07:00", "20"), leak("08:00", started=t("07:40")), fitted(at, "31"))
    for more in ((), (struck(4, "09:00"),)):
        window = last_window(*log, *more)
        assert window.until == window.start == t("08:00")
        assert (window.ended_by, window.ended_entry) == (Ending.VOIDED, 4)


def test_fitted_as_the_test_begins_and_written_before_it_counts() -> None:
    test = leak("08:00", started=t("07:40"))
    assert lasts(fitted("07:00", "20"), fitted("07:40", "31"), test) == t("2026-04-01T00:00")
    window = last_window(fitted("07:00", "20"), test, fitted("07:40", "31"))
    assert window.ended_by is Ending.VOIDED
