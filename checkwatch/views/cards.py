"""Blank cards of checks, to be filled in by hand when the computers are down.

What is filled in is typed in later. A card says what is to be done, and never where a machine
stands.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from checkwatch.core.attempt import plain
from checkwatch.core.rulebook import Check, Measure, Step
from checkwatch.core.versions import Version
from checkwatch.core.wording import inside, listed, spoken
from checkwatch.views.answer import CAUTION_NO
from checkwatch.views.paper import day_and_time, page, text
from checkwatch.views.words import Here

_STYLE = """
.card { break-after: page; }
.card:last-child { break-after: auto; }
.line { display: flex; gap: 5mm; margin: 1.5mm 0; }
.line span { flex: 1; border-bottom: 0.25mm solid #000; padding-bottom: 4mm; font-size: 8.5pt; }
.step { display: flex; gap: 3mm; padding: 1mm 0 0.5mm; border-top: 0.2mm solid #999;
  break-inside: avoid; }
.step p { margin: 0 0 0.5mm; }
.step .number { width: 6mm; font-weight: bold; }
.step .words { flex: 1; }
.step .answer { min-width: 30mm; text-align: right; white-space: nowrap; }
.caution { border: 0.4mm solid #000; padding: 0.8mm 2mm; margin: 0 0 1mm; font-weight: bold; }
.box { display: inline-block; width: 4mm; height: 4mm; border: 0.3mm solid #000;
  margin: 0 1mm 0 3mm; vertical-align: -0.6mm; }
.blank { display: inline-block; width: 18mm; border-bottom: 0.25mm solid #000; }
.long { width: 70mm; }
.keep { break-inside: avoid; }
table { border-collapse: collapse; width: 100%; }
td, th { border: 0.2mm solid #999; padding: 1mm 2mm; text-align: left; font-weight: normal; }
th { font-size: 8.5pt; }
"""

_BOX = '<span class="box"></span>'
_BLANK = '<span class="blank">&nbsp;</span>'
_LONG_BLANK = '<span class="blank long">&nbsp;</span>'

_OUTCOMES = ("pass", "limited", "fail", "stopped")

CAUTION = (
    "The maker's instructions and local policy come first. A filled-in card is no proof that a "
    "machine is safe: the person who uses it checks it and decides."
)


class Card(NamedTuple):
    """A check with the numbers that its result may carry."""

    check: Check
    takes: Mapping[str, Measure]


def cards(wanted: Iterable[Card], version: Version, here: Here, banner: str) -> str:
    """The page with a card for each check, each on a sheet of its own."""
    made = "".join(_card(card, version, here) for card in wanted)
    return page(f"Check cards, {version.rulebook.title}", _STYLE, made, banner)


def _card(card: Card, version: Version, here: Here) -> str:
    check = card.check
    kinds = listed((spoken(kind) for kind in check.kinds), "or")
    models = f", only {listed(check.models, 'or')}" if check.models else ""
    parts = [
        f"<h1>{text(check.title, 100)}</h1>\n",
        f"<p>{text(check.code)}, for: {text(kinds + models)}</p>\n",
        _lines("Machine (its tag)", "Place"),
        _lines("Date", "Begun at", "Ended at"),
        *(_caution(caution) for caution in check.cautions),
        *_steps(card),
        _numbers(card),
        _put_back(check),
        _outcome(check),
        _foot(version, here),
    ]
    return f'<section class="card">\n{"".join(parts)}</section>\n'


def _lines(*names: str) -> str:
    return f'<div class="line">{"".join(f"<span>{name}</span>" for name in names)}</div>\n'


def _caution(caution: str) -> str:
    return f'<p class="caution">Caution: {text(caution)}</p>\n'


def _steps(card: Card) -> Iterator[str]:
    """In the order in which they are gone through: what follows the run comes behind it."""
    numbered = card.check.in_order
    yield from (_step(n, step, card) for n, step in numbered if not step.after_run)
    yield _run(card.check)
    yield from (_step(n, step, card) for n, step in numbered if step.after_run)


def _run(check: Check) -> str:
    """How long the machine runs by itself, and room for when that was."""
    if check.minutes is None or not check.minutes.alone:
        return ""
    watched, alone = check.minutes.watched, check.minutes.alone
    stay = f"Stay for its first {plain(watched)} min; then it" if watched else "The machine now"
    return (
        f'<div class="keep"><p>{stay} runs by itself for about {plain(alone)} min. It is over '
        "when the machine says so, not by the clock.</p>\n"
        f"{_lines('The run began at', 'It was over at')}</div>\n"
    )


def _step(number: int, step: Step, card: Card) -> str:
    words = [_caution(step.caution)] if step.caution else []
    words.append(f"<p>{text(step.say)}</p>\n")
    expected = f"Expected: {text(step.expect)} " if step.expect else ""
    tried = f", try first: {text(step.remedy)} Still no" if step.remedy else ""
    words.append(f'<p class="small">{expected}If no{tried}: {step.on_no.value}.</p>\n')
    measure = card.takes.get(step.measure)
    if step.may_skip and not (measure and measure.required):
        words.append(f"<p>{_BOX}not applicable, why {_LONG_BLANK}</p>\n")
    answer = f"{_BOX}yes{_BOX}no"
    if measure is not None:
        answer = f"{text(measure.code)} {_BLANK} {text(measure.unit)}{_BOX}no"
    return (
        f'<div class="step"><div class="number">{number}</div>'
        f'<div class="words">{"".join(words)}</div><div class="answer">{answer}</div></div>\n'
    )


def _numbers(card: Card) -> str:
    if not card.takes:
        return ""
    steps = {step.measure: n for n, step in enumerate(card.check.steps, 1) if step.measure}
    rows = "".join(
        f"<tr><td>{text(one.code)}{' (needed)' if one.required else ''}</td>"
        f"<td>{_read(one, steps)}</td>"
        f"<td>{'; '.join(_limits(one)) or 'no limits'}</td></tr>\n"
        for one in card.takes.values()
    )
    head = "<tr><th>what</th><th>read</th><th>limits</th></tr>\n"
    return f'<div class="keep"><h2>Numbers</h2>\n<table>{head}{rows}</table></div>\n'


def _read(one: Measure, steps: Mapping[str, int]) -> str:
    """Where a number is written: a card has one place for each."""
    at = f"at step {steps[one.code]}, in" if one.code in steps else _BLANK
    return f"{at} {text(one.unit)}"


def _limits(one: Measure) -> Iterator[str]:
    found = {
        "limited above": one.limited_above,
        "limited below": one.limited_below,
        "fail above": one.fail_above,
        "fail below": one.fail_below,
    }
    yield from (f"{word} {plain(value)}" for word, value in found.items() if value is not None)
    if one.believable:
        low, high = map(plain, one.believable)
        yield f"not believable outside {low} to {high}: read it again"


def _put_back(check: Check) -> str:
    if not check.put_backs:
        return ""
    boxes = "".join(f"<p>{_BOX}{text(one)}</p>\n" for one in check.put_backs)
    return f'<div class="keep"><h2>Put right before the machine is left</h2>\n{boxes}</div>\n'


def _outcome(check: Check) -> str:
    boxes = "".join(f"{_BOX}{word}" for word in _OUTCOMES)
    title = text(inside(check.title), 100)
    return (
        f'<div class="keep"><h2>What the {title} came to</h2>\n<p>{boxes}</p>\n'
        f"{_lines('Limits: what the clinician must know; or what is wrong')}"
        f"{_lines('Who (code)', 'Machine, once more', 'Its own clock shows')}</div>\n"
    )


def _foot(version: Version, here: Here) -> str:
    since, printed = (day_and_time(at, here) for at in (version.start, here.now))
    rules = f"{text(version.rulebook.title, 100)}, in force since {since}"
    return (
        '<div class="keep small"><p>Nothing about patients. Type it in with '
        "<code>checkwatch desk --typing-in</code> as soon as there is a computer again.</p>\n"
        f"<p>{text(CAUTION)} {text(CAUTION_NO)}</p>\n"
        f"<p>Rules: {rules} (entry {version.seq}). Printed {printed}; what was "
        "changed in the rules since is not on it.</p></div>\n"
    )
