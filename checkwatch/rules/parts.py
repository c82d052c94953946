"""The parts of a check and of a place kind: minutes, measures, steps, duty."""

from __future__ import annotations

import re
from datetime import time

from checkwatch.core.entry import Outcome
from checkwatch.core.mistake import quoted
from checkwatch.core.rulebook import Duty, DutySpan, Measure, Minutes, Number, PlaceKind, Step
from checkwatch.rules.recurrence import DAYS
from checkwatch.rules.table import Table, code_of

#: What a no may make of a check.
_ON_NO = (Outcome.FAIL.value, Outcome.LIMITED.value, Outcome.STOPPED.value)

_DUTIES = 'write "always", "none" or spans like [{ days = "MO-FR", from = "07:00", to = "18:00" }]'

#: More than two months of work are no minutes of one check.
_MOST_MINUTES = 100_000


def read_minutes(table: Table | None) -> Minutes | None:
    """What a check costs, None where nobody said."""
    if table is None:
        return None
    found = {key: _minutes(table, key) for key in ("hands_on", "watched", "alone")}
    table.finish()
    return Minutes(**found)


def _minutes(table: Table, key: str) -> Number:
    number = table.number(key) or 0
    if number < 0:
        table.note(key, "is negative", "write how many minutes it takes")
    if number > _MOST_MINUTES:
        what = f"is more than {_MOST_MINUTES} minutes"
        table.note(key, what, "write how many minutes it takes")
    return min(max(number, 0), _MOST_MINUTES)


def read_measure(table: Table) -> Measure:
    """A measure, its limits compared with each other."""
    code = code_of(table)
    believable = table.numbers("believable", 2)
    measure = Measure(
        code,
        table.text("unit", required=True),
        table.flag("required", default=False),
        table.number("limited_above"),
        table.number("limited_below"),
        table.number("fail_above"),
        table.number("fail_below"),
        (believable[0], believable[1]) if believable else None,
    )
    table.finish()
    _look_at_limits(table, measure)
    return measure


def _look_at_limits(table: Table, measure: Measure) -> None:
    """Notes limits that can never be reached, or leave no value that passes."""
    above = {"limited_above": measure.limited_above, "fail_above": measure.fail_above}
    below = {"limited_below": measure.limited_below, "fail_below": measure.fail_below}
    highest = {key: value for key, value in below.items() if value is not None}
    lowest = {key: value for key, value in above.items() if value is not None}
    if len(lowest) == 2 and lowest["limited_above"] > lowest["fail_above"]:
        table.note("limited_above", "lies above fail_above: it never limits", "exchange them")
    if len(highest) == 2 and highest["limited_below"] < highest["fail_below"]:
        table.note("limited_below", "lies below fail_below: it never limits", "exchange them")
    for low_key, low in highest.items():
        for high_key, high in lowest.items():
            if low > high:
                what = f"lies above {high_key}: some value would be beyond both"
                table.note(low_key, what, "did you exchange them?")
    _look_at_believable(table, measure, lowest | highest)


def _look_at_believable(table: Table, measure: Measure, limits: dict[str, Number]) -> None:
    if measure.believable is None:
        return
    low, high = measure.believable
    if low >= high:
        table.note("believable", "begins at or above its end", "write the lower number first")
        return
    for key, limit in limits.items():
        if not low <= limit <= high:
            what = f"lies outside what is believable ({low} to {high})"
            table.note(key, what, "nothing beyond it would ever be taken: widen believable")


def read_step(table: Table) -> Step:
    """One step. That its measure is one of the check's is looked at there."""
    on_no = table.choice("on_no", _ON_NO)
    step = Step(
        table.text("say", required=True),
        table.text("expect"),
        table.text("caution"),
        table.text("more"),
        code_of(table, "measure") if "measure" in table else "",
        Outcome(on_no) if on_no else Outcome.FAIL,
        table.text("remedy"),
        table.text("put_back"),
        table.flag("after_run", default=False),
        table.flag("may_skip", default=False),
    )
    table.finish()
    return step


def read_place_kind(table: Table) -> PlaceKind:
    """What places of a kind need, and when they are on duty."""
    kind = PlaceKind(code_of(table), table.texts("needs"), _duty(table))
    table.finish()
    return kind


def _duty(table: Table) -> Duty:
    if not table.is_list("duty"):
        if "duty" in table and not any(table.is_word("duty", word) for word in ("always", "none")):
            table.note("duty", "is neither a known word nor a list of spans", _DUTIES)
        return "none" if table.is_word("duty", "none") else "always"
    if table.is_empty("duty"):
        table.note("duty", "has no span", 'write duty = "none", or a span')
    return read_spans(table, "duty")


def read_spans(table: Table, key: str) -> tuple[DutySpan, ...]:
    """Spans of weekdays and local times under a key, none where there is none."""
    spans = table.tables(key, name_by="")
    return tuple(span for each in spans if (span := _span(each)) is not None)


def _span(table: Table) -> DutySpan | None:
    days = table.text("days", required=True)
    start, end = (table.text(key, required=True) for key in ("from", "to"))
    table.finish()
    found = _days(days)
    if days and found is None:
        table.note("days", f"{quoted(days)} is no days", 'write them like "MO-FR" or "MO,WE"')
    begins, ends = time_of_day(start), time_of_day("00:00" if end == "24:00" else end)
    for key, text, clock in (("from", start, begins), ("to", end, ends)):
        if text and clock is None:
            table.note(key, f"{quoted(text)} is no time of day", 'write it like "07:30"')
    if start and start == end:
        remedy = 'for whole days write from = "00:00", to = "24:00"'
        table.note("to", "is the time at which the span begins", remedy)
    if found is None or begins is None or ends is None:
        return None
    return DutySpan(found, begins, ends)


def time_of_day(text: str) -> time | None:
    """A time like `07:30`, None for what is none."""
    match = re.fullmatch(r"([01]\d|2[0-3]):([0-5]\d)", text, re.ASCII)
    return time(int(match.group(1)), int(match.group(2))) if match else None


def _days(text: str) -> frozenset[int] | None:
    """Weekdays from `MO-FR`, `MO,WE` or both; a range may pass over Sunday."""
    found: set[int] = set()
    for piece in text.upper().replace(" ", "").split(","):
        first, _, last = piece.partition("-")
        if first not in DAYS or (last or first) not in DAYS or piece.endswith("-"):
            return None
        begin, length = DAYS.index(first), (DAYS.index(last or first) - DAYS.index(first)) % 7
        found.update((begin + day) % 7 for day in range(length + 1))
    return frozenset(found)
