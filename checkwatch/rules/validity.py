"""The validity clauses of a check, read from their tables (docs/meaning.md, part 5)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any, cast

from checkwatch.core.mistake import quoted
from checkwatch.core.period import NOTHING, UNITS, Period, Unit
from checkwatch.core.rulebook import (
    ForUse,
    Number,
    OnceEach,
    UntilExpiry,
    UntilNext,
    ValidFor,
    Validity,
)
from checkwatch.rules.recurrence import parse_recurrence, spread, written
from checkwatch.rules.table import Table, code_of, wrong

#: What each kind of clause may carry besides its own key.
MODIFIERS = {
    "valid_for": ("early", "late", "next_due", "round_up_to", "warn_before"),
    "valid_until_next": ("counted_from", "early", "late", "round_up_to", "warn_before"),
    "once_each": ("late", "warn_before"),
    "valid_for_use": ("meter", "reading_within", "early", "late", "next_due", "warn_before"),
    "valid_until_expiry": ("warn_before",),
}
_ALL = tuple(dict.fromkeys(key for keys in MODIFIERS.values() for key in keys))

#: The calendar units as durations: none of their pieces is longer.
UNIT_LENGTHS: dict[Unit, Period] = {
    "day": Period(days=1),
    "week": Period(days=7),
    "month": Period(months=1),
    "quarter": Period(months=3),
    "year": Period(months=12),
}

#: Expanding a recurrence begins at its start, so that one may not lie ages back.
YEARS = range(1970, 2200)

_START = UntilNext("").counted_from


def read_clause(table: Table) -> Validity | None:
    """One clause, None where it is mistaken; its mistakes are noted at the table."""
    before = len(table.problems)
    kinds = [key for key in MODIFIERS if key in table]
    given = [key for key in _ALL if key in table]
    table.finish()
    if len(kinds) != 1:
        _note_kinds(table, kinds)
        return None
    kind = kinds[0]
    for key in given:
        if key not in MODIFIERS[kind]:
            table.note(key, f"means nothing beside {kind}", "leave it out")
    clause = _READERS[kind](table)
    return clause if len(table.problems) == before else None


def _note_kinds(table: Table, kinds: list[str]) -> None:
    if kinds:
        what = f"one clause has {' and '.join(kinds)}"
        table.note("", what, "give each a [[check.validity]] of its own: the earliest wins")
    else:
        table.note("", "a clause has no kind of validity", f"add one of {', '.join(MODIFIERS)}")


def _valid_for(table: Table) -> ValidFor | None:
    lasts = _length(table, "valid_for")
    modifiers = _periods(table, "early", "late", "warn_before")
    from_due = _from_due(table, "valid_for")
    unit = _unit(table, "round_up_to")
    if lasts is None:
        return None
    _look_whether_shorter(table, modifiers, lasts.shortest)
    return ValidFor(lasts, from_due, unit, **modifiers)


def _until_next(table: Table) -> UntilNext | None:
    text = table.text("valid_until_next", required=True)
    parts = table.attempt("valid_until_next", lambda: parse_recurrence(text)) if text else None
    given = table.text("counted_from")
    start = table.attempt("counted_from", lambda: _start(given)) if given else _START
    modifiers = _periods(table, "early", "late", "warn_before")
    unit = _unit(table, "round_up_to")
    if parts is None or start is None:
        return None
    rule = written(parts)
    apart = table.attempt("valid_until_next", lambda: spread(rule, start))
    if apart is not None:
        shortest = apart.shortest // timedelta(microseconds=1)
        _look_whether_shorter(table, modifiers, shortest)
    return UntilNext(rule, start, round_up_to=unit, **modifiers)


def _start(text: str) -> datetime:
    remedy = "write a local time like 2026-01-06T07:00:00"
    try:
        start = datetime.fromisoformat(text)
    except ValueError:
        raise wrong(f"{quoted(text)} is not a time", remedy) from None
    if start.tzinfo is not None:
        raise wrong(f"{quoted(text)} has a zone", remedy)
    if start.microsecond or start.year not in YEARS:
        raise wrong(f"{quoted(text)} is not a second from 1970 to 2199", remedy)
    return start


def _once_each(table: Table) -> OnceEach | None:
    unit = table.choice("once_each", UNITS)
    modifiers = _periods(table, "late", "warn_before")
    if not unit:
        table.text("once_each", required=True)
        return None
    _look_whether_shorter(table, modifiers, UNIT_LENGTHS[cast("Unit", unit)].shortest)
    return OnceEach(cast("Unit", unit), **modifiers)


def _for_use(table: Table) -> ForUse | None:
    amount = table.number("valid_for_use")
    if amount is not None and amount <= 0:
        what = "is not above zero: no pass would ever last"
        table.note("valid_for_use", what, "write by how much the meter may advance")
    if "meter" in table:
        meter = code_of(table, "meter")
    else:
        meter = ""
        table.note("meter", "is missing", 'name what is read, like meter = "hours"')
    within = _length(table, "reading_within")
    if "reading_within" not in table:
        table.note("reading_within", "is missing", 'add how often it is read, like "P7D"')
    modifiers = {key: _positive(table, key) for key in ("early", "late", "warn_before")}
    from_due = _from_due(table, "valid_for_use")
    if amount is None or within is None:
        return None
    if modifiers["early"] + modifiers["late"] >= amount > 0:
        table.note("valid_for_use", "is not more than early and late together", "shorten them")
    return ForUse(amount, meter, within, from_due, **modifiers)


def _until_expiry(table: Table) -> UntilExpiry:
    return UntilExpiry(code_of(table, "valid_until_expiry"), **_periods(table, "warn_before"))


def _from_due(table: Table, kind: str) -> bool:
    from_due = table.choice("next_due", ("from-done", "from-due")) == "from-due"
    if "early" in table and not from_due:
        remedy = 'leave it out, or add next_due = "from-due"'
        table.note("early", f'means nothing beside {kind} unless next_due = "from-due"', remedy)
    return from_due


def _unit(table: Table, key: str) -> Unit | None:
    return cast("Unit | None", table.choice(key, UNITS) or None)


def _length(table: Table, key: str) -> Period | None:
    """A duration that is not zero."""
    period = table.period(key)
    if period is not None and not period:
        table.note(key, "is zero: no pass would ever last", "write how long it lasts")
        return None
    return period


def _positive(table: Table, key: str) -> Number:
    number = table.number(key) or 0
    if number < 0:
        table.note(key, "is negative", "write a number from 0 on")
    return max(number, 0)


def _periods(table: Table, *keys: str) -> dict[str, Any]:
    return {key: table.period(key) or NOTHING for key in keys}


def _look_whether_shorter(table: Table, modifiers: Mapping[str, Any], interval: int) -> None:
    """Notes it where `early` and `late` together are not shorter than the interval."""
    given = [key for key in ("early", "late") if modifiers.get(key)]
    if sum(modifiers[key].longest for key in given) >= interval:
        verb = "are together" if len(given) > 1 else "is"
        what = f"{verb} not shorter than the interval"
        table.note(" and ".join(given), what, "shorten it")


_READERS: dict[str, Callable[[Table], Validity | None]] = {
    "valid_for": _valid_for,
    "valid_until_next": _until_next,
    "once_each": _once_each,
    "valid_for_use": _for_use,
    "valid_until_expiry": _until_expiry,
}
