"""The yard's own certificate authority, held against OpenSSL through Python's ssl: what it vouches for and what not."""

from __future__ import annotations

import os
import socket
import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from trayside.errors import RefusedByRule, TraysideError
from trayside.store.local_authority import certificates_for

NAMES = ("192.168.7.20", "127.0.0.1", "shed", "shed.local")
NOW = datetime.now(UTC)  # OpenSSL checks against the machine's clock


def handshake(papers, name: str, *, key=None, certificate=None) -> str:
    """What a client that trusts the authority says about the server under this name: 'trusted', or OpenSSL's reason."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(certificate or papers.server_certificate, key or papers.server_key)
    client = ssl.create_default_context(cafile=str(papers.authority_certificate))
    ours, theirs = socket.socketpair()

    def serve() -> None:
        try:
            server.wrap_socket(theirs, server_side=True).close()
        except (ssl.SSLError, OSError):
            theirs.close()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        client.wrap_socket(ours, server_hostname=name).close()
        return "trusted"
    except ssl.SSLCertVerificationError as error:
        return error.verify_message
    finally:
        ours.close()
        thread.join(timeout=10)


def made(folder, names=NAMES, now=NOW):
    return certificates_for(names, folder=folder, now=now)


def signed_by(papers, folder, name: x509.GeneralName):
    """A certificate that a thief of the key makes for another site."""
    key = serialization.load_pem_private_key((papers.authority_certificate.parent / "authority.key").read_bytes(), None)
    authority = x509.load_pem_x509_certificate(papers.authority_certificate.read_bytes())
    own = ec.generate_private_key(ec.SECP256R1())
    certificate = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([]))
        .issuer_name(authority.subject)
        .public_key(own.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(NOW - timedelta(hours=1))
        .not_valid_after(NOW + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([name]), critical=True)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    path = folder / "thief.pem"
    path.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    key_path = folder / "thief.key"
    key_path.write_bytes(
        own.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
    )
    return {"certificate": path, "key": key_path}


@pytest.mark.parametrize("name", NAMES)
def test_a_client_that_trusts_the_authority_trusts_the_server_under_each_of_its_names(tmp_path, name):
    assert handshake(made(tmp_path), name) == "trusted"


def test_under_another_name_it_is_not_trusted(tmp_path):
    assert "mismatch" in handshake(made(tmp_path), "192.168.7.21")


@pytest.mark.parametrize(
    ("name", "asked"),
    [(x509.DNSName("bank.example"), "bank.example"), (x509.DNSName("local.example"), "local.example")],
)
def test_whoever_steals_the_key_cannot_vouch_for_the_internet(tmp_path, name, asked):
    papers = made(tmp_path)
    assert handshake(papers, asked, **signed_by(papers, tmp_path, name)) == "permitted subtree violation"


def test_nor_for_an_address_of_the_internet(tmp_path):
    from ipaddress import ip_address

    papers = made(tmp_path)
    stolen = signed_by(papers, tmp_path, x509.IPAddress(ip_address("198.51.100.7")))
    assert handshake(papers, "198.51.100.7", **stolen) == "permitted subtree violation"
    inside = signed_by(papers, tmp_path, x509.IPAddress(ip_address("192.168.9.9")))
    assert handshake(papers, "192.168.9.9", **inside) == "trusted"  # the test above fails for the right reason


@pytest.mark.skipif(os.name != "posix", reason="rights on files are a matter of POSIX")
def test_keys_are_readable_by_their_owner_alone(tmp_path):
    papers = made(tmp_path / "keys")
    for name in ("authority.key", "server.key"):
        assert stat.S_IMODE((tmp_path / "keys" / name).stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "keys").stat().st_mode) == 0o700
    (tmp_path / "keys" / "authority.key").chmod(0o640)
    with pytest.raises(RefusedByRule, match="chmod 600"):
        made(tmp_path / "keys")
    assert papers.fingerprint.count(":") == 31


def test_a_second_start_keeps_the_authority_and_the_certificate(tmp_path):
    first = made(tmp_path)
    before = first.server_certificate.read_bytes()
    again = made(tmp_path, now=NOW + timedelta(days=59))
    assert again == first
    assert again.server_certificate.read_bytes() == before


def test_the_server_certificate_is_renewed_in_time_under_the_same_authority(tmp_path):
    first = made(tmp_path)
    renewed = made(tmp_path, now=NOW + timedelta(days=61))
    assert renewed.fingerprint == first.fingerprint
    assert renewed.server_ends_at - first.server_ends_at == timedelta(days=61)


def test_a_new_address_gets_a_new_certificate_under_the_same_authority(tmp_path):
    first = made(tmp_path)
    moved = made(tmp_path, ("10.1.2.3", "shed"))
    assert moved.fingerprint == first.fingerprint
    assert handshake(moved, "10.1.2.3") == "trusted"
    assert "mismatch" in handshake(moved, "192.168.7.20")


def test_a_public_address_is_named_in_the_authority_or_refused_by_an_older_one(tmp_path):
    assert handshake(made(tmp_path / "a", ("198.51.100.7",)), "198.51.100.7") == "trusted"
    made(tmp_path / "b")
    with pytest.raises(RefusedByRule, match="may not vouch"):
        made(tmp_path / "b", ("198.51.100.7",))


def test_a_damaged_certificate_of_the_server_is_made_anew(tmp_path):
    papers = made(tmp_path)
    papers.server_certificate.write_bytes(b"half a file")
    assert handshake(made(tmp_path), "shed") == "trusted"


def test_a_certificate_of_another_authority_is_made_anew(tmp_path):
    made(tmp_path / "a")
    other = made(tmp_path / "b")
    for name in ("server.key", "server.pem"):
        (tmp_path / "b" / name).write_bytes((tmp_path / "a" / name).read_bytes())
    assert handshake(other, "shed") != "trusted"
    assert handshake(made(tmp_path / "b"), "shed") == "trusted"


def test_half_an_authority_and_one_that_ends_are_told_in_words(tmp_path):
    made(tmp_path)
    with pytest.raises(RefusedByRule, match="every tablet trust the new one"):
        made(tmp_path, now=NOW + timedelta(days=3 * 365 - 29))
    (tmp_path / "authority.pem").unlink()
    with pytest.raises(TraysideError, match="not whole"):
        made(tmp_path)


def test_without_an_address_there_is_nothing_to_vouch_for(tmp_path):
    with pytest.raises(TraysideError, match="--address"):
        made(tmp_path, ())
