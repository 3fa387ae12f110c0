"""TLS: a server must prove who it is, unless the setting that says otherwise is named."""

import ssl
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.live.front import Front
from tests.live.servers import VictoriaMetrics, needed
from tests.live.test_forwarding import journal_of, real
from tests.store.forwarding import block, drain


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate of 127.0.0.1 that nobody has signed, with its key in the same file."""
    path = tmp_path_factory.mktemp("tls") / "server.pem"
    subprocess.run(
        [
            *(needed("openssl", "openssl"), "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"),
            *("-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1"),
            *("-keyout", str(path.with_suffix(".key")), "-out", str(path)),
        ],
        check=True,
        capture_output=True,
    )
    return path


@pytest.fixture
def secure(metrics: VictoriaMetrics, certificate: Path) -> Iterator[Front]:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, certificate.with_suffix(".key"))
    proxy = Front(metrics.url, tls=context)
    yield proxy
    proxy.close()


def test_a_server_that_cannot_prove_who_it_is_gets_nothing(secure: Front) -> None:
    journal = journal_of(block(0, 50))
    wary = real(journal, secure.url)
    wary.step()
    assert wary.step() > 0
    assert wary.state["state"] == "refused"
    assert "does not prove who it is" in wary.state["last_error"]
    assert not secure.seen
    assert journal.position == 0


@pytest.mark.parametrize("way", ["certificate", "off"])
def test_its_certificate_may_be_trusted_or_the_question_left_out_by_name(
    secure: Front, certificate: Path, way: str
) -> None:
    journal = journal_of(block(0, 50))
    drain(real(journal, secure.url, verify="off" if way == "off" else str(certificate)))
    assert journal.position == len(journal.records)
    assert [seen.status for seen in secure.seen] == [204]
