"""Which files are meant, what each is, and its bytes as plain UTF-8 (or ASCII-compatible) text, decompressed."""

from __future__ import annotations

import codecs
import glob
import gzip
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, Protocol

from monitor.base.errors import InputError

Kind = Literal["text", "senml", "parquet", "arrow"]

SUFFIXES = {
    ".csv", ".tsv", ".txt", ".log", ".dat", ".parquet", ".pq", ".arrow", ".ipc", ".feather",
    ".json", ".jsonl", ".ndjson", ".senml", ".sensml",
}  # fmt: skip
_HEAD = 4096  # bytes looked at to tell what a file is
_PIECE = 65536  # bytes unpacked at a time


@dataclass(frozen=True, slots=True)
class LogFile:
    """A file to read; `named` is False when it was only found in a directory."""

    path: Path
    named: bool = True

    @property
    def name(self) -> str:
        """How messages call it."""
        return str(self.path)


class Stream(Protocol):
    """Bytes of a log, decompressed and decoded."""

    def read(self, size: int) -> bytes:
        """Up to about `size` bytes; b"" at the end."""

    def position(self) -> int:
        """Bytes of the file consumed so far, as they lie on the disk."""

    def close(self) -> None:
        """Release the file."""


def expand(paths: Sequence[Path]) -> list[LogFile]:
    """Files behind files, directories and patterns, each once, in order of name within each path."""
    found: dict[Path, LogFile] = {}
    for path in paths:
        if path.is_dir():
            inside = sorted(p for p in path.iterdir() if p.is_file() and _is_log_name(p))
            if not inside:
                raise InputError(f"{path}: no logs in this directory", f"expected files ending in {_suffixes()}")
            new = [LogFile(p, named=False) for p in inside]
        elif path.exists():
            new = [LogFile(path)]
        else:
            matches = _matches(path)
            if not matches:
                what = "no file fits this pattern" if _magic(path) else "no such file"
                raise InputError(f"{path}: {what}", "check the path; ls shows what is there")
            new = [LogFile(p) for p in matches]
        for log in new:
            found.setdefault(log.path.resolve(), log)
    if not found:
        raise InputError("no log was given", "give at least one file, directory or pattern")
    return list(found.values())


def _matches(pattern: Path) -> list[Path]:
    # Path.glob takes no absolute pattern
    return sorted(p for p in map(Path, glob.glob(str(pattern))) if p.is_file())  # noqa: PTH207 - see above


def _magic(path: Path) -> bool:
    return glob.has_magic(str(path))


def _is_log_name(path: Path) -> bool:
    suffixes = [s.lower() for s in path.suffixes]
    if suffixes and suffixes[-1] in {".gz", ".zst"}:
        suffixes.pop()
    return not path.name.startswith(".") and bool(suffixes) and suffixes[-1] in SUFFIXES


def _suffixes() -> str:
    return ", ".join(sorted(SUFFIXES))


def kind_of(log: LogFile) -> Kind:
    """What the file is; raises InputError when it is empty, unreadable or binary."""
    try:
        with log.path.open("rb") as raw:
            magic = raw.read(8)
    except OSError as error:
        what = f"{log.name}: cannot be read: {error.strerror}"
        raise InputError(what, "check the path and its permissions") from None
    if not magic:
        raise InputError(f"{log.name}: empty file", "check that the log was recorded and copied whole")
    if magic[:4] == b"PAR1":
        return "parquet"
    if magic[:6] == b"ARROW1" or magic[:4] == b"\xff\xff\xff\xff":
        return "arrow"
    stream = open_stream(log)
    try:
        head = stream.read(_HEAD)
    except OSError as error:
        raise InputError(f"{log.name}: cannot be unpacked: {error}", "copy the file again from the logger") from None
    finally:
        stream.close()
    return _kind_of_text(log, head)


