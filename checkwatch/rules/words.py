"""A rulebook in plain sentences, for those who answer for it and read no TOML."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import tzinfo
from textwrap import fill

from checkwatch.answers.least_work import readies
from checkwatch.core.entry import Outcome
from checkwatch.core.rulebook import (
    Check,
    Doubted,
    DutySpan,
    ForUse,
    Item,
    Measure,
    PlaceKind,
    Role,
    Rulebook,
    Step,
    UntilExpiry,
    UntilNext,
    ValidFor,
    Validity,
)
from checkwatch.core.wording import NOUNS, WEEKDAYS, inside, listed, plural, spoken
from checkwatch.rules.phrase import UNASKED, date_of, length, recurrence, voider
from checkwatch.rules.spans import longest_span, over_from

_WIDTH = 79

_CAUTION = (
    "A recorded check is not proof that a machine is safe: the person who uses it checks it and "
    "decides. The maker's instructions, local policy and licensed engineers come first."
)


def in_words(rulebook: Rulebook) -> str:
    """The whole rulebook, at most 79 columns wide: each check, then the places, the items and the
    people."""
    blocks = [_head(rulebook)]
    blocks += ["\n".join(_check(check, rulebook)) for check in rulebook.checks.values()]
    if rulebook.place_kinds:
        kinds = map(_place_kind, rulebook.place_kinds.values())
        blocks.append("\n".join(["Places", *kinds]))
    if rulebook.items:
        items = (_paragraph(_item(item, rulebook)) for item in rulebook.items)
        blocks.append("\n".join(["Items", *items]))
    if people := [*_people(rulebook)]:
        blocks.append("\n".join(["People", *map(_paragraph, people)]))
    return "\n\n".join([*blocks, fill(_CAUTION, _WIDTH)])


def rule_in_words(check: Check, rulebook: Rulebook) -> str:
    """How long a pass of one check lasts and what ends it early, in one or two sentences."""
    early = [voider(word, rulebook) for word in check.voided_by]
    early += [
        UNASKED[word] for word in UNASKED if word in check.voided_unasked - {*check.voided_by}
    ]
    if not early:
        return _lasting(check)
    return f"{_lasting(check)} Ended early by: {'; '.join(early)}."


def _head(rulebook: Rulebook) -> str:
    longest = f"An exception lasts at most {length(rulebook.longest_exception)}."
    if not rulebook.longest_exception:
        longest = "No exception is possible."
    general = (
        f"Times are those of {rulebook.zone.key}. {longest} A happening that these rules do not "
        "know ends every pass of its machine."
    )
    return f"{fill(rulebook.title, _WIDTH)}\n\n{fill(general, _WIDTH)}"


def _check(check: Check, rulebook: Rulebook) -> Iterator[str]:
    """The lines of one check."""
    yield fill(f"{check.title} ({check.code})", _WIDTH)
    sentences = [
        _what(check),
        _lasting(check),
        _longest(check, rulebook.zone),
        *_ended_early(check, rulebook),
        *_covers(check, rulebook),
        _after_fail(check),
        _minutes(check),
    ]
    yield from (_paragraph(sentence) for sentence in sentences)
    yield from _list("Measures", (_measure(measure) for measure in check.measures.values()))
    yield from _list("Cautions", check.cautions)
    if check.steps:
        yield "  Steps:"
    for number, step in enumerate(check.steps, 1):
        after = "After the run: " if step.after_run else ""
        yield _paragraph(f"{number}. {after}{step.say}", 4, 7)
        for label, text in _about_step(step):
            if text:
                yield _paragraph(f"{label}: {text}", 7, 9)


def _about_step(step: Step) -> Iterator[tuple[str, str]]:
    yield "Caution", step.caution
    yield "Expected", step.expect
    yield "At length", step.more
    yield "Number", f"{spoken(step.measure)}." if step.measure else ""
    yield "After a no try", step.remedy
    yield "A no", _ON_NO.get(step.on_no, "")
    yield "To be put right afterwards", step.put_back
    yield "Where it does not apply", "say why." if step.may_skip else ""


#: What a no makes of a check, where it is not a fail as usual.
_ON_NO = {
    Outcome.LIMITED: "makes it at least limited.",
    Outcome.STOPPED: "breaks it off.",
}


def _paragraph(text: str, indent: int = 2, hanging: int = 4) -> str:
    return fill(text, _WIDTH, initial_indent=" " * indent, subsequent_indent=" " * hanging)


def _list(heading: str, items: Iterable[str]) -> Iterator[str]:
    lines = [_paragraph(f"- {item}", 4, 6) for item in items]
    yield from [f"  {heading}:", *lines] if lines else []


def _what(check: Check) -> str:
    kinds = listed((spoken(kind) for kind in check.kinds), "and every")
    models = f", of the models {listed(check.models)} only" if check.models else ""
    if check.gate:
        return f"A gate for every {kinds}{models}: without it the machine is not cleared."
    return f"Advisory, for every {kinds}{models}: it is owed; a fail limits, a lapse does not."


def _lasting(check: Check) -> str:
    clauses = ["; ".join(_clause(clause)) for clause in check.validity]
    if not clauses:
        return "A pass does not end by time."
    if len(clauses) == 1:
        return f"A pass lasts {clauses[0]}."
    counted = "; ".join(f"({number}) {clause}" for number, clause in enumerate(clauses, 1))
    return f"A pass lasts as the shortest of these says: {counted}."


def _clause(clause: Validity) -> Iterator[str]:
    """How long a pass lasts by one clause, then what else the clause says."""
    if isinstance(clause, ForUse):
        yield from _by_use(clause)
        return
    if isinstance(clause, ValidFor):
        yield from _by_time(clause)
    elif isinstance(clause, UntilNext):
        yield f"until the next of these times: {recurrence(clause)}{_rounded(clause)}"
        if clause.early:
            yield f"done within {length(clause.early)} before one, it lasts until the one after"
    elif isinstance(clause, UntilExpiry):
        fitted = f"what was fitted at the last {spoken(clause.happening)}"
        yield f"until the end of the last day on which {fitted} is good, as its label says"
        yield "it lasts no time where no label was read"
    else:
        yield f"until the end of the next calendar {clause.unit}, from whose start it is due"
    if clause.warn_before:
        yield f"it is due from {length(clause.warn_before)} before"
    if not isinstance(clause, UntilExpiry) and clause.late:
        yield f"then it is in grace for {length(clause.late)}, and still counts"


def _by_time(clause: ValidFor) -> Iterator[str]:
    yield f"{length(clause.lasts)}{_rounded(clause)}"
    if clause.from_due:
        around = [
            f"up to {length(around)} {word}"
            for around, word in ((clause.early, "before"), (clause.late, "after"))
            if around
        ]
        when = f"{listed(around, 'or')} its due time" if around else "just at its due time"
        yield f"done {when}, it keeps its schedule: counted from that time"


def _rounded(clause: ValidFor | UntilNext) -> str:
    unit = clause.round_up_to
    return f", and on to the end of the calendar {unit} in which that falls" if unit else ""


def _by_use(clause: ForUse) -> Iterator[str]:
    meter = spoken(clause.meter)
    yield f"until the meter of {meter} has advanced by {clause.amount}"
    if clause.from_due:
        yield (
            f"done from {clause.early} before to {clause.late} after its due number, it keeps its "
            "schedule: counted from that number"
        )
    if clause.warn_before:
        yield f"it is due from {clause.warn_before} before"
    if clause.late:
        yield f"then it is in grace for {clause.late}, and still counts"
    yield f"it lapses when the meter was not read for {length(clause.reading_within)}"


def _longest(check: Check, zone: tzinfo) -> str:
    spans = [span for clause in check.validity if (span := longest_span(clause)) is not None]
    if not spans:
        return "So there is no longest time for which a pass can last."
    longest = length(min(spans, key=lambda span: span.longest))
    over = [end for clause in check.validity if (end := over_from(clause, zone)) is not None]
    none = f" From {date_of(min(over))} on no pass lasts at all." if over else ""
    return f"So no pass lasts longer than {longest}.{none}"


def _ended_early(check: Check, rulebook: Rulebook) -> Iterator[str]:
    if check.voided_by:
        words = "; ".join(voider(word, rulebook) for word in check.voided_by)
        yield f"It is ended early by: {words}."
    elif not check.gate:
        yield "Nothing that happens to the machine ends it early."
    unasked = [UNASKED[w] for w in UNASKED if w in check.voided_unasked - {*check.voided_by}]
    if unasked:
        yield f"As every gate it is also ended by: {'; '.join(unasked)}."
    if check.survives:
        yield f"It survives: {'; '.join(UNASKED[word] for word in check.survives)}."


def _covers(check: Check, rulebook: Rulebook) -> Iterator[str]:
    """What else a pass of it counts for, also through what it covers; not where it lacks a measure
    that the other requires."""
    ready = readies(check, rulebook)
    others = [
        inside(other.title)
        for code, other in rulebook.checks.items()
        if code != check.code and code in ready
    ]
    if others:
        yield f"It counts also as: {'; '.join(others)}."


def _after_fail(check: Check) -> str:
    if check.engineer_after_fail:
        return (
            "After a fail the engineer must act: a repeat counts only once the machine was "
            "returned to use or a fault of it closed."
        )
    return "After a fail it may be repeated, and a pass counts."


def _minutes(check: Check) -> str:
    minutes = check.minutes
    if minutes is None:
        return "How many minutes it takes is not given."
    attended = plural(minutes.attended, "attended minute")
    if minutes.watched:
        attended += f" ({minutes.hands_on} hands on, {minutes.watched} watching it start)"
    alone = f", then {plural(minutes.alone, 'unattended minute')}" if minutes.alone else ""
    return f"It takes {attended}{alone}."


def _measure(measure: Measure) -> str:
    needed = "needed" if measure.required else "may be left out"
    limits = [
        f"{outcome} {side} {limit}"
        for outcome, side, limit in (
            ("limited", "above", measure.limited_above),
            ("limited", "below", measure.limited_below),
            ("fail", "above", measure.fail_above),
            ("fail", "below", measure.fail_below),
        )
        if limit is not None
    ]
    if measure.believable:
        limits.append("believable from {} to {}".format(*measure.believable))
    said = f": {'; '.join(limits)}" if limits else ": no limits"
    return f"{spoken(measure.code)} in {measure.unit} ({needed}){said}"


#: What becomes of a gate's result, as a rulebook says it.
_DOUBTED: dict[Doubted, str] = {
    "counts": "counts as any other",
    "flagged": "counts, and carries a flag wherever it is shown",
    "stopped": "is written with a flag, and counts as broken off",
    "refused": "is not taken, unless it is a fail or broken off",
}


def _people(rulebook: Rulebook) -> Iterator[str]:
    """Who may write what, whose results count, and what a PIN stands for; nothing where everybody
    may write everything."""
    acts: dict[tuple[Role, ...], list[str]] = {}
    for word in dict.fromkeys(word for role in rulebook.roles.values() for word in role.may):
        acts.setdefault(rulebook.roles_for(word), []).append(_act(word, rulebook))
    for roles, words in acts.items():
        who = listed((f"{inside(role.title)} ({role.code})" for role in roles), "or")
        yield f"Only with the role of {who}: {'; '.join(words)}."
    if (rulebook.untrained, rulebook.unknown_person) != ("counts", "counts"):
        known = "by somebody who is not trained on that kind of machine"
        yield f"A gate's result {known} {_DOUBTED[rulebook.untrained]}."
        yield f"One by somebody whom the book does not know {_DOUBTED[rulebook.unknown_person]}."
    for word, meaning in rulebook.signatures.items():
        yield f'Only with a PIN: {_act(word, rulebook)}. It stands for "{meaning}".'


def _act(word: str, rulebook: Rulebook) -> str:
    """What somebody writes, as a noun."""
    if word in rulebook.checks:
        return f"a pass or limited result of {inside(rulebook.checks[word].title)}"
    return _ACTS.get(word) or NOUNS[word]


#: What a role may be needed for, where it is nothing that ends a pass.
_ACTS = {
    "restore": "a striking that takes away what an entry cost, too",
    "adopt": "the adoption of rules",
    "reading": "the reading of a meter",
    "retired": "a retirement",
}


def _place_kind(kind: PlaceKind) -> str:
    counted = dict.fromkeys(kind.needs)
    needs = listed(plural(kind.needs.count(need), spoken(need)) for need in counted)
    needed = f"needs {needs}" if needs else "needs no machine, so it has no standing"
    if kind.duty == "always":
        duty = "always on duty"
    elif kind.duty == "none":
        duty = "never on duty, so nothing in it is overdue"
    else:
        duty = f"on duty {'; '.join(_span(span) for span in kind.duty)}"
    return _paragraph(f"{spoken(kind.code)}: {needed}; {duty}.")


def _item(item: Item, rulebook: Rulebook) -> str:
    happening = f'"{rulebook.happenings[item.happening]}" ({item.happening})'
    return f"{item.title}, GTIN {listed(item.gtins, 'or')}: its fitting is {happening}."


def _span(span: DutySpan) -> str:
    days = listed(WEEKDAYS[day][:3] for day in sorted(span.days))
    if span.start == span.end:
        return f"{days} all day"
    after = " of the day after" if span.end < span.start else ""
    return f"{days} {span.start:%H:%M} to {span.end:%H:%M}{after}"
