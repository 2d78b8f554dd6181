"""Evidence packages: what is in them, that they verify alone, and that nobody alters them unseen."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile
from datetime import timedelta

import pytest
from django.urls import reverse

from records.acts.evidence import pack_evidence, write_period
from records.acts.evidence_orders import order_evidence, package_file
from records.acts.lots import BUILT_MEANING, SHIPPED_MEANING, build_lot, ship
from records.certificates import create_shop_key, renew_certificates
from records.demo.walk import Hand, run_batch
from records.evidence_orders import EvidenceOrder
from records.evidence_verifier import included, main
from records.merkle import inclusion_proof, leaf_hash, tree_head
from records.models import LedgerEntry
from records.shop_key import raw_signature
from shop.acts.documents import attach_file
from shop.canonical import canonical_json, sha256_hex
from shop.clock import now, shop_day
from shop.finding import Refused
from tests import factories
from tests.remembered import remembered

CODES = ["AP-031", "TL-2001", "WL-1001", "MIC-01", "CAL-01", "PULL-01"]


@pytest.fixture
@remembered
def shipment(cast, catalogue, shop_key):
    def signed(person, meaning, at):
        return Hand(person, person.badge, factories.PIN).sign(meaning, at)

    sheet = factories.released(cast, catalogue)
    termination = sheet.terminations.get()
    if termination.specification is not None:
        attach_file(document=termination.specification.document, name="crimp data.pdf", data=b"%PDF-1.4 %%EOF", by=cast.planner, at=now())
    batch = run_batch(termination, CODES, 100, Hand(cast.operator, cast.operator.badge, factories.PIN), now)
    at = now()
    lot = build_lot(
        number="HL-1",
        job=sheet.job,
        quantity=100,
        batches={batch.pk: 100},
        by=cast.planner,
        at=at,
        signing=signed(cast.planner, BUILT_MEANING, at),
    )
    signing = signed(cast.quality, SHIPPED_MEANING, at)
    return ship(number="SH-1", customer=catalogue.customer, lots={lot.pk: 100}, by=cast.quality, at=at, signing=signing)


_packed: list[bytes] = []


@pytest.fixture
def package(request, shop_key):
    """A shipment's package. Packed once: the tests alter copies of it, and every test has the same key."""
    if not _packed:
        shipment, auditor = request.getfixturevalue("shipment"), request.getfixturevalue("cast").auditor
        _packed.append(pack_evidence(of=shipment, by=auditor, at=now()))
    return _packed[0]


def files_of(data):
    source = zipfile.ZipFile(io.BytesIO(data))
    return {name: source.read(name) for name in source.namelist()}


def zipped(files, path):
    with zipfile.ZipFile(path, "w") as out:
        for name, content in files.items():
            out.writestr(name, content)
    return path


def verdict(files, tmp_path, capsys):
    """(exit code, last line) of the verifier over these files."""
    code = main([str(zipped(files, tmp_path / "checked.zip"))])
    return code, capsys.readouterr().out.splitlines()[-1]


def resealed(files, key):
    """The package as somebody would make it who holds the shop's key and changes files: a manifest that fits, signed."""
    manifest = json.loads(files["manifest.json"])
    for listed in manifest["files"]:
        listed |= {"sha256": sha256_hex(files[listed["path"]]), "size": len(files[listed["path"]])}
    text = canonical_json(manifest).encode()
    return files | {"manifest.json": text, "manifest.sig": raw_signature(key, text).hex().encode()}


def test_package_verifies_in_a_bare_python_in_an_empty_folder(package, shop_key, tmp_path):
    folder = tmp_path / "elsewhere"
    zipfile.ZipFile(io.BytesIO(package)).extractall(folder)
    empty = tmp_path / "empty"
    empty.mkdir()

    command = [sys.executable, "-I", "-S", str(folder / "verify.py"), "--root-sha256", shop_key.root_sha256]
    answer = subprocess.run(command, capture_output=True, text=True, check=False, cwd=empty, env={})

    assert (answer.returncode, answer.stdout.splitlines()[-1]) == (0, "HOLDS"), answer.stdout + answer.stderr
    assert "It does not show:" in answer.stdout
    assert list(empty.iterdir()) == []


