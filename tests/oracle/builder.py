"""Small books to ask the oracle about: a rulebook from a few lines, a log of one machine."""

import tomllib
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from . import calendar, check_at, standing_at, windows

LATER = calendar.instant(datetime(2099, 1, 1, tzinfo=UTC))
FIRST = calendar.instant(datetime(2020, 1, 1, tzinfo=UTC))


def utc(text: str) -> int:
    """Give the instant of an ISO 8601 text; without an offset it is UTC."""
    moment = datetime.fromisoformat(text)
    return calendar.instant(moment if moment.tzinfo else moment.replace(tzinfo=UTC))


class Rules(dict[str, Any]):
    """A rulebook, and the text of which it was read."""

    text: str


def rulebook(checks: str, zone: str = "UTC", more: str = "") -> list[tuple[int, int, Any]]:
    """Adopt one rulebook, made of its checks, from the beginning."""
    text = f"""
        [rulebook]
        title = "example"
        zone = "{zone}"
        [[happening]]
        code = "power-on"
        title = "Switched on"
        {more}
        {checks}"""
    rules = Rules(tomllib.loads(text, parse_float=Decimal))
    rules.text = text
    return [(FIRST, FIRST, rules)]


class Log(list[dict[str, Any]]):
    """A list of entries of one machine, in the order of their seq."""

    def __init__(self, machine: str = "AM-01", kind: str = "am", place: str = "T1") -> None:
        super().__init__()
        self.machine = machine
        self.add("enrolled", "2020-01-01", kind=kind, model="", place=place)

    def add(self, what: str, at: str, recorded: str | None = None, **more: Any) -> int:
        """Write an entry, recorded when it was true unless said otherwise; give its seq."""
        seq = len(self) + 1
        instants = {"at": utc(at), "recorded": utc(recorded or at)}
        self.append({"seq": seq, "machine": self.machine, "what": what, **instants, **more})
        return seq

    def done(self, at: str, outcome: str = "pass", what: str = "test", **more: Any) -> int:
        """Write a result; `started` is a text, measures are given as texts."""
        measures = {code: Decimal(value) for code, value in more.pop("measures", {}).items()}
        started = more.pop("started", None)
        begun = None if started is None else utc(started)
        return self.add(what, at, outcome=outcome, measures=measures, started=begun, **more)

    def read(self, at: str, hours: str) -> int:
        return self.add("reading", at, measures={"hours": Decimal(hours)})

    def strike(self, seq: int, at: str, outcome: str = "") -> int:
        return self.add("struck", at, of=seq, outcome=outcome)


TEST = '[[check]]\ncode = "test"\ntitle = "Test"\nkinds = ["am"]\n'
DAY = TEST + 'voided_by = ["power-on"]\n[[check.validity]]\nvalid_for = "PT24H"\n'


def state(rules: Any, log: Log, at: str, check: str = "test") -> str:
    return str(check_at(rules, log, log.machine, check, utc(at), LATER)["state"])


def stands(rules: Any, log: Log, at: str) -> str:
    return str(standing_at(rules, log, log.machine, utc(at), LATER)["standing"])


def due(clause: str, log: Log, zone: str = "UTC") -> list[tuple[str, str]]:
    """Give the due instant and the end of each window, in local time, of a check with a clause."""
    rules = rulebook(f"{TEST}[[check.validity]]\n{clause}", zone)
    found = windows(rules, log, log.machine, "test", LATER, LATER)
    return [
        (calendar.wall(w["due"], zone).isoformat(), calendar.wall(w["until"], zone).isoformat())
        for w in found
    ]


COVERING = """
[[check]]
code = "full"
title = "full"
kinds = ["am"]
covers = ["middle"]
minutes = { hands_on = 9 }
endless = true
[[check.measure]]
code = "leak"
unit = "mL/min"
required = true
limited_above = 200
fail_above = 300
believable = [0, 2000]
[[check]]
code = "middle"
title = "middle"
kinds = ["am"]
covers = ["short"]
minutes = { hands_on = 4 }
endless = true
[[check]]
code = "short"
title = "short"
kinds = ["am"]
minutes = { hands_on = 3, alone = 1 }
endless = true
[[check.measure]]
code = "leak"
unit = "mL/min"
limited_above = 100
[[check.measure]]
code = "hold"
unit = "s"
required = false
"""
