"""The shop's certificate authority and the certificates it gives. Touches no file and no clock."""

import ssl
from dataclasses import dataclass
from datetime import datetime, timedelta

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from qc_app.serve.addresses import Machine

AUTHORITY_LASTS = timedelta(days=3653)

# Apple's devices take 825 days from an authority that was added by hand (Apple support document 103769),
# and 398 from the ones they ship with. One day less than the stricter, since both ends count.
CERTIFICATE_LASTS = timedelta(days=397)

RENEW_BEFORE_END = timedelta(days=30)

CLOCKS_DIFFER = timedelta(days=1)
"""A tablet whose clock is slow by less than this takes a new certificate."""

LONGEST_COMMON_NAME = 64  # RFC 5280, appendix A.1


@dataclass(frozen=True)
class Identity:
    """A certificate with its private key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    def pem(self) -> bytes:
        """Both in one text, so that one file holds what belongs together."""
        key = self.key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        return self.certificate.public_bytes(Encoding.PEM) + key

    def der(self) -> bytes:
        """The certificate alone."""
        return self.certificate.public_bytes(Encoding.DER)

    def name(self) -> str:
        """The certificate's name, as devices list it."""
        (attribute,) = self.certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
        return str(attribute.value)


def read_identity(pem: bytes) -> Identity:
    """A certificate and the key that belongs to it.

    Raises
    ------
    ValueError
        If either cannot be read, or they do not belong together.
    """
    certificate = x509.load_pem_x509_certificate(pem)
    key = load_pem_private_key(pem, None)
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
        raise ValueError("the key does not belong to the certificate")
    return Identity(certificate, key)


def make_authority(name: str, now: datetime) -> Identity:
    """A new authority for the machine of that name. It may sign certificates, but no further authority."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = _common_name(f"Quality log on {name}")
    start = now - CLOCKS_DIFFER
    usage = _usage(key_cert_sign=True, crl_sign=True)
    builder = (
        _builder(subject, subject, key, start, start + AUTHORITY_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
    )
    return Identity(builder.sign(key, hashes.SHA256()), key)


def issue(authority: Identity, machine: Machine, now: datetime) -> Identity:
    """A new certificate for a server by all the machine's names and addresses."""
    key = ec.generate_private_key(ec.SECP256R1())
    start = now - CLOCKS_DIFFER
    end = min(start + CERTIFICATE_LASTS, authority.certificate.not_valid_after_utc)
    issuer = authority.certificate.subject
    signer = authority.certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    names = [*map(x509.DNSName, machine.names), *map(x509.IPAddress, machine.addresses)]
    builder = (
        _builder(_common_name(machine.names[0]), issuer, key, start, end)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(digital_signature=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(signer), critical=False)
    )
    return Identity(builder.sign(authority.key, hashes.SHA256()), key)


def is_an_authority(certificate: x509.Certificate) -> bool:
    """Whether a certificate says of itself that it may sign others, and is signed by itself."""
    try:
        constraints = certificate.extensions.get_extension_for_class(x509.BasicConstraints).value
        certificate.verify_directly_issued_by(certificate)
    except (x509.ExtensionNotFound, InvalidSignature, ValueError, TypeError):
        return False
    return constraints.ca


def is_due(certificate: x509.Certificate, authority: Identity, machine: Machine, now: datetime) -> bool:
    """Whether a server's certificate must be replaced: it ends soon, is another's, or leaves out a name."""
    try:
        certificate.verify_directly_issued_by(authority.certificate)
    except (InvalidSignature, ValueError, TypeError):
        return True
    has_started = certificate.not_valid_before_utc <= now
    ends_soon = certificate.not_valid_after_utc - now < RENEW_BEFORE_END
    # A name that went away does no harm, so only a missing one counts.
    return not has_started or ends_soon or not _names(machine) <= _named(certificate)


def server_context(file: str, key: str | None = None) -> ssl.SSLContext:
    """What a listener needs to speak TLS 1.2 or later as the certificate in ``file``.

    Raises
    ------
    OSError
        If the files cannot be read, or do not belong together (``ssl.SSLError`` is one).
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.load_cert_chain(file, key, password=_no_password)
    return context


def _no_password() -> str:
    """Instead of asking at the terminal, where nobody may be sitting."""
    raise OSError("the key is locked with a password")


def _names(machine: Machine) -> set[object]:
    return {*machine.names, *machine.addresses}


def _named(certificate: x509.Certificate) -> set[object]:
    try:
        names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return set()
    return {*names.get_values_for_type(x509.DNSName), *names.get_values_for_type(x509.IPAddress)}


def _builder(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, start: datetime, end: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(end)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _common_name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text[:LONGEST_COMMON_NAME])])


def _usage(
    *, digital_signature: bool = False, key_cert_sign: bool = False, crl_sign: bool = False
) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=digital_signature,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=key_cert_sign,
        crl_sign=crl_sign,
        encipher_only=False,
        decipher_only=False,
    )
