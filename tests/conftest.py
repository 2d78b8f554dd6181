"""What every test stands on: fast secrets, files under the test's own directory, the cast and the catalogue."""

from __future__ import annotations

import gc
import json
import shutil
from datetime import timedelta
from functools import partial

import pytest
from cryptography.hazmat.primitives import serialization
from hypothesis import settings as hypothesis

from records.audit_trail import READINGS
from records.certificates import create_shop_key
from records.ledger import entry_text
from records.shop_key import load_shop_key
from shop.clock import now
from shop.events import published
from tests import factories, remembered

# A busy machine is no defect of the code.
hypothesis.register_profile("house", deadline=None)
hypothesis.load_profile("house")


_load_key = serialization.load_pem_private_key


@pytest.fixture(autouse=True)
def _test_settings(settings, tmp_path, monkeypatch):
    # A slow hash is the point in the shop and a minute of waiting here.
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    # The same with the primes of a key that a test has just made.
    monkeypatch.setattr(serialization, "load_pem_private_key", partial(_load_key, unsafe_skip_rsa_key_validation=True))
    # The hashed names need a collectstatic first.
    settings.STORAGES = settings.STORAGES | {"staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}
    # Background work is done at once, where a test lets commits happen.
    settings.TASKS = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.STATIC_ROOT = tmp_path  # there, and empty


@pytest.fixture(autouse=True)
def _memory_of_set_ups():
    with remembered.one_test():
        yield


@pytest.fixture(scope="session")
def _made_shop_key(tmp_path_factory):
    """Three RSA keys take seconds: they are made once, and every test gets a copy."""
    directory = tmp_path_factory.mktemp("shop-key") / "keys"
    create_shop_key(directory, shop_name="Test shop", at=now() - timedelta(days=1))
    return directory


@pytest.fixture
def shop_key(settings, tmp_path, _made_shop_key):
    """The shop's key, in a folder of the test's own."""
    settings.SHOP_KEY_DIR = tmp_path / "keys"
    shutil.copytree(_made_shop_key, settings.SHOP_KEY_DIR)
    return load_shop_key(settings.SHOP_KEY_DIR)


@pytest.fixture
def cast(db) -> factories.Cast:
    return factories.make_cast()


@pytest.fixture
def catalogue(db) -> factories.Catalogue:
    return factories.make_catalogue()


@pytest.fixture
def signed_in(client):
    """The test client, signed in as this person."""

    def sign_in(person):
        client.force_login(person)
        return client

    return sign_in


@pytest.fixture(autouse=True)
def _entries_are_told(request):
    """Every event that a test's acts publish has to read by the sentence of its kind: a changed content must not fall back unseen."""

    if "test_ledger" in request.module.__name__ or "test_checkpoints" in request.module.__name__:
        yield  # they publish entries of their own making
        return

    def read(sender, event, **kwargs):
        READINGS[event.kind](json.loads(entry_text(event))["content"], None)

    published.connect(read, weak=False, dispatch_uid="entries-are-told")
    yield
    published.disconnect(read, dispatch_uid="entries-are-told")


def pytest_collection_finish(session):
    # Tests leave many things that point at each other; looking for them anew among all that was imported costs a tenth of the time.
    gc.collect()
    gc.freeze()
