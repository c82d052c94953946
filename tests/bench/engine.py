"""How fast the engine walks entries, and that twice the entries cost twice the time.

Run by hand: `python -m tests.bench.engine`. A speed depends on the machine and on what else runs
there, so each figure stands beside a plain loop measured in the same run: read the ratio.
"""

from __future__ import annotations

import gc
import random
import time
from collections.abc import Iterator
from decimal import Decimal

from checkwatch.__main__ import GARBAGE
from checkwatch.core import entry as e
from checkwatch.core.instant import DAY, MINUTE, SECOND, Instant
from checkwatch.core.judge import Judged
from checkwatch.core.logbook import Logbook
from checkwatch.core.rulebook import Measure
from tests.build import KIND, check, rules

_LEAK = {"leak": Measure("leak", "mL/min", required=True, limited_above=200, fail_above=300)}

RULES = rules(
    check("self-test", "PT24H", covers=("leak-test",), voided_by=("power-on",), measures=_LEAK),
    check("leak-test", "PT24H", voided_by=("power-on", "absorbent-change"), measures=_LEAK),
    check("session-check", "PT14H", voided_by=("power-on",)),
    check("oxygen-alarm", "P7D"),
    check("between-patient", gate=False, voided_by=("case-end",)),
)


def days(chance: random.Random) -> Iterator[tuple[int, type[e.Entry], dict[str, object]]]:
    """The working days of one machine: minutes after seven, what is written, and its fields."""
    leak = (("leak", Decimal(60)),)
    yield 0, e.Happening, {"code": "power-on"}
    yield 10, e.Result, {"check": "self-test", "outcome": e.Outcome.PASS, "measures": leak}
    yield 11, e.Result, {"check": "session-check", "outcome": e.Outcome.PASS}
    for case in range(4):
        yield 20 + 80 * case, e.Result, {"check": "between-patient", "outcome": e.Outcome.PASS}
        yield 25 + 80 * case, e.CaseStart, {}
        yield 85 + 80 * case, e.CaseEnd, {}
    yield 345, e.Happening, {"code": "absorbent-change"}
    yield 350, e.Result, {"check": "leak-test", "outcome": e.Outcome.PASS, "measures": leak}
    if chance.random() < 0.15:
        yield 360, e.Result, {"check": "oxygen-alarm", "outcome": e.Outcome.PASS}


def log(count: int) -> Logbook:
    """So many entries of one machine."""
    chance, start = random.Random(1), Instant(1_700_000_000 * SECOND)
    found: list[e.Entry] = [e.Enrolled(seq=1, machine="AM", at=start, recorded=start, kind=KIND)]
    day = 0
    while len(found) < count:
        for minutes, kind, fields in days(chance):
            at = Instant(start + day * DAY + minutes * MINUTE)
            seq = len(found) + 1
            found.append(kind(seq=seq, machine="AM", at=at, recorded=at, **fields))
        day += 1
    return Logbook(tuple(found), {})


def seconds(work: object, *arguments: object) -> float:
    """The least of five runs."""
    best = float("inf")
    for _ in range(5):
        begun = time.perf_counter()
        work(*arguments)  # type: ignore[operator]
        best = min(best, time.perf_counter() - begun)
    return best


def loop() -> int:
    """A million additions: what this machine does in the meantime."""
    total = 0
    for number in range(1_000_000):
        total += number
    return total


def main() -> None:
    """Prints a row for each size."""
    gc.set_threshold(*GARBAGE)
    plain = seconds(loop)
    print(f"a million additions: {plain * 1000:.0f} ms")
    for count in (5_000, 10_000, 20_000, 40_000, 80_000):
        entries = log(count)
        took = seconds(Judged, entries, RULES)
        rate = len(entries.entries) / took
        print(f"{count:7,} entries  {rate:10,.0f} a second  {rate * plain / 1e6:.3f} of additions")


if __name__ == "__main__":
    main()
