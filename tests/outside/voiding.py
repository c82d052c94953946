"""What ends a pass early in rules in force elsewhere: a return, a move, the end of a fault,
something that the rules have no word for, something within the test itself.

Each as a small rulebook of ours: everything is passed at 07:00 for a year, then something happens,
and at 10:00 it is asked what is owed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from checkwatch.rules.read import read_or_refuse
from tests.outside.evidence import Mark, Row, Source
from tests.outside.moments import KIND, moment

TITLE = "What ends a pass early, elsewhere"
INTRO = """\
Everything was passed for a year; then something happened. None of these rulebooks asks that a
return, a move or the end of a fault void anything: that is the engine's own rule."""

HAPPENING = """
[[happening]]
code = "{0}"
title = "{0}"
"""
CHECK = """
[[check]]
code = "{0}"
title = "{0}"
kinds = ["{1}"]
validity = [{{ valid_for = "P1Y" }}]
{2}
"""

RETURNED = "2026-03-12 08:00  M  withdrawn\n2026-03-12 09:00  M  returned"
MENDED = '2026-03-12 08:00  M  fault  stop-use note="defective"\n2026-03-12 09:00  M  fault-closed'
MOVED = '2026-03-12 09:00  M  moved  place="elsewhere"'

WIDER = "on the safe side: unless a check is written to survive it, every gate is owed anew"


def owed(checks: Mapping[str, str], log: str, *happenings: str, unread: str = "") -> str:
    """What is owed at 10:00 by checks, each with more of its rules, all passed at 07:00."""
    text = '[rulebook]\ntitle = "Published elsewhere"\nzone = "Europe/London"\n'
    text += "".join(HAPPENING.format(code) for code in happenings)
    text += "".join(CHECK.format(code, KIND, more) for code, more in checks.items())
    passed = "".join(f"2026-03-12 07:00  M  {code}  pass\n" for code in checks)
    rulebook = read_or_refuse(text, "elsewhere.toml")
    return moment(rulebook, passed + log, "2026-03-12 10:00", unread=unread).owed


def returns() -> Iterator[Row]:
    """What comes back from others."""
    about = ("unasked",)
    yield Row(
        Source("ISO/IEC 17025 (2017), 6.4.4, equipment of laboratories", Mark.READ),
        about,
        "placed or returned into service; what is owed before",
        "verification",
        owed({"verification": ""}, RETURNED),
    )
    laboratory = "A guideline for laboratories (2018), after ISO/IEC 17025 (2005), 5.5.7 and 5.5.9"
    yield Row(
        Source(laboratory, Mark.SECOND),
        about,
        "was out of the laboratory's hands, for whatever reason; what is owed before its return",
        "function calibration",
        owed({"function": "", "calibration": ""}, RETURNED),
    )
    yield Row(
        Source(laboratory, Mark.SECOND),
        about,
        "known or suspected to be defective, and repaired; what is owed before use",
        "verification",
        owed({"verification": ""}, MENDED),
    )
    flown = Source("14 CFR 91.407(a), aircraft after maintenance", Mark.SECOND)
    case = "after maintenance; what is owed"
    checks = {"approval-for-return": "", "annual-inspection": ""}
    yield Row(flown, about, case, "approval-for-return", owed(checks, RETURNED), WIDER)
    checks["annual-inspection"] = 'survives = ["returned"]'
    case += ", the annual inspection being written to survive a return"
    yield Row(flown, about, case, "approval-for-return", owed(checks, RETURNED))


def moves() -> Iterator[Row]:
    """What is set up elsewhere."""
    lifting = Source("Northern Ireland, SR 1999/304, regulation 9, lifting equipment", Mark.READ)
    work = Source("GB, SI 1998/2306, regulation 6, work equipment", Mark.SECOND)
    for source, examined in ((lifting, "thorough-examination"), (work, "inspection")):
        about, case = ("unasked",), "at a new site or in a new location; what is owed"
        yield Row(source, about, case, examined, owed({examined: ""}, MOVED))
        case = "the same, where safety does not depend on how it is installed"
        survives = {examined: 'survives = ["moved"]'}
        yield Row(source, about, case, "nothing", owed(survives, MOVED))
        case = "exceptional circumstances that may have made it unsafe; what is owed"
        voided = {examined: 'voided_by = ["exceptional-circumstance"]'}
        log = "2026-03-12 09:00  M  exceptional-circumstance"
        ours = owed(voided, log, "exceptional-circumstance")
        yield Row(source, ("voided-by",), case, examined, ours)


