"""Whatever TOML says, reading it gives problems, never an exception."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any
from unittest.mock import patch

from hypothesis import given, settings
from hypothesis import strategies as st

from checkwatch.errors import Problem
from checkwatch.rules import cases, read
from checkwatch.rules.run_cases import run_case
from checkwatch.rules.words import in_words, rule_in_words


def word_of(text: str) -> st.SearchStrategy[str]:
    return st.sampled_from(text.split())


#: Words that rulebooks and cases are made of, so that mistakes lie deep.
WORDS = word_of(
    """leak-test self-test machine repair moved fault-closed day PT24H P1Y PT0S always none engineer
    from-due 07:30 24:00 MO-FR Europe/London FREQ=DAILY;BYHOUR=7 FREQ=WEEKLY FREQ=DAILY;COUNT=0
    FREQ=MONTHLY;BYMONTHDAY=31;INTERVAL=9 2026-01-06T07:00:00 AM-01 cleared valid open"""
)
TEXTS = WORDS | st.text(max_size=20)
NUMBERS = (
    st.integers() | st.decimals(allow_nan=True, allow_infinity=True) | st.just(Decimal("1e999999"))
)
SCALARS = TEXTS | NUMBERS | st.booleans() | st.just(dt.datetime(2026, 1, 6)) | st.just(dt.time(7))

KEYS = word_of(
    """rulebook happening check place_kind title zone longest_exception code kinds models gate
    covers voided_by survives after_fail endless minutes cautions validity measure step valid_for
    valid_until_next counted_from once_each valid_for_use meter reading_within early late next_due
    round_up_to warn_before unit required limited_above limited_below fail_above fail_below
    believable say expect caution needs duty days from to hands_on watched alone case name machines
    log ask at of known_at for throughout standing checks until limits clears AM-01"""
)

ANYTHING = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(KEYS | st.text(max_size=5), inner, max_size=6)
    ),
    max_leaves=15,
)


def tables(*keys: str, **fixed: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    """Tables with some of the keys and anything in them, most often of the right kind."""
    optional = dict.fromkeys(keys, ANYTHING) | fixed
    return st.fixed_dictionaries({}, optional=optional)


PERIODS = st.sampled_from(["PT24H", "P1M", "P1Y", "PT1H", "PT0S", "24h"]) | ANYTHING
CLAUSES = tables(
    "once_each",
    "counted_from",
    "valid_for_use",
    "meter",
    "next_due",
    "round_up_to",
    valid_for=PERIODS,
    early=PERIODS,
    late=PERIODS,
    warn_before=PERIODS,
    reading_within=PERIODS,
    valid_until_next=TEXTS,
)
LISTS = st.lists(WORDS, max_size=3) | ANYTHING
MEASURES = tables("code", "unit", "required", "limited_above", "fail_below", "believable")
CHECKS = tables(
    "title",
    "gate",
    "after_fail",
    "endless",
    "cautions",
    code=WORDS,
    kinds=LISTS,
    covers=LISTS,
    voided_by=LISTS,
    survives=LISTS,
    validity=st.lists(CLAUSES, max_size=3),
    measure=st.lists(MEASURES, max_size=2),
    minutes=tables("hands_on", "watched"),
    step=st.lists(tables("say", "expect"), max_size=2),
)
RULEBOOKS = tables(
    rulebook=tables("title", "zone", "longest_exception") | ANYTHING,
    happening=st.lists(tables("title", code=WORDS), max_size=2) | ANYTHING,
    check=st.lists(CHECKS, max_size=3),
    place_kind=st.lists(tables("needs", "duty", code=WORDS), max_size=2) | ANYTHING,
)


def document(raw: dict[str, Any]) -> Any:
    """Has tomllib give this document, whatever the text."""
    return patch("tomllib.loads", lambda _, **__: raw)


def only_problems(found: Any) -> bool:
    return all(isinstance(problem, Problem) and len(str(problem)) < 2_000 for problem in found)


@settings(max_examples=150, deadline=None)
@given(RULEBOOKS | st.dictionaries(KEYS, ANYTHING, max_size=4))
def test_whatever_a_rulebook_says_only_problems_come_out(raw: dict[str, Any]) -> None:
    """The document as tomllib gives it: the text before it is the library's own affair."""
    with document(raw):
        reading = read.read("", "r.toml")
    assert only_problems(reading.mistakes + reading.warnings)
    assert (reading.rulebook is None) == bool(reading.mistakes)
    if reading.rulebook:
        in_words(reading.rulebook)
        for check in reading.rulebook.checks.values():
            rule_in_words(check, reading.rulebook)


@settings(max_examples=100, deadline=None)
@given(st.text() | st.lists(KEYS | TEXTS, max_size=12).map(" = \n[[".join))
def test_whatever_a_text_says_only_problems_come_out(text: str) -> None:
    assert only_problems(read.read(text, "r.toml").mistakes)


RULES = """
[rulebook]
title = "Invented"
zone = "Europe/London"
[[happening]]
code = "repair"
title = "Repaired"
[[check]]
code = "leak-test"
title = "Leak test"
kinds = ["machine"]
voided_by = ["repair"]
[[check.measure]]
code = "leak"
unit = "mL/min"
"""

LINE = st.lists(
    word_of(
        """2026-03-02 07:00 2026-03-29 01:30 2026-03-02T07:00:00Z AM-01 AM-01 leak-test repair fault
        moved struck exception reading note pass fail stop-use restores leak=60 of=1 of=2 by=x ' " =
        until=12:00 started=06:50 recorded=08:00 place=x note="y" limit=z"""
    )
    | st.text(max_size=4),
    max_size=8,
).map(" ".join)
USUAL = st.sampled_from(
    [
        "2026-03-02 07:00 AM-01 leak-test pass leak=60",
        "2026-03-02 08:00 AM-01 repair recorded=09:00",
        "2026-03-02 08:30 AM-01 fault stop-use",
        '2026-03-02 09:30 AM-01 struck restores of=1 note="x"',
    ]
)
ASK = tables(
    "throughout",
    "limits",
    "clears",
    at=st.sampled_from(["2026-03-02 07:30", "2026-03-02 09:00", "never"]),
    of=st.just("AM-01"),
    known_at=st.sampled_from(["2026-03-02 07:30", "1980-01-01"]),
    standing=WORDS,
    checks=st.just({"leak-test": "valid"}) | ANYTHING,
    until=st.just("open"),
)
ASK = ASK | st.just({"at": "2026-03-02 09:00", "of": "AM-01", "standing": "cleared"})
CASES = tables(
    case=st.lists(
        tables(
            name=TEXTS,
            machines=st.just({"AM-01": "machine"}) | ANYTHING,
            log=st.lists(USUAL | LINE, max_size=4).map("\n".join),
            ask=st.lists(ASK, max_size=2),
        ),
        max_size=2,
    )
)


@settings(max_examples=150, deadline=None)
@given(CASES | st.dictionaries(KEYS, ANYTHING, max_size=3))
def test_whatever_cases_say_only_problems_come_out_and_the_rest_can_be_run(
    raw: dict[str, Any],
) -> None:
    rulebook = read.read(RULES, "r.toml").rulebook
    assert rulebook is not None
    with document(raw):
        found, mistakes = cases.read_cases("", "c.toml", rulebook)
    assert only_problems(mistakes)
    for case in found:
        run_case(case, rulebook)
