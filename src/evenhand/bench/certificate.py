"""A certificate of the shop's own, so that `evenhand serve --tls` speaks https on the shop's wifi."""

import datetime as dt
import ipaddress
import os
from collections.abc import Sequence
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

_DAYS = 397
_SPARE_DAYS = 14


def own_certificate(folder: Path, names: Sequence[str]) -> tuple[Path, Path]:
    """Return the files of a certificate for these names and of its key; made if missing, short-dated or for others.

    Parameters
    ----------
    folder
        Where both are kept.
    names
        Host names and addresses, as browsers will ask for them.

    Returns
    -------
    tuple of Path
        Certificate and key, both PEM.

    Notes
    -----
    It is signed by itself: a browser warns until the device is told to trust it. 397 days is the longest life that
    browsers accept of public certificates (CA/Browser Forum, Baseline Requirements 6.3.2, from memory).
    """
    certificate, key = folder / "bench.crt", folder / "bench.pem"
    wanted = sorted({name.strip("[]") for name in names})
    if not (key.exists() and _is_good(certificate, wanted)):
        _make(certificate, key, wanted)
    return certificate, key


def _is_good(place: Path, names: Sequence[str]) -> bool:
    try:
        found = x509.load_pem_x509_certificate(place.read_bytes())
        held = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (OSError, ValueError, x509.ExtensionNotFound):
        return False
    in_it = {str(name.value) for name in held}
    late = dt.datetime.now(dt.UTC) + dt.timedelta(days=_SPARE_DAYS)
    return set(names) <= in_it and found.not_valid_after_utc > late


def _make(place: Path, key_place: Path, names: Sequence[str]) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Evenhand bench")])
    now = dt.datetime.now(dt.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(hours=1))
        .not_valid_after(now + dt.timedelta(days=_DAYS))
        .add_extension(x509.SubjectAlternativeName([_general(one) for one in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    handle = os.open(key_place, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(
            key.private_bytes(
                serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
            )
        )
    place.write_bytes(made.public_bytes(serialization.Encoding.PEM))


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)
