"""What every test stands on: fast secrets, files under the test's own directory, the cast and the catalogue."""

from __future__ import annotations

import pytest
from hypothesis import settings as hypothesis

from tests import factories

# A busy machine is no defect of the code.
hypothesis.register_profile("house", deadline=None)
hypothesis.load_profile("house")


@pytest.fixture(autouse=True)
def _test_settings(settings, tmp_path):
    # A slow hash is the point in the shop and a minute of waiting here.
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    # The hashed names need a collectstatic first.
    settings.STORAGES = settings.STORAGES | {"staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}
    # Background work is done at once, where a test lets commits happen.
    settings.TASKS = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.STATIC_ROOT = tmp_path  # there, and empty


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
