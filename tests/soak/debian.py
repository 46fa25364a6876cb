"""A fresh Debian that boots by itself: systemd and all, in a container without any network.

What it would fetch lies ready in it: Debian's packages as a repository of its own, Python's
libraries as files. It is made once and kept in `.debian`; each boot has a layer of its own above.

With ARCH=arm64 its programs are a small board's, each run by QEMU's user emulation above this
machine's own kernel. That cannot hand out credentials, give a service users of its own or filter
system calls: it has its secrets from where the installer put them, and may more than on a board.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import ssl
import subprocess
import time
from pathlib import Path
from types import TracebackType
from typing import Self

ROOT = Path(__file__).parents[2]
KEPT = ROOT / ".debian"
ARCH = os.environ.get("ARCH", "")
"""Another processor than this machine's own, as Debian names it."""
SUITES = ("bookworm",) if ARCH else ("bookworm", "trixie")
"""Debian 12 and 13, with their Python 3.11 and 3.13; QEMU 7.2 starts no service of the latter."""
CERTIFICATES = "/etc/ssl/certs/ca-certificates.crt"
FRESH = "systemd-sysv,dbus,procps,sudo,python3"
SLOWER = 10 if ARCH else 1
EMULATED = "[Service]\nLoadCredential=\nImportCredential=\nPrivateUsers=no\n"
FETCHED = ("mosquitto", "python3-venv")
"""What `deploy/install` asks Debian for."""
PATH = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
Done = subprocess.CompletedProcess[str]


def _do(*command: object) -> None:
    done = subprocess.run([str(word) for word in command], capture_output=True, text=True)
    assert done.returncode == 0, f"{command}\n{done.stdout}{done.stderr}"


def _named(suite: str) -> str:
    return f"{suite}-{ARCH}" if ARCH else suite


def _debian(suite: str) -> Path:
    """The release as it is fetched, with what it would fetch later."""
    base, made = KEPT / _named(suite), KEPT / f"{_named(suite)}.made"
    if made.exists():
        return base
    shutil.rmtree(base, ignore_errors=True)
    KEPT.mkdir(exist_ok=True)
    (KEPT / ".gitignore").write_text("*\n")
    which = (f"--arch={ARCH}",) if ARCH else ()
    _do("debootstrap", *which, "--variant=minbase", f"--include={FRESH}", suite, base)
    _do("chroot", base, "apt-get", "update", "-qq")
    _do("chroot", base, "apt-get", "install", "-qq", "-y", "--download-only", *FETCHED)
    debs = base / "var/cache/apt/archives"
    (debs / "Packages").write_text("".join(_described(deb) for deb in sorted(debs.glob("*.deb"))))
    shutil.rmtree(base / "etc/apt/sources.list.d", ignore_errors=True)
    (base / "etc/apt/sources.list").write_text(
        "deb [trusted=yes] file:/var/cache/apt/archives ./\n"
    )
    made.touch()
    return base


def _described(deb: Path) -> str:
    """The lines of a package in the list of a repository."""
    told = subprocess.run(["dpkg-deb", "-f", deb], capture_output=True, text=True, check=True)
    sum_ = hashlib.sha256(deb.read_bytes()).hexdigest()
    size = deb.stat().st_size
    return f"{told.stdout}Filename: ./{deb.name}\nSize: {size}\nSHA256: {sum_}\n\n"


def _libraries(suite: str) -> Path:
    """The files of every library that the watch is installed with, as its own Python wants them;
    that fetches them with the pip and the certificates of this machine."""
    lock = ROOT / "deploy/lock/run.txt"
    kept = KEPT / f"libraries-{_named(suite)}-{hashlib.sha256(lock.read_bytes()).hexdigest()[:12]}"
    if kept.exists():
        return kept
    base = KEPT / _named(suite)
    shutil.copy(lock, base / "root/run.txt")
    shutil.copy(ssl.get_default_verify_paths().cafile or CERTIFICATES, base / "root/ca.crt")
    where = "import pip, pathlib; print(pathlib.Path(pip.__file__).parent)"
    pip = subprocess.run(["python3", "-c", where], capture_output=True, text=True, check=True)
    shutil.copytree(pip.stdout.strip(), base / "root/pip/pip", dirs_exist_ok=True)
    trusted = ("PIP_CERT=/root/ca.crt", "REQUESTS_CA_BUNDLE=/root/ca.crt")
    own = ("env", "PYTHONPATH=/root/pip", *trusted, "python3", "-m", "pip")
    what = ("download", "-qq", "--require-hashes", "-r", "/root/run.txt", "-d", "/root/got")
    shutil.rmtree(base / "root/got", ignore_errors=True)
    _do("chroot", base, *own, *what)
    shutil.rmtree(base / "root/pip")
    return (base / "root/got").rename(kept)


class Debian:
    """One boot of a release; with it `sources` are at /root/kuraban."""

    def __init__(self, suite: str, home: Path, sources: Path) -> None:
        self._base, self._libraries = _debian(suite), _libraries(suite)
        self._sources, self.root = sources, home / "root"
        self._layers = home / "upper", home / "work"
        for folder in (self.root, *self._layers):
            folder.mkdir()

    def __enter__(self) -> Self:
        upper, work = self._layers
        how = f"lowerdir={self._base},upperdir={upper},workdir={work}"
        _do("mount", "-t", "overlay", "overlay", "-o", how, self.root)
        shutil.copytree(self._sources, self.root / "root/kuraban", symlinks=True)
        shutil.copytree(self._libraries, self.root / "root/libraries")
        own = "[global]\nno-index = true\nfind-links = /root/libraries\n"
        (self.root / "etc/pip.conf").write_text(own)
        if ARCH:
            every = self.root / "etc/systemd/system/service.d"
            every.mkdir(parents=True)
            (every / "emulated.conf").write_text(EMULATED)
        self._machine = subprocess.Popen(
            ["systemd-nspawn", "--quiet", "--directory", self.root, "--register=no", "--keep-unit",
             "--private-network", "--hostname=board", "--console=pipe", "--boot"],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            env=os.environ | {"SYSTEMD_NSPAWN_UNIFIED_HIERARCHY": "0"},
        )  # fmt: skip
        self._await()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:  # fmt: skip
        if self._machine.poll() is None:
            os.kill(self._first() or self._machine.pid, signal.SIGKILL)
            self._machine.wait()
        _do("umount", self.root)

    def _await(self, within: float = 60.0 * SLOWER) -> None:
        deadline = time.monotonic() + within
        while time.monotonic() < deadline and self._machine.poll() is None:
            if self._first() and "running" in self.run("systemctl is-system-running --wait").stdout:
                return
            if self._first() and self.run("systemctl is-active multi-user.target").returncode == 0:
                return
            time.sleep(0.5)
        raise AssertionError("Debian did not boot")

    def _first(self) -> int:
        """The process that the container began with, 0 before it does."""
        number = self._machine.pid
        children = Path(f"/proc/{number}/task/{number}/children")
        return int((children.read_text().split() or ["0"])[0])

    def run(
        self, line: str, *, user: str = "root", typed: str = "", within: float = 600 * SLOWER
    ) -> Done:
        """A line as somebody types it in the sources' folder, with what they type then."""
        inside = ["nsenter", "-t", str(self._first()), "-m", "-u", "-i", "-n", "-p", "--"]
        clean = ["env", "-i", f"PATH={PATH}", "LANG=C.UTF-8", "COLUMNS=100"]
        where = "cd /root/kuraban && " if user == "root" else "cd / && "
        shell = ["runuser", "-u", user, "--", "sh", "-c", where + line]
        return subprocess.run(
            [*inside, *clean, *shell], input=typed, capture_output=True, text=True, timeout=within
        )
