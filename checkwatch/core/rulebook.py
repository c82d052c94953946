"""A rulebook: which checks each kind of machine needs, how long a pass lasts, what ends it early.

Only values and look-ups; rules/ reads them from text and finds the contradictions in them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, time
from decimal import Decimal
from functools import cached_property
from typing import Literal
from zoneinfo import ZoneInfo

from checkwatch.core.entry import Flag, Outcome
from checkwatch.core.instant import MINUTE, Instant, wall
from checkwatch.core.period import NOTHING, Period, Unit

#: Reserved words that a check's `voided_by` may name beside happenings.
VOIDING_WORDS = ("moved", "returned", "fault", "fault-closed", "case-start", "case-end")

#: What voids every gate unless the gate `survives` it. Of `fault-closed` only that of a stop-use
#: fault does so unasked.
VOIDS_GATES = ("returned", "moved", "fault-closed")

#: What voids every gate, and no gate survives: nobody knows what happened.
VOIDS_EVERY_GATE = ("restored",)

#: What becomes of a gate's result whose writer is not trained, or not known: it counts unmarked,
#: counts with a flag, counts as stopped, or is not written at all.
Doubted = Literal["counts", "flagged", "stopped", "refused"]

Number = int | Decimal


@dataclass(frozen=True, slots=True)
class ValidFor:
    """Due an ISO 8601 duration after the attempt, or after the instant at which it was due.

    `is_plain` where elapsed time alone decides, as for `PT24H`: then no calendar is asked.
    """

    lasts: Period
    from_due: bool = False
    round_up_to: Unit | None = None
    early: Period = NOTHING
    late: Period = NOTHING
    warn_before: Period = NOTHING
    is_plain: bool = field(init=False)

    def __post_init__(self) -> None:
        elapsed = all(p.is_elapsed for p in (self.lasts, self.late, self.warn_before))
        object.__setattr__(
            self, "is_plain", elapsed and not self.from_due and self.round_up_to is None
        )


@dataclass(frozen=True, slots=True)
class UntilNext:
    """Due at the next occurrence of an RFC 5545 recurrence in local time."""

    recurrence: str
    counted_from: datetime = datetime(2000, 1, 1)
    early: Period = NOTHING
    round_up_to: Unit | None = None
    late: Period = NOTHING
    warn_before: Period = NOTHING


@dataclass(frozen=True, slots=True)
class OnceEach:
    """Done once in each calendar unit: due at the end of the next one."""

    unit: Unit
    late: Period = NOTHING
    warn_before: Period = NOTHING


@dataclass(frozen=True, slots=True)
class ForUse:
    """Due when a meter has advanced; `early`, `late`, `warn_before` are numbers of the meter."""

    amount: Number
    meter: str
    reading_within: Period
    from_due: bool = False
    early: Number = 0
    late: Number = 0
    warn_before: Number = 0


@dataclass(frozen=True, slots=True)
class UntilExpiry:
    """Due at the end of the last day on which the item fitted by a happening is good."""

    happening: str
    warn_before: Period = NOTHING


Validity = ValidFor | UntilNext | OnceEach | ForUse | UntilExpiry


@dataclass(frozen=True, slots=True)
class Measure:
    """A number that a check takes; beyond, not at, a limit the outcome is the worse one."""

    code: str
    unit: str
    required: bool = False
    limited_above: Number | None = None
    limited_below: Number | None = None
    fail_above: Number | None = None
    fail_below: Number | None = None
    believable: tuple[Number, Number] | None = None

    def believes(self, value: Decimal) -> bool:
        """Whether the value can be true at all."""
        return self.believable is None or self.believable[0] <= value <= self.believable[1]


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do, what a good answer looks like, and a caution before it.

    `more` says it at length. `measure` is the code of the number that is read here, empty for a
    question. A no makes the check's outcome at least `on_no`, unless the `remedy` helped.
    `put_back` says what the step opened or altered and must be put right before the machine is
    left; `after_run` that the step comes when the machine has run by itself; `may_skip` that it
    may be answered as not applicable, with the reason.
    """

    say: str
    expect: str = ""
    caution: str = ""
    more: str = ""
    measure: str = ""
    on_no: Outcome = Outcome.FAIL
    remedy: str = ""
    put_back: str = ""
    after_run: bool = False
    may_skip: bool = False


@dataclass(frozen=True, slots=True)
class Minutes:
    """Attended work, the attended start of the run, and the part that runs by itself."""

    hands_on: Number = 0
    watched: Number = 0
    alone: Number = 0

    @property
    def attended(self) -> Number:
        """The minutes that need a person."""
        return self.hands_on + self.watched

    @property
    def total(self) -> Number:
        """All minutes from beginning to end."""
        return self.hands_on + self.watched + self.alone


