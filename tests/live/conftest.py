"""The servers that tests share: each started once, when the first test asks for it."""

import signal
from collections.abc import Iterator

import pytest

from tests.live.front import Front
from tests.live.servers import Auth, InfluxServer, VictoriaMetrics


@pytest.fixture(scope="session")
def metrics(tmp_path_factory: pytest.TempPathFactory) -> Iterator[VictoriaMetrics]:
    server = VictoriaMetrics(tmp_path_factory.mktemp("metrics"))
    server.start()
    yield server
    server.end()


@pytest.fixture(scope="session")
def auth(tmp_path_factory: pytest.TempPathFactory, metrics: VictoriaMetrics) -> Iterator[Auth]:
    server = Auth(tmp_path_factory.mktemp("auth"), "a-long-secret-token", metrics.url)
    server.start()
    yield server
    server.end()


@pytest.fixture
def influx(tmp_path_factory: pytest.TempPathFactory) -> Iterator[InfluxServer]:
    server = InfluxServer(tmp_path_factory.mktemp("influx"))
    server.start()
    yield server
    server.end(signal.SIGKILL)


@pytest.fixture
def front(influx: InfluxServer) -> Iterator[Front]:
    """A server as influxdb-client writes to, with InfluxDB 1.6 behind it."""
    proxy = Front(influx.url, mapped=True)
    yield proxy
    proxy.close()
