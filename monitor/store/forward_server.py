"""One attempt to write lines to a database server, through influxdb-client, and what its answer means.

Never its batching mode, which drops data after its retries; and no question after the server's health beforehand: the
write itself is the question.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol
from urllib.parse import urlsplit

from monitor.base.errors import printable
from monitor.base.secrets import reveal, without
from monitor.base.tables.database import DatabaseTable
from monitor.store.lines import body

Meaning = Literal[
    "accepted",
    "refused",  # these lines, as they are: the server will never take them
    "too_large",  # fewer lines may pass
    "busy",  # the server asks for time, or fails for now
    "unreachable",  # no answer
    "denied",  # token, bucket, certificate or address are wrong: a person must mend it
]

REASON_KEPT = 300  # characters of a server's words; our choice
LONGEST_RETRY_AFTER_S = 3600.0  # our choice: a server that asks for more is asked again all the same
MEANING: dict[int, Meaning] = {
    400: "refused",
    422: "refused",
    413: "too_large",
    408: "busy",
    425: "busy",
    429: "busy",
}  # all other 4xx and 3xx are of the address, the token or the bucket: denied; 5xx: busy


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of one attempt; `reason` in the server's words, without secrets; `wait_s`: asked for by the server."""

    meaning: Meaning
    reason: str = ""
    wait_s: float = 0.0


class Server(Protocol):
    """Where lines go."""

    name: str

    def write(self, lines: Sequence[str]) -> Answer:
        """One attempt; never raises for what a server or a network does."""

    def close(self) -> None:
        """Let go of the connection."""


class DatabaseServer:
    """The server of a [database] table. Raises SettingError when the token is not where the table says."""

    def __init__(self, table: DatabaseTable) -> None:
        import influxdb_client  # imported here: it costs 215 ms
        from influxdb_client.client.write_api import SYNCHRONOUS

        client: Any = influxdb_client  # typed in parts only

        self.table = table
        self.name = urlsplit(table.url).netloc
        self._token = reveal(table.token) if table.token else ""
        self._hiding = _Hiding(self._token)
        logging.getLogger().addFilter(self._hiding)
        if table.verify == "off":
            import urllib3

            urllib3.disable_warnings(urllib3.exceptions.InsecureRequestWarning)  # asked for by name
        self._client = client.InfluxDBClient(
            table.url.rstrip("/"),
            self._token or None,
            org=table.org,
            enable_gzip=table.compress,
            timeout=round(table.timeout_s * 1000),
            verify_ssl=table.verify != "off",
            ssl_ca_cert=table.verify if "/" in table.verify else None,
        )
        self._write = self._client.write_api(write_options=SYNCHRONOUS)

    def write(self, lines: Sequence[str]) -> Answer:
        """One attempt with these lines."""
        import urllib3
        from influxdb_client.rest import ApiException

        try:
            self._write.write(self.table.bucket, self.table.org, body(lines), write_precision="us")
        except ApiException as answer:
            return self._answered(answer)
        except (urllib3.exceptions.HTTPError, OSError) as wrong:
            return Answer("unreachable", self._said(f"{self.name}: {wrong}"))
        return Answer("accepted")

    def close(self) -> None:
        """Let go of the connection."""
        self._write.close()
        self._client.close()
        logging.getLogger().removeFilter(self._hiding)

    def _answered(self, answer: Any) -> Answer:
        status = int(answer.status or 0)
        if not status:  # the client's word for a failed TLS handshake
            return Answer("denied", self._said(f"{self.name} does not prove who it is: {answer.reason}"))
        meaning = MEANING.get(status, "busy" if status >= 500 else "denied")
        return Answer(meaning, self._said(f"{self.name} answered {status}: {_words(answer)}"), _wait_s(answer))

    def _said(self, text: str) -> str:
        return printable(without(text, self._token).replace("\n", " ").strip())[:REASON_KEPT]


class _Hiding(logging.Filter):
    """Takes the token out of what the client logs: a server's answer may repeat it, and the client logs answers."""

    def __init__(self, token: str) -> None:
        super().__init__()
        self._token = token

    def filter(self, record: logging.LogRecord) -> bool:
        """Let all pass, without the token."""
        if self._token:
            record.msg, record.args = without(record.getMessage(), self._token), None
        return True


def _words(answer: Any) -> str:
    """What the server said, in the forms that servers use; else the status in words."""
    body = answer.body or ""
    text = body.decode("utf-8", "replace") if isinstance(body, bytes) else str(body)
    try:
        said = json.loads(text)
    except ValueError:
        return text or str(answer.reason)
    if isinstance(said, dict):
        return str(said.get("message") or said.get("error") or text)
    return text


def _wait_s(answer: Any) -> float:
    """Seconds of a Retry-After header, which may be a number or a date; 0 without one."""
    from urllib3.exceptions import InvalidHeader
    from urllib3.util import Retry

    if not answer.retry_after:
        return 0.0
    try:
        return min(Retry().parse_retry_after(answer.retry_after), LONGEST_RETRY_AFTER_S)
    except InvalidHeader:
        return 0.0
