"""What a rulebook may say and seldom means: each is a warning."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from typing import get_args

from checkwatch.core.instant import DAY
from checkwatch.core.mistake import cut, quoted
from checkwatch.core.period import Period
from checkwatch.core.rulebook import (
    Check,
    Doubted,
    ForUse,
    OnceEach,
    Rulebook,
    UntilExpiry,
    UntilNext,
    ValidFor,
    Validity,
)
from checkwatch.errors import Problem
from checkwatch.rules.recurrence import days_that_months_lack, ends, parse_recurrence, spread
from checkwatch.rules.spans import longest_to_due
from checkwatch.rules.written import Written

LET_IT_GO_ON = "leave out COUNT and UNTIL"

#: Four weeks count as a month.
_RARE = 28 * DAY


def doubts(written: Written, where: str) -> tuple[Problem, ...]:
    """Every warning about a rulebook, in its order; about one with mistakes, what does not hang on
    what could not be read."""
    found: list[Problem] = []
    if not written.checks:
        found.append(Problem(where, "it has no check", "every standing would be unknown"))
    for place, check, all_clauses in written.checks:
        if check.gate and check.minutes is None:
            what = "the least work cannot be told without them"
            found.append(Problem(f"{place}: minutes", what, "add minutes = { hands_on = … }"))
        if check.gate and all_clauses:
            found += _gate(check, place)
        elif check.survives and not check.gate:
            what = "means nothing: only gates are voided unasked"
            found.append(Problem(f"{place}: survives", what, "leave it out"))
        if check.endless and (check.validity or check.voided_by):
            what = "means nothing: its validity or voided_by ends it"
            found.append(Problem(f"{place}: endless", what, "leave it out"))
        found += _uncovered(check, written.rulebook, place)
        for clause in check.validity:
            found += _always_due(clause, place)
            if isinstance(clause, UntilNext):
                found += _recurrence(clause, f"{place}: valid_until_next")
    found += _gateless(written)
    found += _passed_by(written.rulebook, where)
    return tuple(found)


def _gate(check: Check, place: str) -> Iterator[Problem]:
    for clause in check.validity:
        if isinstance(clause, OnceEach) and clause.unit == "day" and len(check.validity) == 1:
            what = "lasts until the end of the next day, up to two days"
            yield Problem(f"{place}: once_each", what, 'did you mean valid_for = "PT24H"?')
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


def _always_due(clause: Validity, place: str) -> Iterator[Problem]:
    """On ordinary days: a day in which the clocks change counts as any other."""
    longest = longest_to_due(clause)
    if isinstance(clause, UntilExpiry):
        return
    if isinstance(clause, ForUse):
        always = clause.warn_before >= clause.amount + clause.early
    else:
        assert longest is not None, "only use has no clock"
        always = _ordinary(clause.warn_before) >= _ordinary(longest)
    if always:
        what = "is not shorter than the time until it is due: it is due all the time"
        yield Problem(f"{place}: warn_before", what, "shorten it, or leave it out")


def _ordinary(period: Period) -> int:
    return period.shortest + period.longest


def _uncovered(check: Check, rulebook: Rulebook, place: str) -> Iterator[Problem]:
    for code in check.covers:
        covered = rulebook.checks.get(code)
        lacking = [m for m in covered.required if m not in check.measures] if covered else []
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
        yield Problem(place, what, LET_IT_GO_ON)


def _gateless(written: Written) -> Iterator[Problem]:
    gated = {kind for one in written.checks if one.check.gate for kind in one.check.kinds}
    for place, place_kind in written.place_kinds:
        for kind in dict.fromkeys(place_kind.needs):
            if kind in written.kinds and kind not in gated:
                what = f"{quoted(kind)} has no gate: such a place is always unknown"
                yield Problem(f"{place}: needs", what, "add a gate for it, or do not need it")


def _passed_by(rulebook: Rulebook, where: str) -> Iterator[Problem]:
    """Where an invented code comes further than a known one."""
    ranks = get_args(Doubted)
    if ranks.index(rulebook.unknown_person) < ranks.index(rulebook.untrained):
        what = "is milder than untrained: who gives a code that nobody has comes past that"
        remedy = f'add unknown_person = "{rulebook.untrained}"'
        yield Problem(f"{where}: rulebook: unknown_person", what, remedy)
