"""Checks to be led through, and the lines that lead through them."""

from __future__ import annotations

from checkwatch.answers.steps.asked import Ask, Finding, Going, Said
from checkwatch.answers.steps.course import next_question, take
from checkwatch.core.entry import Outcome
from checkwatch.core.instant import MINUTE, Instant
from checkwatch.core.rulebook import Check, Measure, Step
from tests.build import check, t

LEAK = Measure("leak", "mL/min", True, limited_above=200, fail_above=300, believable=(0, 2000))
HOLD = Measure("hold", "cmH2O")


def a_check(*steps: Step, measures: tuple[Measure, ...] = (), alone: int = 0) -> Check:
    """A leak test of these steps; it is attended for three minutes and watched for one."""
    by_code = {measure.code: measure for measure in measures}
    return check("leak-test", "PT24H", steps=steps, measures=by_code, minutes=(3, 1, alone))


LOOK = Step("Look at the seals")
SHUT = Step("Open the cylinder", put_back="Reserve cylinder shut")
READ = Step("Read the leak", measure="leak", after_run=True)
SCAVENGING = Step("Look at the scavenging", on_no=Outcome.LIMITED)
BAG = Step("Find the bag", on_no=Outcome.STOPPED)
VAPORISER = Step("Repeat with the vaporiser", may_skip=True)
FIXED = Step("Tug the hose", remedy="Push it home")


class Dialogue:
    """A person at a check that was begun at 07:00: one line a minute."""

    def __init__(self, check: Check) -> None:
        self.going = Going(check, t("07:00"))
        self.now: Ask | Finding = next_question(self.going)
        self.minute = 0

    def types(self, *lines: str) -> Dialogue:
        for line in lines:
            self.minute += 1
            at = Instant(t("07:00") + self.minute * MINUTE)
            self.going, self.now = take(self.going, Said(line, at))
        return self

    @property
    def asked(self) -> Ask:
        assert isinstance(self.now, Ask), self.now
        return self.now

    @property
    def finding(self) -> Finding:
        assert isinstance(self.now, Finding), self.now
        return self.now


def after(check: Check, *lines: str) -> Dialogue:
    return Dialogue(check).types(*lines)
