"""The containers' files agree with each other, with the broker's own, and with the site file."""

from __future__ import annotations

import json
import os
import re
import stat
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from kuraban.settings import load
from tests.broker import DEPLOY as MOSQUITTO
from tests.broker import free_port, lets_in, started

COMPOSE = Path(__file__).parents[2] / "deploy" / "compose"
MADE = ("secrets", "made", "site", "state", ".env")
"""What `prepare` makes and the repository does not hold."""


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    told: dict[str, Any] = yaml.safe_load((COMPOSE / "compose.yaml").read_text("utf-8"))
    return told


@pytest.fixture
def prepared(tmp_path: Path) -> Path:
    prepare(tmp_path, "t3-mid")
    return tmp_path


def prepare(folder: Path, *probes: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [COMPOSE / "prepare", *probes], env=os.environ | {"PREPARE_FOLDER": str(folder)},
        capture_output=True, text=True, check=False,
    )  # fmt: skip


def mounts(compose: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for name, service in compose["services"].items():
        for mount in service.get("volumes", ()):
            yield name, mount.partition(":")[0]


def test_every_path_is_there_or_is_made(compose: dict[str, Any], prepared: Path) -> None:
    """In the repository, or by `prepare`; a bind mount of nothing would be a folder of root's."""
    for name, source in mounts(compose):
        if source.startswith("."):
            here = prepared if source.split("/")[1] in MADE else COMPOSE
            assert (here / source).exists(), f"{name}: {source}"
        else:
            assert source in compose["volumes"]
    for secret in compose["secrets"].values():
        assert (prepared / secret["file"]).is_file()
    for service in compose["services"].values():
        assert set(service.get("secrets", ())) <= set(compose["secrets"])
        assert set(service.get("depends_on", ())) <= set(compose["services"])
    build = compose["services"]["kuraban"]["build"]
    root = (COMPOSE / build["context"]).resolve()
    assert (root / build["dockerfile"]).is_file()
    for line in (root / build["dockerfile"]).read_text("utf-8").splitlines():
        if line.startswith("COPY ") and "--from" not in line:
            assert all((root / source).exists() for source in line.split()[1:-1]), line


def test_only_this_machine_reaches_a_port(compose: dict[str, Any]) -> None:
    """Whoever opens one to the network does it knowingly."""
    ports = [port for one in compose["services"].values() for port in one.get("ports", ())]
    assert len(ports) == 2 and all(port.startswith("127.0.0.1:") for port in ports)


def test_no_secret_stands_in_a_file_of_the_repository(compose: dict[str, Any]) -> None:
    """Passwords and tokens are files that are named, and git passes over them."""
    for service in compose["services"].values():
        for key in service.get("environment", {}):
            assert not re.search("PASSWORD|TOKEN", key) or key.endswith("_FILE"), key
    ignored = (COMPOSE / ".gitignore").read_text("utf-8").split()
    assert {name.strip("/") for name in ignored} == set(MADE)
    kept = (COMPOSE / "Dockerfile.dockerignore").read_text("utf-8").splitlines()
    assert "*" in kept and "!deploy" not in kept


def test_the_watch_may_do_little(compose: dict[str, Any]) -> None:
    watch = compose["services"]["kuraban"]
    assert watch["read_only"] and watch["cap_drop"] == ["ALL"]
    assert "no-new-privileges:true" in watch["security_opt"]
    assert watch["user"].startswith("${KURABAN_USER")
    assert "USER 990:990" in (COMPOSE / "Dockerfile").read_text("utf-8")


def test_no_volume_without_a_name_stays_behind(compose: dict[str, Any]) -> None:
    """The images declare these; a container that does not keep one has it in memory."""
    declared = {
        "broker": {"/mosquitto/data", "/mosquitto/log"},
        "influxdb": {"/var/lib/influxdb2", "/etc/influxdb2"},
        "provision": {"/var/lib/influxdb2", "/etc/influxdb2"},
    }
    for name, folders in declared.items():
        service = compose["services"][name]
        there = {mount.split(":")[1] for mount in service.get("volumes", ())}
        assert folders <= there | set(service.get("tmpfs", ())), name


def test_the_health_of_the_broker_is_asked_at_its_port(compose: dict[str, Any]) -> None:
    """Of the kernel, in whose table ports are hexadecimal."""
    conf = (COMPOSE / "broker" / "mosquitto.conf").read_text("utf-8")
    (port,) = re.findall(r"^listener (\d+)", conf, re.M)
    (_, asked) = compose["services"]["broker"]["healthcheck"]["test"]
    assert f":{int(port):04X} " in asked


def test_the_broker_keeps_as_much_as_the_one_without_a_container() -> None:
    """Line for line the same, but for where it listens, its paths and where it logs."""

    def lines(path: Path) -> dict[str, str]:
        told = [line for line in path.read_text("utf-8").splitlines() if line[:1] not in ("#", "")]
        return {line.partition(" ")[0]: line.partition(" ")[2] for line in told}

    ours, theirs = lines(COMPOSE / "broker" / "mosquitto.conf"), lines(MOSQUITTO / "kuraban.conf")
    other = {key for key in ours.keys() | theirs.keys() if ours.get(key) != theirs.get(key)}
    assert other == {
        "listener", "password_file", "acl_file", "persistence_location", "log_dest",
    }  # fmt: skip


def test_the_first_site_file_fits(
    compose: dict[str, Any], prepared: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its keys exist, its secrets are found as the container finds them, its names are services."""
    text = (prepared / "site" / "site.toml").read_text("utf-8")
    (prepared / "made" / "history-token").write_text("write-only")
    text = text.replace("/run/made", str(prepared / "made"))
    (prepared / "site" / "site.toml").write_text(text, "utf-8")
    held = prepared / "run"
    held.mkdir()
    (held / "broker").write_text((prepared / "secrets" / "users" / "kuraban").read_text())
    found = load(prepared / "site" / "site.toml", {"CREDENTIALS_DIRECTORY": str(held)})
    services, told = compose["services"], found.history
    assert found.mqtt.host in services and found.mqtt.user == "kuraban"
    assert found.mqtt.password and len(found.mqtt.password) == 48
    assert told is not None and told.url == "http://influxdb:8086" and told.token == "write-only"
    made = services["influxdb"]["environment"]
    assert told.org == made["DOCKER_INFLUXDB_INIT_ORG"]
    assert told.bucket == made["DOCKER_INFLUXDB_INIT_BUCKET"]
    assert f"{found.data}" == "/var/lib/kuraban"
    assert any(mount.endswith(":/var/lib/kuraban") for mount in services["kuraban"]["volumes"])


def test_prepare_makes_once_and_tells_no_secret(tmp_path: Path) -> None:
    """A second time, with one probe more, only that one is new; strangers read nothing."""
    told = prepare(tmp_path, "t3-mid")
    assert told.returncode == 0, told.stderr
    before = {path: path.read_text() for path in sorted(tmp_path.rglob("*")) if path.is_file()}
    secrets = {text for path, text in before.items() if "secrets" in path.parts}
    assert len(secrets) == 5
    assert prepare(tmp_path, "t3-mid", "t4-mid").returncode == 0
    after = {path: path.read_text() for path in tmp_path.rglob("*") if path.is_file()}
    assert {path.name for path in after.keys() - before.keys()} == {"t4-mid"}
    assert all(after[path] == text for path, text in before.items())
    assert not [one for one in secrets if one in told.stdout + told.stderr]
    for path in after:
        assert not stat.S_IMODE(path.stat().st_mode) & 0o077, path


@pytest.mark.parametrize("probe", ["T3", "t3 mid", "../x", "", "-x"])
def test_a_probe_that_is_no_id_is_refused(tmp_path: Path, probe: str) -> None:
    told = prepare(tmp_path, probe)
    assert told.returncode == 2 and "is no id of a probe" in told.stderr
    assert not [*tmp_path.iterdir()]


@pytest.mark.needs("mosquitto")
def test_the_broker_starts_with_the_pass_words_that_were_prepared(prepared: Path) -> None:
    """Its own start script, with the real broker: right passwords come in, others do not."""
    data, port = prepared / "data", free_port()
    data.mkdir()
    conf = (COMPOSE / "broker" / "mosquitto.conf").read_text("utf-8")
    conf = conf.replace("listener 1883", f"listener {port} 127.0.0.1")
    conf = conf.replace("/mosquitto/data", str(data))
    (prepared / "conf").write_text(conf + ("user root\n" if os.geteuid() == 0 else ""), "utf-8")
    env = os.environ | {
        "USERS_FOLDER": str(prepared / "secrets" / "users"), "DATA_FOLDER": str(data),
        "CONF_FILE": str(prepared / "conf"), "ACL_FILE": str(MOSQUITTO / "acl"),
    }  # fmt: skip
    with started(["sh", COMPOSE / "broker" / "start"], port, env):
        word = (prepared / "secrets" / "users" / "t3-mid").read_text()
        assert word not in (data / "kuraban.passwords").read_text()
        assert lets_in(port, "t3-mid", word, "kura/reading/t3-mid")
        assert not lets_in(port, "t3-mid", "x", "kura/reading/t3-mid")


INFLUX = """#!/bin/sh
# Stands for the tool of InfluxDB: keeps what it is asked, and lists what was made.
echo "$@" >>"$ASKED"
case "$1 $2" in
"ping ") [ "$(grep -c ping "$ASKED")" -gt 2 ] ;;
"auth list") cat "$ASKED.auths" 2>/dev/null || echo '[]' ;;
"bucket list")
    case "$*" in
    *--hide-headers*) printf '0a1b2c\\tkuraban\\t9600h\\n' ;;
    *) cat "$ASKED.buckets" 2>/dev/null || echo '[]' ;;
    esac ;;
