"""A second evaluator of the definition: slow, plain, sharing no code with the package.

It is written from docs/meaning.md alone, so that two readings of that page can be compared. It
keeps nothing between questions: each answer is worked out again from the list of entries.
An instant is an int, the microseconds of UTC since 1970-01-01; a measure is a Decimal; rulebooks,
entries and places are the plain dicts that their files hold.

Where the page leaves a choice, the reading that clears less was taken, and a comment says so.
"""

from .coverage import coverage
from .places import place_at
from .spans import cleared_for, first_gap, place_first_gap, place_until
from .standing import standing_at
from .windows import check_at, windows
from .work import least_work, others_must, owed

__all__ = [
    "check_at",
    "cleared_for",
    "coverage",
    "first_gap",
    "least_work",
    "others_must",
    "owed",
    "place_at",
    "place_first_gap",
    "place_until",
    "standing_at",
    "windows",
]
