"""The rows of two American recommendations, ASA 2008 and FDA 1993, for guidance.py."""

from __future__ import annotations

from collections.abc import Iterator

from tests.outside.evidence import Mark, Row, Source
from tests.outside.moments import limits, moment
from tests.outside.rulebooks import after, numbers, rules

# ASA 2008

ASA = Source("ASA 2008", Mark.SECOND)
ASA_MEMORY = Source("ASA 2008", Mark.MEMORY)

#: Each item, and when it is asked for.
ITEMS = {
    "auxiliary oxygen and self-inflating device": "daily",
    "suction": "daily, each case",
    "machine on, on the mains": "daily",
    "monitors and alarms": "daily, each case",
    "spare oxygen cylinder": "daily",
    "piped gases": "daily",
    "vaporisers": "daily, each case",
    "leaks up to the common gas outlet": "daily, each vaporiser",
    "scavenging": "daily",
    "oxygen monitor": "daily",
    "absorbent": "daily, each case",
    "breathing system pressure and leak": "daily, each case",
    "flow in both phases": "daily, each case",
    "documentation": "daily, each case",
    "ventilator settings": "daily, each case",
}
#: What is written for each of these, and at which instant it is asked what is owed.
MOMENTS = {
    "daily": ("", "2026-03-13 06:00"),
    "each case": ("2026-03-12 09:00  M  case-end", "2026-03-12 09:05"),
    "each vaporiser": ("2026-03-12 09:00  M  vaporiser-change", "2026-03-12 09:05"),
}


def asa_rows() -> Iterator[Row]:
    """The fifteen items, then what they come to together."""
    name = "asa-2008"
    owed = {when: numbers(name, after(name, log, at)) for when, (log, at) in MOMENTS.items()}
    about = {"daily": "valid-until-next", "each case": "voided-by", "each vaporiser": "voided-by"}
    for item, (what, says) in enumerate(ITEMS.items(), 1):
        ours = ", ".join(when for when in MOMENTS if str(item) in owed[when].split())
        subjects = dict.fromkeys(about[when] for when in says.split(", "))
        yield Row(ASA, tuple(subjects), f"item {item}, {what}: when?", says, ours)
    every = " ".join(str(item) for item in range(1, 16))
    yield Row(ASA, ("valid-until-next",), "the next day; which items?", every, owed["daily"])
    case = "2 4 7 11 12 13 14 15"
    yield Row(ASA, ("voided-by",), "before each case; which items?", case, owed["each case"])
    both = "2026-03-12 09:00  M  case-end\n2026-03-12 09:01  M  vaporiser-change"
    yield Row(
        ASA,
        ("voided-by",),
        "the next case, with another vaporiser; which items?",
        "2 4 7 8 11 12 13 14 15",
        numbers(name, after(name, both, "2026-03-12 09:05")),
    )
    yield Row(
        ASA,
        (),
        "item 6: piped gases, in psig",
        "50 good, 49.9 not",
        limits(rules(name), "day-check pass piped-gas={}", "50", "49.9"),
    )
    yield from asa_beyond()


def asa_beyond() -> Iterator[Row]:
    """Persons, and "immediately"."""
    one = after("asa-2008", "", "2026-03-12 07:00")
    yield Row(
        ASA,
        (),
        "item 1: one person tried both; what is owed",
        "the other of provider and technician",
        one.owed,
        "less strict: an entry says who wrote it, and no rule looks there",
    )
    hours = after("asa-2008", "", "2026-03-12 17:00")
    yield Row(
        ASA_MEMORY,
        (),
        "item 15: immediately before the start; ten hours later, before the first case",
        "case-check",
        hours.owed,
        "less strict: there is no number in it; until the day is over the check waits for its case",
    )


# FDA 1993

FDA = Source("FDA 1993", Mark.READ)
FDA_SECOND = Source("FDA 1993", Mark.SECOND)

STARRED = " ".join(str(step) for step in range(1, 10))
UNSTARRED = " ".join(str(step) for step in range(10, 15))


def fda_users() -> Iterator[Row]:
    """The star: a validity of one user at one machine."""
    name, voided = "fda-1993", ("voided-by",)
    case = "2026-03-12 07:30  M  case-start\n2026-03-12 09:00  M  case-end"
    other = "2026-03-12 09:01  M  another-user  by=js"
    returned = """
2026-03-12 09:10  M  user-check    pass  reserve=1500 collapsed=12  by=js
2026-03-12 09:15  M  case-check    pass  held=14  by=js
2026-03-12 09:20  M  case-start
2026-03-12 10:30  M  case-end
2026-03-12 10:31  M  another-user  by=mr
"""
    every = f"{STARRED} {UNSTARRED}"

    def owed(log: str, at: str = "2026-03-12 09:05") -> str:
        return numbers(name, after(name, log, at))

    never = numbers(name, moment(rules(name), "", "2026-03-12 06:30"))
    yield Row(FDA, (), "never checked; which steps?", every, never)
    yield Row(FDA, voided, "the same user's next case; which steps?", UNSTARRED, owed(case))
    yield Row(
        FDA, voided, "another user's next case; which steps?", every, owed(f"{case}\n{other}")
    )
    before = owed("2026-03-12 07:00  M  another-user  by=js", "2026-03-12 07:05")
    yield Row(FDA, voided, "another user before any case; which steps?", every, before)
    back = owed(f"{case}\n{other}{returned}", "2026-03-12 10:35")
    yield Row(FDA, voided, "the first user comes back after another's case", every, back)
    unsaid = f"{case}\n2026-03-12 09:03  M  note  by=js"
    yield Row(
        FDA,
        voided,
        "another user, of whom nobody wrote that it is another; which steps?",
        every,
        owed(unsaid),
        "less strict: who wrote an entry is not looked at, the change must be written",
    )
    yield Row(
        FDA,
        ("valid-until-next",),
        "the same user's first case of the next day, taken literally; which steps?",
        UNSTARRED,
        owed(case, "2026-03-13 06:00"),
        'on the safe side: "successive" has no number of hours, and here the day ends it',
    )


def fda_numbers() -> Iterator[Row]:
    """The steps with a number."""
    rulebook = rules("fda-1993")
    yield Row(
        FDA,
        (),
        "step 2: reserve cylinder half full, about 1000 psi",
        "1000 good, 999 not",
        limits(rulebook, "user-check pass reserve={} collapsed=10", "1000", "999"),
    )
    yield Row(
        FDA,
        (),
        "step 5: the bulb stays collapsed for at least 10 s",
        "10 good, 9 not",
        limits(rulebook, "user-check pass reserve=1000 collapsed={}", "10", "9"),
    )
    yield Row(
        FDA_SECOND,
        (),
        "step 11: about 30 cmH2O for at least 10 s",
        "10 good, 9 not",
        limits(rulebook, "case-check pass held={}", "10", "9"),
    )


def rows() -> list[Row]:
    """Every row of the two."""
    return [*asa_rows(), *fda_users(), *fda_numbers()]
