"""A machine at an instant, after a short log: what most rows about guidance and practice ask for.

The log is that of a worked case, so that nothing is told which no book would accept.
"""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.core import entry as e
from checkwatch.core.instant import BEGINNING, FOREVER, MINUTE, Instant
from checkwatch.core.judge import Judge
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.versions import Version, Versions
from checkwatch.rules.cases import read_cases

KIND = "anaesthetic-machine"

CASE = '''
[[case]]
name = "one"
machines = {{ M = "{kind}" }}
log = """{log}"""
ask = [{{ at = "{at}", of = "M", standing = "cleared" }}]
'''


class Moment(NamedTuple):
    """The machine M at an instant, and the entries so far."""

    at: Instant
    standing: MachineStanding
    entries: tuple[e.Entry, ...]

    @property
    def owed(self) -> str:
        """The gates that are not ready, in the rulebook's order."""
        found = (gate.check.code for gate in self.standing.gates if not gate.ready)
        return " ".join(found) or "nothing"

    def check(self, code: str) -> CheckState:
        """One of its checks."""
        return next(state for state in self.standing.checks if state.check.code == code)


def moment(rulebook: Rulebook, log: str, at: str, kind: str = KIND, unread: str = "") -> Moment:
    """The machine M at a local time, after a log in the form of worked cases.

    `unread` is the code of a happening that the rules do not know, a minute before.
    """
    found, mistakes = read_cases(CASE.format(kind=kind, log=log, at=at), "row", rulebook)
    assert not mistakes, mistakes
    (case,) = found
    when, entries = case.questions[0].at, case.entries
    if unread:
        begin = Instant(when - MINUTE)
        last = e.Happening(seq=99, machine="M", at=begin, recorded=begin, code=unread)
        entries = (*entries, last)
    versions = Versions.of(Version(BEGINNING, 0, BEGINNING, rulebook))
    return Moment(when, Judge("M", entries, versions, when, FOREVER).at(when), entries)


def limits(rulebook: Rulebook, line: str, *values: str) -> str:
    """Whether a result with each of the values in it is good: "7 good, 6.9 not".

    `line` is a line of a log from the check on, with {} where the value goes.
    """
    code = line.split()[0]
    found = []
    for value in values:
        log = f"2026-03-12 07:00  M  {line.format(value)}"
        state = moment(rulebook, log, "2026-03-12 07:01").check(code)
        found.append(f"{value} {'good' if state.ready else 'not'}")
    return ", ".join(found)
