"""The person before the terminal, or nobody; what they are told goes to stderr."""

from __future__ import annotations

import time

import typer

GIVEN_S = 15.0  # to do what is asked where no answer is waited for; our choice


class Nobody:
    """No terminal and no --yes: nothing is asked, and nothing is known by asking."""

    def tell(self, text: str) -> bool:
        """Nobody does it."""
        return False

    def question(self, text: str) -> bool | None:
        """Nobody answers."""
        return None

    def note(self, text: str) -> None:
        """Say it."""
        typer.echo(text, err=True)


class Person(Nobody):
    """Somebody who answers."""

    def tell(self, text: str) -> bool:
        """Ask for it and wait for Enter; "s" leaves it out."""
        answer = typer.prompt(f"{text} Then press Enter (s: leave out)", default="", show_default=False, err=True)
        return str(answer).strip().lower() != "s"

    def question(self, text: str) -> bool | None:
        """Yes or no."""
        return bool(typer.confirm(text, default=False, err=True))


class Waiting(Nobody):
    """Somebody who does as told, and cannot answer."""

    def tell(self, text: str) -> bool:
        """Say it and give the time for it."""
        typer.echo(f"{text} You have {GIVEN_S:.0f} s.", err=True)
        time.sleep(GIVEN_S)
        return True

    def question(self, text: str) -> bool | None:
        """A test notice may be sent; whether it arrived, and whether the current is off, is not known."""
        typer.echo(f"{text} (--yes)", err=True)
        return True if text.startswith("Send") else None
