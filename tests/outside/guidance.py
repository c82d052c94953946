"""Published guidance on checking anaesthetic machines, and what the rulebooks of
examples/guidance make of it.

What a row of guidance asks for, and when, stands beside what the engine then finds not ready. This
file has the rows of the Association of Anaesthetists, checkouts.py those of ASA 2008 and FDA 1993.
"""

from __future__ import annotations

from collections.abc import Iterator

from checkwatch.answers.cleared import cleared
from tests import build
from tests.outside import checkouts
from tests.outside.evidence import Mark, Row, Source
from tests.outside.moments import limits, moment
from tests.outside.rulebooks import after, asked, rules, written

TITLE = "Guidance on checking anaesthetic machines"
INTRO = """\
What three published texts ask for, by the rulebooks of
[examples/guidance](../examples/guidance/README.md), where every row of them is listed. Before each
case a machine had everything that morning."""

NAME = "association-2012"
AA = Source("Association of Anaesthetists 2012", Mark.READ)
AA_MEMORY = Source("Association of Anaesthetists 2012", Mark.MEMORY)

SESSION = "session-check pass pipeline={} oxygen-share={} test-pressure=30"
WIDER = "on the safe side: whatever comes back from others owes every gate anew"


def aa_triggers() -> Iterator[Row]:
    """What each trigger owes: AA-1 to AA-6, AA-12."""
    voided = ("voided-by",)
    for row, case, log, says in (
        ("AA-1", "an operating session is over", "session-end", "session-check"),
        ("AA-2", "a patient has left, the next one comes", "case-end", "patient-check"),
        ("AA-3", "breathing system altered", "breathing-system-change", "breathing-system"),
        ("AA-3", "monitoring altered", "monitor-change", "monitoring"),
        ("AA-3", "ancillary equipment added", "ancillary-change", "ancillary"),
        ("AA-4", "another anaesthetist", "anaesthetist-change", "status-confirmed"),
    ):
        now = after(NAME, f"2026-03-12 09:40  M  {log}", "2026-03-12 09:45")
        yield Row(AA, voided, f"{row}: {case}; what is owed", says, now.owed)
    under = """
2026-03-12 09:00  M  breathing-system-change
2026-03-12 09:12  M  breathing-system  pass  test-pressure=30 started=09:04
2026-03-12 09:08  M  breathing-system-change  recorded=09:20
"""
    yield Row(
        AA,
        ("under-test",),
        "AA-3: any alteration, here one within the check itself; what is owed",
        "breathing-system",
        after(NAME, under, "2026-03-12 09:30").owed,
    )
    service = after(NAME, "2026-03-12 09:40  M  service", "2026-03-12 09:45")
    yield Row(AA, voided, "AA-6: after servicing; what is owed", "first-user", service.owed, WIDER)
    back = "2026-03-12 09:00  M  withdrawn\n2026-03-12 09:40  M  returned"
    yield Row(
        AA,
        ("unasked",),
        "AA-6: back from servicing, of which only the return was written; what is owed",
        "first-user",
        after(NAME, back, "2026-03-12 09:45").owed,
        WIDER,
    )
    tomorrow = after(NAME, "", "2026-03-13 07:00")
    daily = ("valid-until-next",)
    yield Row(AA, daily, "AA-12: the daily check, a day later", "session-check", tomorrow.owed)


def aa_weekly() -> Iterator[Row]:
    """AA-5: the alarm."""
    line = "{}  M  session-check  pass  pipeline=420 oxygen-share=26 test-pressure=30"
    week = line.format("2026-03-19 07:00")
    before, then = (after(NAME, week, f"2026-03-19 07:{minute}").owed for minute in ("19", "20"))
    yield Row(
        AA,
        ("valid-for",),
        "AA-5: weekly, besides the session check; a minute before the week is over, and then",
        "nothing, then oxygen-alarm",
        f"{before}, then {then}",
    )
    rulebook = rules(NAME)
    yield Row(
        AA,
        (),
        "AA-5: the alarm sounds for at least 7 s",
        "7 good, 6.9 not",
        limits(rulebook, "oxygen-alarm pass alarm={}", "7", "6.9"),
    )
    short = "2026-03-14 07:00  M  oxygen-alarm  pass  alarm=5\n" + line.format("2026-03-14 07:10")
    yield Row(
        AA,
        ("next-attempt",),
        "AA-5: within the week it is tried again, and sounds for 5 s; what is owed",
        "oxygen-alarm",
        after(NAME, short, "2026-03-14 07:20").owed,
    )


