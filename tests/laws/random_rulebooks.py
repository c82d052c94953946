"""Random rulebooks, as strategies that give their text."""

from __future__ import annotations

from hypothesis import strategies as st

CHECKS = ("full", "middle", "short", "extra")
FITTING = "absorbent-change"
WORDS = ("power-on", "moved", "returned", "fault", "fault-closed", "case-start", "case-end")

#: Durations with an `early` and a `late` that are together shorter.
LENGTHS = (
    ("PT6H", "PT1H", "PT2H"),
    ("PT24H", "PT6H", "PT12H"),
    ("P1D", "PT6H", "PT12H"),
    ("P1DT6H", "PT12H", "PT30M"),
    ("P2D", "P1D", "PT12H"),
    ("P1W", "P1D", "P2D"),
    ("P1M", "P7D", "P7D"),
)
RECURRENCES = (
    "FREQ=DAILY;BYHOUR=7;BYMINUTE=0",
    "FREQ=DAILY;BYHOUR=1;BYMINUTE=30",
    "FREQ=DAILY;BYHOUR=0,2;BYMINUTE=30",
    "FREQ=WEEKLY;BYDAY=MO,SU;BYHOUR=2;BYMINUTE=15",
    "FREQ=MONTHLY;BYMONTHDAY=-1;BYHOUR=12",
    "FREQ=DAILY;COUNT=9770",
)
UNITS = ("day", "week", "month", "quarter", "year")

#: What a leak of so many mL/min is said to be.
LIMITS = (
    "limited_above = 100",
    "limited_above = 200\nfail_above = 300",
    "limited_below = 20\nfail_below = 10",
)
#: What a place needs by its kind.
NEEDS = ('["am"]', '["am"]', '["am", "am"]', '["am", "kit"]', "[]")
NEEDS_BESIDE = ('["kit"]', '["kit"]', '["am"]', "[]")

#: Clauses that keep a schedule; of the steps of six hours some lie inside `early` and `late`.
KEPT = (
    'valid_for = "PT24H"\nearly = "PT6H"\nlate = "PT12H"',
    'valid_for = "P1D"\nearly = "PT6H"\nlate = "PT6H"\nround_up_to = "day"',
    'valid_for_use = 30\nmeter = "hours"\nreading_within = "P9D"\nearly = 10\nlate = 10',
    'valid_for_use = 30\nmeter = "hours"\nreading_within = "P2D"\nearly = 20\nwarn_before = 30',
)


def maybe(*lines: str) -> st.SearchStrategy[str]:
    """One of some lines of TOML, or none."""
    return st.sampled_from(("", *lines))


@st.composite
def clauses(draw: st.DrawFn) -> str:
    """One validity clause with some of the modifiers that its kind may carry."""
    kinds = ("valid_for", "valid_for", "until_next", "once_each", "use", "expiry")
    kind = draw(st.sampled_from(kinds))
    if kind == "use":
        lines = [
            'valid_for_use = 30\nmeter = "hours"',
            draw(st.sampled_from(('reading_within = "P1D"', 'reading_within = "P30D"'))),
            draw(maybe('next_due = "from-due"\nearly = 10', 'next_due = "from-due"')),
            draw(maybe("late = 10")),
            draw(maybe("warn_before = 2.5", "warn_before = 30")),
        ]
    elif kind == "expiry":
        lines = [f'valid_until_expiry = "{FITTING}"', draw(maybe('warn_before = "PT2H"'))]
    else:
        length, early, late = draw(st.sampled_from(LENGTHS))
        lines = [draw(maybe('warn_before = "PT2H"', 'warn_before = "P10D"'))]
        rounding = draw(maybe(*(f'round_up_to = "{unit}"' for unit in UNITS)))
        if kind == "valid_for":
            chain = f'next_due = "from-due"\nearly = "{early}"'
            lines += [f'valid_for = "{length}"', rounding, draw(maybe(chain))]
            lines.append(draw(maybe(f'late = "{late}"')))
        elif kind == "until_next":
            lines.append(f'valid_until_next = "{draw(st.sampled_from(RECURRENCES))}"')
            lines += [rounding, draw(maybe('early = "PT1H"')), draw(maybe('late = "PT15M"'))]
        else:
            lines.append(f'once_each = "{draw(st.sampled_from(UNITS))}"')
            lines.append(draw(maybe('late = "PT6H"')))
    return "\n".join(["[[check.validity]]", *filter(None, lines)])


