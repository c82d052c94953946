"""What the command line's library refuses by itself, told as every other refusal: where, what is
wrong, and what to type instead, as a whole line wherever one can be made of what was typed."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from typing import Any

from typer import Abort
from typer._click import exceptions as library

from checkwatch import errors
from checkwatch.cli.app import app_for
from checkwatch.core.mistake import cut, quoted
from checkwatch.errors import Problem, WrongUse
from checkwatch.views.words import listed

#: What to type for the placeholder of a value, where no name or word of one's own belongs there.
_TYPED = {
    "T": "'yesterday 06:50'",
    "D": "PT8H",
    "MACHINE stop-use|limit": "MACHINE limit",
}


def run(words: Sequence[str]) -> int:
    """Runs one command; its exit code. Raises WrongUse for what the library refuses."""
    try:
        code = app_for(words)(args=list(words), standalone_mode=False)
    except library.NoArgsIsHelpError as error:
        error.show()
        return errors.WRONG_USE
    except library.ClickException as error:
        raise WrongUse(_problem(error, words)) from None
    except Abort:
        raise KeyboardInterrupt from None
    return code if isinstance(code, int) else errors.YES


def _problem(error: library.ClickException, words: Sequence[str]) -> Problem:
    ctx = getattr(error, "ctx", None)
    if isinstance(error, library.BadOptionUsage):
        return _value_of_option(error.option_name, words)
    if ctx is None:
        return Problem("", error.format_message(), "see `checkwatch --help`")
    if isinstance(error, library.NoSuchOption):
        return _no_such_option(error.option_name, ctx)
    if isinstance(error, library.MissingParameter):
        return _missing(error, ctx, words)
    if isinstance(error, library.BadParameter) and error.param is not None:
        return _wrong_value(error, ctx, words)
    if hasattr(ctx.command, "commands"):
        return _no_such_command(ctx, words)
    return _too_many(ctx, words)


def _line(words: Iterable[str], more: str = "") -> str:
    """A command line to type; `more` is added as it stands."""
    return f"`{' '.join(filter(None, ['checkwatch', shlex.join(words), more]))}`"


def _help(ctx: Any) -> str:
    return f"see {_line(_path(ctx), '--help')}"


def _path(ctx: Any) -> list[str]:
    """The command's words, without the program's."""
    return [] if ctx.parent is None else [*_path(ctx.parent), ctx.info_name]


def _read(ctx: Any, words: Sequence[str]) -> tuple[dict[str, Any], list[str]]:
    """What was typed for each parameter of a command, and the words that are left."""
    if ctx.parent is not None:
        _, (_, *words) = _read(ctx.parent, words)
    given, left, _ = ctx.command.make_parser(ctx).parse_args(args=list(words))
    return given, left


def _named(param: Any) -> str:
    """What a person calls a parameter: the option as it is typed, or the argument's placeholder."""
    return str(param.opts[0]) if param.param_type_name == "option" else _placeholder(param)


def _placeholder(param: Any) -> str:
    return str(param.metavar or param.name.upper()).strip("[]")


def _asked(param: Any) -> str:
    """A parameter in a line to type."""
    value = _TYPED.get(_placeholder(param), _placeholder(param))
    return f"{param.opts[0]} {value}" if param.param_type_name == "option" else value


def _allowed(param: Any) -> list[str]:
    """The words that a parameter may be, empty where it may be any."""
    return [str(getattr(one, "value", one)) for one in getattr(param.type, "choices", ())]


def _missing(error: library.MissingParameter, ctx: Any, words: Sequence[str]) -> Problem:
    """All that is missing at once, so that nobody finds it out one by one."""
    given, _ = _read(ctx, words)
    missing = [one for one in ctx.command.params if one.required and not given.get(one.name)]
    missing = missing or [error.param]
    what = "is missing" if len(missing) == 1 else "are missing"
    remedy = f"type {_line(words, ' '.join(_asked(one) for one in missing))}"
    for one in missing:
        if allowed := _allowed(one):
            remedy += f"; {_named(one)} is {listed(allowed, 'or')}"
    return Problem(listed(_named(one) for one in missing), what, remedy)


