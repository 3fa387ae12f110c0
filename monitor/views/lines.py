"""Lines of text for a person, wrapped to the terminal, in characters that the output can carry."""

from __future__ import annotations

import sys
import textwrap
from typing import IO, Literal

from monitor.views.words import NB, plain

WIDEST = 120  # longer lines are hard to read
SPELT = {
    NB: " ",
    "–": "-",
    "−": "-",
    "…": "...",
    "×": "x",
    "±": "+/-",
    "Ω": "Ohm",
    "°": "deg ",
    "µ": "u",
    "·": "-",
}

Weight = Literal["", "bold", "bold red", "dim"]


class Lines:
    """Writes to `file` (None: stdout), `width` columns wide (None: the terminal's, at most WIDEST)."""

    def __init__(self, file: IO[str] | None = None, width: int | None = None) -> None:
        from rich.console import Console

        out = Console(file=file or sys.stdout, width=width, highlight=False, markup=False, emoji=False)
        if width is None and out.width > WIDEST:
            out.width = WIDEST
        self.out = out
        self.width = out.width

    def line(self, text: str = "", weight: Weight = "") -> None:
        """One line as it is."""
        from rich.text import Text

        self.out.print(Text(plain(self._spelt(text)), weight), soft_wrap=True)

    def wrapped(self, text: str, indent: int = 0, label: str = "", weight: Weight = "") -> None:
        """Text in a column that begins at `indent`, the label before it; no text: the label alone."""
        room = max(self.width - indent, 20)
        for part in textwrap.wrap(self._spelt(text), room, break_on_hyphens=False) or [""]:
            self.line(f"{label:<{indent}}{part}", weight)
            label = ""

    def items(self, heading: str, texts: list[str]) -> None:
        """A heading and its texts, each begun by a dash; nothing at all for no text."""
        if not texts:
            return
        self.line()
        self.line(heading, "bold")
        for text in texts:
            self.wrapped(text, 2, "-")

    def _spelt(self, text: str) -> str:
        try:
            plain(text).encode(self.out.encoding)
        except UnicodeEncodeError:
            for sign, ascii_text in SPELT.items():
                text = text.replace(sign, ascii_text)
            text = text.encode(self.out.encoding, "replace").decode(self.out.encoding)
        return text
