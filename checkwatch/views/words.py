"""The words and looks that every view shares: standings, states, times, durations, user text.

A standing is carried first by its word, then by its mark, then by its colour: nothing is said by
colour alone. This file imports little, because the shortest question passes through it.
"""

import unicodedata
from datetime import tzinfo
from typing import TYPE_CHECKING, NamedTuple

from checkwatch.core.instant import (
    DAY,
    FOREVER,
    HOUR,
    MINUTE,
    SECOND,
    Instant,
    to_datetime,
    wall,
)
from checkwatch.core.states import Standing, State

# What rules say too is worded in core; a view finds all of its words here.
from checkwatch.core.wording import MONTHS, WEEKDAYS
from checkwatch.core.wording import inside as inside
from checkwatch.core.wording import listed as listed
from checkwatch.core.wording import plural as plural
from checkwatch.core.wording import spoken as spoken

if TYPE_CHECKING:
    from checkwatch.core.entry import Result
    from checkwatch.core.period import Period


class Look(NamedTuple):
    """How a standing is shown: `style` is a style of rich, empty where it has no colour."""

    word: str
    mark: str
    style: str


#: The hues are sky blue, reddish purple and vermilion of Okabe and Ito's set, which people with
#: any colour vision tell apart ("Color Universal Design", 2008). The marks are plain ASCII.
LOOKS: dict[Standing, Look] = {
    Standing.CLEARED: Look("cleared", ".", ""),
    Standing.LIMITED: Look("limited", "<", "#56B4E9"),
    Standing.BY_EXCEPTION: Look("by exception", "~", "#CC79A7"),
    Standing.NOT_CLEARED: Look("not cleared", "!", "reverse #D55E00"),
    Standing.WITHDRAWN: Look("withdrawn", "-", "dim"),
    Standing.UNKNOWN: Look("unknown", "?", "bold"),
}

STATE_WORDS: dict[State, str] = {state: state.value.replace("-", " ") for state in State}


def local(instant: Instant, zone: tzinfo, now: Instant) -> str:
    """An instant as a wall of the zone shows it, with the zone's abbreviation.

    `07:10 GMT` on the day of `now`, `Thu 12 Mar 07:10 GMT` in its year, with the year otherwise;
    "no end" for FOREVER. Seconds are cut off, so nothing seems to last longer than it does.
    """
    if instant >= FOREVER:
        return "no end"
    try:
        moment, today = to_datetime(instant, zone), wall(now, zone)
    except OverflowError:  # the last hours of the calendar, seen from a zone ahead of UTC
        return "no end"
    clock = f"{moment:%H:%M} {moment.tzname()}"
    if moment.date() == today.date():
        return clock
    year = "" if moment.year == today.year else f" {moment.year}"
    day = f"{WEEKDAYS[moment.weekday()][:3]} {moment.day} {MONTHS[moment.month - 1]}"
    return f"{day}{year} {clock}"


def relative(instant: Instant, now: Instant) -> str:
    """How far from now: "2 h ago", "in 10 min", "in 3 d"; empty for FOREVER. Rounded down."""
    if instant >= FOREVER:
        return ""
    if instant == now:
        return "now"
    if instant < now:
        return f"{duration(now - instant)} ago"
    return f"in {duration(instant - now)}"


def when(instant: Instant, zone: tzinfo, now: Instant) -> str:
    """The local and the relative time: "13:20 GMT, 2 h ago"."""
    return ", ".join(filter(None, [local(instant, zone, now), relative(instant, now)]))


def _from_then(instant: Instant, then: Instant) -> str:
    """How far from another instant than now, in words that nobody takes for now."""
    if instant >= FOREVER:
        return ""
    if instant == then:
        return "then"
    after = instant > then
    return f"{duration(abs(instant - then))} {'later' if after else 'earlier'}"


