"""JSON text → the records in it, one at a time and in bounded memory: packs, streams, and one record or pack a line."""

from __future__ import annotations

import codecs
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from monitor.sources.files import Stream

_READ = 1 << 18
_LONGEST_RECORD = 1 << 20  # characters; our choice: nothing longer is a reading


@dataclass(frozen=True, slots=True)
class Item:
    """A piece of a SenML text: a record, or the begin or end of a pack, or what is neither.

    what  "record", "begin", "end", "bad" or "cut"
    """

    what: Literal["record", "begin", "end", "bad", "cut"]
    line: int
    text: str
    value: dict[str, Any] | None = None


def items(stream: Stream) -> Iterator[Item]:
    """The pieces of a SenML text, in bounded memory."""
    decoder = json.JSONDecoder()
    decode = codecs.getincrementaldecoder("utf-8")(errors="replace").decode
    text, at, line, more = "", 0, 1, True
    broken: str | None = None
    while True:
        while at < len(text) and text[at] in " \t\r\n,":
            line += text[at] == "\n"
            at += 1
        if at < len(text) and text[at] in "[]":
            yield Item("begin" if text[at] == "[" else "end", line, text[at])
            at += 1
            continue
        if at < len(text) and (found := _object(decoder, text, at)) is not None:
            value, end = found
            yield Item("record", line, text[at : min(end, at + 200)], value)
            line += text.count("\n", at, end)
            at = end
            continue
        stuck = len(text) - at > _LONGEST_RECORD or ("\n" in text[at:] and _is_bad_line(text, at))
        if more and not stuck:
            try:
                data = stream.read(_READ)
            except OSError as error:
                data, broken = b"", str(error)
            more = bool(data)
            text, at = text[at:] + decode(data, not more), 0
            continue
        if at >= len(text):
            break
        end = text.find("\n", at)
        yield Item("bad" if end >= 0 else "cut", line, text[at : at + 200].split("\n")[0])
        if end < 0:
            break
        at = end
    if broken is not None:
        yield Item("cut", line, broken)


def _object(decoder: json.JSONDecoder, text: str, at: int) -> tuple[dict[str, Any], int] | None:
    try:
        value, end = decoder.raw_decode(text, at)
    except (ValueError, RecursionError):
        return None
    return (value, end) if isinstance(value, dict) else None


def _is_bad_line(text: str, at: int) -> bool:
    """Whether what stands here cannot become a record by reading on: it is no object, or the next line begins one."""
    if text[at] != "{":
        return True
    below = text[text.find("\n", at) :].lstrip()
    return below[:1] == "{" or below[:1] == "["
