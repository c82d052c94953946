"""Which results are attempts of a check, and what each of them counts as (meaning, §3)."""

from collections.abc import Sequence
from decimal import Decimal
from typing import NamedTuple

from .book import Check, Entry, Rulebook, checks_by_code, gives, is_result, order
from .calendar import SECOND

WORST_LAST = ["pass", "limited", "stopped", "fail"]
WORDS = {"limited": "limited", "fail": "fails"}


class Attempt(NamedTuple):
    """One attempt of a check: what it counts as, and which limits it carries.

    `limits` holds texts where what was said or measured is `limited`, even where the attempt
    counts as stopped: a limit found is not lost because the attempt gives nothing.
    `gave` says that it would be a pass or limited if nothing had been struck: it still ended
    what it ended.
    """

    entry: Entry
    began: int
    outcome: str
    limits: list[str]
    gave: bool = False

    @property
    def end(self) -> tuple[int, int]:
        return order(self.entry)

    @property
    def beginning(self) -> tuple[int, int]:
        return self.began, self.entry["seq"]

    @property
    def opens(self) -> bool:
        return self.outcome in ("pass", "limited")


def attempts_of(rules: Rulebook, mine: Sequence[Entry], check: str) -> list[Attempt]:
    """Give all attempts of a check in order, with what the fails before them do to them."""
    looked_at = checks_by_code(rules).get(check)
    if looked_at is None:
        return []
    found = [
        attempt
        for entry in mine
        if is_result(entry) and (attempt := first_look(rules, entry, looked_at)) is not None
    ]
    fails = [attempt for attempt in found if attempt.outcome == "fail"]
    return [after_fails(attempt, fails, looked_at, mine) for attempt in found]


def first_look(rules: Rulebook, entry: Entry, looked_at: Check) -> Attempt | None:
    """Judge one result for a check, without regard to other entries; None if no attempt of it."""
    done = checks_by_code(rules).get(entry["what"])
    if done is None or looked_at["code"] not in {done["code"], *covered(rules, done["code"])}:
        return None
    by_measures = [judged(done, entry), judged(looked_at, entry)]
    said = "stopped" if entry["outcome"] == "begun" else entry["outcome"]
    unstruck = worst(said, *by_measures)
    outcome = unstruck
    doubted = not_counted(rules, entry, looked_at)
    if said in ("pass", "limited") and doubted:
        outcome = worst("stopped", unstruck)
    if said in ("pass", "limited") and (entry["plainly_struck"] or lacks_required(done, entry)):
        outcome = worst("stopped", unstruck)
    if outcome in ("pass", "limited") and lacks_required(looked_at, entry, done):
        return None
    limits = limit_texts(rules, entry, done, looked_at) if unstruck == "limited" else []
    lacking = lacks_required(done, entry) or lacks_required(looked_at, entry, done)
    gave = unstruck in ("pass", "limited") and not lacking and not doubted
    return Attempt(entry, began(done, entry), outcome, limits, gave)


def not_counted(rules: Rulebook, entry: Entry, looked_at: Check) -> bool:
    """Say whether a gate's result counts as stopped because of who wrote it."""
    if entry.get("flag") == "unsigned":
        return bool(looked_at.get("gate", True))
    asked = {"untrained": "untrained", "unknown": "unknown_person"}.get(entry.get("flag") or "")
    verdict = rules["rulebook"].get(asked, "counts") if asked else "counts"
    return bool(looked_at.get("gate", True)) and verdict in ("stopped", "refused")


def after_fails(
    attempt: Attempt, fails: Sequence[Attempt], check: Check, mine: Sequence[Entry]
) -> Attempt:
    """Let a pass or limited attempt count as stopped where a fail says so."""
    before = [fail for fail in fails if fail.end < attempt.end]
    overtaken = any(attempt.beginning < fail.end for fail in before)
    waits = bool(before) and check.get("after_fail", "repeat") == "engineer"
    written = [{**entry, "plainly_struck": False} for entry in mine]

    def good(known: Sequence[Entry]) -> bool:
        came = not waits or engineer_came(known, before[-1].end, attempt.beginning)
        return came and not overtaken

    if attempt.opens and not good(mine):
        attempt = attempt._replace(outcome="stopped")
    return attempt._replace(gave=attempt.gave and good(written))


