"""The rulebooks of examples/guidance, and which row of guidance is marked in which of their checks.

A mark is a comment in the rulebook: "AA-9 [read]".
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

from checkwatch.core.rulebook import Rulebook
from checkwatch.rules.read import read_or_refuse
from tests.outside.moments import Moment, moment

FOLDER = Path(__file__).parents[2] / "examples" / "guidance"
NAMES = ("association-2012", "asa-2008", "fda-1993")
#: A morning after which a machine is cleared, by each of them.
READY = {
    "association-2012": """
2026-03-12 07:10  M  first-user     pass
2026-03-12 07:20  M  oxygen-alarm   pass  alarm=8
2026-03-12 07:30  M  session-check  pass  pipeline=420 oxygen-share=26 test-pressure=30
""",
    "asa-2008": """
2026-03-12 06:40  M  day-check          pass  piped-gas=52  by=tec
2026-03-12 06:45  M  low-pressure-leak  pass  by=tec
2026-03-12 06:55  M  case-check         pass  by=mr
""",
    "fda-1993": """
2026-03-12 06:40  M  user-check  pass  reserve=1500 collapsed=12  by=mr
2026-03-12 06:50  M  case-check  pass  held=14  by=mr
""",
}
ROW = re.compile(r"\b(?:AA|ASA|FDA)-\d+\b")


@cache
def text_of(name: str) -> str:
    """The text of one of the rulebooks."""
    return (FOLDER / f"{name}.toml").read_text(encoding="utf-8")


@cache
def rules(name: str) -> Rulebook:
    """One of the rulebooks."""
    return read_or_refuse(text_of(name), name)


def after(name: str, log: str, at: str, unread: str = "") -> Moment:
    """A machine that had everything by one of the rulebooks, after some more of a log."""
    return moment(rules(name), READY[name] + log, at, unread=unread)


@cache
def marked(name: str) -> dict[str, frozenset[str]]:
    """For each check of a rulebook the rows of guidance that are marked in it."""
    _, *blocks = re.split(r"^\[\[check\]\]$", text_of(name), flags=re.MULTILINE)
    found = {}
    for block in blocks:
        own = block.split("\n[[", 1)[0]
        (code, *_) = re.findall(r'^code = "(.+)"', own, flags=re.MULTILINE)
        found[code] = frozenset(ROW.findall(own))
    return found


def written(name: str, row: str) -> str:
    """In which checks of a rulebook a row of guidance is marked."""
    return " ".join(code for code, rows in marked(name).items() if row in rows) or "no check"


def asked(name: str, now: Moment) -> frozenset[str]:
    """The rows of guidance that are marked in the gates that are not ready."""
    return frozenset(row for code in now.owed.split() for row in marked(name).get(code, ()))


def numbers(name: str, now: Moment) -> str:
    """The numbers of those rows."""
    rows = (int(row.split("-")[1]) for row in asked(name, now))
    return " ".join(str(number) for number in sorted(rows)) or "nothing"
