"""A certificate that this machine signs for itself, for the shop's own address."""

from __future__ import annotations

import os
from datetime import datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

from jartest.errors import StoreFault

__all__ = ["make_certificate"]

# Apple refuses server certificates that live longer than 825 days (support article HT210176).
_DAYS = 820


def make_certificate(folder: Path, names: tuple[str, ...], *, now: datetime) -> tuple[Path, Path]:
    """The files of a fresh certificate for these names and addresses, and of its private key.

    Each phone has to be told once to trust it; whoever has the key file can pretend to be this machine.

    Raises
    ------
    StoreFault
        If the files cannot be written.
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0])])
    alternatives = x509.SubjectAlternativeName(
        [x509.IPAddress(ip_address(n)) if _is_address(n) else x509.DNSName(n) for n in names]
    )
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))  # a phone's clock may be behind
        .not_valid_after(now + timedelta(days=_DAYS))
        .add_extension(alternatives, critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    plain = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    files = (folder / "jartest-cert.pem", folder / "jartest-key.pem")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        files[0].write_bytes(certificate.public_bytes(pem))
        files[1].unlink(missing_ok=True)
        with os.fdopen(os.open(files[1], os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as f:
            f.write(plain)
    except OSError as e:
        msg = f"The certificate cannot be written ({e.strerror}); check the data folder."
        raise StoreFault(msg) from e
    return files


def _is_address(name: str) -> bool:
    try:
        ip_address(name)
    except ValueError:
        return False
    return True