def engineer_came(
    mine: Sequence[Entry], after: tuple[int, int], before: tuple[int, int] | None = None
) -> bool:
    """Say whether a `returned` or `fault-closed` that still gives something lies between."""
    return any(
        e["what"] in ("returned", "fault-closed")
        and gives(e)
        and after < order(e)
        and (before is None or order(e) < before)
        for e in mine
    )


def covered(rules: Rulebook, check: str) -> set[str]:
    """Give the checks that a check covers, directly or through others."""
    by_code = checks_by_code(rules)
    found: set[str] = set()
    ahead = list(by_code[check].get("covers", []))
    while ahead:
        code = ahead.pop()
        if code in by_code and code not in found:
            found.add(code)
            ahead += by_code[code].get("covers", [])
    return found


def began(done: Check, entry: Entry) -> int:
    """Give when a result began: no later than its watched and alone minutes before its end."""
    minutes = done.get("minutes", {})
    run = int((Decimal(minutes.get("watched", 0)) + Decimal(minutes.get("alone", 0))) * 60 * SECOND)
    shortest: int = entry["at"] - run
    started = entry.get("started")
    return shortest if started is None else min(started, shortest)


def worst(*outcomes: str) -> str:
    """Give the worst of some outcomes."""
    return max(outcomes, key=WORST_LAST.index)


def measured(check: Check, entry: Entry, code: str) -> Decimal | None:
    """Give a measure as a check sees it: outside what is believable, it is missing."""
    value: Decimal | None = (entry.get("measures") or {}).get(code)
    for measure in check.get("measure", []):
        if value is not None and measure["code"] == code and "believable" in measure:
            low, high = measure["believable"]
            value = value if low <= value <= high else None
    return value


def lacks_required(check: Check, entry: Entry, done: Check | None = None) -> bool:
    """Say whether a result lacks a measure that a check requires.

    What the check that was done does not believe is missing for what it covers too.
    """
    return any(
        measure.get("required", False)
        and any(measured(each, entry, measure["code"]) is None for each in (check, done or check))
        for measure in check.get("measure", [])
    )


def judged(check: Check, entry: Entry) -> str:
    """Say what a result's measures amount to by the limits of one check."""
    found = ["pass"]
    for measure in check.get("measure", []):
        value = measured(check, entry, measure["code"])
        found += [word for word in ("limited", "fail") if beyond(measure, word, value)]
    return worst(*found)


def beyond(measure: Check, word: str, value: Decimal | None) -> list[str]:
    """Give the sides, `above` and `below`, on which a measure is beyond its limits of a word."""
    if value is None:
        return []
    above, below = measure.get(f"{word}_above"), measure.get(f"{word}_below")
    return [
        side
        for side, crossed in (
            ("above", above is not None and value > above),
            ("below", below is not None and value < below),
        )
        if crossed
    ]


def limit_texts(rules: Rulebook, entry: Entry, done: Check, looked_at: Check) -> list[str]:
    """Give the texts of a limited result: what was written, and what was measured.

    Where neither check says why, some check that the one done covers may; else it stays untold.
    """
    texts = list(entry.get("limits") or []) if entry["outcome"] == "limited" else []
    texts += [text for check in (done, looked_at) for text in crossed_limits(check, entry)]
    if not texts:
        by_code = checks_by_code(rules)
        below = [by_code[code] for code in by_code if code in covered(rules, done["code"])]
        texts = [text for check in below for text in crossed_limits(check, entry)]
    return list(dict.fromkeys(texts)) or ["limited, without a reason"]


def crossed_limits(check: Check, entry: Entry) -> list[str]:
    """Put into words each measure that is beyond a limit of a check, by the worst it is beyond."""
    texts = []
    for measure in check.get("measure", []):
        value = measured(check, entry, measure["code"])
        word = "fail" if beyond(measure, "fail", value) else "limited"
        for side in beyond(measure, word, value):
            unit = f" {measure['unit']}" if measure.get("unit") else ""
            limit = format(Decimal(measure[f"{word}_{side}"]), "f")
            texts.append(f"{measure['code']} {value:f}{unit}, {WORDS[word]} {side} {limit}")
    return texts