def _voiding(words: list[str], validity: list[str]) -> list[str]:
    """What is fitted anew ends what the last item's label said."""
    return [*words, FITTING] if any(FITTING in clause for clause in validity) else words


def _listed(words: list[str]) -> str:
    return "[" + ", ".join(f'"{word}"' for word in words) + "]"


@st.composite
def checks(draw: st.DrawFn, position: int, codes: tuple[str, ...]) -> str:
    """One check; it covers only checks that come after it, so that no circle comes about."""
    voided = draw(st.lists(st.sampled_from(WORDS), unique=True, min_size=1, max_size=3))
    may_survive = [w for w in ("moved", "returned", "fault-closed") if w not in voided]
    measure = draw(st.booleans())
    validity = draw(st.lists(clauses(), max_size=2))
    lines = [
        f'[[check]]\ncode = "{codes[position]}"\ntitle = "{codes[position]}"\nendless = true',
        'kinds = ["am", "kit"]' if position == 0 or draw(st.booleans()) else 'kinds = ["am"]',
        draw(st.sampled_from(("", "", "gate = false"))),
        "covers = " + _listed([c for c in codes[position + 1 :] if draw(st.booleans())]),
        f"voided_by = {_listed(_voiding(voided, validity))}",
        "survives = " + _listed([w for w in may_survive if draw(st.booleans())]),
        draw(maybe('after_fail = "engineer"')),
        draw(
            maybe(
                "minutes = { hands_on = 4, watched = 2, alone = 5 }",
                "minutes = { hands_on = 1, alone = 30.5 }",
                "minutes = { hands_on = 6 }",
            )
        ),
        *validity,
    ]
    if measure:
        lines += [
            '[[check.measure]]\ncode = "leak"\nunit = "mL/min"',
            draw(st.sampled_from(LIMITS)),
            draw(maybe("required = true")),
            draw(maybe("believable = [0, 2000]", "believable = [10, 400]")),
        ]
    return "\n".join(filter(None, lines))


@st.composite
def rulebooks(draw: st.DrawFn, zone: str, most: int) -> str:
    """The text of a rulebook of a few checks."""
    codes = CHECKS[: draw(st.integers(1, most))]
    return "\n".join(
        (
            f'[rulebook]\ntitle = "invented"\nzone = "{zone}"',
            draw(maybe('longest_exception = "PT12H"', 'longest_exception = "P1D"')),
            draw(maybe('untrained = "stopped"\nunknown_person = "flagged"')),
            '[[happening]]\ncode = "power-on"\ntitle = "Switched on"',
            f'[[happening]]\ncode = "{FITTING}"\ntitle = "Absorbent changed"',
            draw(maybe('[[happening]]\ncode = "repair"\ntitle = "Repaired"')),
            *(draw(checks(position, codes)) for position in range(len(codes))),
            '[[place_kind]]\ncode = "theatre"',
            f"needs = {draw(st.sampled_from(NEEDS))}",
            '[[place_kind]]\ncode = "room"',
            f"needs = {draw(st.sampled_from(NEEDS_BESIDE))}",
        )
    )


@st.composite
def kept_rulebooks(draw: st.DrawFn, zone: str) -> str:
    """The text of a rulebook of one check that keeps a schedule."""
    clauses = draw(st.lists(st.sampled_from(KEPT), min_size=1, max_size=2))
    return "\n".join(
        (
            f'[rulebook]\ntitle = "invented"\nzone = "{zone}"\nlongest_exception = "P1D"',
            '[[happening]]\ncode = "power-on"\ntitle = "Switched on"',
            '[[check]]\ncode = "full"\ntitle = "full"\nkinds = ["am", "kit"]',
            'voided_by = ["power-on"]\nsurvives = ["returned"]',
            draw(maybe('after_fail = "engineer"')),
            *(f'[[check.validity]]\nnext_due = "from-due"\n{clause}' for clause in clauses),
            '[[place_kind]]\ncode = "theatre"\nneeds = ["am"]\n[[place_kind]]\ncode = "room"',
        )
    )
