"""The shop's certificates over the years: renewed, replaced, revoked, and what was sealed before."""

from dataclasses import replace
from datetime import timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from records.certificates import create_shop_key, renew_certificates, replace_root, revoke_certificate
from records.one_use_key import one_use_key
from records.seal import seal_pdf
from records.shop_key import (
    KeyMissing,
    KeyUnreadable,
    Trust,
    load_certificate,
    load_people_key,
    load_revocations,
    load_shop_key,
    load_trust,
)
from records.verification import verify_pdf
from tests.records.conftest import AT
from tests.records.outside import outside_program

LATER = AT + timedelta(days=1000)


@pytest.fixture
def keys(tmp_path):
    create_shop_key(tmp_path, shop_name="Alder Harness Works", at=AT)
    return tmp_path


def seal(pdf, key, at):
    return seal_pdf(pdf, key=key, at=at, reason="issued", location=None, name="Alder Harness Works")


def test_renewed_certificate_seals_and_the_earlier_seal_still_stands(keys, drawn_pdf):
    before = seal(drawn_pdf, load_shop_key(keys), AT)
    root, old = load_certificate(keys / "root.pem"), load_certificate(keys / "signing.pem")

    key = renew_certificates(keys, shop_name="Alder Harness Works", at=LATER)

    assert (key.root, key.signing == old) == (root, False)
    assert key.signing.not_valid_after_utc > old.not_valid_after_utc
    assert verify_pdf(before, trusted_root=load_trust(keys)).stands
    assert verify_pdf(seal(drawn_pdf, key, LATER), trusted_root=load_trust(keys)).stands
    assert [load_certificate(path) for path in (keys / "retired").glob("signing-*.pem")] == [old]
    assert not list((keys / "retired").glob("*key*"))


def test_renewing_takes_the_roots_key_from_the_safe(keys, tmp_path_factory):
    safe = tmp_path_factory.mktemp("safe") / "root-key.pem"
    (keys / "root-key.pem").rename(safe)
    with pytest.raises(KeyMissing, match=r"root-key\.pem"):
        renew_certificates(keys, shop_name="Alder", at=LATER)
    assert renew_certificates(keys, shop_name="Alder", at=LATER, root_key=safe).signing.not_valid_before_utc == LATER
    assert not (keys / "root-key.pem").exists()


def test_renewing_with_another_roots_key_is_refused_and_changes_nothing(keys, tmp_path_factory):
    other = tmp_path_factory.mktemp("other")
    create_shop_key(other, shop_name="Other", at=AT)
    before = {path.name: path.read_bytes() for path in keys.iterdir()}
    with pytest.raises(KeyUnreadable, match=r"does not belong to root\.pem"):
        renew_certificates(keys, shop_name="Alder", at=LATER, root_key=other / "root-key.pem")
    assert {path.name: path.read_bytes() for path in keys.iterdir()} == before


def test_new_root_seals_and_the_earlier_root_is_trusted_for_the_past(keys, drawn_pdf):
    before, old_root = seal(drawn_pdf, load_shop_key(keys), AT), load_certificate(keys / "root.pem")

    key = replace_root(keys, shop_name="Alder Harness Works", at=LATER)

    assert key.root != old_root
    trust = load_trust(keys)
    assert set(trust.roots) == {key.root, old_root}
    assert verify_pdf(before, trusted_root=trust).stands
    assert verify_pdf(seal(drawn_pdf, key, LATER), trusted_root=trust).stands
    assert not verify_pdf(before, trusted_root=key.root).stands


def test_certificate_of_a_stolen_key_seals_nothing_any_more(keys, drawn_pdf):
    key = load_shop_key(keys)
    sealed = seal(drawn_pdf, key, AT)
    assert verify_pdf(sealed, trusted_root=load_trust(keys)).stands

    revoke_certificate(keys, certificate=key.signing, at=LATER)

    report = verify_pdf(sealed, trusted_root=load_trust(keys))
    # Sealed long before: but the time is the signer's own claim, and whoever has the key can claim any.
    assert (report.stands, report.trusted, report.intact) == (False, False, True)
    assert "revoked" in " ".join(report.problems)


def test_certificate_revoked_for_another_reason_keeps_what_it_sealed_before(keys, drawn_pdf):
    key = load_shop_key(keys)
    before, after = seal(drawn_pdf, key, AT), seal(drawn_pdf, key, LATER)
    revoke_certificate(keys, certificate=key.signing, at=LATER, reason=x509.ReasonFlags.superseded)
    trust = load_trust(keys)
    assert verify_pdf(before, trusted_root=trust).stands
    assert not verify_pdf(after, trusted_root=trust).stands


def test_revocations_add_up_and_stay_signed_by_the_root(keys):
    first = load_shop_key(keys).signing
    revoke_certificate(keys, certificate=first, at=AT)
    revoke_certificate(keys, certificate=first, at=LATER)
    second = renew_certificates(keys, shop_name="Alder", at=LATER).signing
    revoke_certificate(keys, certificate=second, at=LATER)
    listed = load_revocations(keys)
    assert {row.serial_number for row in listed} == {first.serial_number, second.serial_number}
    assert listed.get_revoked_certificate_by_serial_number(first.serial_number).revocation_date_utc == AT


def test_revocation_list_of_another_shop_is_refused(keys, tmp_path_factory):
    other = tmp_path_factory.mktemp("other")
    create_shop_key(other, shop_name="Other", at=AT)
    (keys / "revoked.crl").write_bytes((other / "revoked.crl").read_bytes())
    with pytest.raises(KeyUnreadable, match="did not sign it"):
        load_trust(keys)


def test_openssl_reads_the_revocation_list_and_refuses_a_revoked_certificate(keys, tmp_path):
    signing = keys / "signing.pem"

    def verify():
        chain = ("-CAfile", keys / "root.pem", "-CRLfile", keys / "revoked.crl")
        return outside_program("openssl", "verify", "-x509_strict", "-crl_check", "-attime", int(LATER.timestamp()) + 60, *chain, signing)

    assert verify().returncode == 0
    revoke_certificate(keys, certificate=load_certificate(signing), at=LATER)
    assert "revoked" in verify().stderr


def test_openssl_accepts_the_chain_of_a_persons_certificate(keys, tmp_path):
    key = one_use_key(load_people_key(keys), name="Quirin Mosvold", username="quirin", shop="Alder Harness Works", at=AT)
    path = tmp_path / "person.pem"
    path.write_bytes(key.certificate.public_bytes(Encoding.PEM))
    chain = ("-CAfile", keys / "root.pem", "-untrusted", keys / "people.pem")

    def verify(at):
        return outside_program("openssl", "verify", "-x509_strict", "-attime", int(at.timestamp()), *chain, path)

    assert verify(AT + timedelta(minutes=1)).returncode == 0
    assert "expired" in verify(AT + timedelta(hours=2)).stderr


def test_trust_without_the_list_does_not_know_of_a_revocation(keys, drawn_pdf):
    key = load_shop_key(keys)
    sealed = seal(drawn_pdf, key, AT)
    revoke_certificate(keys, certificate=key.signing, at=AT)
    trust = load_trust(keys)
    assert not verify_pdf(sealed, trusted_root=trust).stands
    assert verify_pdf(sealed, trusted_root=replace(trust, revocations=())).stands
    assert verify_pdf(sealed, trusted_root=Trust((key.root,))).stands
