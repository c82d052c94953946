"""What somebody replies before a check's first question: who they are, and whether to begin."""

from __future__ import annotations

from checkwatch.answers.people import mistakes_in_code
from checkwatch.answers.steps import typed
from checkwatch.cli import ask
from checkwatch.errors import Problem, WrongUse


def own_code() -> str:
    """The code of who is there; raises WrongUse where nobody can be asked."""
    if not ask.somebody():
        raise WrongUse(Problem("--by", "is missing", "add --by WHO, your code"))
    while True:
        who = ask.line("Your code (no name) > ")
        if who in ("", "?"):
            ask.say("Type your code: one word, like your initials. Ctrl-C leaves.")
            continue
        wrong = mistakes_in_code(who, "")
        if not wrong:
            return who
        for problem in wrong:
            ask.say(sentence(str(problem)))


def sentence(text: str) -> str:
    """A refusal of ours as a sentence; not for one that begins with what somebody typed."""
    return f"{text[:1].upper()}{text[1:]}."


def chosen(prompt: str, explained: str) -> str:
    """yes, no or stop; raises KeyboardInterrupt for q, before which nothing was written."""
    while True:
        text = ask.line(f"{prompt} yes / no > ").lower()
        if text in ("q", "quit"):
            ask.say("Left: nothing was written now.")
            raise KeyboardInterrupt
        if text == typed.STOP:
            return text
        if text == "?":
            ask.say(explained)
            continue
        try:
            return "yes" if typed.yes_or_no(text) else "no"
        except typed.Refused as refused:
            ask.say(sentence(str(refused)))
