"""How commands speak: progress on standard error, answers on standard output, quiet and JSON modes."""

from __future__ import annotations

import os
import shutil
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rich.console import Console

EVERY = 5.0  # between lines off a terminal on how far a stage has come [s]
_VOICE = "eavewright.voice"  # key of click's context: "text", "quiet" or "json"


class Spoken(click.Command):
    """A command with --quiet and --json."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.params += [
            click.Option(
                ["--quiet"],
                is_flag=True,
                expose_value=False,
                callback=_take("quiet"),
                help="Print nothing but errors; the exit code tells.",
            )
        ]
        if any(param.name == "out" for param in self.params):
            self.params += [
                click.Option(
                    ["--json"],
                    is_flag=True,
                    expose_value=False,
                    callback=_take("json"),
                    help="Print the written data as JSON, and nothing else.",
                )
            ]


class Commands(click.Group):
    """A group whose commands can be quiet or speak JSON."""

    command_class = Spoken


def _take(voice: str) -> Any:
    def callback(context: click.Context, option: click.Parameter, wanted: bool) -> None:
        if wanted:
            context.meta[_VOICE] = voice

    return callback


def voice() -> str:
    """How the command that runs is to speak: "text", "quiet" or "json"."""
    context = click.get_current_context(silent=True)
    return "text" if context is None else str(context.meta.get(_VOICE, "text"))


def console() -> Console:
    """Where a command prints its answer; nowhere if it is to be quiet or to speak JSON."""
    from rich.console import Console

    class Terminal(Console):
        """A console whose reader may leave; the exit code 1 of rich would mean a limit exceeded."""

        def on_broken_pipe(self) -> None:
            raise BrokenPipeError

    return Terminal(soft_wrap=False, markup=False, quiet=voice() != "text")


def print_json(path: Path) -> None:
    """Print a written file if the command is to speak JSON."""
    if voice() == "json":
        click.echo(path.read_text(encoding="utf-8"), nl=False)


def notice(text: str) -> None:
    """A line on standard error beside the answer, such as why there is no picture."""
    if voice() != "quiet":
        click.echo(text, err=True)


def complain(message: str) -> None:
    """The one line on standard error that says what is wrong."""
    line = "".join(c if c.isprintable() else "?" for c in " ".join(message.split()))
    click.echo(f"eavewright: {line.rstrip('.')}", err=True)


def named(context: click.Context, option: click.Parameter, value: str) -> Path:
    """The path of an option, which must not be empty."""
    if not value.strip():
        message = "an empty name; give a folder or file"
        raise click.BadParameter(message)
    return Path(value)


class Stages:
    """Says on standard error what is going on, once a command has taken more than a second.

    Off a terminal nothing is said before the input is known to be good, as a refusal is one line.
    """

    def __init__(self) -> None:
        self._begun = self._said = time.monotonic()
        self._status: object | None = None
        self._silent = voice() == "quiet"
        self._terminal = sys.stderr.isatty() and not self._silent and os.environ.get("TERM") != "dumb"
        self._accepted = False

    def __enter__(self) -> Stages:
        return self

    def __exit__(self, *exc: object) -> None:
        if self._terminal and self._status is not None:
            click.echo("\r\x1b[K", nl=False, err=True)

    def accept(self) -> None:
        """From now on nothing can be refused."""
        self._accepted = True

    def step(self, text: str) -> None:
        """Say how far a stage has come; off a terminal now and then, as a line each."""
        if self._terminal or time.monotonic() - self._said > EVERY:
            self.show(text)

    def show(self, text: str) -> None:
        """Announce a stage; off a terminal only once accepted, and quiet during the first second."""
        if self._terminal:
            self._status = text
            room = shutil.get_terminal_size().columns - 5  # a line that wraps cannot be wiped
            click.echo(f"\r\x1b[K{text[:room]} ...", nl=False, err=True)
        elif self._accepted and not self._silent and time.monotonic() - self._begun > 1.0:
            self._said = time.monotonic()
            click.echo(f"{text} ...", err=True)
