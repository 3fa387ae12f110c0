"""The person before the terminal, or nobody; what they are told goes to stderr."""

from __future__ import annotations

import shutil
import textwrap

import typer

from monitor.base.errors import printable

WIDEST = 100  # as the pages; our choice


class Nobody:
    """No terminal, or --no-questions: nothing is asked, and nothing is known by asking."""

    def tell(self, text: str) -> bool:
        """Nobody does it."""
        return False

    def question(self, text: str) -> bool | None:
        """Nobody answers."""
        return None

    def note(self, text: str) -> None:
        """Say it."""
        typer.echo(_wrapped(text), err=True)


class Person(Nobody):
    """Somebody who answers."""

    def tell(self, text: str) -> bool:
        """Ask for it and wait for Enter; "s" leaves it out."""
        asked = f"\n{_wrapped(text)}\nEnter when done, s to leave it out"
        return str(typer.prompt(asked, "", show_default=False, err=True)).strip().lower() != "s"

    def question(self, text: str) -> bool | None:
        """Yes or no; Enter is no."""
        return bool(typer.confirm(f"\n{_wrapped(text)}", default=False, err=True))


def _wrapped(text: str) -> str:
    """In lines that leave room for an answer."""
    columns = max(40, min(shutil.get_terminal_size().columns, WIDEST) - 10)
    return textwrap.fill(printable(text), columns, break_on_hyphens=False)
