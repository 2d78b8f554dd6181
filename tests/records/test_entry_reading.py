"""Entries of any age verify and read."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from records import entry_reading
from records.chain import GENESIS, Link, entry_hash, verify_chain
from records.entry_reading import read_entry, reads
from shop.canonical import canonical_json

STORED = sorted((Path(__file__).parent / "entries").glob("*.json"))


def stored(path):
    return path.read_text(encoding="utf-8").rstrip("\n")


@pytest.mark.parametrize("path", STORED, ids=lambda path: path.stem)
def test_stored_entry_of_an_earlier_version_is_canonical_verifies_and_reads(path):
    text = stored(path)

    assert canonical_json(json.loads(text)) == text
    assert verify_chain([Link(1, text, GENESIS, entry_hash(GENESIS, 1, text))]).is_whole
    assert read_entry(text).is_known


def test_package_of_version_1_reads_as_one_without_a_checkpoint():
    entry = read_entry(stored(STORED[0]))

    assert (entry.version, entry.read_as, entry.by, entry.subject) == (1, 2, "Audun Helle", ("shipment", 1, "SH-1"))
    assert entry.content["checkpoint"] is None
    assert entry.content["files"] == 19


@pytest.mark.parametrize(("kind", "version"), [("evidence.packed", 9), ("hologram.projected", 1)])
def test_unknown_kind_or_version_reads_as_its_plain_content(kind, version):
    text = json.dumps(json.loads(stored(STORED[0])) | {"kind": kind, "version": version})

    entry = read_entry(text)

    assert (entry.is_known, entry.read_as, entry.content["files"]) == (False, version, 19)


def test_every_step_is_taken_in_order(monkeypatch):
    monkeypatch.setattr(entry_reading, "READERS", {})
    monkeypatch.setattr(entry_reading.RECORDED["evidence.packed"], "version", 4)
    for version in (1, 2, 3):
        reads("evidence.packed", version)(lambda content, version=version: {**content, "steps": [*content.get("steps", []), version]})

    entry = read_entry(stored(STORED[0]))

    assert (entry.read_as, entry.content["steps"], entry.is_known) == (4, [1, 2, 3], True)


def test_missing_step_leaves_the_entry_as_far_as_it_can_be_read(monkeypatch):
    monkeypatch.setattr(entry_reading.RECORDED["evidence.packed"], "version", 4)

    entry = read_entry(stored(STORED[0]))

    assert (entry.read_as, entry.is_known) == (2, False)


def test_second_reader_of_a_version_is_an_error():
    with pytest.raises(ValueError, match="has a reader already"):
        reads("evidence.packed", 1)(dict)


@pytest.mark.parametrize("text", ["{}", "[]", "null", '{"kind": 1}'])
def test_text_that_is_no_entry_is_an_error(text):
    with pytest.raises(ValueError, match="ledger entry"):
        read_entry(text)


def test_every_kind_above_version_1_reads_all_its_versions():
    for kind, event in entry_reading.RECORDED.items():
        for version in range(1, event.version):
            assert (kind, version) in entry_reading.READERS, (kind, version)
