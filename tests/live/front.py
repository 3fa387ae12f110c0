"""A test proxy before a database server: maps the write path for InfluxDB 1.6, and makes the faults of a network."""

from __future__ import annotations

import http.client
import ssl
import threading
import urllib.parse
from collections import deque
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Literal

PRECISION = {"ns": "n", "us": "u", "ms": "ms", "s": "s"}  # InfluxDB 1.6 silently reads "us" as ns


@dataclass(frozen=True)
class Fault:
    """What happens to one request in place of passing it on.

    answer   status of an answer that the server behind never gave
    cut      the connection is cut: "before" the server behind gets it, or "after" it stored it
    """

    answer: int | None = None
    headers: dict[str, str] = field(default_factory=dict)
    body: str = ""
    cut: Literal["before", "after"] | None = None


@dataclass(frozen=True)
class Seen:
    """A request as it came: path with its query, text, authorization, and the status that it got (0: cut)."""

    path: str
    text: str
    authorization: str
    status: int


class Front:
    """Passes writes on to `behind`, one fault of `faults` a request first; `mapped`: for InfluxDB 1.6."""

    def __init__(self, behind: str, mapped: bool = False, tls: ssl.SSLContext | None = None) -> None:
        self.behind, self.mapped = behind, mapped
        self.largest: int | None = None  # bytes of a request that is taken
        self.faults: deque[Fault] = deque()
        self.seen: list[Seen] = []
        self.released = threading.Event()  # cleared: the server is silent
        self.released.set()
        front = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                front.handle(self)

            def log_message(self, format: str, *arguments: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self._server.handle_error = lambda *_: None  # type: ignore[method-assign]  # a client may hang up as it likes
        self.port = int(self._server.server_address[1])
        self.url = f"{'https' if tls else 'http'}://127.0.0.1:{self.port}"
        if tls is not None:
            self._server.socket = tls.wrap_socket(self._server.socket, server_side=True, do_handshake_on_connect=False)
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        self._thread.start()

    def close(self) -> None:
        self.released.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    def handle(self, request: BaseHTTPRequestHandler) -> None:
        body = request.rfile.read(int(request.headers["Content-Length"] or 0))
        fault = self.faults.popleft() if self.faults else Fault()
        self.released.wait()
        status = 0
        try:
            if self.largest is not None and len(body) > self.largest:
                status = self._reply(request, 413, {}, b"too large")
            elif fault.answer is not None:
                status = self._reply(request, fault.answer, fault.headers, fault.body.encode())
            elif fault.cut == "before":
                self._cut(request)
            else:
                found = self._pass_on(request, body)
                if found is None or fault.cut == "after":
                    self._cut(request)
                else:
                    status = self._reply(request, *found)
        finally:
            authorization = request.headers.get("Authorization", "")
            self.seen.append(Seen(request.path, body.decode(), authorization, status))

    def _pass_on(self, request: BaseHTTPRequestHandler, body: bytes) -> tuple[int, dict[str, str], bytes] | None:
        path = request.path
        if self.mapped:
            ask = dict(urllib.parse.parse_qsl(urllib.parse.urlsplit(path).query))
            path = "/write?" + urllib.parse.urlencode({"db": ask["bucket"], "precision": PRECISION[ask["precision"]]})
        link = http.client.HTTPConnection(urllib.parse.urlsplit(self.behind).netloc, timeout=60)
        try:
            headers = {name: request.headers[name] for name in ("Authorization",) if name in request.headers}
            link.request("POST", path, body, headers)
            answer = link.getresponse()
            return answer.status, {}, answer.read()
        except OSError:
            return None
        finally:
            link.close()

    @staticmethod
    def _reply(request: BaseHTTPRequestHandler, status: int, headers: dict[str, str], body: bytes) -> int:
        request.send_response(status)
        for name, value in headers.items():
            request.send_header(name, value)
        request.send_header("Content-Length", str(len(body)))
        request.end_headers()
        if status != 204:
            request.wfile.write(body)
        return status

    @staticmethod
    def _cut(request: BaseHTTPRequestHandler) -> None:
        request.close_connection = True
        request.connection.shutdown(2)