def _kind_of_text(log: LogFile, head: bytes) -> Kind:
    if not head.strip():
        raise InputError(f"{log.name}: empty file", "check that the log was recorded and copied whole")
    control = sum(byte < 32 and byte not in b"\t\n\r\x0c\x1b" for byte in head)
    # Our choice: a text log holds no control characters; a few may come from a disturbed line.
    if b"\0" in head[:256] or 50 * control > len(head):
        raise InputError(
            f"{log.name}: binary data; expected a delimited text, Parquet, Arrow or SenML log",
            "export the log as text (CSV) with the logger's own software",
        )
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    is_pack = start[:1] == b"[" and start[1:].lstrip()[:1] in {b"{", b"]"}
    return "senml" if is_pack or start[:1] == b"{" else "text"


def open_stream(log: LogFile) -> Stream:
    """The bytes of a text log: gzip and zstd unpacked, UTF-16 turned into UTF-8, a byte order mark taken off."""
    with log.path.open("rb") as raw:
        magic = raw.read(4)
    stream: Stream
    if magic[:2] == b"\x1f\x8b":
        stream = _Packed(log.path, "gzip")
    elif magic == b"\x28\xb5\x2f\xfd":
        stream = _Packed(log.path, "zstd")
    else:
        stream = _Plain(log.path)
    return _Decoded(stream)


class _Plain:
    def __init__(self, path: Path) -> None:
        self._file = path.open("rb", buffering=0)
        self._seen = 0

    def read(self, size: int) -> bytes:
        data = self._file.read(size) or b""
        self._seen += len(data)
        return data

    def position(self) -> int:
        return self._seen

    def close(self) -> None:
        self._file.close()


class _Packed:
    """Unpacks as far as the data go: what precedes a cut or damage is given before the error is raised."""

    def __init__(self, path: Path, codec: Literal["gzip", "zstd"]) -> None:
        self._raw: Any = path.open("rb")
        if codec == "gzip":
            # the standard module gives what it has before it complains; pyarrow's reader loses it
            self._some: Callable[[int], bytes] = gzip.GzipFile(fileobj=self._raw).read1
        else:
            import pyarrow as pa

            self._some = pa.CompressedInputStream(pa.PythonFile(self._raw, mode="r"), codec).read
        self._error: OSError | None = None
        self._seen = 0

    def read(self, size: int) -> bytes:
        parts: list[bytes] = []
        missing = size
        while missing > 0 and self._error is None:
            try:
                part = self._some(min(missing, _PIECE))
            except (OSError, EOFError, ValueError, zlib.error) as error:
                self._error = OSError(str(error))
                break
            if not part:
                break
            parts.append(part)
            missing -= len(part)
        if not parts and self._error is not None:
            raise self._error
        self._seen = int(self._raw.tell())
        return b"".join(parts)

    def position(self) -> int:
        return self._seen

    def close(self) -> None:
        self._raw.close()


class _Decoded:
    """Turns UTF-16 into UTF-8 and drops a byte order mark; passes anything else through."""

    def __init__(self, stream: Stream) -> None:
        self._stream = stream
        self._decoder: codecs.IncrementalDecoder | None = None
        self._started = False

    def read(self, size: int) -> bytes:
        data = self._stream.read(size)
        if not self._started and data:
            self._started = True
            encoding = _encoding(data)
            if encoding is not None:
                self._decoder = codecs.getincrementaldecoder(encoding)(errors="replace")
            elif data.startswith(codecs.BOM_UTF8):
                data = data[3:] or self._stream.read(size)
        if self._decoder is None:
            return data
        text = self._decoder.decode(data, final=not data)
        while data and not text:  # half a character only
            data = self._stream.read(size)
            text = self._decoder.decode(data, final=not data)
        return text.encode()

    def position(self) -> int:
        return self._stream.position()

    def close(self) -> None:
        self._stream.close()


def _encoding(head: bytes) -> str | None:
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    sample = head[:256]
    if len(sample) >= 8 and b"\0" in sample:  # mostly ASCII in 16-bit units: every other byte is 0
        even, odd = sample[::2].count(0), sample[1::2].count(0)
        if odd > 0.8 * len(sample) / 2 and even == 0:
            return "utf-16-le"
        if even > 0.8 * len(sample) / 2 and odd == 0:
            return "utf-16-be"
    return None
