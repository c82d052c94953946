"""Labels for the desk's scanner: a sheet of QR codes with what each says below it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from checkwatch.answers.desk.slip import MACHINE, OUTCOME, OUTCOMES, PERSON, UNDO, WHAT, WORDS
from checkwatch.core.entry import Severity
from checkwatch.core.person import People
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.standing import MachineStanding
from checkwatch.core.wording import spoken
from checkwatch.errors import Problem, WrongUse
from checkwatch.views.paper import day_and_time, page, text
from checkwatch.views.words import Here


class Label(NamedTuple):
    """What a label says to a scanner, and to people in two lines."""

    code: str
    name: str
    below: str


class Part(NamedTuple):
    """Labels that belong together, under a heading."""

    heading: str
    labels: tuple[Label, ...]


_STYLE = """
.grid { display: grid; grid-template-columns: repeat(4, 1fr); gap: 0; }
.label { border: 0.2mm dashed #999; padding: 3mm 2mm; text-align: center; break-inside: avoid;
  overflow-wrap: anywhere; }
.label svg { width: 30mm; height: 30mm; display: block; margin: 0 auto 1mm; }
.label strong { display: block; font-size: 13pt; line-height: 1.15; }
h2 { break-after: avoid; }
"""

_BELOW = {
    "fault": "something is wrong",
    "case-start": "a case begins",
    "case-end": "a case ends",
    "withdraw": "taken out of use",
    "return": "back into use",
}

_SEVERITIES = {
    Severity.STOP_USE: "a fault that forbids use",
    Severity.LIMIT: "a fault that limits use",
}


def of_machines(fleet: Iterable[MachineStanding]) -> list[Part]:
    """One label for each machine, with its kind and where it stands now."""
    labels = [
        Label(f"{MACHINE}{one.machine}", one.machine, f"{spoken(enrolled.kind)}, {one.log.place}")
        for one in fleet
        if (enrolled := one.log.enrolled) is not None
    ]
    return [Part("Machines", tuple(labels))]


def of_codes(rulebook: Rulebook, people: People) -> list[Part]:
    """Labels of all else that the desk takes: what, how it went, and whose code."""
    checks = (Label(f"{WHAT}{one.code}", one.code, one.title) for one in rulebook.checks.values())
    happened = (Label(f"{WHAT}{code}", code, title) for code, title in rulebook.happenings.items())
    others = (Label(f"{WHAT}{word}", word, _BELOW[word]) for word in WORDS)
    outcomes = (Label(f"{OUTCOME}{word}", word, "a check's outcome") for word in OUTCOMES)
    severities = (Label(f"{OUTCOME}{one}", one, said) for one, said in _SEVERITIES.items())
    undo = Label(UNDO, "undo", "strikes the last entry of this desk")
    whose = (Label(f"{PERSON}{one.code}", one.code, "who") for one in people if not one.is_shared)
    parts = [
        Part("Checks", tuple(checks)),
        Part("What happened", (*happened, *others)),
        Part("How it went", (*outcomes, *severities, undo)),
        # A code is no proof of who scanned it: these are to be cut out and handed over.
        Part("Who: one for each, to carry", tuple(whose)),
    ]
    return [part for part in parts if part.labels]


def sheet(parts: Sequence[Part], title: str, here: Here, banner: str) -> str:
    """The page with the labels. Raises WrongUse without the extra that draws them."""
    head = f"<h1>{text(title, 100)}</h1>\n"
    when = day_and_time(here.now, here)
    printed = f'<p class="small">Labels for checkwatch desk, printed {when}.</p>\n'
    return page(title, _STYLE, f"{head}{printed}{''.join(_parts(parts))}", banner)


def _parts(parts: Iterable[Part]) -> Iterator[str]:
    for part in parts:
        yield f'<h2>{text(part.heading)}</h2>\n<div class="grid">\n'
        yield from (_label(label) for label in part.labels)
        yield "</div>\n"


def _label(label: Label) -> str:
    name, below = text(label.name, 64), text(label.below, 80)
    return (
        f'<div class="label">{_drawn(label.code)}<strong>{name}</strong>'
        f'<span class="small">{below}</span></div>\n'
    )


def _drawn(code: str) -> str:
    """A QR Code with the quiet zone of four modules that ISO/IEC 18004 asks for."""
    # Imported where labels are drawn: an extra, and nothing else needs it.
    try:
        import segno
    except ModuleNotFoundError:
        remedy = "install checkwatch with its extra `labels`: pip install 'checkwatch[labels]'"
        raise WrongUse(Problem("labels", "need segno", remedy)) from None
    drawn: str = segno.make_qr(code, error="m").svg_inline(border=4, omitsize=True)
    return drawn