def aa_steps() -> Iterator[Row]:
    """What stands in the checks: AA-7 to AA-11, AA-13 to AA-17."""
    rulebook = rules(NAME)
    over = after(NAME, "2026-03-12 12:30  M  session-end", "2026-03-12 13:00")
    for row, what, source in (
        ("AA-7", "two-bag test", AA),
        ("AA-9", "tug test", AA),
        ("AA-11", "clock and batteries", AA),
        ("AA-16", "pressure leak test", AA_MEMORY),
        ("AA-17", "pipeline pressure", AA_MEMORY),
    ):
        case = f"{row}: {what}, when a session is over"
        yield Row(
            source, ("voided-by",), case, "owed", "owed" if row in asked(NAME, over) else "not owed"
        )
    *_, last = rulebook.checks["breathing-system"].steps
    yield Row(
        AA,
        (),
        "AA-7: when is the two-bag test done?",
        "after the parts were checked singly",
        "last of the steps" if "two-bag" in last.say else "anywhere",
        "less strict: no rule holds an order: the steps are there to be read",
    )
    yield Row(
        AA, (), "AA-8: a theatre with a checked machine, without bag", "not-cleared", bagless()
    )
    yield Row(
        AA,
        (),
        "AA-10: oxygen beside nitrous oxide, in %",
        "25 good, 24.9 not",
        limits(rulebook, SESSION.format(420, "{}"), "25", "24.9"),
    )
    log, kind = "2026-03-12 07:00  M  recovery-check  pass", "recovery-equipment"
    yield Row(
        AA,
        ("valid-until-next",),
        "AA-13: recovery area, daily; a day later",
        "recovery-check",
        moment(rulebook, log, "2026-03-13 07:00", kind).owed,
    )
    yield Row(
        AA_MEMORY,
        (),
        "AA-16: leak tested at a pressure in cmH2O",
        "19 not, 20 good, 60 good, 61 not",
        limits(rulebook, "breathing-system pass test-pressure={}", "19", "20", "60", "61"),
    )
    yield Row(
        AA_MEMORY,
        (),
        "AA-17: pipelines, in kPa",
        "399 not, 400 good, 500 good, 501 not",
        limits(rulebook, SESSION.format("{}", 30), "399", "400", "500", "501"),
    )


def bagless() -> str:
    """The standing of a theatre in which only the machine is."""
    rulebook = rules(NAME)
    entries = (
        build.enrolled("M"),
        build.passed("M", "first-user", "07:00"),
        build.passed("M", "oxygen-alarm", "07:10", measures={"alarm": "8"}),
        build.passed(
            "M",
            "session-check",
            "07:20",
            measures={"pipeline": "420", "oxygen-share": "26", "test-pressure": "30"},
        ),
    )
    book = build.book(rulebook, *entries)
    assert cleared("M", book, build.ask("08:00")).standing == "cleared"
    return cleared("Theatre 4", book, build.ask("08:00")).standing


def aa_beyond() -> Iterator[Row]:
    """What no rule holds, and what the guidance does not say."""
    yield Row(
        AA,
        (),
        "AA-1: who answers for the check?",
        "the user, whoever did it",
        "a caution" if rules(NAME).checks["session-check"].cautions else "nobody",
        "less strict: an entry says who wrote it, and no rule looks there",
    )
    yield Row(
        AA,
        (),
        "AA-14: parts for single use",
        "one patient, opened there",
        f"a step of {written(NAME, 'AA-14')}",
        "checkwatch follows machines, and no parts of them",
    )
    yield Row(
        AA,
        (),
        "AA-15: defibrillator, trolley, emergency drugs",
        "regularly",
        written(NAME, "AA-15"),
        "there is no interval in it; a department writes its own",
    )
    on = after(NAME, "", "2026-03-12 09:45", unread="power-on")
    yield Row(
        AA,
        ("unknown",),
        "switched on anew, of which no row speaks; what is owed",
        "nothing",
        on.owed,
        "on the safe side: what the rules do not know voids every check",
    )


def rows() -> list[Row]:
    """Every row of the three."""
    return [*aa_triggers(), *aa_weekly(), *aa_steps(), *aa_beyond(), *checkouts.rows()]
