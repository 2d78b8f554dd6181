"""Seals with a time by a service: a real RFC 3161 authority on this machine (OpenSSL's), asked over HTTP."""

import subprocess
import threading
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.timestamps import HTTPTimeStamper

from records.certificates import create_shop_key, revoke_certificate
from records.seal import Level, NoTimeStamp, Stamping, seal_pdf
from records.shop_key import load_trust
from records.verification import B_B, B_LT, B_T, verify_pdf
from tests.records.conftest import draw
from tests.records.outside import outside_program

NOW = datetime.now(UTC).replace(microsecond=0) - timedelta(minutes=1)

CONFIG = """
[tsa]
default_tsa = here
[here]
serial = {at}/serial
signer_cert = {at}/tsa.pem
signer_key = {at}/tsa.key
certs = {at}/tsa-root.pem
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
ess_cert_id_alg = sha256
[extensions]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = critical, timeStamping
"""


@pytest.fixture(scope="module")
def authority(tmp_path_factory):
    """(address, root certificate) of a time-stamp authority that answers on this machine."""
    at = tmp_path_factory.mktemp("tsa")
    config = at / "tsa.cnf"
    config.write_text(CONFIG.format(at=at))
    (at / "serial").write_text("01")
    new = ("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "30", "-subj")
    done = outside_program("openssl", *new, "/CN=Time root", "-keyout", at / "tsa-root.key", "-out", at / "tsa-root.pem")
    assert done.returncode == 0, done.stderr
    issued = ("-CA", at / "tsa-root.pem", "-CAkey", at / "tsa-root.key", "-extensions", "extensions", "-config", config)
    # `req -x509 -CA` needs a distinguished name section only where no -subj is given.
    done = outside_program("openssl", *new, "/CN=Time authority", *issued, "-keyout", at / "tsa.key", "-out", at / "tsa.pem")
    assert done.returncode == 0, done.stderr

    class Answer(BaseHTTPRequestHandler):
        def do_POST(self):
            asked = self.rfile.read(int(self.headers["Content-Length"]))
            (at / "query.tsq").write_bytes(asked)
            command = ["openssl", "ts", "-reply", "-config", config, "-queryfile", at / "query.tsq", "-chain", at / "tsa-root.pem"]
            answer = subprocess.run([*map(str, command)], capture_output=True, check=True, timeout=30).stdout
            self.send_response(200)
            self.send_header("Content-Type", "application/timestamp-reply")
            self.send_header("Content-Length", str(len(answer)))
            self.end_headers()
            self.wfile.write(answer)

        def log_message(self, *args):
            """Quiet."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/", x509.load_pem_x509_certificate((at / "tsa-root.pem").read_bytes())
    server.shutdown()
    server.server_close()


@pytest.fixture(scope="module")
def keys(tmp_path_factory):
    directory = tmp_path_factory.mktemp("stamped-keys")
    create_shop_key(directory, shop_name="Alder Harness Works", at=NOW - timedelta(hours=1))
    return directory


@pytest.fixture(scope="module")
def drawn():
    return draw()


def seal(pdf, keys, authority, level):
    from records.shop_key import load_shop_key  # noqa: PLC0415

    trust = load_trust(keys)
    stamping = Stamping(level, HTTPTimeStamper(authority[0], timeout=20), (*trust.roots, authority[1]), trust.revocations)
    return seal_pdf(pdf, key=load_shop_key(keys), at=NOW, reason="issued", location=None, name="Alder Harness Works", stamping=stamping)


@pytest.fixture(scope="module")
def stamped(drawn, keys, authority):
    return {level: seal(drawn, keys, authority, level) for level in (Level.B_T, Level.B_LT)}


@pytest.mark.parametrize(("level", "told"), [(Level.B_T, B_T), (Level.B_LT, B_LT)])
def test_stamped_seal_stands_and_says_its_level_and_both_times(stamped, keys, authority, level, told):
    report = verify_pdf(stamped[level], trusted_root=load_trust(keys), time_roots=[authority[1]])
    assert report.problems == ()
    assert (report.stands, report.level, report.signed_at) == (True, told, NOW)
    assert NOW <= report.stamped_at <= datetime.now(UTC) + timedelta(seconds=2)


def test_stamp_of_an_unknown_authority_counts_as_none(stamped, keys):
    report = verify_pdf(stamped[Level.B_T], trusted_root=load_trust(keys))
    assert (report.stamped_at, report.intact, report.trusted) == (None, True, True)


def test_openssl_verifies_the_stamp_over_the_signature_value(stamped, authority, tmp_path):
    pdf = tmp_path / "stamped.pdf"
    pdf.write_bytes(stamped[Level.B_T])
    with pdf.open("rb") as file:
        signer = PdfFileReader(file).embedded_signatures[0].signer_info
    (tmp_path / "token.der").write_bytes(signer["unsigned_attrs"][0]["values"][0].dump())
    (tmp_path / "value.bin").write_bytes(signer["signature"].native)
    (tmp_path / "root.pem").write_bytes(authority[1].public_bytes(Encoding.PEM))
    arguments = ("-data", tmp_path / "value.bin", "-in", tmp_path / "token.der", "-token_in", "-CAfile", tmp_path / "root.pem")
    done = outside_program("openssl", "ts", "-verify", *arguments)
    assert "Verification: OK" in done.stdout, done.stderr


def test_lasting_seal_carries_certificates_and_the_revocation_list(stamped, keys):
    with open_root(stamped[Level.B_LT]) as root:
        kept = root["/DSS"]
        assert len(kept["/Certs"]) >= 2
        lists = [x509.load_der_x509_crl(bytes(one.read_bytes())) for one in kept["/CRLs"]]
    assert lists == list(load_trust(keys).revocations)


def open_root(pdf):
    import contextlib  # noqa: PLC0415
    import io  # noqa: PLC0415

    import pikepdf  # noqa: PLC0415

    @contextlib.contextmanager
    def opened():
        with pikepdf.open(io.BytesIO(pdf)) as document:
            yield document.Root

    return opened()


def test_plain_seal_has_no_stamp(sealed_pdf, sealing_key, authority):
    report = verify_pdf(sealed_pdf, trusted_root=sealing_key.root, time_roots=[authority[1]])
    assert (report.level, report.stamped_at) == (B_B, None)


def test_bytes_behind_a_lasting_seal_are_noticed(stamped, keys, authority):
    for added in (b"\n", b"%%EOF\n"):
        assert not verify_pdf(stamped[Level.B_LT] + added, trusted_root=load_trust(keys), time_roots=[authority[1]]).stands


def test_stamp_saves_what_a_stolen_key_sealed_before_it_was_revoked(stamped, drawn, tmp_path, authority):
    create_shop_key(tmp_path, shop_name="Alder Harness Works", at=NOW - timedelta(hours=1))
    sealed = seal(drawn, tmp_path, authority, Level.B_T)
    certificate = x509.load_pem_x509_certificate((tmp_path / "signing.pem").read_bytes())
    revoke_certificate(tmp_path, certificate=certificate, at=datetime.now(UTC) + timedelta(days=1))
    trust = load_trust(tmp_path)
    assert verify_pdf(sealed, trusted_root=trust, time_roots=[authority[1]]).stands
    assert not verify_pdf(sealed, trusted_root=trust).stands  # without believing the stamp there is only a claim


def test_service_that_does_not_answer_is_told_in_one_sentence(drawn, keys, authority):
    with pytest.raises(NoTimeStamp):
        seal(drawn, keys, ("http://127.0.0.1:9/", authority[1]), Level.B_T)
