"""Files under the hash of their bytes: on the disk and in S3-compatible storage."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import threading
from pathlib import Path

import boto3
import pytest
from django.core.checks import run_checks
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage, storages
from django.db import DEFAULT_DB_ALIAS, connections, transaction
from moto.server import ThreadedMotoServer

from shop import settings as shop_settings
from shop.acts.documents import attach_file, file_of
from shop.clock import now
from shop.finding import Refused, misfit
from shop.stored_files import keep, read

DATA = b"%PDF-1.7\nsupplier certificate\n"
HASH = hashlib.sha256(DATA).hexdigest()
NAME = f"attachments/{HASH[:2]}/{HASH}"
DAMAGED = misfit("document.file.damaged", document="x", sha256=HASH)


@pytest.fixture(scope="module")
def s3_server():
    """A general-purpose mock of the S3 protocol, in this process on a free port of this machine."""
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    address = f"http://{host}:{port}"
    access = {"endpoint_url": address, "region_name": "us-east-1", "aws_access_key_id": "shop", "aws_secret_access_key": "a secret"}
    boto3.client("s3", **access).create_bucket(Bucket="records")
    yield address
    server.stop()


@pytest.fixture(params=["disk", "s3"])
def storage(request, settings):
    """Each kind of storage in turn, as `shop.settings` describes it."""
    if request.param == "s3":
        address = request.getfixturevalue("s3_server")
        stated = {"bucket_name": "records", "endpoint_url": address, "access_key": "shop", "secret_key": "a secret"}
        chosen = {"BACKEND": shop_settings.IN_S3["BACKEND"], "OPTIONS": shop_settings.IN_S3["OPTIONS"] | stated}
        settings.STORAGES = settings.STORAGES | {"default": chosen}
    meant = storages["default"]  # a test may turn to another one
    yield default_storage
    meant.delete(NAME)


def test_kept_file_is_read_back(storage, db):
    with transaction.atomic():
        keep(NAME, DATA)

    assert read(NAME, HASH, owner=("document", 1), damaged=DAMAGED) == DATA


def test_writing_the_same_again_leaves_one_file(storage):
    assert [storage.save(NAME, ContentFile(DATA)) for _ in range(2)] == [NAME, NAME]
    assert storage.listdir(f"attachments/{HASH[:2]}") == ([], [HASH])


def test_same_bytes_written_by_many_at_once_are_one_whole_file(storage):
    data = os.urandom(300_000)
    barrier, failed = threading.Barrier(6), []

    def write():
        barrier.wait()
        try:
            storage.save(NAME, ContentFile(data))
        except Exception as error:
            failed.append(error)

    writers = [threading.Thread(target=write) for _ in range(6)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()

    assert failed == []
    with storage.open(NAME) as file:
        assert file.read() == data
    assert storage.listdir(f"attachments/{HASH[:2]}") == ([], [HASH])


def test_changed_file_is_refused(storage, db):
    storage.save(NAME, ContentFile(b"something else"))

    with pytest.raises(Refused) as refusal:
        read(NAME, HASH, owner=("document", 1), damaged=DAMAGED)
    assert refusal.value.findings == (DAMAGED,)


def test_missing_file_is_refused_and_taking_it_away_again_is_no_error(storage, db):
    storage.delete(NAME)
    storage.delete(NAME)

    with pytest.raises(Refused) as refusal:
        read(NAME, HASH, owner=("document", 1), damaged=DAMAGED)
    assert refusal.value.findings == (DAMAGED,)


def test_document_of_the_catalogue_is_kept_in_each_storage(storage, cast, catalogue):
    document = attach_file(document=catalogue.document, name="x.pdf", data=DATA, by=cast.planner, at=now())

    assert file_of(document) == DATA
    assert storage.exists(NAME)


def test_half_written_file_is_never_found_under_its_name(settings):
    class Breaks(ContentFile):
        def chunks(self, chunk_size=None):
            yield DATA
            raise OSError("the sender went away")

    with pytest.raises(OSError, match="went away"):
        default_storage.save(NAME, Breaks(DATA))

    assert not default_storage.exists(NAME)
    assert list(Path(settings.MEDIA_ROOT).rglob("*.*")) == []


def test_name_is_kept_inside_a_transaction_only(transactional_outside):
    with pytest.raises(transaction.TransactionManagementError):
        keep(NAME, DATA)


@pytest.fixture
def transactional_outside(monkeypatch):
    """Outside of any transaction, which a test with a database never is."""
    # The connection, not the proxy before it: undone at the proxy, the attribute is deleted and the next user of the database fails.
    monkeypatch.setattr(connections[DEFAULT_DB_ALIAS], "in_atomic_block", False)


def started(tmp_path, **environment):
    """Start the settings in a process of their own: (exit code, last line of what it says)."""
    env = os.environ | {"DATA_DIR": str(tmp_path), "SECRET_KEY": "x" * 50} | environment
    code = "import shop.settings as s; print(s.STORAGES['default']['BACKEND'], s.S3_SECRET_KEY, s.UPLOAD_LIMIT_BYTES)"
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=False)
    return done.returncode, (done.stdout + done.stderr).strip().splitlines()[-1]


def test_settings_choose_the_storage(tmp_path):
    secret = tmp_path / "secret"
    secret.write_text("from a file\n")
    s3 = {"FILE_STORAGE": "s3", "S3_BUCKET": "records", "S3_ACCESS_KEY": "shop", "S3_SECRET_KEY_FILE": str(secret), "UPLOAD_LIMIT_MB": "3"}

    assert started(tmp_path) == (0, f"shop.stored_files.HashedFiles  {10 * 1024 * 1024}")
    assert started(tmp_path, **s3) == (0, f"storages.backends.s3.S3Storage from a file {3 * 1024 * 1024}")


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({"FILE_STORAGE": "tape"}, "FILE_STORAGE"),
        ({"FILE_STORAGE": "s3"}, "FILE_STORAGE s3 needs S3_BUCKET, S3_ACCESS_KEY and S3_SECRET_KEY"),
        ({"S3_ENDPOINT": "files.example"}, "S3_ENDPOINT must begin with https:// or http://"),
        ({"UPLOAD_LIMIT_MB": "0"}, "UPLOAD_LIMIT_MB"),
    ],
)
def test_wrong_settings_stop_the_start(tmp_path, stated, said):
    code, line = started(tmp_path, **stated)

    assert code == 2
    assert said in line


def test_check_says_when_the_storage_does_not_answer(storage, settings):
    assert [m.id for m in run_checks(tags=["files"], include_deployment_checks=True)] == []

    options = {"bucket_name": "records", "endpoint_url": "http://127.0.0.1:9", "access_key": "x", "secret_key": "x"}
    chosen = {"BACKEND": shop_settings.IN_S3["BACKEND"], "OPTIONS": shop_settings.IN_S3["OPTIONS"] | options}
    settings.STORAGES = settings.STORAGES | {"default": chosen}
    assert storages["default"].endpoint_url == "http://127.0.0.1:9"
    assert [m.id for m in run_checks(tags=["files"], include_deployment_checks=True)] == ["shop.E002"]


def test_check_warns_of_files_that_travel_in_clear(s3_server, storage, settings):
    settings.FILE_STORAGE, settings.S3_ENDPOINT = "s3", s3_server

    assert [m.id for m in run_checks(tags=["files"], include_deployment_checks=True)] == ["shop.W002"]
