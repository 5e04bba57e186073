"""A certificate authority of the yard's own, so that tablets reach it over https without a name on the internet.

It may vouch for local addresses and names only, whatever happens to its key. The key never leaves its folder. The
server's certificate is short-lived and made anew when it runs out or the addresses change; tablets trust the authority
and notice nothing. Lengths of validity: common practice, no source.
"""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from trayside.errors import RefusedByRule, TraysideError

AUTHORITY_LASTS = timedelta(days=3 * 365)
SERVER_LASTS = timedelta(days=90)
RENEW_BEFORE = timedelta(days=30)
CLOCKS_DIFFER = timedelta(days=1)
LOCAL_NETWORKS: tuple[IPv4Network | IPv6Network, ...] = tuple(
    ip_network(text)
    for text in (
        "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8", "fc00::/7", "fe80::/10", "::1/128"
    )
)  # fmt: skip
"""Private, link-local and loopback addresses: RFC 1918, 3927, 4193, 4291, 1122 (from memory)."""
LOCAL_NAMES = ("local", "localhost", "home.arpa", "internal", "lan")
OURS = "Trayside yard authority"


@dataclass(frozen=True, slots=True)
class Papers:
    """Where the server finds its key and certificate, and what tablets are asked to trust."""

    server_key: Path
    server_certificate: Path
    authority_certificate: Path
    fingerprint: str
    authority_ends_at: datetime
    server_ends_at: datetime


def certificates_for(names: tuple[str, ...], *, folder: Path, now: datetime) -> Papers:
    """Key and certificate for these addresses and host names, made or renewed where needed."""
    if not names:
        raise TraysideError("there is no address to vouch for", where=str(folder), remedy="Give one with --address")
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    key, authority = _authority(folder, names, now)
    _refuse_names(names, authority)
    server_key, server_certificate = folder / "server.key", folder / "server.pem"
    held = _held(server_certificate) if server_key.exists() else None
    if held is None or not _serves(held, names, authority, now):
        held = _new_server(folder, names, key, authority, now)
    return Papers(
        server_key=server_key,
        server_certificate=server_certificate,
        authority_certificate=folder / "authority.pem",
        fingerprint=fingerprint(authority),
        authority_ends_at=authority.not_valid_after_utc,
        server_ends_at=held.not_valid_after_utc,
    )


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 in pairs, as devices show it."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def _authority(folder: Path, names: tuple[str, ...], now: datetime) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    key_path, path = folder / "authority.key", folder / "authority.pem"
    if key_path.exists() != path.exists():
        raise TraysideError(
            "the yard's certificate authority is not whole",
            where=str(folder),
            remedy="Put back authority.key and authority.pem, or remove both and let every tablet trust the new one",
        )
    if not path.exists():
        return _new_authority(key_path, path, names, now)
    _refuse_open(key_path)
    key = serialization.load_pem_private_key(key_path.read_bytes(), password=None)
    certificate = x509.load_pem_x509_certificate(path.read_bytes())
    if certificate.not_valid_after_utc - now < RENEW_BEFORE:
        raise RefusedByRule(
            f"the yard's certificate authority ends on {certificate.not_valid_after_utc:%Y-%m-%d}",
            where=str(folder),
            remedy="Remove authority.key and authority.pem, start again, and let every tablet trust the new one",
        )
    return key, certificate


