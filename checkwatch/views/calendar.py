"""What the events of a calendar say: machine, place and check, when it is due, when it ends.

Never that a machine may be used: what a calendar shows was fetched some time ago.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from checkwatch.answers.calendar import Dated
from checkwatch.core.attempt import plain
from checkwatch.core.instant import FOREVER
from checkwatch.core.rulebook import Check
from checkwatch.views.paper import OnPaper, day_and_time
from checkwatch.views.reason import what_ended
from checkwatch.views.words import Here, harmless, inside, listed

DESCRIPTION = (
    "Checks of a week and longer, when each is due. What is due or owed already stands on the day "
    "on which this calendar was made. It knows nothing that was written since: ask the book."
)


class Words(NamedTuple):
    """What an event says."""

    summary: str
    description: str
    location: str = ""


def words(one: Dated, where: Here) -> Words:
    """Of one check of one machine."""
    here = OnPaper(*where)
    machine, check = one.machine, one.state.check
    tag, place = harmless(machine.machine, 80), harmless(machine.log.place, 80)
    head = f"{tag}, {place}" if place else tag
    summary = f"{head}: {_title(check)} {_in_short(one, here)}"
    return Words(summary, " ".join(_sentences(one, here)), place)


def unbelieved(doubts: Sequence[str]) -> Words:
    """What stands in the place of all dates while the book is not believed."""
    why = listed(harmless(doubt, 400) for doubt in doubts)
    return Words("The book is not believed: no date can be told", f"{why[:1].upper()}{why[1:]}.")


def name(title: str, area: str, banner: str) -> str:
    """Of the calendar."""
    named = f"Checks due, {harmless(title, 100)}{', ' + harmless(area, 80) if area else ''}"
    return f"{named}. {banner}" if banner else named


def _title(check: Check) -> str:
    advice = "" if check.gate else " (advice)"
    return f"{inside(harmless(check.title, 80))}{advice}"


def _in_short(one: Dated, here: OnPaper) -> str:
    if one.due is not None:
        return "due"
    return f"{'was due' if one.state.ready else 'owed since'} {here.local(one.state.since)}"


def _sentences(one: Dated, here: OnPaper) -> list[str]:
    state, window = one.state, one.state.window
    said: list[str] = []
    if state.ready and window is not None:
        was = "Due" if one.due is not None else "It was due"
        said.append(f"{was} before {day_and_time(window.due, here)}.")
        if window.due < window.expiry < FOREVER:
            said.append(f"It runs out at {day_and_time(window.expiry, here)}.")
    else:
        title = inside(harmless(state.check.title, 80))
        said.append(f"The {title} {what_ended(state, one.machine, here)}.")
    if state.check.minutes and state.check.minutes.attended:
        said.append(f"About {plain(state.check.minutes.attended)} attended minutes.")
    return said