def test_package_says_what_it_can_and_cannot_show(package):
    readme = files_of(package)["README.txt"].decode()

    assert "Everything behind shipment SH-1" in readme
    assert "that keys/root.pem belongs to the shop" in readme
    assert "stands, word for word, in the ledger" in readme


def test_package_holds_attachments_and_a_proof_for_every_entry(package):
    files = files_of(package)

    assert [data for name, data in files.items() if name.startswith("attachments/")] == [b"%PDF-1.4 %%EOF"]
    entries = [json.loads(line) for line in files["ledger/entries.jsonl"].splitlines()]
    kinds = {json.loads(entry["text"])["kind"] for entry in entries}
    assert {"sheet.released", "batch.closed", "lot.built", "shipment.sent", "document.issued", "document.file_attached"} <= kinds
    assert all(entry["proof"] for entry in entries)


def test_any_byte_altered_in_any_file_is_caught(package, tmp_path, capsys):
    files = files_of(package)
    for name, data in files.items():
        for at in {0, len(data) // 3, len(data) // 2, len(data) - 1}:
            for bit in (1, 0x20):
                altered = data[:at] + bytes([data[at] ^ bit]) + data[at + 1 :]
                code, said = verdict(files | {name: altered}, tmp_path, capsys)
                assert (code, said.startswith("DOES NOT HOLD")) == (1, True), (name, at, bit)


def test_file_left_out_or_added_is_caught(package, tmp_path, capsys):
    files = files_of(package)
    for name in files:
        assert verdict({n: d for n, d in files.items() if n != name}, tmp_path, capsys)[0] == 1, name
    assert verdict(files | {"documents/more.pdf": b"x"}, tmp_path, capsys) == (
        1,
        "DOES NOT HOLD: documents/more.pdf is in the package but not in the manifest",
    )


def test_byte_altered_in_the_checkpoint_is_caught_although_the_manifest_was_made_anew(package, shop_key, tmp_path, capsys):
    files = files_of(package)
    assert verdict(resealed(files, shop_key), tmp_path, capsys) == (0, "HOLDS")
    file = json.loads(files["ledger/checkpoint.json"])
    said = json.loads(file["checkpoint"])
    for name, value in said.items():
        other = value + 1 if isinstance(value, int) else ("0" if str(value)[:1] != "0" else "1") + str(value)[1:]
        changed = {"ledger/checkpoint.json": json.dumps(file | {"checkpoint": canonical_json(said | {name: other})}).encode()}
        assert verdict(resealed(files | changed, shop_key), tmp_path, capsys)[0] == 1, name
    for part in ("signature", "certificate"):
        for at in (40, len(file[part]) // 2):
            other = "0" if file[part][at] != "0" else "1"
            changed = {"ledger/checkpoint.json": json.dumps(file | {part: file[part][:at] + other + file[part][at + 1 :]}).encode()}
            assert verdict(resealed(files | changed, shop_key), tmp_path, capsys)[0] == 1, part


def test_byte_altered_in_an_entry_or_its_proof_is_caught_although_the_manifest_was_made_anew(package, shop_key, tmp_path, capsys):
    files = files_of(package)
    lines = files["ledger/entries.jsonl"].decode().splitlines()
    for place in (0, len(lines) // 2, len(lines) - 1):
        entry = json.loads(lines[place])
        altered = [
            entry | {"number": entry["number"] + 1},
            entry | {"text": entry["text"].replace('"version":', '"version": ')},
            entry | {"previous_hash": "0" * 64 if entry["number"] > 1 else "1" * 64},
            entry | {"hash": entry["hash"][:-1] + ("0" if entry["hash"][-1] != "0" else "1")},
            entry | {"proof": entry["proof"][:-1]},
            entry | {"proof": [*entry["proof"], "00" * 32]},
        ]
        for step, value in enumerate(entry["proof"]):
            other = ("0" if value[0] != "0" else "1") + value[1:]
            altered.append(entry | {"proof": [*entry["proof"][:step], other, *entry["proof"][step + 1 :]]})
        for one in altered:
            changed = "\n".join([*lines[:place], json.dumps(one), *lines[place + 1 :]]) + "\n"
            assert verdict(resealed(files | {"ledger/entries.jsonl": changed.encode()}, shop_key), tmp_path, capsys)[0] == 1, one


def test_entry_hashed_anew_is_not_under_the_checkpoint(package, shop_key, tmp_path, capsys):
    """Whoever changes an entry and hashes it correctly has no proof for it."""
    from records.chain import entry_hash  # noqa: PLC0415

    files = files_of(package)
    lines = files["ledger/entries.jsonl"].decode().splitlines()
    entry = json.loads(lines[0])
    entry["text"] = entry["text"].replace("Petra", "Pedro").replace("Quirin", "Quiran")
    entry["hash"] = entry_hash(entry["previous_hash"], entry["number"], entry["text"])
    changed = "\n".join([json.dumps(entry), *lines[1:]]) + "\n"

    code, said = verdict(resealed(files | {"ledger/entries.jsonl": changed.encode()}, shop_key), tmp_path, capsys)

    assert (code, "ledger entry" in said) == (1, True)


def test_package_of_a_stranger_with_the_same_name_has_another_root(package, shop_key, tmp_path, capsys):
    stranger = create_shop_key(tmp_path / "stranger", shop_name="Test shop", at=now())
    path = zipped(files_of(package), tmp_path / "p.zip")

    assert main([str(path), "--root-sha256", shop_key.root_sha256]) == 0
    assert main([str(path), "--root-sha256", stranger.root_sha256]) == 1


def test_package_after_the_certificate_was_renewed_holds(cast, shipment, settings, tmp_path, capsys):
    pack_evidence(of=shipment, by=cast.auditor, at=now())
    renew_certificates(settings.SHOP_KEY_DIR, shop_name="Test shop", at=now())

    assert verdict(files_of(pack_evidence(of=shipment, by=cast.auditor, at=now())), tmp_path, capsys) == (0, "HOLDS")


@pytest.mark.parametrize("size", [1, 2, 3, 6, 7, 8, 13])
def test_verifiers_own_proof_check_agrees_with_the_ledgers(size):
    leaves = [leaf_hash(bytes([n])) for n in range(size)]
    root = tree_head(leaves)
    for index in range(size):
        proof = inclusion_proof(index, size, lambda start, stop: tree_head(leaves[start:stop]))
        assert included(leaves[index], index, size, proof, root)
        assert not included(leaves[index], index, size, [*proof, bytes(32)], root)
        assert not included(leaves[index - 1], index, size, proof, root) or size == 1


# --- A period, and the worker ----------------------------------------------------------------------------------------------------


def test_period_holds_everything_that_happened_in_it(cast, shipment, tmp_path, capsys):
    day, out, heard = shop_day(now()), io.BytesIO(), []

    write_period(
        since=day - timedelta(days=1),
        until=day,
        out=out,
        by=cast.auditor,
        at=now(),
        progress=lambda done, total: heard.append((done, total)),
    )

    files = files_of(out.getvalue())
    assert verdict(files, tmp_path, capsys) == (0, "HOLDS")
    numbers = [json.loads(line)["number"] for line in files["ledger/entries.jsonl"].splitlines()]
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) >= LedgerEntry.objects.count() - 2  # but the checkpoint, and that it was packed
    assert sum(name.startswith("documents/") for name in files) == 4
    assert heard[-1][0] == heard[-1][1] > 4


def test_period_without_anything_in_it_still_verifies(cast, shipment, tmp_path, capsys):
    out, long_ago = io.BytesIO(), shop_day(now()) - timedelta(days=400)

    write_period(since=long_ago, until=long_ago, out=out, by=cast.auditor, at=now())

    files = files_of(out.getvalue())
    assert files["ledger/entries.jsonl"] == b""
    assert verdict(files, tmp_path, capsys) == (0, "HOLDS")


@pytest.mark.parametrize("days", [-1, 366])
def test_period_that_ends_before_it_begins_or_is_too_long_is_refused(cast, shop_key, days):
    day = shop_day(now())

    with pytest.raises(Refused) as refused:
        order_evidence(of="period", since=day, until=day + timedelta(days=days), by=cast.auditor, at=now())

    assert [f.rule for f in refused.value.findings] == ["evidence.period"]
    assert not EvidenceOrder.objects.exists()


def test_ordered_package_is_packed_by_the_worker_and_taken_from_its_page(
    signed_in, cast, shipment, tmp_path, capsys, django_capture_on_commit_callbacks
):
    client = signed_in(cast.auditor)
    day = shop_day(now()).isoformat()

    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(reverse("prove:evidence-packages"), {"of": "period", "since": day, "until": day})

    order = EvidenceOrder.objects.get()
    assert answer.url == reverse("prove:evidence-order", args=[order.pk])
    assert (order.state, order.done) == ("done", order.total)
    page = client.get(answer.url)
    assert order.sha256 in page.content.decode()
    data = b"".join(client.get(reverse("prove:evidence-file", args=[order.pk])).streaming_content)
    assert sha256_hex(data) == order.sha256
    assert verdict(files_of(data), tmp_path, capsys) == (0, "HOLDS")


def test_package_that_waits_says_so_and_asks_again_by_itself(signed_in, cast, shipment):
    client = signed_in(cast.auditor)
    client.post(reverse("prove:evidence-packages"), {"of": "shipment", "number": "SH-1"})

    page = client.get(reverse("prove:evidence-order", args=[EvidenceOrder.objects.get().pk])).content.decode()

    assert "waits for the worker" in page
    assert 'hx-trigger="every 1s"' in page


def test_package_that_breaks_off_says_why(cast, shipment, settings, tmp_path, django_capture_on_commit_callbacks):
    settings.SHOP_KEY_DIR = tmp_path / "no-keys"

    with django_capture_on_commit_callbacks(execute=True):
        order_evidence(of="shipment", number="SH-1", by=cast.auditor, at=now())

    order = EvidenceOrder.objects.get()
    assert (order.state, order.sha256) == ("broken", "")
    assert "shop_key --create" in order.fault


@pytest.mark.parametrize(
    ("sent", "field"),
    [
        ({"of": "shipment", "number": "SH-9"}, "There is no shipment SH-9."),
        ({"of": "lot", "number": ""}, ""),
        ({"of": "period", "since": "2026-13-01", "until": ""}, "is not a date"),
        ({"of": "reel"}, "nothing a package can be about"),
    ],
)
def test_order_for_something_that_is_not_there_is_refused(signed_in, cast, shipment, sent, field):
    answer = signed_in(cast.auditor).post(reverse("prove:evidence-packages"), sent)

    assert answer.status_code == 422
    assert field in answer.content.decode()
    assert not EvidenceOrder.objects.exists()


def test_stored_package_that_was_damaged_is_not_handed_out(cast, shipment, settings, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        order_evidence(of="shipment", number="SH-1", by=cast.auditor, at=now())
    order = EvidenceOrder.objects.get()
    path = next(settings.MEDIA_ROOT.glob("evidence/*/*.zip"))
    path.chmod(0o600)
    path.write_bytes(path.read_bytes() + b" ")

    with pytest.raises(Refused):
        package_file(order)


def test_quality_signs_a_checkpoint_from_the_ledger_page_and_the_auditor_cannot(signed_in, cast, shipment):
    client = signed_in(cast.quality)
    client.post(reverse("prove:checkpoint"))

    assert "Last checkpoint" in client.get(reverse("prove:ledger")).content.decode()
    auditor = signed_in(cast.auditor)
    assert reverse("prove:checkpoint") not in auditor.get(reverse("prove:ledger")).content.decode()
    assert auditor.post(reverse("prove:checkpoint")).status_code == 422
