from __future__ import annotations

import ssl
from pathlib import Path

from cryptography import x509

from oralquiz.web.certificate import own_addresses, own_certificate


def test_a_certificate_is_made_once_for_all_names(tmp_path: Path) -> None:
    names = ["192.168.1.5", "laptop", "laptop.local", "fe80::1"]
    first = own_certificate(tmp_path, names)
    assert set(first.names) == set(names)
    assert first.key.stat().st_mode & 0o077 == 0
    assert own_certificate(tmp_path, names[:2]).fingerprint == first.fingerprint
    # another network, another certificate
    assert own_certificate(tmp_path, ["192.168.7.7"]).fingerprint != first.fingerprint


def test_a_damaged_certificate_is_made_anew(tmp_path: Path) -> None:
    first = own_certificate(tmp_path, ["laptop"])
    first.cert.write_text("nonsense")
    second = own_certificate(tmp_path, ["laptop"])
    assert second.fingerprint != first.fingerprint
    assert second.fingerprint == own_certificate(tmp_path, ["laptop"]).fingerprint


def test_tls_accepts_the_certificate_and_it_is_not_an_authority(tmp_path: Path) -> None:
    made = own_certificate(tmp_path, ["laptop", "10.0.0.2"])
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(made.cert, made.key)
    cert = x509.load_pem_x509_certificate(made.cert.read_bytes())
    assert not cert.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    days = (cert.not_valid_after_utc - cert.not_valid_before_utc).days
    assert days <= 398  # CA/Browser Forum Baseline Requirements 6.3.2, as browsers enforce it


def test_addresses_are_those_that_others_can_reach() -> None:
    assert not [a for a in own_addresses() if a.startswith("127.") or a == "::1"]
