"""MQTT 5.0 (OASIS 2019): the encodings that its text prints, by the library's public encoders, and rules for topics.

1.5.5 (variable byte integer: the table's bounds, and the two numbers of version 3.1's text), 1.5.4 (UTF-8 string), 4.7
(wildcards; topics that begin with "$"). What goes over the wire is checked against a real broker in tests/live/.
"""

import pytest
from paho.mqtt.client import topic_matches_sub
from paho.mqtt.properties import VariableByteIntegers, writeUTF
from pydantic import ValidationError

from monitor.base.tables.broker import BrokerTable

INTEGERS = {
    64: "40", 321: "C1 02", 127: "7F", 128: "80 01", 16_383: "FF 7F", 16_384: "80 80 01", 268_435_455: "FF FF FF 7F",
}  # fmt: skip


@pytest.mark.parametrize(("number", "expected"), INTEGERS.items())
def test_variable_byte_integers(number: int, expected: str) -> None:
    encoded = VariableByteIntegers.encode(number)
    assert encoded == bytes.fromhex(expected)
    assert VariableByteIntegers.decode(encoded) == (number, len(encoded))


def test_utf8_string() -> None:
    assert bytes(writeUTF("A\U0002a6d4")) == bytes.fromhex("00 05 41 F0 AA 9B 94")


@pytest.mark.parametrize(
    ("sub", "topic", "matches"),
    [
        ("sport/tennis/player1/#", "sport/tennis/player1", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", True),
        ("sport/tennis/+", "sport/tennis/player1/ranking", False),
        ("sport/+", "sport/", True),
        ("+", "/finance", False),
        ("#", "$SYS/monitor/Clients", False),
    ],
)
def test_topics_match_as_4_7_says(sub: str, topic: str, matches: bool) -> None:
    assert topic_matches_sub(sub, topic) is matches


@pytest.mark.parametrize("topic", ["sport/tennis#", "sport/tennis/#/ranking", "sport+", "sport/+x"])
def test_filters_that_4_7_calls_not_valid_are_refused(topic: str) -> None:
    with pytest.raises(ValidationError, match="expected a topic"):
        BrokerTable.model_validate({"topics": [topic]})


@pytest.mark.parametrize("topic", ["#", "sport/tennis/#", "+", "+/tennis/#", "sport/+/player1", "/+"])
def test_filters_that_4_7_calls_valid_are_taken(topic: str) -> None:
    assert BrokerTable.model_validate({"topics": [topic]}).topics == (topic,)
