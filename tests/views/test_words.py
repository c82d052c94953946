"""Words, times and user text as people read them. The expected texts are our own wording."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from checkwatch.core.instant import DAY, FOREVER, HOUR, MINUTE, Instant, parse_instant
from checkwatch.core.period import parse_period
from checkwatch.core.states import Standing, State
from checkwatch.views import words

LONDON = ZoneInfo("Europe/London")


def at(text: str) -> Instant:
    return parse_instant(text, LONDON)


NOW = at("2026-03-12T15:20")


def test_every_standing_and_state_has_its_own_word_and_mark() -> None:
    assert set(words.LOOKS) == set(Standing)
    assert set(words.STATE_WORDS) == set(State)
    assert len({look.word for look in words.LOOKS.values()}) == len(Standing)
    assert len({look.mark for look in words.LOOKS.values()}) == len(Standing)


def test_hues_are_okabe_and_itos() -> None:
    """Sky blue 86,180,233; reddish purple 204,121,167; vermilion 213,94,0: the table in Okabe and
    Ito, "Color Universal Design" (2008), from memory."""
    styles = {standing: look.style for standing, look in words.LOOKS.items()}
    assert styles[Standing.CLEARED] == ""
    assert styles[Standing.LIMITED] == f"#{86:02X}{180:02X}{233:02X}"
    assert styles[Standing.BY_EXCEPTION] == f"#{204:02X}{121:02X}{167:02X}"
    assert styles[Standing.NOT_CLEARED] == f"reverse #{213:02X}{94:02X}{0:02X}"


@pytest.mark.parametrize(
    ("instant", "shown"),
    [
        ("2026-03-12T07:10", "07:10 GMT"),
        ("2026-03-12T07:10:59", "07:10 GMT"),
        ("2026-03-13T07:10", "Fri 13 Mar 07:10 GMT"),
        ("2026-07-01T09:00", "Wed 1 Jul 09:00 BST"),
        ("2027-01-04T00:00", "Mon 4 Jan 2027 00:00 GMT"),
        ("2026-10-25T01:30+01:00", "Sun 25 Oct 01:30 BST"),
        ("2026-10-25T01:30+00:00", "Sun 25 Oct 01:30 GMT"),
    ],
)
def test_local_time(instant: str, shown: str) -> None:
    assert words.local(at(instant), LONDON, NOW) == shown


@pytest.mark.parametrize(
    ("instant", "moment", "dated"),
    [
        ("2026-03-12T13:20", "at 13:20 GMT", "at 13:20 GMT, 2 h ago"),
        ("2026-03-13T07:10", "on Fri 13 Mar 07:10 GMT", "on Fri 13 Mar 07:10 GMT, in 15 h"),
    ],
)
def test_a_day_stands_behind_another_preposition_than_a_time(
    instant: str, moment: str, dated: str
) -> None:
    here = words.Here(LONDON, NOW)
    assert (here.moment(at(instant)), here.dated(at(instant))) == (moment, dated)


def test_what_never_ends_has_no_time() -> None:
    assert words.local(FOREVER, LONDON, NOW) == "no end"
    assert words.relative(FOREVER, NOW) == ""
    late = Instant(FOREVER - HOUR)
    assert words.local(late, ZoneInfo("Pacific/Auckland"), NOW) == "no end"


@pytest.mark.parametrize(
    ("micros", "shown"),
    [
        (1, "less than a minute"),
        (MINUTE - 1, "less than a minute"),
        (10 * MINUTE, "10 min"),
        (HOUR - 1, "59 min"),
        (2 * HOUR, "2 h"),
        (2 * HOUR - 1, "1 h 59 min"),
        (11 * HOUR - 1, "10 h"),
        (2 * DAY - 1, "47 h"),
        (3 * DAY + 23 * HOUR, "3 d"),
    ],
)
def test_a_duration_is_never_shown_longer_than_it_is(micros: int, shown: str) -> None:
    assert words.duration(micros) == shown
    assert words.relative(Instant(NOW + micros), NOW) == f"in {shown}"
    assert words.relative(Instant(NOW - micros), NOW) == f"{shown} ago"


def test_now_is_now() -> None:
    assert words.when(NOW, LONDON, NOW) == "15:20 GMT, now"


@pytest.mark.parametrize(
    ("written", "shown"),
    [("PT24H", "24 h"), ("P1D", "1 day"), ("P14M", "1 year 2 months"), ("PT90M", "1 h 30 min"),
     ("PT1.5S", "1.5 s"), ("P7DT12H", "7 days 12 h"), ("PT0S", "no time")],
)  # fmt: skip
def test_a_period_keeps_its_calendar_part_apart(written: str, shown: str) -> None:
    assert words.period(parse_period(written)) == shown


@pytest.mark.parametrize(
    ("title", "shown"),
    [
        ("Leak test", "a leak test"),
        ("Oxygen alarm test", "an oxygen alarm test"),
        ("PEEP valve", "a PEEP valve"),
        ("O2 sensor", "an O2 sensor"),
        ("Self-test", "a self-test"),
    ],
)
def test_titles_inside_sentences(title: str, shown: str) -> None:
    assert words.with_article(title) == shown


def test_lists_and_plurals() -> None:
    assert words.listed([]) == ""
    assert words.listed(["a"]) == "a"
    assert words.listed(["a", "b", "c"]) == "a, b and c"
    assert words.plural(1, "check") == "1 check"
    assert words.plural(0, "entry", "entries") == "0 entries"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("hose worn", "hose worn"),
        ("two\nlines\r", r"two\nlines\r"),
        ("\x1b[31mred\x1b[0m", r"\x1b[31mred\x1b[0m"),
        ("\u202egnp", r"\u202egnp"),
        ("zero\u200bwidth", r"zero\u200bwidth"),
        ("\x9b2J", r"\x9b2J"),
        ("lone \ud800", r"lone \ud800"),
        ("[bold]kept[/bold]", "[bold]kept[/bold]"),
        ("Größe 3 µm", "Größe 3 µm"),
    ],
)
def test_user_text_is_made_harmless(text: str, shown: str) -> None:
    assert words.harmless(text) == shown


def test_user_text_is_cut_and_says_so() -> None:
    assert words.harmless("abcdef", 6) == "abcdef"
    assert words.harmless("abcdefg", 6) == "abcde…"
    assert words.harmless("abc\n\n\n", 6) == r"abc\n…"


def test_columns_are_counted_as_a_terminal_does() -> None:
    assert [words.columns(text) for text in ("ab", "手術", "e\u0301")] == [2, 4, 1]


def test_codes_as_nouns() -> None:
    codes = ["absorbent-change", "power-on", "repair", "circuit-in-use"]
    assert list(map(words.spoken, codes)) == [
        "absorbent change",
        "power-on",
        "repair",
        "circuit-in use",
    ]