def _wrong_value(error: library.BadParameter, ctx: Any, words: Sequence[str]) -> Problem:
    assert error.param is not None
    param, allowed = error.param, _allowed(error.param)
    typed = str(_read(ctx, words)[0].get(str(param.name)))
    blank = _line(_instead(words, typed, _placeholder(param)))
    if not allowed:
        # Of all values only the numbers of entries are read by the library.
        what = f"{quoted(typed)} is no number of an entry"
        return Problem(_named(param), what, f"type {blank}; `checkwatch log MACHINE` numbers them")
    what = f"{quoted(typed)} is not {listed(allowed, 'or')}"
    near = get_close_matches(cut(typed), allowed, 1)
    if near:
        meant = _line(_instead(words, typed, near[0]))
        return Problem(_named(param), what, f"did you mean {meant}?")
    return Problem(_named(param), what, f"type {blank} with one of these")


def _instead(words: Sequence[str], typed: str, meant: str) -> list[str]:
    """The words with one of them written as it was meant: the last, for a name may be the same."""
    found = list(words)
    for position in range(len(found) - 1, -1, -1):
        option, equals, value = found[position].partition("=")
        if found[position] == typed:
            found[position] = meant
            return found
        if equals and value == typed and option.startswith("--"):
            found[position] = f"{option}={meant}"
            return found
    return found


def _value_of_option(option: str, words: Sequence[str]) -> Problem:
    """An option without the value that it takes, or with one though it takes none."""
    with_value = [one for one in words if one.startswith(f"{option}=")]
    if with_value:
        line = _line([option if one in with_value else one for one in words])
        return Problem(option, "takes no value", f"type {line}")
    return Problem(option, "lacks its value", f"type {_line(words, 'VALUE')}, or leave it out")


def _no_such_option(option: str, ctx: Any) -> Problem:
    there = [name for one in ctx.command.params for name in one.opts if name.startswith("--")]
    near = get_close_matches(cut(option), there, 1)
    meant = f"did you mean {near[0]}? " if near else ""
    what = f"{_line(_path(ctx))} has no such option"
    return Problem(option, what, f"{meant}{_help(ctx)}")


#: Words of the book that are commands in no other way than behind `happened`.
_CASES = ("case-start", "case-end")


def _no_such_command(ctx: Any, words: Sequence[str]) -> Problem:
    _, left = _read(ctx, words)
    if not left:
        return Problem(_line(words), "which command is meant is not said", _help(ctx))
    near = get_close_matches(cut(left[0]), list(ctx.command.commands), 1)
    meant = f"did you mean {_line([*_path(ctx), near[0]])}? " if near else ""
    if ctx.parent is None and left[0] in _CASES:
        meant = f"type {_line(['happened', *(left[1:2] or ['MACHINE']), left[0]])}; "
    return Problem(left[0], "there is no such command", f"{meant}{_help(ctx)}")


def _too_many(ctx: Any, words: Sequence[str]) -> Problem:
    """More words than a command takes: as often as not a name of several words."""
    given, left = _read(ctx, words)
    takes = [one for one in ctx.command.params if one.param_type_name == "argument"]
    many = "is" if len(left) == 1 else "are"
    what = f"{many} more than {_line(_path(ctx))} takes"
    name = [str(given.get(takes[-1].name)) if takes else "", *left]
    starts = [n for n in range(len(words)) if [*words[n : n + len(name)]] == name]
    if not starts or _allowed(takes[-1]):
        line = _line(_path(ctx), " ".join(_asked(one) for one in takes))
        return Problem(" ".join(left), what, f"type {line}")
    line = _line([*words[: starts[-1]], " ".join(name), *words[starts[-1] + len(name) :]])
    return Problem(" ".join(left), what, f"put quotes round a name of several words: {line}")
