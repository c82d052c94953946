"""A desk of pure values: AM-04 stands in Theatre 4, AM-05 and WM-01 in Theatre 5; kd and rb are
known, and the theatre's code is shared. The leak test reads a number that it cannot do without."""

from __future__ import annotations

from typing import Any

from checkwatch.answers.desk.line import take
from checkwatch.answers.desk.slip import Asks, Fitting, Known, Slip, Written, asks
from checkwatch.answers.steps.typed import Refused
from checkwatch.core.person import People, Person
from checkwatch.core.rulebook import Measure
from checkwatch.errors import Problem, WrongUse
from checkwatch.run.typed import typed_instant
from checkwatch.run.world import Names
from tests.build import KIND, ZONE, check, rules, t

LEAK = Measure("leak", "mL/min", required=True, limited_above=200, believable=(0, 2000))

RULES = rules(
    check("leak-test", "PT24H", measures={"leak": LEAK}),
    check("warmer-check", "PT24H", kinds=("patient-warmer",)),
)

PLACES = {"Theatre 4": ("AM-04",), "Theatre 5": ("AM-05", "WM-01"), "Store": ()}


def names(*tags: str) -> Names:
    places: Any = dict.fromkeys(PLACES)
    return Names(frozenset(("AM-04", "AM-05", "WM-01", *tags)), places, (), {})


ITEM = "absorbent, lot LOT7A"


def fit(scan: str) -> Fitting:
    if "LOT" not in scan:
        raise WrongUse(Problem("label", "cannot be read", "scan it again"))
    return Fitting("absorbent-change", ITEM)


def desk(*tags: str, people: str = "kd rb", **more: Any) -> Known:
    """The desk at 15:20; `tags` are more machines of no kind that is known."""
    there = names(*tags)
    shared = Person(code="t4", is_shared=True)
    known = {
        "now": t("15:20"),
        "names": (*there.tags, *there.places),
        "resolve": there.resolve,
        "kinds": {"AM-04": (KIND, ""), "AM-05": (KIND, ""), "WM-01": ("patient-warmer", "")},
        "there": PLACES,
        "rulebook": RULES,
        "people": People(
            [*(Person(code=code) for code in people.split()), shared][: 3 * bool(people)]
        ),
        "fit": fit,
        "begun": lambda _: None,
        "moment": lambda text: typed_instant(text, ZONE, t("15:20"), "the time"),
        **more,
    }
    return Known(**known)


WROTE = Written(41, "AM-04", t("15:19"))


NEW = Slip()


def after(*lines: str, known: Known | None = None, slip: Slip = NEW) -> Slip:
    """The slip after some lines, each of which must be taken."""
    known = known or desk()
    for line in lines:
        slip = take(slip, line, known)
    return slip


def refusal(*lines: str, known: Known | None = None) -> str:
    """Why the last line is not taken; what was said stays as it was."""
    slip = after(*lines[:-1], known=known)
    try:
        found = take(slip, lines[-1], known or desk())
    except Refused as refused:
        return str(refused)
    raise AssertionError(f"taken as {found}")


def next_asked(*lines: str, **more: Any) -> Asks | None:
    return asks(after(*lines, **more), more.get("known") or desk())
