"""A certificate made on the spot, for the phone on the dash: there is no name in a workshop's network to vouch for."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

DAYS = 397
"""How long it holds; browsers refuse much longer ones."""


@dataclass(frozen=True, slots=True)
class Certificate:
    """A certificate and its key in files, and what the phone will show of it."""

    cert_file: Path
    key_file: Path
    fingerprint: str


def make_certificate(folder: Path, names: tuple[str, ...], now: datetime) -> Certificate:
    """Make a self-signed certificate for these names.

    Args:
        folder: where the two files go; the key is readable by its owner alone.
        names: host names and addresses the phone will ask for.
        now: when it begins to hold; with time zone.
    Returns: the files, and the SHA-256 fingerprint in pairs of hexadecimal digits, as browsers show it.
    """
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Tickover in this workshop")])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(days=DAYS))
        .add_extension(x509.SubjectAlternativeName([_name(n) for n in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    folder.mkdir(parents=True, exist_ok=True)
    cert_file, key_file = folder / "certificate.pem", folder / "key.pem"
    key_file.touch(mode=0o600, exist_ok=True)
    key_file.chmod(0o600)
    key_file.write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )
    cert_file.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    return Certificate(cert_file, key_file, in_pairs(certificate.fingerprint(hashes.SHA256())))


def in_pairs(digest: bytes) -> str:
    """Bytes as pairs of hexadecimal digits: ``AB:CD``."""
    return ":".join(f"{byte:02X}" for byte in digest)


def _name(text: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(text))
    except ValueError:
        return x509.DNSName(text)
