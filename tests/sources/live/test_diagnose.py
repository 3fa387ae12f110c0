"""Lines of logs are no noise; whatever a receiver at another baud rate makes of them is."""

import pytest

from monitor.sources.live.diagnose import is_halved, is_noise
from tests.faults.uart import at_another_rate
from tests.sources.live.wires import HEAD, rows

RATES = [1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200]
LOGS = {
    "unix": HEAD + rows(100),
    "iso": b"".join(b"2025-06-15T14:00:%02dZ,12.%02d,-0.021\r\n" % (i % 60, i) for i in range(100)),
    "bare": b"".join(b"12.%02d;-0.02%d\r\n" % (i, i % 10) for i in range(100)),
}


@pytest.mark.parametrize("log", LOGS)
@pytest.mark.parametrize("sent", RATES)
def test_another_baud_rate_makes_noise(log: str, sent: int) -> None:
    for read in RATES:
        got = at_another_rate(LOGS[log] * 3, sent, read, most=600)[-512:]
        assert (is_noise(got) or is_halved(got)) == (read != sent), (sent, read, got[:40])


def test_the_receiver_of_this_test_reads_its_own_rate_right() -> None:
    assert at_another_rate(LOGS["iso"], 9600, 9600, most=99_999) == LOGS["iso"]


@pytest.mark.parametrize(
    "text",
    [
        "Zeitstempel;Spannung [V];Strom [A];Temperatur [°C]\n15.06.2025 14:00:00;12,61;-0,021;21,5\n",
        '[{"n":"urn:dev:mac:0024befffe804ff1:voltage","u":"V","v":12.5}]\n',
        "Booting kernel, jumping to Kazakh zone; please check the zk link\n",
        "時刻,電圧\n2025-06-15T14:00:00Z,12.61,-0.021,-0.021,12.61,-0.021,12.61,-0.021,12.61,-0.021,12.61,0.0\n",
    ],
)
def test_text_is_no_noise(text: str) -> None:
    assert not is_noise(text.encode())
    assert not is_halved(text.encode())
