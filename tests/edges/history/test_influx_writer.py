"""What an engine's answer means for the points and for the next try."""

from __future__ import annotations

import ssl
from collections.abc import Iterator
from email.utils import formatdate
from pathlib import Path
from time import time

import pytest

from kuraban.edges.history.influx_writer import Receiver
from tests.broker import free_port, started
from tests.certificates import authority, certificate
from tests.engines import Strict, VictoriaMetrics

LINE = "reading,probe=t3-mid value=10.5 1769883000000000000"


@pytest.fixture
def strict() -> Iterator[Strict]:
    engine = Strict()
    yield engine
    engine.close()


def answered(engine: Strict, token: str | None = None) -> tuple[str, str, float]:
    receiver = Receiver(engine.url, "kuraban", "sake", token, 0.3)
    answer = receiver.write([LINE])
    receiver.close()
    return answer


def test_a_point_is_taken(strict: Strict) -> None:
    assert answered(strict) == ("taken", "", 0.0)
    assert len(strict.points) == 1


@pytest.mark.parametrize(
    ("status", "kind"),
    [(400, "refused"), (413, "refused"), (422, "refused"),
     (401, "away"), (403, "away"), (404, "away"), (405, "away"), (301, "away"),
     (408, "away"), (429, "away"), (500, "away"), (502, "away"), (503, "away"), (507, "away")],
)  # fmt: skip
def test_whose_fault_a_status_is(strict: Strict, status: int, kind: str) -> None:
    """A bad point's, or nobody's but the engine's (RFC 9110, section 15)."""
    strict.status = status
    told = answered(strict)
    assert told[0] == kind and f"it answered {status}" in told[1]


@pytest.mark.needs("victoria-metrics")
def test_a_proxy_that_does_not_know_the_token_blames_no_point(tmp_path: Path) -> None:
    """It answers as to a bad point; one that knows it lets the point through."""
    port, users = free_port(), tmp_path / "users.yml"
    with VictoriaMetrics(tmp_path) as server:
        known = '{bearer_token: "abc-123", url_prefix: "' + server.url + '"}'
        users.write_text(f"users: [{known}]", "utf-8")
        proxy = ["vmauth", f"-auth.config={users}", f"-httpListenAddr=127.0.0.1:{port}"]
        with started(proxy, port):
            for token, kind in (("abc-123", "taken"), ("xyz-789", "away")):
                receiver = Receiver(f"http://127.0.0.1:{port}", "kuraban", "sake", token)
                assert receiver.write([LINE]).kind == kind
                receiver.close()


def test_the_pause_that_is_asked_for(strict: Strict) -> None:
    """In seconds or as a date (RFC 9110, section 10.2.3); nonsense asks for nothing."""
    strict.status = 503
    strict.headers = {"retry-after": "120"}
    assert answered(strict)[2] == 120.0
    strict.headers = {"Retry-After": formatdate(time() + 90, usegmt=True)}
    assert 85 < answered(strict)[2] <= 90
    for nonsense in ("soon", "-5", "", "²", "Mon, 99 Foo 99999 25:61:61 GMT"):
        strict.headers = {"Retry-After": nonsense}
        assert answered(strict)[2] == 0.0


def test_a_long_answer_is_cut_and_put_into_one_line(strict: Strict) -> None:
    strict.status, strict.body = 500, b'{"message": "no\\n' + b"x" * 5000 + b'"}'
    assert answered(strict)[1].startswith("it answered 500, no xxx")
    assert len(answered(strict)[1]) < 250


def test_the_token_is_struck_out(strict: Strict) -> None:
    strict.status, strict.body = 403, b"Token abc-123 may not write here"
    assert "abc-123" not in answered(strict, "abc-123")[1]


def test_nobody_is_there() -> None:
    receiver = Receiver(f"http://127.0.0.1:{free_port()}", "kuraban", "sake")
    assert receiver.write([LINE])[0] == "away"
    assert "not reached" in receiver.write([LINE])[1]
    receiver.close()


def test_an_engine_that_never_answers_is_away(strict: Strict) -> None:
    strict.mode = "hang"
    assert answered(strict)[0] == "away"


def test_a_safe_address_at_an_engine_without_tls(strict: Strict) -> None:
    """It is said that the connection is the trouble."""
    receiver = Receiver(strict.url.replace("http:", "https:"), "kuraban", "sake", None, 0.5)
    assert receiver.write([LINE])[0] == "away"
    assert "safe connection" in receiver.write([LINE])[1]
    receiver.close()


@pytest.fixture(scope="module")
def vouched(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An engine's certificate by an authority of the house's own, and a stranger to it."""
    home = tmp_path_factory.mktemp("vouched")
    for name in ("ca", "stranger"):
        authority(home, name)
    certificate(home, "engine", "IP:127.0.0.1", "30")
    return home


@pytest.mark.parametrize("by", ["ca", "stranger", None])
def test_an_engine_behind_a_private_authority(vouched: Path, by: str | None) -> None:
    """Whom the named authority vouches for gets the points; nobody else gets a word."""
    tls = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    tls.load_cert_chain(vouched / "engine.crt", vouched / "engine.key")
    engine = Strict("abc-123", tls)
    ca_file = None if by is None else vouched / f"{by}.crt"
    receiver = Receiver(engine.url, "kuraban", "sake", "abc-123", 2.0, ca_file)
    answer = receiver.write([LINE])
    receiver.close()
    engine.close()
    if by == "ca":
        assert answer == ("taken", "", 0.0) and len(engine.points) == 1
    else:
        assert answer.kind == "away" and "name its authority in ca_file" in answer.reason
        assert not engine.asked


def test_an_answer_that_is_no_text_keeps_its_status(strict: Strict) -> None:
    strict.status, strict.body = 400, "醪".encode()[:2]
    assert answered(strict)[0] == "refused"
    strict.status = 503
    assert answered(strict)[0] == "away"