def repeated() -> Iterator[Row]:
    """Tests that failed, and tests within which something happened."""
    monitor = Source("40 CFR 75.24 (2003), monitors of emissions", Mark.READ)
    checks = dict.fromkeys(("calibration-error", "linearity", "relative-accuracy"), "")
    yield Row(
        monitor,
        ("next-attempt",),
        "the linearity check fails after one that passed; what is owed",
        "linearity",
        owed(checks, "2026-03-12 09:00  M  linearity  fail"),
    )
    yield Row(
        monitor,
        ("unasked",),
        "out of control by the linearity check, and corrected; which tests are owed",
        "linearity",
        owed(checks, MENDED),
        WIDER,
    )
    yield Row(
        Source("US NRC, technical specifications of a plant (2003), 4.0.1", Mark.READ),
        ("next-attempt",),
        "a surveillance fails within the interval of the last good one; is its condition met?",
        "no",
        yes_or_no(owed({"surveillance": ""}, "2026-03-12 09:00  M  surveillance  fail")),
    )
    sampler = Source("40 CFR 53.41(c) and (d), samplers of particles", Mark.READ)
    run = {"test-run": 'voided_by = ["malfunction", "adjustment"]'}
    again = "2026-03-12 09:30  M  test-run  pass  started=09:00\n2026-03-12 {}"
    for case, log, says in (
        ("a malfunction within a test run; what is owed", "09:10  M  malfunction", "test-run"),
        ("adjusted before the run begins; what is owed", "08:50  M  adjustment", "nothing"),
    ):
        ours = owed(run, again.format(f"{log}  recorded=09:40"), "malfunction", "adjustment")
        yield Row(sampler, ("under-test", "voided-by"), case, says, ours)


def unknown() -> Iterator[Row]:
    """What the rules have no word for."""
    about = ("unknown",)
    certificate = Source("RFC 5280 (2008), 4.2, certificates of keys, not of machines", Mark.READ)
    good = yes_or_no(owed({"certificate": ""}, "", unread="unheard-of"))
    case = "something in it that the reader does not know, marked as critical; is it good?"
    yield Row(certificate, about, case, "no", good)
    yield Row(
        certificate,
        about,
        "the same, not marked as critical; is it good?",
        "yes: such things may be ignored",
        good,
        "on the safe side: nobody marks a happening as harmless but the rules that know it",
    )
    scales = Source(
        "New Zealand, trade measurement policy TS-006 (2017), weighing instruments", Mark.READ
    )
    checks = {"full-verification": ""}
    ours = owed(checks, "2026-03-12 09:00  M  printer-changed", "printer-changed")
    case = "opened for one of the works that are listed as permitted; what is owed"
    yield Row(scales, ("voided-by",), case, "nothing", ours)
    case = "opened for anything else, without leave; what is owed"
    ours = owed(checks, "", "printer-changed", unread="unheard-of")
    yield Row(scales, about, case, "full-verification", ours)
    track = Source("Quebec, S-3.3, r. 2, section 59 (2000), railway tracks", Mark.READ)
    named = ("fire", "flood", "earthquake", "storm")
    checks = {"inspection": f"voided_by = {list(named)}".replace("'", '"')}
    for what in named:
        ours = owed(checks, f"2026-03-12 09:00  M  {what}", *named)
        yield Row(track, ("voided-by",), f"after {what}; what is owed", "inspection", ours)
    ours = owed(checks, "", *named, unread="unheard-of")
    case = "another occurrence, not named, that might have damaged the track; what is owed"
    yield Row(track, about, case, "inspection", ours)
    case = "another occurrence, not named, that cannot have damaged it; what is owed"
    harmless = "on the safe side: of what the rules do not know they cannot say that it is harmless"
    yield Row(track, about, case, "nothing", ours, harmless)


def yes_or_no(what: str) -> str:
    """Whether all is well where this is owed."""
    return "yes" if what == "nothing" else "no"


def rows() -> Iterator[Row]:
    """All of them."""
    yield from returns()
    yield from moves()
    yield from repeated()
    yield from unknown()
