"""What the option parser refuses, in the one form of every error: ``PART: found; allowed; try REMEDY``."""

from collections.abc import Sequence

import click

from firstglow.amplifier.mistakes import nearest

_WANTED = {"text": "colours or a code, as the part has them", "parts": "parts of the file by their names"}
_EXAMPLE = {"text": "104K", "parts": "examples/b-hazel-four.toml R1"}


def refused(error: click.ClickException) -> str:
    """The one line for an error of the command line. Errors that a verb raises itself have the form already."""
    verb = error.ctx.command_path if isinstance(error, click.UsageError) and error.ctx is not None else "firstglow"
    if isinstance(error, click.NoSuchOption):
        known = _options(error.ctx)
        near = nearest(error.option_name, known) or "--help"
        return f"{verb}: {error.option_name}: no such option here; {', '.join(known)}; try {verb} {near}"
    if isinstance(error, click.MissingParameter) and error.param is not None:
        what = _called(error.param)
        return f"{verb}: {what}: missing; {_wanted(error.param)}; try {verb} {_example(error.param)}"
    if isinstance(error, click.BadOptionUsage):
        return f"{verb}: {error.option_name}: nothing behind it; a value; try {verb} --help"
    if isinstance(error, click.BadParameter) and error.param is not None:
        return _bad(error, error.param, verb)
    text = error.format_message()
    if isinstance(error, click.UsageError) and text.startswith("No such command"):
        ctx = error.ctx
        verbs = ctx.command.list_commands(ctx) if ctx is not None and isinstance(ctx.command, click.Group) else []
        word = text.split("'")[1]
        return f"{verb}: {word}: no such command; {', '.join(verbs)}; try {verb} {nearest(word, verbs) or '--help'}"
    if isinstance(error, click.UsageError) and "unexpected extra argument" in text:
        extra = text[text.find("(") + 1 : text.rfind(")")]
        return f"{verb}: {extra}: too many words; one FILE, then options; try one file at a time"
    return f"{verb}: {text}"


def _bad(error: click.BadParameter, param: click.Parameter, verb: str) -> str:
    if isinstance(param.type, click.Choice):
        choices = [str(c) for c in param.type.choices]
        word = error.message.split("'")[1] if "'" in error.message else "?"
        near = nearest(word, choices) or str(param.default if param.default in choices else choices[0])
        return f"{verb}: {_called(param)}: {word!r}; {' or '.join(choices)}; try {_called(param)} {near}"
    return f"{verb}: {_called(param)}: {error.message.rstrip('.')}; {_wanted(param)}; try {verb} --help"


def _options(ctx: click.Context | None) -> Sequence[str]:
    """The options of the verb, as typed."""
    return [] if ctx is None else [o for p in ctx.command.get_params(ctx) for o in p.opts if o.startswith("--")]


def _called(param: click.Parameter) -> str:
    """As it is typed: an option's long spelling, an argument in capitals."""
    return param.opts[-1] if isinstance(param, click.Option) else str(param.name).upper()


def _wanted(param: click.Parameter) -> str:
    told = param.help if isinstance(param, click.Option) else _WANTED.get(str(param.name))
    return (told or "an amplifier file (TOML)").rstrip(".").replace(";", ",")


def _example(param: click.Parameter) -> str:
    if isinstance(param, click.Option):
        return f"FILE {_called(param)} {param.metavar or 'FILE'}"
    return _EXAMPLE.get(str(param.name), "examples/b-hazel-four.toml")
