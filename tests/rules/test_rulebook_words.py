"""Rules in words: read by a person once, held as golden text, and true of the engine."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checkwatch.core.clause import Term, term
from checkwatch.core.instant import Instant, from_datetime
from checkwatch.core.period import NOTHING, UNITS, Period, parse_period
from checkwatch.core.rulebook import ForUse, OnceEach, UntilNext, ValidFor, Validity
from checkwatch.rules.phrase import recurrence
from checkwatch.rules.read import read
from checkwatch.rules.spans import longest_span
from checkwatch.rules.words import in_words, rule_in_words
from checkwatch.views import words
from tests.build import check, rules

ROOT = Path(__file__).parents[2]
GOLDEN = ROOT / "tests" / "golden" / "rules"
ZONE = ZoneInfo("Europe/London")


def expect(name: str, text: str) -> None:
    path = GOLDEN / f"{name}.txt"
    if os.environ.get("CHECKWATCH_GOLDEN") == "write":
        path.write_text(text + "\n")
    assert text + "\n" == path.read_text()


def rulebook(path: Path):
    reading = read(path.read_text(), path.name)
    assert reading.mistakes == ()
    assert reading.rulebook is not None
    return reading.rulebook


def test_rules_of_every_form_read_well_on_a_terminal() -> None:
    text = in_words(rulebook(GOLDEN / "every-form.toml"))
    expect("every-form", text)
    assert max(map(len, text.splitlines())) < 80


def test_the_example_reads_well_on_a_terminal() -> None:
    text = in_words(rulebook(ROOT / "examples" / "theatres" / "rulebook.toml"))
    assert max(map(len, text.splitlines())) < 80


def test_one_rule_in_its_own_words() -> None:
    form = rulebook(GOLDEN / "every-form.toml")
    said = [f"{code}: {rule_in_words(one, form)}" for code, one in form.checks.items()]
    expect("rule-in-words", "\n".join(said))


def test_the_words_say_from_when_on_no_pass_lasts() -> None:
    """An hour early it lasts no more: by then the last time is the one that it is done for."""
    ended = UntilNext("FREQ=DAILY;BYHOUR=7;UNTIL=20251231T235959", early=parse_period("PT1H"))
    later_on = UntilNext("FREQ=DAILY;BYHOUR=7;UNTIL=29991231T235959")
    text = " ".join(in_words(rules(replace(check("a", "PT24H"), validity=(ended,)))).split())
    assert "1 day and 1 hour. From Wed 31 Dec 2025 06:00 on no pass lasts at all." in text
    goes_on = in_words(rules(replace(check("a", "PT24H"), validity=(later_on,))))
    assert "no pass lasts at all" not in goes_on


def test_rules_say_a_code_as_the_answers_do() -> None:
    kind = rules(check("leak-test", "PT24H", kinds=("drive-in-bay",)))
    assert f"every {words.spoken('drive-in-bay')}:" in in_words(kind)
    assert words.spoken("drive-in-bay") == "drive-in bay"


@pytest.mark.parametrize(
    ("rule", "counted_from", "said"),
    [
        ("FREQ=DAILY;BYHOUR=7,19;BYMINUTE=30", "2000-01-01", "each day at 07:30 and 19:30"),
        ("FREQ=DAILY", "2026-01-06T07:15", "each day at 07:15"),
        ("FREQ=WEEKLY;BYDAY=TH,MO;BYHOUR=8", "2000-01-01", "each Monday and Thursday at 08:00"),
        ("FREQ=WEEKLY", "2026-01-06T07:00", "each Tuesday at 07:00"),
        ("FREQ=MONTHLY;BYHOUR=7", "2000-01-01", "on day 1 of each month at 07:00"),
        ("FREQ=MONTHLY;BYMONTHDAY=-1", "2000-01-01", "on the last day of each month at 00:00"),
        (
            "FREQ=MONTHLY;BYDAY=1MO;BYHOUR=7",
            "2000-01-01",
            "FREQ=MONTHLY;BYDAY=1MO;BYHOUR=7 (first on Mon 3 Jan 2000 07:00, "
            "Mon 7 Feb 2000 07:00 and Mon 6 Mar 2000 07:00)",
        ),
        (
            "FREQ=DAILY;COUNT=2",
            "2026-01-06T07:00",
            "FREQ=DAILY;COUNT=2 (first on Tue 6 Jan 2026 07:00 and Wed 7 Jan 2026 07:00)",
        ),
    ],
)
def test_a_recurrence_in_words(rule: str, counted_from: str, said: str) -> None:
    assert recurrence(UntilNext(rule, datetime.fromisoformat(counted_from))) == said


ROUNDING = st.none() | st.sampled_from(UNITS)
SHORT = st.sampled_from([NOTHING, parse_period("PT1H"), parse_period("PT6H"), parse_period("P1D")])
LONG = st.sampled_from(["PT24H", "P2D", "P1W", "P1M", "P3M", "P1Y", "P1DT12H"]).map(parse_period)
VALID_FOR = st.builds(ValidFor, LONG, st.booleans(), ROUNDING, SHORT, SHORT).filter(
    lambda c: c.early.longest + c.late.longest < c.lasts.shortest and (c.from_due or not c.early)
)
UNTIL_NEXT = st.builds(
    UntilNext,
    st.sampled_from(
        [
            "FREQ=DAILY;BYHOUR=7",
            "FREQ=WEEKLY;BYDAY=MO,TH",
            "FREQ=MONTHLY;BYMONTHDAY=31",
            "FREQ=HOURLY;BYMONTH=1",
            "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29",
        ]
    ),
    early=SHORT,
    round_up_to=ROUNDING,
    late=SHORT,
)
ONCE_EACH = st.builds(OnceEach, st.sampled_from(UNITS), SHORT)
AT = st.datetimes(datetime(2020, 1, 1), datetime(2029, 1, 1)).map(
    lambda moment: from_datetime(moment.replace(tzinfo=ZONE))
)
HOUR = parse_period("PT1H").micros


@settings(max_examples=300, deadline=None)
@given(VALID_FOR | UNTIL_NEXT | ONCE_EACH, st.lists(AT, min_size=1, max_size=4).map(sorted))
def test_no_pass_lasts_longer_than_the_words_say(clause: Validity, ats: list[Instant]) -> None:
    """Against the engine's own clauses, each attempt keeping the schedule of the one before.

    A recurrence is measured on the wall, so a clock change may add its hour.
    """
    longest = longest_span(clause)
    assert longest is not None
    previous: Term | None = None
    for at in ats:
        given_term = term(clause, at, previous, ZONE, {})
        assert given_term.expiry - at <= longest.longest + HOUR
        previous = given_term if given_term.expiry > at else previous


@pytest.mark.parametrize(
    ("clause", "longest"),
    [
        (ValidFor(parse_period("PT24H")), "PT24H"),
        (ValidFor(parse_period("PT24H"), round_up_to="day"), "P1DT24H"),
        (
            ValidFor(parse_period("P1Y"), True, early=Period(days=30), late=Period(days=30)),
            "P1Y60D",
        ),
        (OnceEach("day"), "P2D"),
        (OnceEach("quarter", late=Period(days=3)), "P6M3D"),
        (UntilNext("FREQ=WEEKLY;BYDAY=MO", early=parse_period("PT2H")), "P7DT2H"),
        (UntilNext("FREQ=HOURLY;BYMONTH=1"), "P335DT1H"),
    ],
)
def test_the_longest_that_a_pass_can_last(clause: Validity, longest: str) -> None:
    """Worked out by hand."""
    assert longest_span(clause) == parse_period(longest)


def test_use_has_no_longest_time() -> None:
    assert longest_span(ForUse(Decimal(100), "hours", parse_period("P7D"))) is None
