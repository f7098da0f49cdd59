"""Tokens are used once, in time; sessions end."""

from __future__ import annotations

import ssl
from datetime import UTC, datetime
from pathlib import Path

from cryptography import x509

from tickover.web.pairing import GUESSES, Pairing
from tickover.web.tls import make_certificate


def test_a_token_is_good_once() -> None:
    pairing = Pairing()
    token = pairing.offer(0.0)
    assert pairing.redeem(token, "phone", 1.0) is not None
    assert pairing.redeem(token, "phone", 2.0) is None


def test_a_token_is_too_old_after_its_time_and_a_guess_is_nothing() -> None:
    pairing = Pairing(token_seconds=10.0)
    token = pairing.offer(0.0)
    assert pairing.redeem("guess", "x", 1.0) is None
    assert pairing.redeem(token, "phone", 10.0) is None


def test_many_wrong_guesses_void_the_offer() -> None:
    pairing = Pairing()
    token = pairing.offer(0.0)
    for k in range(GUESSES):
        assert pairing.redeem(f"guess {k}", "x", 1.0) is None
    assert pairing.redeem(token, "phone", 1.0) is None
    assert pairing.redeem(pairing.offer(2.0), "phone", 2.0) is not None


def test_sessions_are_listed_and_end_by_time_or_by_hand() -> None:
    pairing = Pairing(session_seconds=100.0)
    first = pairing.redeem(pairing.offer(0.0), "first", 0.0)
    second = pairing.redeem(pairing.offer(0.0), "", 50.0)
    assert first is not None
    assert second is not None
    assert [s.name for s in pairing.sessions(60.0)] == ["first", "a device"]
    assert [s.name for s in pairing.sessions(120.0)] == ["a device"]
    assert pairing.check(first[0], 120.0) is None
    assert pairing.revoke(second[1].id)
    assert pairing.check(second[0], 60.0) is None
    assert not pairing.revoke("nobody")


def test_what_is_kept_is_not_the_secret() -> None:
    pairing = Pairing(draw=lambda: "the-secret")
    pairing.offer(0.0)
    assert "the-secret" not in repr(vars(pairing))


def test_the_certificate_names_the_addresses_and_its_key_is_private(tmp_path: Path) -> None:
    made = make_certificate(tmp_path, ("192.168.1.20", "workshop.local"), datetime.now(UTC))
    found = x509.load_pem_x509_certificate(made.cert_file.read_bytes())
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(i) for i in names.get_values_for_type(x509.IPAddress)] == ["192.168.1.20"]
    assert names.get_values_for_type(x509.DNSName) == ["workshop.local"]
    assert made.key_file.stat().st_mode & 0o077 == 0
    assert len(made.fingerprint.split(":")) == 32
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(made.cert_file, made.key_file)
