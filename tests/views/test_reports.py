"""Why, lists and effects in words; and that a terminal shows the same words with the same care."""

from __future__ import annotations

import io
import shlex

import pytest
from rich.console import Console

from checkwatch.answers.cleared import cleared
from checkwatch.answers.effect import effect
from checkwatch.answers.overdue import overdue
from checkwatch.answers.which import which
from checkwatch.answers.windows import windows
from checkwatch.core.entry import (
    EmergencyUse,
    Fault,
    Outcome,
    Returned,
    Severity,
    Struck,
    Withdrawn,
)
from checkwatch.core.rulebook import OnceEach
from checkwatch.core.states import Standing
from checkwatch.views import effect as effects
from checkwatch.views import lists
from checkwatch.views.report import (
    Command,
    Report,
    Sentence,
    Table,
    command,
    message,
    plain,
)
from checkwatch.views.terminal import rendered
from checkwatch.views.why import why
from checkwatch.views.words import Here
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

HERE = Here(ZONE, t("15:20"))
SAYINGS = {"self-test": "A pass stays good for 24 hours.", "leak-test": "24 hours, or less."}

FLEET = book(
    rules(),
    enrolled("AM-04"),
    passed("AM-04", "self-test", "07:10", by="KM"),
    wrote(Struck, "AM-04", "13:00", of=2, by="KM", note="wrong machine"),
    wrote(Fault, "AM-04", "14:00", severity=Severity.LIMIT, note="knob [loose]\nand worn"),
    wrote(EmergencyUse, "AM-04", "15:00", until=t("17:00"), decided="R1", note="bleeding"),
    enrolled("AM-05", place="Theatre 5"),
    passed("AM-05", "self-test", "15:00", by="KM", recorded="15:10"),
    wrote(Withdrawn, "AM-05", "15:10"),
    wrote(Returned, "AM-05", "15:11"),
    passed("AM-05", "self-test", "15:12"),
    enrolled("AM-06", place="Theatre 6"),
    passed("AM-06", "self-test", "15:00", recorded="15:15", by="LN"),
    happened("AM-06", "absorbent-change", "15:10", by="KM"),
    did("AM-06", "leak-test", Outcome.PASS, "15:18", measures={"leak": "60"}),
    places=("Theatre 4", "Theatre 5", "Theatre 6", "Theatre 7"),
)


@pytest.mark.parametrize("place", ["Theatre 4", "Theatre 5", "Theatre 6"])
def test_why_goes_down_to_entry_numbers(place: str) -> None:
    text = plain(why(cleared(place, FLEET, ask()), SAYINGS, HERE))
    expect(f"why-{place.lower().replace(' ', '-')}", text)


def test_overdue() -> None:
    within = t("2026-03-13T16:00")
    expect("overdue", plain(lists.overdue(overdue(FLEET, ask(), within), HERE)))


def test_nothing_overdue() -> None:
    given = book(rules(), enrolled("AM-04"), passed("AM-04", "self-test", "07:10"))
    text = plain(lists.overdue(overdue(given, ask()), HERE))
    assert text == "No check of the 1 machine in the book is overdue."


@pytest.mark.parametrize("kind", [None, KIND])
def test_which(kind: str | None) -> None:
    text = plain(lists.which(which(FLEET, ask(), kind), HERE))
    expect(f"which-{kind or 'places'}", text)


def test_which_tells_limited_places_apart() -> None:
    given = book(
        rules(),
        enrolled("AM-01", "Theatre 1"),
        passed("AM-01", "self-test", "07:10"),
        enrolled("AM-02", "Theatre 2"),
        did("AM-02", "self-test", Outcome.LIMITED, "07:10", limits=("no desflurane",)),
        places=("Theatre 1", "Theatre 2"),
    )
    head, *_ = plain(lists.which(which(given, ask()), HERE)).splitlines()
    assert head == "Cleared now: Theatre 1 (1 of 2 places). With limits: Theatre 2 (1)."


def test_windows() -> None:
    expect("windows", plain(lists.windows(windows("AM-05", FLEET, ask()), HERE)))