class Here(NamedTuple):
    """Where and when an answer is read: the zone of its local times, and now.

    `at` is the instant that was asked about where that is not now: relative times are reckoned
    from it, but not how old the book is, for which there is `real`.
    """

    zone: tzinfo
    now: Instant
    at: Instant | None = None

    @property
    def real(self) -> "Here":
        """The same with relative times reckoned from now."""
        return self._replace(at=None)

    @property
    def asked(self) -> Instant:
        """The instant that was asked about."""
        return self.now if self.at is None else self.at

    def local(self, instant: Instant) -> str:
        """The local time of an instant."""
        return local(instant, self.zone, self.now)

    def when(self, instant: Instant) -> str:
        """The local and the relative time of an instant."""
        if self.at is None:
            return when(instant, self.zone, self.now)
        then = _from_then(instant, self.at)
        return ", ".join(filter(None, [self.local(instant), then]))

    def moment(self, instant: Instant) -> str:
        """The local time with its preposition: "at 15:17 GMT", "on Mon 23 Nov 15:17 GMT"."""
        return _with_preposition(self.local(instant))

    def dated(self, instant: Instant) -> str:
        """The local and the relative time, as `moment`."""
        return _with_preposition(self.when(instant))


def _with_preposition(time: str) -> str:
    return f"{'at' if time[0].isdigit() else 'on'} {time}"


def duration(micros: int) -> str:
    """A length of elapsed time, never longer than it is: "less than a minute", "1 h 5 min".

    Minutes are dropped from ten hours on, hours from two days on; a day is 24 hours.
    """
    if micros < MINUTE:
        return "less than a minute"
    if micros >= 2 * DAY:
        return f"{micros // DAY} d"
    hours, minutes = divmod(micros // MINUTE, 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {minutes} min" if minutes and hours < 10 else f"{hours} h"


def period(given: "Period") -> str:
    """An ISO 8601 duration in words, its calendar part apart: "1 month", "24 h"."""
    years, months = divmod(given.months, 12)
    seconds = given.micros / SECOND % 60
    parts = [
        plural(number, unit)
        for number, unit in ((years, "year"), (months, "month"), (given.days, "day"))
        if number
    ]
    hours, minutes = given.micros // HOUR, given.micros // MINUTE % 60
    parts += [f"{n:g} {unit}" for n, unit in ((hours, "h"), (minutes, "min"), (seconds, "s")) if n]
    return " ".join(parts) or "no time"


def begun(entry: "Result", here: Here) -> str:
    """When a test began that was written as begun, and by whom."""
    by = f" by {harmless(entry.by, 64)}" if entry.by else ""
    return f"begun {here.moment(entry.at)}{by}, entry {entry.seq}"


def with_article(title: str) -> str:
    """A title inside a sentence with its article: "a leak test", "an oxygen alarm test"."""
    word = inside(title)
    return f"{'an' if word[:1].lower() in 'aeiou' else 'a'} {word}"


#: Categories of characters that move the cursor, reorder text, or have no shape of their own.
_HARMFUL = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def harmless(text: str, limit: int = 200) -> str:
    """What a user wrote, made safe to print on one line of at most `limit` characters.

    Control characters, escapes, line ends, marks that turn the reading direction and lone
    surrogates are shown as an escape (`\\n`, `\\x1b`, `\\u202e`); a longer text ends in "…".
    """
    if len(text) <= limit and text.isprintable():
        return text
    shown: list[str] = []
    room = limit
    for position, character in enumerate(text):
        piece = _visible(character)
        last = position + 1 == len(text)
        if len(piece) > room - (0 if last else 1):
            return "".join([*shown, "…"])
        shown.append(piece)
        room -= len(piece)
    return "".join(shown)


def _visible(character: str) -> str:
    if unicodedata.category(character) in _HARMFUL:
        return character.encode("unicode_escape").decode("ascii")
    return character


def columns(text: str) -> int:
    """How many columns of a terminal a text takes: wide letters two, combining marks none."""
    if text.isascii():
        return len(text)
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )
