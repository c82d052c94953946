"""The morning sheet as a page: a table for each place, with a line to sign for each machine.

Never the word for a machine that may be used: whoever reads paper later would believe it. What
people wrote stands as they wrote it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from checkwatch.answers.least_work import engineer_needed
from checkwatch.answers.overdue import Owed
from checkwatch.answers.sheet import Line, Part, Sheet
from checkwatch.core.attempt import plain
from checkwatch.core.entry import Fault
from checkwatch.core.instant import FOREVER, Instant
from checkwatch.core.period import end_of
from checkwatch.core.standing import CheckState
from checkwatch.views.answer import CAUTION_NO
from checkwatch.views.paper import OnPaper, day_and_time, page, text
from checkwatch.views.reason import lacks, what_ended
from checkwatch.views.words import Here, inside, listed, plural, spoken

_STYLE = """
@page { margin: 10mm 10mm 12mm; @bottom-right { content: counter(page) " / " counter(pages);
  font: 8.5pt sans-serif; } }
body { font-size: 9.5pt; line-height: 1.2; }
table { border-collapse: collapse; width: 189.5mm; table-layout: fixed; margin: 0 0 2.5mm;
  break-inside: avoid; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th, td { border: 0.25mm solid #000; padding: 0.8mm 1.5mm; text-align: left; vertical-align: top;
  font-weight: normal; overflow-wrap: anywhere; }
.name th, .name td { border: 0; padding: 0 0 0.6mm; vertical-align: bottom; }
.name th { font-size: 12pt; font-weight: bold; }
.name small { font-weight: normal; }
.name td { text-align: right; font-size: 8.5pt; }
.heads th { font-size: 8.5pt; padding: 0.3mm 1.5mm; border-bottom-width: 0.5mm; }
.tag { font-weight: bold; font-size: 11pt; }
small { font-size: 8.5pt; }
td p { margin: 0 0 0.4mm; }
.runs { font-size: 8.7pt; padding-left: 4mm; text-indent: -4mm; }
td p:last-child { margin: 0; }
.owed { padding-left: 5.5mm; text-indent: -5.5mm; }
.box { display: inline-block; width: 3.5mm; height: 3.5mm; border: 0.35mm solid #000;
  margin-right: 2mm; vertical-align: -0.5mm; text-indent: 0; }
.stop { border: 0.7mm solid #000; padding: 0.5mm 1.5mm; font-weight: bold; }
.limit { border-left: 1.2mm solid #000; padding-left: 1.5mm; font-weight: bold; }
.doubt { border: 1mm solid #000; padding: 1.5mm 2mm; font-size: 12pt; font-weight: bold; }
.keep { break-inside: avoid; }
"""

#: The widths fit a code and a time of day written by hand.
_COLUMNS = (
    '<colgroup><col style="width: 24mm"><col><col style="width: 70mm">'
    '<col style="width: 15mm"><col style="width: 15mm"></colgroup>\n'
)

_HEADS = (
    "machine",
    "owed; limits and faults",
    "a test runs until (<strong>bold: ends that day</strong>)",
    "who",
    "time",
)

CAUTION = (
    "What is printed is old at once: it does not know what happened since. Before use ask the "
    "book. Each of these tests ends sooner if the machine is switched off, moved, opened or "
    "altered. A recorded check is no proof that a machine is safe: the person who uses it checks "
    "it and decides. The maker's instructions and local policy come first."
)

#: No text that people wrote is longer on the sheet.
_LONGEST = 400


def sheet(found: Sheet, of: str, title: str, where: Here, banner: str) -> str:
    """The page; `of` is the place or area that was asked for, empty for all, `title` the
    rulebook's."""
    here = OnPaper(*where)
    name = ": ".join(filter(None, ("Morning sheet", title))) + (f", {of}" if of else "")
    parts = "".join(_part(part, found, here, banner) for part in found.parts)
    body = f"<h1>{text(name, 200)}</h1>\n{_head(found, here)}{parts}{_foot()}"
    return page(name, _STYLE, body, banner)


def _head(found: Sheet, here: OnPaper) -> str:
    printed = f"<strong>Printed {day_and_time(here.now, here)}</strong>"
    if found.newest is not None:
        printed += f"; the newest entry in the book is from {day_and_time(found.newest, here)}"
    said = [f"{printed}.{_asked(found, here)}", f"{_counts(found)} {text(CAUTION)}"]
    head = "".join(f"<p>{one}</p>\n" for one in said)
    if not found.doubts:
        return head
    why = text(listed(found.doubts), 2 * _LONGEST)
    doubt = f"The book is not believed: {why}. What is owed, and what runs, nobody can tell."
    return f'<p class="doubt">{doubt}</p>\n{head}'


def _asked(found: Sheet, here: OnPaper) -> str:
    """What the sheet is about where that is not the book as it is now."""
    at, now, known = found.question
    said = ""
    if at != now:
        by = "if nothing more is written" if at > now else "by the entries up to then"
        said = f" <strong>As of {day_and_time(at, here)}</strong>, {by}."
    if known is not None:
        said += f" As the book was known on {day_and_time(known, here)}."
    return said


def _counts(found: Sheet) -> str:
    lines = found.lines
    number = f"{plural(len(lines), 'machine')} in {plural(len(found.parts), 'place')}"
    if found.doubts:
        return f"{number}."
    out = sum(line.is_out_of_use for line in lines)
    owing = sum(bool(line.owed) and not line.is_out_of_use for line in lines)
    untold = sum(not line.machine.gates for line in lines)
    said = [f"something is owed on {owing}" if owing else "nothing is owed"]
    said += [f"{out} not to be used"] if out else []
    said += [f"of {untold} nobody can tell"] if untold else []
    return f"{number}: {', '.join(said)}."


def _part(part: Part, found: Sheet, here: OnPaper, banner: str) -> str:
    name = text(part.place, 80) if part.place else "Nowhere that the book knows"
    area = f" <small>{text(part.area, 80)}</small>" if part.area else ""
    # A page may be taken from the others: each table says itself how old it is.
    age = f"as of {day_and_time(found.question.at, here)}"
    age += f"<br>{text(banner)}" if banner else ""
    heads = "".join(f"<th>{head}</th>" for head in _HEADS)
    rows = [_row(_lacking(part))] if part.missing else []
    rows += [_machine(line, found, here) for line in part.lines]
    if not rows:
        rows = [_row("no machine is here")]
    return (
        f"<table>\n{_COLUMNS}<thead>\n"
        f'<tr class="name"><th colspan="2">{name}{area}</th><td colspan="3">{age}</td></tr>\n'
        f'<tr class="heads">{heads}</tr>\n</thead>\n<tbody>\n{"".join(rows)}</tbody>\n</table>\n'
    )


def _row(said: str, first: str = "", second: str = "") -> str:
    return f"<tr><td>{first}</td><td>{said}</td><td>{second}</td><td></td><td></td></tr>\n"


def _lacking(part: Part) -> str:
    said = (lacks(missing, part.place) for missing in part.missing)
    return "".join(f'<p class="stop">{text(f"{one}: bring it")}</p>' for one in said)


def _machine(line: Line, found: Sheet, here: OnPaper) -> str:
    machine = line.machine
    kind = spoken(machine.log.enrolled.kind) if machine.log.enrolled else ""
    first = f'<span class="tag">{text(machine.machine, 80)}</span><br><small>{text(kind)}</small>'
    said = "".join(f"<p{kind}>{one}</p>" for kind, one in _said(line, found, here))
    return _row(said, first, "".join(_running(line.running, here)))


def _said(line: Line, found: Sheet, here: OnPaper) -> Iterator[tuple[str, str]]:
    """Paragraphs with their class: first what forbids use, then limits, then what is owed."""
    stop, limit, owed = (f' class="{name}"' for name in ("stop", "limit", "owed"))
    if withdrawn := line.machine.log.withdrawn:
        said = f"Do not use: taken out of use {here.dated(withdrawn.at)}"
        yield stop, f"{said}{_noted(withdrawn.note)}"
    yield from ((stop, f"Do not use: {_fault(fault, here)}") for fault in line.forbidding)
    yield from ((limit, f"Limit: {_fault(fault, here)}") for fault in line.limiting)
    yield from ((limit, f"Limit: {text(one, _LONGEST)}") for one in line.limits)
    if found.doubts:
        yield "", "nobody can tell what is owed: the book is not believed"
        return
    if not line.machine.gates:
        yield "", "no gate of the rules applies to it: nobody can tell what it needs"
    for one in line.owed:
        yield owed, f'<span class="box"></span>{_owed(one, line, here)}'
    if line.machine.gates and not line.owed and not line.is_out_of_use:
        yield "", "nothing owed"


def _fault(fault: Fault, here: OnPaper) -> str:
    return f"fault {fault.seq}, open since {here.local(fault.at)}{_noted(fault.note)}"


def _noted(note: str) -> str:
    return f": “{text(note, _LONGEST)}”" if note else ""


def _owed(one: Owed, line: Line, here: OnPaper) -> str:
    check = one.state.check
    beside = [] if check.gate else ["advice"]
    if check.minutes and check.minutes.attended:
        beside.append(f"{plain(check.minutes.attended)} min")
    said = f"<strong>{text(check.title, 80)}</strong>"
    said += f" ({', '.join(beside)})" if beside else ""
    ended = what_ended(one.state, line.machine, here)
    return f"{said} {text('; '.join((ended, *_more(one, line, here))), 2 * _LONGEST)}"


def _more(one: Owed, line: Line, here: OnPaper) -> Iterator[str]:
    if engineer_needed(line.machine, one.state):
        yield "the engineer comes first"
    if other := line.done_with(one.state):
        yield f"the {inside(other.title)} does it too"
    if one.excused_until is not None:
        yield f"used by exception until {here.local(one.excused_until)}, and to be done after it"
    elif one.exception is not None:
        yield f"was used by exception {here.dated(one.exception.at)}, and that is still unpaid"


def _running(gates: Sequence[CheckState], here: OnPaper) -> Iterator[str]:
    """The gates that end together on one line; what ends on the day of the sheet stands out."""
    found: dict[Instant, list[str]] = {}
    for gate in gates:
        assert gate.window is not None, "only what runs is listed"
        found.setdefault(gate.window.expiry, []).append(text(gate.check.title, 80))
    day = end_of(here.asked, "day", here.zone)
    for end, titles in found.items():
        until = f"{here.local(end)}" if end < FOREVER else "no end by time"
        shown = f"<strong>{until}</strong>" if end <= day else until
        yield f'<p class="runs">{shown}: {", ".join(titles)}</p>'


def _foot() -> str:
    return (
        '<div class="keep small"><p>What is signed here counts when it is in the book: '
        "<code>checkwatch done</code>, or <code>checkwatch desk --typing-in</code>. Codes, no "
        f"names; nothing about patients.</p>\n<p>{text(CAUTION_NO)}</p></div>\n"
    )
