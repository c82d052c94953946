"""The answers in words: every standing, of machine and place, in every tense; and special cases.

The wording is our own; what must be in it is docs/meaning.md, parts 6, 7 and 11.
"""

from __future__ import annotations

import subprocess
import sys

import pytest

from checkwatch.answers.book import Book
from checkwatch.answers.cleared import cleared
from checkwatch.core.entry import EmergencyUse, Entry, Fault, Outcome, Severity, Withdrawn
from checkwatch.core.instant import Instant
from checkwatch.core.rulebook import Measure
from checkwatch.core.states import Standing
from checkwatch.views import answer as view
from checkwatch.views.report import plain
from checkwatch.views.words import LOOKS, Here
from tests.build import (
    KIND,
    ZONE,
    ask,
    book,
    check,
    did,
    enrolled,
    happened,
    passed,
    rules,
    t,
    wrote,
)
from tests.views.golden import expect

TENSES = {
    "is": ("15:20", "15:20"),
    "was": ("15:20", "2026-03-13T09:00"),
    "would": ("16:00", "15:20"),
}

TESTED = (enrolled("AM-04"), passed("AM-04", "self-test", "07:10"))
EXCEPTION = wrote(
    EmergencyUse, "AM-04", "14:00", until=t("17:00"), decided="R1", note="no other machine"
)

BOOKS: dict[Standing, tuple[Entry, ...]] = {
    Standing.CLEARED: TESTED,
    Standing.LIMITED: (
        enrolled("AM-04"),
        did("AM-04", "self-test", Outcome.LIMITED, "07:10", limits=("no air supply",)),
    ),
    Standing.BY_EXCEPTION: (*TESTED, happened("AM-04", "absorbent-change", "13:20"), EXCEPTION),
    Standing.NOT_CLEARED: (*TESTED, happened("AM-04", "absorbent-change", "13:20")),
    Standing.WITHDRAWN: (*TESTED, wrote(Withdrawn, "AM-04", "09:00", note="wheel loose")),
    Standing.UNKNOWN: (enrolled("AM-04", kind="odd-kind"),),
}


def answered(
    name: str, given: Book, at: str = "15:20", now: str = "15:20", span: Instant | None = None
) -> str:
    question = ask(at, now)
    return plain(view.cleared(cleared(name, given, question, span), Here(ZONE, question.now)))


@pytest.mark.parametrize("standing", Standing)
def test_every_standing_of_machine_and_place_in_every_tense(standing: Standing) -> None:
    kind = "odd-kind" if standing is Standing.UNKNOWN else KIND
    given = book(rules(needs=(kind,)), *BOOKS[standing])
    texts = []
    for name in ("AM-04", "Theatre 4"):
        for tense, (at, now) in TENSES.items():
            text = answered(name, given, at, now)
            told = (
                Standing.NOT_CLEARED if (name, standing) == ("Theatre 4", "withdrawn") else standing
            )
            assert LOOKS[told].word in " ".join(text.splitlines()[:2])
            texts.append(f"== {name}, {tense}\n{text}")
    expect(standing.value, "\n\n".join(texts))


SPECIAL: dict[str, str] = {
    "little-left": answered(
        "AM-04", book(rules(), *TESTED), "2026-03-13T07:00:30", "2026-03-13T07:00:30"
    ),
    "span-with-gap": answered("AM-04", book(rules(), *TESTED), span=t("2026-03-13T08:00")),
    "span-throughout": answered("AM-04", book(rules(), *TESTED), span=t("16:00")),
    "nothing-ends-it": answered(
        "AM-04", book(rules(check("self-test", voided_by=("power-on",))), *TESTED)
    ),
    "under-way": answered(
        "AM-04", book(rules(), *TESTED, did("AM-04", "self-test", Outcome.BEGUN, "15:15"))
    ),
    "failed-twice-needs-the-engineer": answered(
        "AM-04",
        book(
            rules(
                check("self-test", "PT24H", engineer_after_fail=True), check("leak-test", "PT24H")
            ),
            enrolled("AM-04"),
            did("AM-04", "self-test", Outcome.FAIL, "14:00"),
            did("AM-04", "self-test", Outcome.FAIL, "15:00"),
        ),
    ),
    "stop-use-fault": answered(
        "AM-04",
        book(
            rules(),
            *TESTED,
            wrote(Fault, "AM-04", "09:00", severity=Severity.STOP_USE, note="valve\nsticks"),
        ),
    ),
    "place-lacks-a-machine": answered("Theatre 4", book(rules(needs=(KIND, KIND)), *TESTED)),
    "use-the-other-machine-only": answered("Theatre 4", book(rules(), *TESTED, enrolled("AM-19"))),
    "several-machines": answered(
        "Theatre 4",
        book(
            rules(needs=(KIND, KIND)),
            *TESTED,
            happened("AM-04", "power-on", "15:00"),
            enrolled("AM-19"),
        ),
    ),
    "happening-that-the-rulebook-does-not-know": answered(
        "AM-04", book(rules(), *TESTED, happened("AM-04", "odd-code", "15:00"))
    ),
    "book-not-believed": answered(
        "AM-04", book(rules(), *TESTED, doubts=("its guards are missing",))
    ),
    "no-attended-minutes": answered(
        "AM-04", book(rules(check("self-test", "PT24H", minutes=(0, 0, 7))), enrolled("AM-04"))
    ),
    "minutes-not-given": answered(
        "AM-04", book(rules(check("self-test", "PT24H", minutes=None)), enrolled("AM-04"))
    ),
}


@pytest.mark.parametrize("name", SPECIAL)
def test_special_cases(name: str) -> None:
    expect(name, SPECIAL[name])


def test_a_no_shows_how_to_write_what_was_done_and_asks_when() -> None:
    text = answered("AM-04", book(rules(), *BOOKS[Standing.NOT_CLEARED]))
    assert "  checkwatch done AM-04 leak-test pass --at WHEN --by WHO" in text.splitlines()


def test_a_tag_is_quoted_where_it_is_to_be_typed() -> None:
    text = answered("AM 04; x", book(rules(), enrolled("AM 04; x")))
    assert "  checkwatch done 'AM 04; x' self-test pass --at WHEN --by WHO" in text.splitlines()


def test_the_measures_that_a_pass_needs_are_asked_for() -> None:
    """Those of the check, and those without which it would be no attempt of what it covers."""

    def measures(**required: bool) -> dict[str, Measure]:
        return {code: Measure(code, "mL/min", required=one) for code, one in required.items()}

    low = check("leak-test", measures=measures(leak=True, hold=False))
    full = check(
        "self-test", covers=("leak-test",), measures=measures(flow=True, leak=False, odd=False)
    )
    text = answered("AM-04", book(rules(full, low), enrolled("AM-04")))
    line = "  checkwatch done AM-04 self-test pass --measure flow=NUMBER --measure leak=NUMBER"
    assert f"{line} --at WHEN --by WHO" in text.splitlines()


def test_the_words_of_an_answer_need_no_heavy_library() -> None:
    code = (
        "import sys, checkwatch.views.answer;"
        "print(sorted({'rich', 'pendulum', 'sqlalchemy', 'typer'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
