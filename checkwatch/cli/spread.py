"""Options that many commands take, written once as a named tuple, as options of each command."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from inspect import Parameter, Signature, signature
from typing import Any, get_type_hints

Command = Callable[..., None]


def spread(without: tuple[str, ...] = ()) -> Callable[[Command], Command]:
    """Makes each field of a command's named tuples, but for some, an option of the command.

    The library reads a command's options from its signature, so every --help lists them.
    """

    def spread_out(command: Command) -> Command:
        own = signature(command, eval_str=True).parameters
        bundles = {name: one.annotation for name, one in own.items() if _is_bundle(one)}

        def run(**given: Any) -> None:
            for name, bundle in bundles.items():
                fields = [field for field in bundle._fields if field in given]
                given[name] = bundle(**{field: given.pop(field) for field in fields})
            command(**given)

        # The command's own words come first in its --help.
        options = [
            option
            for one in sorted(own.values(), key=_is_bundle)
            for option in (_options(one.annotation, without) if _is_bundle(one) else [one])
        ]
        run.__name__, run.__doc__ = command.__name__, command.__doc__
        run.__signature__ = Signature(  # type: ignore[attr-defined]
            [option.replace(kind=Parameter.KEYWORD_ONLY) for option in options]
        )
        return run

    return spread_out


def _is_bundle(one: Parameter) -> bool:
    return hasattr(one.annotation, "_fields")


def _options(bundle: Any, without: tuple[str, ...]) -> Iterator[Parameter]:
    """The fields of a named tuple as parameters with their defaults."""
    hints = get_type_hints(bundle, include_extras=True)
    for field in bundle._fields:
        if field not in without:
            default = bundle._field_defaults.get(field, Parameter.empty)
            yield Parameter(field, Parameter.KEYWORD_ONLY, default=default, annotation=hints[field])