"bucket create") echo '[{"id": "0f", "name": "kuraban-10m"}]' >"$ASKED.buckets" ;;
"task list") cat "$ASKED.tasks" 2>/dev/null || echo '[]' ;;
"task create") echo '[{"id": "0e", "name": "kuraban-ten-minutes"}]' >"$ASKED.tasks" ;;
"auth create")
    echo '[{"id": "0d", "description": "the watch writes"}]' >"$ASKED.auths"
    echo '{"id": "0d", "token": "write-only==", "status": "active"}' ;;
esac
"""


def provision(folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    """Run it in `folder` with that tool."""
    (folder / "influx").write_text(INFLUX)
    (folder / "influx").chmod(0o755)
    (folder / "token").write_text("of the operator")
    env = os.environ | {
        "PATH": f"{folder}:{os.environ['PATH']}", "ASKED": str(folder / "asked"),
        "TOKEN_FILE": str(folder / "token"), "MADE_FOLDER": str(folder), "PAUSE": "0",
    }  # fmt: skip
    command = ["sh", str(COMPOSE / "history" / "provision")]
    return subprocess.run(command, env=env | more, capture_output=True, text=True, check=False)


def test_the_history_is_provisioned_once(tmp_path: Path) -> None:
    """Bucket, task and token on the first start, once the engine answers; nothing is made again on
    the next."""
    asked = tmp_path / "asked"
    for _ in range(2):
        assert provision(tmp_path).returncode == 0
    told = asked.read_text().splitlines()
    made = [line for line in told if " create " in line]
    assert [line.split()[0] for line in made] == ["bucket", "task", "auth"]
    assert made[2].endswith("--write-bucket 0a1b2c --read-bucket 0a1b2c --json")
    token = tmp_path / "history-token"
    assert token.read_text() == "write-only==\n"
    assert not stat.S_IMODE(token.stat().st_mode) & 0o077
    assert "of the operator" not in asked.read_text()


def test_an_engine_that_was_emptied_is_provisioned_anew(tmp_path: Path) -> None:
    """Its old token opens nothing there: the watch gets a new one."""
    assert provision(tmp_path).returncode == 0
    (tmp_path / "history-token").write_text("of the engine that was there")
    (tmp_path / "asked.auths").unlink()
    assert provision(tmp_path).returncode == 0
    assert (tmp_path / "history-token").read_text() == "write-only==\n"


def test_an_engine_that_does_not_answer_is_said(tmp_path: Path) -> None:
    told = provision(tmp_path, TRIES="2")
    assert told.returncode == 1 and "does not answer" in told.stderr
    assert not (tmp_path / "history-token").exists()


def test_the_task_keeps_every_extreme() -> None:
    """Count, least, greatest, mean and last of each ten minutes, of what the watch forwards."""
    flux = (COMPOSE / "history" / "ten-minutes.flux").read_text("utf-8")
    name = re.search(r'option task = \{name: "([^"]+)"', flux)
    script = (COMPOSE / "history" / "provision").read_text("utf-8")
    assert name is not None and f"lists task name {name[1]}" in script
    for function, field in (
        ("count", "count"), ("min", "least"), ("max", "greatest"), ("mean", "mean"),
        ("last", "last"),
    ):  # fmt: skip
        assert f'fn: {function}, createEmpty: false) |> toShelf(field: "{field}")' in flux
    assert json.dumps("reading") in flux and json.dumps("value") in flux


def test_the_task_never_writes_a_part_over_the_whole() -> None:
    """Whenever somebody runs it, it begins and ends at whole ten minutes."""
    flux = (COMPOSE / "history" / "ten-minutes.flux").read_text("utf-8")
    assert "range(start: start, stop: stop)" in flux
    for name, at in (("start", "-2d"), ("stop", "now()")):
        assert f"{name} = date.truncate(t: {at}, unit: 10m)" in flux


def test_docker_reads_it_as_well(prepared: Path) -> None:
    """Where there is a docker with its compose."""
    asked = ["docker", "compose", "version"]
    try:
        there = subprocess.run(asked, capture_output=True, check=False).returncode == 0
    except FileNotFoundError:
        there = False
    if there:
        command = ["docker", "compose", "-f", str(COMPOSE / "compose.yaml"), "config", "--quiet"]
        env = os.environ | {"KURABAN_USER": "990:990"}
        subprocess.run(command, env=env, check=True)


DOCKER = """#!/bin/sh
[ "$1" = pull ] && exit 0
echo "${5%%:*}@sha256:$(printf %s "$5$DAY" | sha256sum | cut -d ' ' -f 1)"
"""
"""What `docker pull` and `docker image inspect` say, with another digest every day."""


def test_every_public_image_can_be_fixed_by_its_digest(
    compose: dict[str, Any], prepared: Path, tmp_path: Path
) -> None:
    """`pin` names all of them, and again the newer ones; what else is in `.env` stays."""
    bin_ = tmp_path / "bin"
    bin_.mkdir()
    (bin_ / "docker").write_text(DOCKER)
    (bin_ / "docker").chmod(0o755)
    user = (prepared / ".env").read_text()
    fixed = []
    for day in ("1", "2"):
        env = os.environ | {"PREPARE_FOLDER": str(prepared), "DAY": day}
        env["PATH"] = f"{bin_}:{env['PATH']}"
        subprocess.run([COMPOSE / "pin"], env=env, check=True, capture_output=True)
        lines = (prepared / ".env").read_text()
        assert user in lines and lines.count("@sha256:") == 3
        fixed.append(dict(line.split("=", 1) for line in lines.split() if "@sha256:" in line))
    assert fixed[0].keys() == fixed[1].keys() and not set(fixed[0].values()) & set(
        fixed[1].values()
    )
    text = (COMPOSE / "compose.yaml").read_text("utf-8")
    asked = re.findall(r"\$\{(KURABAN_\w+_IMAGE):-([^}]+)\}", text)
    assert {name for name, _ in asked} == fixed[0].keys()
    for service in compose["services"].values():
        assert service["image"] == "kuraban" or service["image"].startswith("${KURABAN_")
    dockerfile = (COMPOSE / "Dockerfile").read_text("utf-8")
    assert dict(asked)["KURABAN_PYTHON_IMAGE"] == re.findall(r"ARG PYTHON=(.+)", dockerfile)[0]
    assert set(re.findall(r"^FROM (\S+)", dockerfile, re.MULTILINE)) == {"${PYTHON}"}
