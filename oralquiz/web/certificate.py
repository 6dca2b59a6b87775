"""A self-signed certificate for the class network: browsers give no microphone without TLS.

It is made on first use and again when it is about to expire or the machine's addresses changed.
Tablets do not know who signed it and say so once; the fingerprint, shown on the teacher's page,
lets anyone check it.
"""

from __future__ import annotations

import ipaddress
import os
import socket
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from oralquiz.folders import private_folder

LASTS = timedelta(days=397)  # the longest that browsers accept of a server's certificate
RENEW_BEFORE = timedelta(days=30)


@dataclass(frozen=True)
class Certificate:
    """The files for TLS and the SHA-256 fingerprint, as browsers show it."""

    cert: Path
    key: Path
    fingerprint: str
    names: tuple[str, ...]


def own_certificate(folder: Path, names: Sequence[str]) -> Certificate:
    """The certificate in ``folder`` for ``names`` (host names and addresses), made if necessary."""
    cert_path, key_path = folder / "certificate.pem", folder / "key.pem"
    try:
        cert = x509.load_pem_x509_certificate(cert_path.read_bytes())
        fits = set(names) <= set(_names(cert)) and key_path.exists()
        lasts = cert.not_valid_after_utc - datetime.now(UTC) > RENEW_BEFORE
        if fits and lasts:
            return _described(cert, cert_path, key_path)
    except (OSError, ValueError):
        pass  # none yet, or damaged: a new one takes its place
    private_folder(folder)
    key = ec.generate_private_key(ec.SECP256R1())
    cert = _sign(key, names)
    secret = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    key_path.unlink(missing_ok=True)
    with os.fdopen(os.open(key_path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(secret)
    cert_path.write_bytes(cert.public_bytes(serialization.Encoding.PEM))
    return _described(cert, cert_path, key_path)


def _sign(key: ec.EllipticCurvePrivateKey, names: Sequence[str]) -> x509.Certificate:
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "oralquiz on this computer")])
    now = datetime.now(UTC)
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + LASTS)
        .add_extension(x509.SubjectAlternativeName([_general(n) for n in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _names(cert: x509.Certificate) -> list[str]:
    names = cert.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return [
        *names.get_values_for_type(x509.DNSName),
        *(str(address) for address in names.get_values_for_type(x509.IPAddress)),
    ]


def _described(cert: x509.Certificate, cert_path: Path, key_path: Path) -> Certificate:
    fingerprint = cert.fingerprint(hashes.SHA256()).hex(":").upper()
    return Certificate(cert_path, key_path, fingerprint, tuple(_names(cert)))


def own_addresses() -> list[str]:
    """This machine's addresses on its networks, the one that others reach it at first."""
    found: list[str] = []
    for family, far in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        with socket.socket(family, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect((far, 9))  # sends nothing: only asks which way it would go
                found.append(str(probe.getsockname()[0]))
            except OSError:
                continue
    try:
        for info in socket.getaddrinfo(socket.gethostname(), None):
            found.append(str(info[4][0]))
    except OSError:
        pass
    bare = dict.fromkeys(address.split("%")[0] for address in found)
    return [address for address in bare if not ipaddress.ip_address(address).is_loopback]
