"""A client of an MQTT broker: identity, secrets, TLS, and in words what a broker or the way to it does wrong."""

from __future__ import annotations

import socket
import ssl
from typing import TYPE_CHECKING, Any

from monitor.base.errors import SettingError
from monitor.base.secrets import reveal, without
from monitor.base.tables.broker import BrokerTable, broker_host
from monitor.sources.live.arrival import LinkState

if TYPE_CHECKING:
    from paho.mqtt.client import Client

KEEPALIVE_S = 30  # our choice: a dead logger is seen 45 s later (MQTT 5, 3.1.2.10: one and a half times)
CONNECT_S = 5.0  # for the network, and again for the broker's answer; our choice
SESSION_S = 7 * 86400  # the broker keeps what we miss for so long; our choice: a week's absence


class Broker:
    """One connection to a broker at a time; each is a client of its own.

    name    the address, for messages
    Raises SettingError for a missing library, secret or certificate.
    """

    def __init__(self, url: str, table: BrokerTable, client_id: str) -> None:
        try:
            import paho.mqtt.client  # noqa: F401 - asked for early: whether it is there
        except ImportError as wrong:
            raise SettingError("a broker needs the library paho-mqtt", "pip install keyoff-monitor[broker]") from wrong
        try:
            self.host, self.port, self._tls = broker_host(url)
        except ValueError as wrong:
            raise SettingError(
                "[source] url: not the address of a broker",
                "write mqtt://HOST:PORT or mqtts://HOST:PORT; user and password belong under [broker]",
            ) from wrong
        self.name = f"{'mqtts' if self._tls else 'mqtt'}://{self.host}:{self.port}"
        self._table = table
        self._client_id = client_id
        self._password = None if table.password is None else reveal(table.password)
        self._context = self._trust() if self._tls else None

    def connect(self, callbacks: dict[str, Any], will: str | None = None, keep: bool = False) -> Client:
        """A new client, whose request to connect is on its way; raises OSError. `keep`: go on with the session."""
        from paho.mqtt import client as mqtt
        from paho.mqtt.enums import CallbackAPIVersion
        from paho.mqtt.packettypes import PacketTypes
        from paho.mqtt.properties import Properties

        is_5 = self._table.protocol == "5"
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=self._client_id,
            clean_session=None if is_5 else not keep,
            protocol=mqtt.MQTTv5 if is_5 else mqtt.MQTTv311,
            reconnect_on_failure=False,
            manual_ack=True,
        )
        if self._table.user is not None:
            client.username_pw_set(self._table.user, self._password)
        if self._context is not None:
            client.tls_set_context(self._context)
        if will is not None:
            client.will_set(will, "off", qos=1, retain=True)
        for name, callback in callbacks.items():
            setattr(client, name, callback)
        client.connect_timeout = CONNECT_S
        if is_5:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # the library is typed in part
            properties.SessionExpiryInterval = SESSION_S if keep else 0
            client.connect(self.host, self.port, KEEPALIVE_S, clean_start=not keep, properties=properties)
        else:
            client.connect(self.host, self.port, KEEPALIVE_S)
        return client

    def unreachable(self, wrong: Exception) -> tuple[LinkState, str]:
        """State and sentence for what `connect` raised."""
        if isinstance(wrong, ssl.SSLCertVerificationError):
            why = f"its certificate is not trusted ({wrong.verify_message}); name the authority in [broker] ca"
        elif self._tls and isinstance(wrong, (ssl.SSLError, ConnectionResetError, BrokenPipeError)):
            why = "no TLS can be agreed on; check the port, or write mqtt:// for a broker without TLS"
        elif isinstance(wrong, ConnectionRefusedError):
            why = "the host is there but refuses the connection; check that the broker runs, and its port"
        elif isinstance(wrong, socket.gaierror):
            why = "no such host; check the name and the network"
        elif isinstance(wrong, TimeoutError):
            why = "nobody answers there; check the address, the network and a firewall"
        else:
            why = f"cannot be reached: {getattr(wrong, 'strerror', None) or type(wrong).__name__}"
        return "refused", self.said(f"{why}")

    def refusal(self, reason: Any) -> str:
        """The sentence for a broker's refusal to let us in."""
        text = str(reason)
        hint = "check [broker] user and password" if "uthori" in text or "user" in text.lower() else "check the broker"
        return self.said(f"the broker refuses us: {text}; {hint}")

    def said(self, text: str) -> str:
        """The text without the password."""
        return without(text, self._password or "")

    def _trust(self) -> ssl.SSLContext:
        try:
            context = ssl.create_default_context(cafile=self._table.ca)
        except OSError as wrong:  # also what is wrong with the certificates
            why = "no certificates in it" if isinstance(wrong, ssl.SSLError) else wrong.strerror
            raise SettingError(
                f"[broker] ca = {self._table.ca!r}: {why}", "name a file of the authority's certificates in PEM"
            ) from wrong
        context.sslsocket_class = _TidySocket
        if self._table.verify == "off":
            context.check_hostname = False
            context.verify_mode = ssl.CERT_NONE
        return context


class _TidySocket(ssl.SSLSocket):
    """Closes itself when the other side is not trusted: the library would leave it to the garbage collector."""

    def do_handshake(self, block: bool = False) -> None:
        """Agree on a key, or close."""
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise
