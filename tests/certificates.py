"""Certificates of an authority of the tests' own, made with openssl as our guide shows it."""

from __future__ import annotations

import subprocess
from pathlib import Path


def openssl(*arguments: str, cwd: Path) -> None:
    subprocess.run(["openssl", *arguments], cwd=cwd, check=True, capture_output=True)


def authority(home: Path, name: str) -> None:
    """`name`.crt and .key of an authority that signs for itself."""
    new = ["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", f"{name}.key"]
    new += ["-addext", "keyUsage=critical,keyCertSign,cRLSign"]
    openssl(*new, "-out", f"{name}.crt", "-days", "30", "-subj", f"/CN={name}", cwd=home)


def certificate(home: Path, name: str, san: str, days: str, by: str = "ca") -> None:
    """`name`.crt and .key for `san`, signed by the authority `by`."""
    key = ["req", "-newkey", "rsa:2048", "-nodes", "-keyout", f"{name}.key", "-out", f"{name}.csr"]
    openssl(*key, "-subj", f"/CN={name}", cwd=home)
    (home / f"{name}.ext").write_text(f"subjectAltName={san}\nauthorityKeyIdentifier=keyid\n")
    sign = ["x509", "-req", "-in", f"{name}.csr", "-CA", f"{by}.crt"]
    sign += ["-CAkey", f"{by}.key", "-CAcreateserial", "-days", days]
    openssl(*sign, "-extfile", f"{name}.ext", "-out", f"{name}.crt", cwd=home)