def test_effect() -> None:
    before, after = FLEET.standing("AM-06", ask("15:05")), FLEET.standing("AM-06", ask("15:11"))
    written = FLEET.entries["AM-06"][2:3]
    seen = effect(before, after, t("15:30"))
    expect("effect", plain(effects.effects([(seen, written)], (), HERE)))


def test_effect_of_a_pass() -> None:
    before, after = FLEET.standing("AM-06", ask("15:11")), FLEET.standing("AM-06", ask())
    seen = effect(before, after, t("2026-03-13T15:00"))
    wrote_last = [(seen, FLEET.entries["AM-06"][3:])]
    expect("effect-of-a-pass", plain(effects.effects(wrote_last, (), HERE)))


BLOCKS: Report = [
    Sentence("AM[/]4 is ", Standing.NOT_CLEARED, ": [bold]worn[/bold] \x1b[31mred :smile:"),
    "note [draft 2]\nnext",
    Table(("machine", "standing"), (("AM[/]4", Standing.UNKNOWN), ("\u202eAM", Standing.CLEARED))),
    Command("checkwatch done 'AM[/]4' leak-test --by WHO"),
]


def shown(report: Report, color: str | None) -> str:
    out = io.StringIO()
    console = Console(
        file=out, width=80, force_terminal=True, color_system=color, legacy_windows=False
    )  # type: ignore[arg-type]
    console.print(rendered(report))
    return out.getvalue()


def test_user_text_never_reaches_markup_or_the_terminal_raw() -> None:
    for text in (plain(BLOCKS), shown(BLOCKS, None)):
        assert "\x1b[31m" not in text
        assert "\u202e" not in text
        for kept in ("AM[/]4", "[bold]worn[/bold]", r"\x1b[31mred :smile:", r"[draft 2]\nnext"):
            assert kept in text


LONG = (
    "checkwatch except AM-02 --reason 'emergency at the next table' "
    "--decided WHO --until WHEN --by kd --note 'more'"
)


@pytest.mark.parametrize("columns", [20, 40, 80, 100])
def test_a_command_is_broken_between_words_only_and_is_the_same_when_copied(columns: int) -> None:
    out = io.StringIO()
    console = Console(file=out, width=columns, force_terminal=True, color_system=None)
    console.print(rendered([Command(LONG)], columns), crop=False)
    lines = [line.rstrip() for line in out.getvalue().splitlines()]
    assert shlex.split("\n".join(lines).replace("\\\n", "")) == shlex.split(LONG)
    assert all(line.endswith(" \\") for line in lines[:-1])
    assert all(len(line) <= columns or len(line.split("'")) == 3 for line in lines)
    assert plain([Command(LONG)]) == f"  {LONG}"


def test_a_command_within_a_message_stands_on_lines_of_its_own() -> None:
    text = f"it is owed; if it was used all the same, `{LONG}`; else leave it"
    assert message(text, 200) == [text]
    lines = message(text, 40, "Look: ")
    assert lines[0] == "Look: it is owed; if it was used all the"
    assert lines[-1] == "else leave it"
    assert "\n".join(command(LONG, 40)) in "\n".join(lines)
    assert f"  {LONG}" in message(text, 40, breaks=False)
    odd = "checkwatch note AM-02 it's"
    assert command(odd, 20) == [f"  {odd}"]


def test_colour_adds_nothing_that_words_do_not_say() -> None:
    assert "213;94;0" in shown(BLOCKS, "truecolor")
    for text in (plain(BLOCKS), shown(BLOCKS, None)):
        assert "not cleared" in text
        assert "? unknown" in text


def test_a_table_breaks_its_last_column_and_keeps_the_others() -> None:
    table = Table(("a", "b"), (("tag", "word " * 30),))
    lines = plain([table]).splitlines()
    assert all(len(line) <= 80 for line in lines)
    assert lines[2].startswith("     word")


def test_a_check_due_in_a_calendar_unit_says_its_clause() -> None:
    monthly = check("self-test", title="Monthly check", validity=(OnceEach("month"),))
    given = book(
        rules(monthly), enrolled("AM-04"), passed("AM-04", "self-test", "2026-03-03T09:00")
    )
    text = plain(why(cleared("AM-04", given, ask()), {}, HERE))
    assert "by time until Fri 1 May 00:00 BST (once each month)" in " ".join(text.split())
