"""The shop's authority and the certificates it gives, read by others than those who wrote them."""

from datetime import UTC, datetime, timedelta
from ipaddress import ip_address

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from qc_app.serve.addresses import Machine
from qc_app.serve.authority import Identity, is_an_authority, is_due, issue, make_authority, read_identity

NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
DAY = timedelta(days=1)
MACHINE = Machine(("shop", "shop.local", "localhost"), (ip_address("192.168.7.20"), ip_address("127.0.0.1")))


@pytest.fixture(scope="module")
def authority() -> Identity:
    return make_authority("shop", NOW)


@pytest.fixture(scope="module")
def server(authority: Identity) -> Identity:
    return issue(authority, MACHINE, NOW)


def verify(server: Identity, authority: Identity, host: str, now: datetime) -> None:
    """By the rules of RFC 5280 and of the browsers' forum, as the library's own verifier applies them."""
    try:
        subject: x509.DNSName | x509.IPAddress = x509.IPAddress(ip_address(host))
    except ValueError:
        subject = x509.DNSName(host)
    builder = PolicyBuilder().store(Store([authority.certificate])).time(now)
    builder.build_server_verifier(subject).verify(server.certificate, [])


@pytest.mark.parametrize("host", ["shop", "shop.local", "localhost", "192.168.7.20", "127.0.0.1"])
def test_a_verifier_that_trusts_the_authority_takes_the_server_by_each_name(
    authority: Identity, server: Identity, host: str
) -> None:
    verify(server, authority, host, NOW)


@pytest.mark.parametrize("host", ["shop.example", "other.local", "192.168.7.21"])
def test_a_verifier_refuses_the_server_by_any_other_name(
    authority: Identity, server: Identity, host: str
) -> None:
    with pytest.raises(VerificationError):
        verify(server, authority, host, NOW)


def test_a_verifier_that_trusts_another_authority_refuses_the_server(server: Identity) -> None:
    with pytest.raises(VerificationError):
        verify(server, make_authority("shop", NOW), "shop.local", NOW)


def test_a_server_cannot_sign_for_others(authority: Identity, server: Identity) -> None:
    forged = issue(server, MACHINE, NOW)
    policy = PolicyBuilder().store(Store([authority.certificate])).time(NOW)
    with pytest.raises(VerificationError):
        policy.build_server_verifier(x509.DNSName("shop.local")).verify(
            forged.certificate, [server.certificate]
        )


def test_the_authority_signs_certificates_and_makes_no_other_authority(authority: Identity) -> None:
    extensions = authority.certificate.extensions
    constraints = extensions.get_extension_for_class(x509.BasicConstraints)
    assert constraints.critical
    assert (constraints.value.ca, constraints.value.path_length) == (True, 0)
    usage = extensions.get_extension_for_class(x509.KeyUsage)
    assert usage.critical
    assert usage.value.key_cert_sign
    assert not usage.value.digital_signature
    assert is_an_authority(authority.certificate)


def test_the_authority_lasts_ten_years(authority: Identity) -> None:
    lasts = authority.certificate.not_valid_after_utc - authority.certificate.not_valid_before_utc
    assert timedelta(days=3652) <= lasts <= timedelta(days=3653)


def test_a_server_certificate_is_what_tablets_take(server: Identity) -> None:
    """Apple support document 103769 (names, purpose), and its limit of 398 days, from memory."""
    certificate = server.certificate
    assert certificate.not_valid_after_utc - certificate.not_valid_before_utc <= timedelta(days=397)
    purposes = certificate.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert list(purposes) == [ExtendedKeyUsageOID.SERVER_AUTH]
    names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.DNSName) == list(MACHINE.names)
    assert names.get_values_for_type(x509.IPAddress) == list(MACHINE.addresses)
    assert not certificate.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    key = certificate.public_key()
    assert isinstance(key, ec.EllipticCurvePublicKey)
    assert key.curve.name == "secp256r1"
    assert certificate.signature_hash_algorithm is not None
    assert certificate.signature_hash_algorithm.name == "sha256"


def test_a_tablet_whose_clock_is_an_hour_slow_takes_a_new_certificate(
    authority: Identity, server: Identity
) -> None:
    assert server.certificate.not_valid_before_utc <= NOW - timedelta(hours=1)


def test_a_certificate_ends_no_later_than_its_authority(authority: Identity) -> None:
    end = authority.certificate.not_valid_after_utc
    last = issue(authority, MACHINE, end - 40 * DAY)
    assert last.certificate.not_valid_after_utc == end


def test_a_certificate_is_due_when_less_than_thirty_days_are_left(
    authority: Identity, server: Identity
) -> None:
    end = server.certificate.not_valid_after_utc
    assert not is_due(server.certificate, authority, MACHINE, NOW)
    assert not is_due(server.certificate, authority, MACHINE, end - 30 * DAY)
    assert is_due(server.certificate, authority, MACHINE, end - 30 * DAY + timedelta(seconds=1))


def test_a_certificate_is_due_when_a_name_or_an_address_came_but_not_when_one_went(
    authority: Identity, server: Identity
) -> None:
    moved = Machine(MACHINE.names, (*MACHINE.addresses, ip_address("10.0.0.5")))
    renamed = Machine((*MACHINE.names, "log.shop.example"), MACHINE.addresses)
    smaller = Machine(MACHINE.names[:1], MACHINE.addresses[:1])
    assert is_due(server.certificate, authority, moved, NOW)
    assert is_due(server.certificate, authority, renamed, NOW)
    assert not is_due(server.certificate, authority, smaller, NOW)


def test_a_certificate_of_another_authority_or_from_the_future_is_due(
    authority: Identity, server: Identity
) -> None:
    assert is_due(server.certificate, make_authority("shop", NOW), MACHINE, NOW)
    assert is_due(server.certificate, authority, MACHINE, NOW - 3 * DAY)


def test_an_identity_reads_back_as_it_was_written(authority: Identity) -> None:
    again = read_identity(authority.pem())
    assert again.certificate == authority.certificate
    assert again.name() == "Quality log on shop"


def test_a_key_of_another_certificate_is_not_taken(authority: Identity, server: Identity) -> None:
    with pytest.raises(ValueError, match="does not belong"):
        read_identity(Identity(authority.certificate, server.key).pem())


def test_a_long_host_name_is_cut_to_what_a_common_name_holds() -> None:
    """RFC 5280, appendix A.1: ub-common-name is 64."""
    certificate = make_authority("n" * 63, NOW).certificate
    (name,) = certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
    assert len(name.value) == 64
