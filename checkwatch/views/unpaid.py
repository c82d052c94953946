"""Exceptions that are not paid in words: how many in a row, and since when gates are owed."""

from __future__ import annotations

from checkwatch.answers.unpaid import Unpaid
from checkwatch.views.words import Here, listed

_NTH = {1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth"}


def nth(count: int) -> str:
    """A place in a row: "third"."""
    return _NTH.get(count) or f"no. {count}"


def in_a_row(debt: Unpaid, machine: str, here: Here) -> str:
    """Which exception since the gates were ready it is, as the end of a sentence."""
    since = here.when(debt.since)
    return f"the {nth(len(debt.exceptions))} in a row on {machine}: gates unpaid since {since}"


def owing(debt: Unpaid, here: Here) -> str:
    """The exceptions by number, and since when their gates are not ready."""
    numbers = listed(str(one.seq) for one in debt.exceptions)
    several = len(debt.exceptions) > 1
    which = f"exceptions unpaid, {len(debt.exceptions)} in a row" if several else "exception unpaid"
    entries = f"entries {numbers}" if several else f"entry {numbers}"
    return f"{which} ({entries}): its gates are not ready since {here.when(debt.since)}"