@dataclass(frozen=True)
class Check:
    """One rule: something done to a machine that ends in an outcome."""

    code: str
    title: str
    kinds: tuple[str, ...]
    models: tuple[str, ...] = ()
    gate: bool = True
    covers: tuple[str, ...] = ()
    voided_by: tuple[str, ...] = ()
    survives: tuple[str, ...] = ()
    engineer_after_fail: bool = False
    endless: bool = False
    minutes: Minutes | None = None
    cautions: tuple[str, ...] = ()
    validity: tuple[Validity, ...] = ()
    measures: Mapping[str, Measure] = field(default_factory=dict)
    steps: tuple[Step, ...] = ()

    @cached_property
    def run(self) -> int:
        """The microseconds that the test itself takes, which no one can shorten."""
        if self.minutes is None:
            return 0
        return int((self.minutes.watched + self.minutes.alone) * MINUTE)

    @cached_property
    def voided_unasked(self) -> frozenset[str]:
        """Of `VOIDS_GATES` and `VOIDS_EVERY_GATE`, what voids this check without being listed."""
        if not self.gate:
            return frozenset()
        return frozenset(VOIDS_GATES).difference(self.survives).union(VOIDS_EVERY_GATE)

    @cached_property
    def required(self) -> tuple[str, ...]:
        """The codes of the measures that it cannot do without."""
        return tuple(code for code, measure in self.measures.items() if measure.required)

    @cached_property
    def in_order(self) -> tuple[tuple[int, Step], ...]:
        """The steps with their numbers, as they are gone through: first those before the machine
        has run by itself."""
        numbered = enumerate(self.steps, 1)
        return tuple(sorted(numbered, key=lambda pair: pair[1].after_run))

    @cached_property
    def put_backs(self) -> tuple[str, ...]:
        """What the steps open or alter, each once."""
        texts = (step.put_back for _, step in self.in_order if step.put_back)
        return tuple(dict.fromkeys(texts))

    def applies_to(self, kind: str, model: str) -> bool:
        """Whether a machine of this kind and model needs it."""
        return kind in self.kinds and (not self.models or model in self.models)


@dataclass(frozen=True, slots=True)
class DutySpan:
    """Weekdays (0 = Monday) and the local times, `to` not included, in which a place works."""

    days: frozenset[int]
    start: time
    end: time

    def holds_at(self, local: datetime) -> bool:
        """Whether a wall-clock time is in it; a span past midnight belongs to the day it began."""
        now, today = local.time(), local.weekday()
        if self.start < self.end:
            return today in self.days and self.start <= now < self.end
        began_today = today in self.days and now >= self.start
        return began_today or ((today - 1) % 7 in self.days and now < self.end)


Duty = Literal["always", "none"] | tuple[DutySpan, ...]


@dataclass(frozen=True, slots=True)
class PlaceKind:
    """What the places of a kind need, by machine kind, and when they are on duty."""

    code: str
    needs: tuple[str, ...] = ()
    duty: Duty = "always"


@dataclass(frozen=True, slots=True)
class Role:
    """A role that people may have, and what only people with such a role may write."""

    code: str
    title: str
    may: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Item:
    """Something that is fitted to machines, known by its GTINs (14 digits), and the happening
    that its fitting is."""

    title: str
    gtins: tuple[str, ...]
    happening: str


@dataclass(frozen=True)
class Rulebook:
    """One version of a department's rules.

    `untrained` and `unknown_person` say what becomes of a gate's result by such a person;
    `signatures` what a PIN stands for, by the word that may be written with one only.
    """

    title: str
    zone: ZoneInfo
    longest_exception: Period
    happenings: Mapping[str, str]
    checks: Mapping[str, Check]
    place_kinds: Mapping[str, PlaceKind] = field(default_factory=dict)
    roles: Mapping[str, Role] = field(default_factory=dict)
    untrained: Doubted = "counts"
    unknown_person: Doubted = "counts"
    signatures: Mapping[str, str] = field(default_factory=dict)
    items: tuple[Item, ...] = ()

    def doubted(self, flag: Flag) -> Doubted:
        """What becomes of a gate's result with a flag."""
        if flag is Flag.UNSIGNED:
            return "stopped"
        return self.untrained if flag is Flag.UNTRAINED else self.unknown_person

    @cached_property
    def trusts_everybody(self) -> bool:
        """Whether everybody may write everything, and every result counts unmarked."""
        return not self.roles and self.untrained == self.unknown_person == "counts"

    def roles_for(self, word: str) -> tuple[Role, ...]:
        """The roles that may write a word; none where everybody may."""
        return tuple(role for role in self.roles.values() if word in role.may)

    def item_of(self, gtin: str) -> Item | None:
        """The item that carries a GTIN of 14 digits."""
        return next((item for item in self.items if gtin in item.gtins), None)

    def applying(self, kind: str, model: str) -> Iterator[Check]:
        """The checks of a machine, in the rulebook's order."""
        return (check for check in self.checks.values() if check.applies_to(kind, model))

    @cached_property
    def covering(self) -> Mapping[str, tuple[str, ...]]:
        """For each check the checks whose attempts are attempts of it: itself first, then what
        covers it, directly or through others."""
        return {code: (code, *self._above(code)) for code in self.checks}

    @cached_property
    def taking(self) -> Mapping[str, Mapping[str, Measure]]:
        """For each check the measures that its result may carry: its own, and those of what it
        covers."""
        found: dict[str, dict[str, Measure]] = {code: {} for code in self.checks}
        for code, sources in self.covering.items():
            for source in sources:
                found[source] |= self.checks[code].measures
        return {code: {**taken, **self.checks[code].measures} for code, taken in found.items()}

    def _above(self, code: str) -> tuple[str, ...]:
        found: dict[str, None] = {}
        waiting = [code]
        while waiting:
            low = waiting.pop()
            new = [c.code for c in self.checks.values() if low in c.covers and c.code not in found]
            found.update(dict.fromkeys(new))
            waiting.extend(new)
        found.pop(code, None)
        return tuple(found)

    def on_duty(self, place_kind: str, instant: Instant) -> bool:
        """Whether places of this kind work at an instant; one that is not known always does."""
        known = self.place_kinds.get(place_kind)
        if known is None or known.duty == "always":
            return True
        if known.duty == "none":
            return False
        local = wall(instant, self.zone)
        return any(span.holds_at(local) for span in known.duty)
