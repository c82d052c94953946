"""What a rulebook may say and seldom means: each is a warning."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from checkwatch.core.instant import DAY
from checkwatch.core.mistake import cut, quoted
from checkwatch.core.rulebook import Check, OnceEach, Rulebook, UntilNext, ValidFor, Validity
from checkwatch.errors import Problem
from checkwatch.rules.recurrence import days_that_months_lack, ends, parse_recurrence, spread

#: Four weeks count as a month.
_RARE = 28 * DAY


def doubts(rulebook: Rulebook, where: str) -> tuple[Problem, ...]:
    """Every warning about a rulebook without mistakes, in its order."""
    found: list[Problem] = []
    if not rulebook.checks:
        found.append(Problem(where, "it has no check", "every standing would be unknown"))
    for check in rulebook.checks.values():
        place = f"{where}: check {cut(check.code) or '?'}"
        if check.gate:
            found += _gate(check, place)
        elif check.survives:
            what = "means nothing: only gates are voided unasked"
            found.append(Problem(f"{place}: survives", what, "leave it out"))
        if check.endless and (check.validity or check.voided_by):
            what = "means nothing: its validity or voided_by ends it"
            found.append(Problem(f"{place}: endless", what, "leave it out"))
        found += _uncovered(check, rulebook, place)
        for clause in check.validity:
            if isinstance(clause, UntilNext):
                found += _recurrence(clause, f"{place}: valid_until_next")
    found += _gateless(rulebook, where)
    return tuple(found)


def _gate(check: Check, place: str) -> Iterator[Problem]:
    for clause in check.validity:
        if isinstance(clause, OnceEach) and clause.unit == "day" and len(check.validity) == 1:
            what = "lasts until the end of the next day, up to two days"
            yield Problem(f"{place}: once_each", what, 'did you mean valid_for = "PT24H"?')
    if check.minutes is None:
        what = "the least work cannot be told without them"
        yield Problem(f"{place}: minutes", what, "add minutes = { hands_on = … }")
    unasked = [
        word
        for word in ("moved", "fault-closed")
        if word in check.voided_unasked and word not in check.voided_by
    ]
    if unasked and check.validity and all(_is_rare(clause) for clause in check.validity):
        what = f"{' and '.join(unasked)} would void it, which is done monthly or more rarely"
        listed = ", ".join(f'"{word}"' for word in unasked)
        remedy = f"add survives = [{listed}], or list in voided_by what is meant"
        yield Problem(f"{place}: survives", what, remedy)


def _is_rare(clause: Validity) -> bool:
    if isinstance(clause, ValidFor):
        return clause.lasts.longest >= _RARE
    if isinstance(clause, OnceEach):
        return clause.unit in ("month", "quarter", "year")
    if isinstance(clause, UntilNext):
        return spread(clause.recurrence, clause.counted_from).longest >= timedelta(days=28)
    return False


def _uncovered(check: Check, rulebook: Rulebook, place: str) -> Iterator[Problem]:
    for code in check.covers:
        lacking = [m for m in rulebook.checks[code].required if m not in check.measures]
        if lacking:
            what = f"it does not take {', '.join(map(cut, lacking))}, which {quoted(code)} requires"
            remedy = "so it never counts for it: add the measure, or leave out covers"
            yield Problem(f"{place}: covers", what, remedy)


def _recurrence(clause: UntilNext, place: str) -> Iterator[Problem]:
    parts = parse_recurrence(clause.recurrence)
    counted = clause.counted_from != UntilNext("").counted_from
    if not counted and parts["FREQ"] != "HOURLY" and "BYHOUR" not in parts:
        yield Problem(place, "has no time of day: it occurs at 00:00", "add BYHOUR=7;BYMINUTE=0")
    if not counted and parts["FREQ"] == "WEEKLY" and "BYDAY" not in parts:
        yield Problem(place, "has no day: it occurs on Saturdays", "add BYDAY=MO")
    if lacking := days_that_months_lack(parts, clause.counted_from):
        days = ", ".join(str(day) for day in lacking)
        what = f"some of its months have no day {days}: they are left out"
        yield Problem(place, what, "BYMONTHDAY=-1 is the last day of each month")
    if ends(parts):
        what = "ends: after its last occurrence no pass lasts at all"
        yield Problem(place, what, "leave out COUNT and UNTIL")


def _gateless(rulebook: Rulebook, where: str) -> Iterator[Problem]:
    gated = {kind for check in rulebook.checks.values() if check.gate for kind in check.kinds}
    for place_kind in rulebook.place_kinds.values():
        for kind in dict.fromkeys(place_kind.needs):
            if kind not in gated:
                what = f"{quoted(kind)} has no gate: such a place is always unknown"
                place = f"{where}: place_kind {cut(place_kind.code) or '?'}: needs"
                yield Problem(place, what, "add a gate for it, or do not need it")
