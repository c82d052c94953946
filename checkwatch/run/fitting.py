"""Fitting an item: what its label says, or a person instead of it, becomes a happening."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from datetime import date
from typing import Any, NamedTuple

from checkwatch.answers.acceptance import mistakes_in_name
from checkwatch.answers.fitted import Stay, already
from checkwatch.answers.fitted import elsewhere as also_there
from checkwatch.core.entry import Happening
from checkwatch.core.instant import Instant
from checkwatch.core.mistake import quoted
from checkwatch.core.rulebook import Rulebook, UntilExpiry
from checkwatch.errors import Problem, WrongUse
from checkwatch.exchange.gs1 import Label, bracketed, read_label
from checkwatch.rules.table import one_of
from checkwatch.run.world import Asked, ask_on
from checkwatch.store import engine, read
from checkwatch.views.fitted import day as spoken_day
from checkwatch.views.words import Here, inside, listed

#: GS1 dates reach no further ahead; a later one was mistyped (exchange/gs1.py).
YEARS_AHEAD = 50


class Typed(NamedTuple):
    """What a person says of an item beside its label, or instead of it; empty for nothing."""

    happening: str = ""
    lot: str = ""
    serial: str = ""
    expiry: str = ""


class Fit(NamedTuple):
    """The happening that a fitting is, what the label says, and what a person should look at."""

    code: str
    label: Label
    warnings: tuple[str, ...]

    @property
    def says(self) -> dict[str, Any]:
        """The fields of the happening that the label fills."""
        label = self.label
        texts = {"gtin": label.gtin, "lot": label.lot, "serial": label.serial}
        return {**texts, "expiry": label.expiry}


def read_fit(scan: str | None, typed: Typed, rulebook: Rulebook, today: date, machine: str) -> Fit:
    """What is fitted by its label and by what was typed.

    `today` is the day of the fitting in the rulebook's zone. Raises WrongUse for a label that
    cannot be read, for an item that the rulebook does not know unless its happening was typed, for
    an expired one, and where label and person say two things.
    """
    if scan is None and not typed.happening:
        remedy = f"type its label, or - and then scan it, or {_by_hand(machine, rulebook)}"
        raise WrongUse(Problem(machine, "what was fitted is not said", remedy))
    label = Label("") if scan is None else _read(scan, rulebook, today, machine)
    label = _together(label, typed, today)
    code = _happening(label, typed, rulebook, machine)
    if label.expired_on(today):
        raise WrongUse(_expired(label, code, machine))
    return Fit(code, label, (*label.warnings, *_lacking(label, code, rulebook)))


def elsewhere(url: str, fitted: Happening, now: Instant) -> tuple[tuple[Stay, ...], Here]:
    """Where else an item with this serial number is by the book, and where times are read."""
    with engine.reading(url) as conn:
        tags = read.machines_with_serial(conn, fitted.serial)
        asked = ask_on(conn, now, lambda _: tags)
    return also_there(fitted.machine, fitted, asked.book, asked.question), asked.here


def fitted_already(entry: Happening, asked: Asked) -> Stay | None:
    """The stay of what seems to be the same item on the same machine by the book."""
    return already(entry, asked.book.judge(entry.machine, asked.question).log)


def _read(scan: str, rulebook: Rulebook, today: date, machine: str) -> Label:
    try:
        return read_label(scan, today)
    except WrongUse as refusal:
        remedy = f"where its label cannot be read, {_by_hand(machine, rulebook)}"
        raise WrongUse(*refusal.problems, Problem("", "nothing was written", remedy)) from None


def _together(label: Label, typed: Typed, today: date) -> Label:
    """What the label says, and what a person says where it says nothing."""
    given = {"lot": typed.lot.strip(), "serial": typed.serial.strip()}
    problems = [
        problem
        for name, text in given.items()
        if text
        for problem in mistakes_in_name(text, name, f"--{name}")
    ]
    expiry = _typed_day(typed.expiry.strip(), today, problems)
    says = {"lot": label.lot, "serial": label.serial, "expiry": label.expiry}
    for name, value in {**given, "expiry": expiry}.items():
        if value and says[name] and value != says[name]:
            what = f"{quoted(str(value))} is typed, and the label says {quoted(str(says[name]))}"
            problems.append(Problem(f"--{name}", what, "leave it out, or scan the right label"))
    if problems:
        raise WrongUse(*problems)
    return label._replace(
        lot=label.lot or given["lot"],
        serial=label.serial or given["serial"],
        expiry=label.expiry or expiry,
    )


def _typed_day(text: str, today: date, problems: list[Problem]) -> date | None:
    if not text:
        return None
    try:
        found = date.fromisoformat(text)
    except ValueError:
        remedy = "write it like 2027-12-31; a month alone means its last day"
        problems.append(Problem("--expiry", f"{quoted(text)} is no day", remedy))
        return None
    if found.year > today.year + YEARS_AHEAD:
        what = f"{found} is more than {YEARS_AHEAD} years ahead"
        problems.append(Problem("--expiry", what, "compare it with the package"))
    return found


def _happening(label: Label, typed: Typed, rulebook: Rulebook, machine: str) -> str:
    item = rulebook.item_of(label.gtin) if label.gtin else None
    if item is None and not typed.happening:
        raise WrongUse(_no_item(label, rulebook, machine))
    if item and typed.happening not in ("", item.happening):
        what = f"the label is that of {quoted(item.title)}, whose fitting is {item.happening}"
        raise WrongUse(Problem("--happening", what, "leave it out, or scan the right label"))
    known = _fittings(rulebook)
    # Of what is no happening at all another refusal tells.
    if item is None and typed.happening in rulebook.happenings.keys() - known:
        what = f"{quoted(typed.happening)} is not what happens when something is fitted"
        raise WrongUse(Problem("--happening", what, one_of(known)))
    return item.happening if item else typed.happening


def _fittings(rulebook: Rulebook) -> list[str]:
    """The happenings that a fitting can be: any, where the rules tie none to an item."""
    return [*dict.fromkeys(item.happening for item in rulebook.items)] or [*rulebook.happenings]


def _no_item(label: Label, rulebook: Rulebook, machine: str) -> Problem:
    known = listed(quoted(item.title) for item in rulebook.items)
    what = f"{label.gtin} is no item of the rulebook"
    scanned = shlex.quote(bracketed(label))
    code, codes = _codes(rulebook)
    command = f"`checkwatch fit {shlex.quote(machine)} {scanned} --happening {code}`{codes}"
    remedy = f"take the right one; if it is fitted all the same, {command}"
    return Problem("label", f"{what}, which has {known or 'none'}", remedy)


def _expired(label: Label, code: str, machine: str) -> Problem:
    """An expired item may be in the machine all the same: then the book must know, and a check that
    goes by its expiry does not count."""
    assert label.expiry is not None, "what has no expiry is not expired"
    words = ["checkwatch", "fit", machine, *([label.gtin] if label.gtin else [])]
    words += ["--happening", code]
    words += ["--lot", label.lot] if label.lot else []
    words += ["--serial", label.serial] if label.serial else []
    command = f"`{shlex.join([*words, '--note', f'expired {label.expiry}'])}`"
    what = f"it has expired: it was good to {spoken_day(label.expiry)}"
    return Problem("label", what, f"take another one; if it is fitted all the same, {command}")


def _by_hand(machine: str, rulebook: Rulebook) -> str:
    """The command for an item without a readable label."""
    code, codes = _codes(rulebook)
    words = f"--happening {code} --lot LOT --expiry YYYY-MM-DD"
    return f"say what it is: `checkwatch fit {shlex.quote(machine)} {words}`{codes}"


def _codes(rulebook: Rulebook) -> tuple[str, str]:
    """What stands for a happening in a command, and of several what it can be."""
    found = _fittings(rulebook)
    return (found[0], "") if len(found) == 1 else ("CODE", f", CODE one of {', '.join(found)}")


def _lacking(label: Label, code: str, rulebook: Rulebook) -> Iterator[str]:
    """What the book will not know of it, and what hangs on that."""
    if not (label.lot or label.serial):
        yield "no lot is known of it, and no recall finds it; --lot says it"
    if label.expiry:
        return
    titles = [
        f"the {inside(check.title)}"
        for check in rulebook.checks.values()
        if any(isinstance(c, UntilExpiry) and c.happening == code for c in check.validity)
    ]
    if titles:
        yield f"no expiry is known of it, and no pass of {listed(titles)} counts; --expiry says it"