def _new_authority(key_path: Path, path: Path, names: tuple[str, ...], now: datetime):
    key = ec.generate_private_key(ec.SECP256R1())
    public = key.public_key()
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"{OURS} {now:%Y-%m-%d}")])
    usage = _usage(key_cert_sign=True, crl_sign=True)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - CLOCKS_DIFFER)
        .not_valid_after(now + AUTHORITY_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.NameConstraints(_permitted(names), None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write_secret(key_path, _pem(key))
    _write(path, certificate.public_bytes(serialization.Encoding.PEM))
    return key, certificate


def _permitted(names: tuple[str, ...]) -> list[x509.GeneralName]:
    """Local networks and names, and of what lies outside them exactly what the yard is reached by."""
    found: list[x509.GeneralName] = [x509.IPAddress(network) for network in LOCAL_NETWORKS]
    found += [x509.DNSName(name) for name in LOCAL_NAMES]
    for name in names:
        address = _as_address(name)
        if address is None:
            if not name.endswith(tuple(f".{local}" for local in LOCAL_NAMES)) and name not in LOCAL_NAMES:
                found.append(x509.DNSName(name))
        elif not _inside(address, LOCAL_NETWORKS):
            found.append(x509.IPAddress(ip_network(address)))
    return found


def _refuse_names(names: tuple[str, ...], authority: x509.Certificate) -> None:
    permitted = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees
    networks = tuple(name.value for name in permitted if isinstance(name, x509.IPAddress))
    domains = tuple(name.value for name in permitted if isinstance(name, x509.DNSName))
    for name in names:
        address = _as_address(name)
        inside = _inside(address, networks) if address else any(name == d or name.endswith(f".{d}") for d in domains)
        if not inside:
            raise RefusedByRule(
                "the yard's certificate authority may not vouch for this address",
                where=name,
                remedy="Use an address of the local network, or remove authority.key and authority.pem and start again",
            )


def _new_server(folder: Path, names, authority_key, authority: x509.Certificate, now: datetime) -> x509.Certificate:
    key = ec.generate_private_key(ec.SECP256R1())
    addresses = {name: _as_address(name) for name in names}
    sans = [x509.IPAddress(address) if address else x509.DNSName(name) for name, address in addresses.items()]
    certificate = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Trayside yard")]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(max(now - CLOCKS_DIFFER, authority.not_valid_before_utc))
        .not_valid_after(min(now + SERVER_LASTS, authority.not_valid_after_utc))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(digital_signature=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(sans), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()), critical=False)
        .sign(authority_key, hashes.SHA256())
    )
    _write_secret(folder / "server.key", _pem(key))
    _write(folder / "server.pem", certificate.public_bytes(serialization.Encoding.PEM))
    return certificate


def _serves(held: x509.Certificate, names: tuple[str, ...], authority: x509.Certificate, now: datetime) -> bool:
    """Whether the server's certificate is for these names, by this authority, and lasts."""
    sans = held.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    told = {str(name.value) for name in sans}
    wanted = {str(_as_address(name) or name) for name in names}
    try:
        held.verify_directly_issued_by(authority)
    except Exception:  # another authority, or a file that was changed: a new one is made
        return False
    lasts = held.not_valid_after_utc - now >= min(RENEW_BEFORE, authority.not_valid_after_utc - now)
    return told == wanted and lasts and held.not_valid_before_utc <= now


def _held(path: Path) -> x509.Certificate | None:
    try:
        return x509.load_pem_x509_certificate(path.read_bytes())
    except (OSError, ValueError):
        return None


def _usage(**on: bool) -> x509.KeyUsage:
    every = (
        "digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_agreement",
        "key_cert_sign", "crl_sign", "encipher_only", "decipher_only",
    )  # fmt: skip
    return x509.KeyUsage(**{name: on.get(name, False) for name in every})


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _write_secret(path: Path, content: bytes) -> None:
    """Readable by its owner alone from the first byte on; put in place whole."""
    fresh = path.with_name(f"{path.name}.new")
    fresh.unlink(missing_ok=True)
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)


def _write(path: Path, content: bytes) -> None:
    fresh = path.with_name(f"{path.name}.new")
    fresh.write_bytes(content)
    fresh.replace(path)


def _refuse_open(path: Path) -> None:
    if os.name == "posix" and stat.S_IMODE(path.stat().st_mode) & 0o077:
        raise RefusedByRule(
            "others on this machine can read the key of the yard's certificate authority",
            where=str(path),
            remedy=f"If nobody took it: chmod 600 {path}. Else remove authority.key and authority.pem and start again",
        )


def _as_address(name: str) -> IPv4Address | IPv6Address | None:
    try:
        return ip_address(name)
    except ValueError:
        return None


def _inside(address: IPv4Address | IPv6Address, networks) -> bool:
    return any(address.version == network.version and address in network for network in networks)
