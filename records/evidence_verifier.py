#!/usr/bin/env python3
"""Checks an evidence package with nothing but Python 3.9 or newer. Copied into each package as verify.py.

    python3 verify.py [--root-sha256 FINGERPRINT] [FOLDER or package.zip]

What it can show and what it cannot it prints at the end; README.txt of the package says the same.

Exit code 0: everything holds. 1: something does not. 2: wrong use.
"""

from __future__ import annotations

import argparse
import base64
import hashlib
import json
import re
import sys
import zipfile
from pathlib import Path
from typing import List, Optional, Protocol, Set, Tuple

# DigestInfo of SHA-256 in RSASSA-PKCS1-v1_5 (RFC 8017, 9.2, note 1).
SHA256_PREFIX = bytes.fromhex("3031300d060960864801650304020105000420")


SHOWN = (
    "no file of the package was changed, added or left out since it was packed",
    "the manifest was signed with the key of keys/signing.pem, and that certificate was issued under keys/root.pem",
    "each ledger entry in the package stands, word for word, in the ledger whose checkpoint the same key signed (RFC 9162 inclusion proof)",
    "each PDF and each record is the one that a ledger entry names",
)
NOT_SHOWN = (
    "that keys/root.pem belongs to the shop: compare its fingerprint with one you got another way",
    "that the clock of the shop was right, or that what people entered was true",
    "that entries which are not in this package do not exist: it holds those about the question only",
    "that the ledger only grew afterwards: the shop can be asked for a later checkpoint, and to hold its ledger against this one",
    "the seals and signatures inside the PDFs: open them in an ordinary PDF reader",
    "packing details of the ZIP itself, such as dates of files: only what the files hold is covered",
)


class Broken(Exception):  # noqa: N818
    """Something in the package does not hold."""


def der_items(data: bytes) -> List[Tuple[int, bytes, bytes]]:
    """The elements of a DER sequence's content: (tag, content, whole)."""
    items, at = [], 0
    while at < len(data):
        tag, length, head = data[at], data[at + 1], 2
        if length & 0x80:
            count = length & 0x7F
            length = int.from_bytes(data[at + 2 : at + 2 + count], "big")
            head += count
        end = at + head + length
        items.append((tag, data[at + head : end], data[at:end]))
        at = end
    return items


def certificate(pem: bytes) -> Tuple[bytes, bytes, int, int, bytes]:
    """(signed part, signature, modulus, exponent, DER) of an RSA certificate in PEM form."""
    lines = [line for line in pem.decode("ascii").splitlines() if line and not line.startswith("-----")]
    der = base64.b64decode("".join(lines))
    signed, _algorithm, signature = der_items(der_items(der)[0][1])[:3]
    fields = der_items(signed[1])
    if fields[0][0] == 0xA0:  # the version stands first where it is stated
        fields = fields[1:]
    key_info = der_items(fields[5][1])
    modulus, exponent = der_items(der_items(key_info[1][1][1:])[0][1])[:2]
    return signed[2], signature[1][1:], int.from_bytes(modulus[1], "big"), int.from_bytes(exponent[1], "big"), der


def rsa_holds(data: bytes, signature: bytes, modulus: int, exponent: int) -> bool:
    """RSASSA-PKCS1-v1_5 with SHA-256 (RFC 8017, 8.2.2): the whole padded block is rebuilt and compared."""
    size = (modulus.bit_length() + 7) // 8
    if len(signature) != size:
        return False
    found = pow(int.from_bytes(signature, "big"), exponent, modulus).to_bytes(size, "big")
    tail = SHA256_PREFIX + hashlib.sha256(data).digest()
    return found == b"\x00\x01" + b"\xff" * (size - len(tail) - 3) + b"\x00" + tail


class Source(Protocol):
    def names(self) -> Set[str]: ...

    def read(self, name: str) -> bytes: ...


class Folder:
    def __init__(self, root: Path) -> None:
        self.root = root

    def names(self) -> Set[str]:
        return {p.relative_to(self.root).as_posix() for p in self.root.rglob("*") if p.is_file()}

    def read(self, name: str) -> bytes:
        return (self.root / name).read_bytes()


class Package:
    def __init__(self, path: Path) -> None:
        self.zip = zipfile.ZipFile(path)
        names = [i.filename for i in self.zip.infolist() if not i.is_dir()]
        if len(names) != len(set(names)):
            raise Broken("a file name stands twice in the package")

    def names(self) -> Set[str]:
        return {i.filename for i in self.zip.infolist() if not i.is_dir()}

    def read(self, name: str) -> bytes:
        return self.zip.read(name)


def entry_hash(previous: str, number: int, text: str) -> str:
    digest = hashlib.sha256(bytes.fromhex(previous))
    digest.update(f"{number}\n".encode())
    digest.update(text.encode())
    return digest.hexdigest()


def included(leaf: bytes, index: int, size: int, proof: List[bytes], root: bytes) -> bool:
    """Whether `proof` shows that `leaf` is leaf `index` of a Merkle tree of `size` leaves (RFC 9162, 2.1.3.2)."""
    if not 0 <= index < size:
        return False
    place, last, value = index, size - 1, leaf
    for step in proof:
        if last == 0:
            return False
        if place & 1 or place == last:
            value = hashlib.sha256(b"\x01" + step + value).digest()
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            value = hashlib.sha256(b"\x01" + value + step).digest()
        place, last = place >> 1, last >> 1
    return last == 0 and value == root


def from_hex(text: object) -> bytes:
    """The bytes of lower-case hex digits and nothing else: a text that differs is another text."""
    if not isinstance(text, str) or not re.fullmatch(r"([0-9a-f]{2})+", text):
        raise Broken("a hash or signature is not written in hex digits")
    return bytes.fromhex(text)


def checkpoint(source: Source, signing: bytes) -> Tuple[int, bytes, str, str]:
    """(entries, root, hash of the last entry, time) of the signed checkpoint. signing: PEM of the certificate it must verify with."""
    file = json.loads(source.read("ledger/checkpoint.json"))
    _, _, modulus, exponent, der = certificate(signing)
    if file["certificate"].encode("ascii") != signing:
        raise Broken("ledger/checkpoint.json carries another certificate than keys/signing.pem")
    text = file["checkpoint"].encode()
    if not rsa_holds(text, from_hex(file["signature"]), modulus, exponent):
        raise Broken("ledger/checkpoint.json was not signed with the key of keys/signing.pem, or was changed since")
    said = json.loads(text)
    if said["format"] != "ledger checkpoint 1" or said["certificate_sha256"] != hashlib.sha256(der).hexdigest():
        raise Broken("ledger/checkpoint.json names another format or certificate")
    return said["entries"], from_hex(said["root"]), said["head"], said["at"]


def check_entries(source: Source, tree: Tuple[int, bytes, str, str]) -> Tuple[int, Set[Tuple[str, str]], Set[str]]:
    """(how many ledger entries hold, the PDFs with their records that they name, the signed PDFs that they name)."""
    size, root, head, _at = tree
    issued: Set[Tuple[str, str]] = set()
    signed: Set[str] = set()
    entries, before = 0, None
    for line in source.read("ledger/entries.jsonl").decode().splitlines():
        entry = json.loads(line)
        number = entry["number"]
        if entry_hash(entry["previous_hash"], number, entry["text"]) != entry["hash"]:
            raise Broken(f"ledger entry {number} does not have the hash it claims")
        if before and number <= before["number"]:
            raise Broken(f"ledger entry {number} does not stand in its order")
        if before and before["number"] + 1 == number and before["hash"] != entry["previous_hash"]:
            raise Broken(f"ledger entry {number} does not follow entry {before['number']}")
        leaf = hashlib.sha256(b"\x00" + from_hex(entry["hash"])).digest()
        if not included(leaf, number - 1, size, [from_hex(step) for step in entry["proof"]], root):
            raise Broken(f"ledger entry {number} is not under the signed checkpoint")
        if number == size and entry["hash"] != head:
            raise Broken("the last ledger entry is not the one that the checkpoint names")
        text = json.loads(entry["text"])
        if text["kind"] == "document.issued":
            issued.add((text["content"]["sha256"], text["content"]["record_sha256"]))
        if text["kind"] == "document.signed":
            signed.add(text["content"]["signed_sha256"])
        before, entries = entry, entries + 1
    return entries, issued, signed


def check(source: Source, root_sha256: str) -> List[str]:
    """Lines that say what holds. Raises Broken with the first thing that does not."""
    said = []
    manifest_bytes = source.read("manifest.json")
    signing = source.read("keys/signing.pem")
    signed, signature, modulus, exponent, signing_der = certificate(signing)
    _, _, root_modulus, root_exponent, root_der = certificate(source.read("keys/root.pem"))
    if not rsa_holds(signed, signature, root_modulus, root_exponent):
        raise Broken("keys/signing.pem was not issued by keys/root.pem")
    if not rsa_holds(manifest_bytes, from_hex(source.read("manifest.sig").decode("ascii")), modulus, exponent):
        raise Broken("manifest.json was not signed with the key of keys/signing.pem, or was changed since")
    fingerprint = hashlib.sha256(root_der).hexdigest()
    if root_sha256 and root_sha256.replace(":", "").lower() != fingerprint:
        raise Broken(f"the root certificate is another one: {fingerprint}")
    said.append(f"manifest signed by the key {hashlib.sha256(signing_der).hexdigest()[:16]}… under the root {fingerprint}")
    if not root_sha256:
        said.append("  compare this root fingerprint with the one the shop gave you another way")

    manifest = json.loads(manifest_bytes)
    listed = {f["path"]: f for f in manifest["files"]}
    there = source.names() - {"manifest.json", "manifest.sig"}
    for name in sorted(there ^ set(listed)):
        raise Broken(f"{name} is in the package but not in the manifest" if name in there else f"{name} is missing")
    for name, expected in sorted(listed.items()):
        data = source.read(name)
        if hashlib.sha256(data).hexdigest() != expected["sha256"] or len(data) != expected["size"]:
            raise Broken(f"{name} was changed")
    said.append(f"{len(listed)} files unchanged")

    tree = checkpoint(source, signing)
    if manifest["ledger"] != {"entries": tree[0], "hash": tree[2], "root": tree[1].hex()}:
        raise Broken("the manifest names another checkpoint than ledger/checkpoint.json")
    said.append(f"checkpoint of {tree[3]} over {tree[0]} ledger entries signed by the same key")
    entries, issued, signed_files = check_entries(source, tree)
    said.append(f"{entries} ledger entries hold their hashes and are proven to be under the checkpoint")

    for document in manifest["documents"]:
        pdf, record = (hashlib.sha256(source.read(document[name])).hexdigest() for name in ("pdf", "record"))
        if not any(pdf == one for one, _ in issued):
            raise Broken(f"{document['pdf']} is in no ledger entry")
        if (pdf, record) not in issued:
            raise Broken(f"{document['record']} is not the record of {document['pdf']}")
        for name in document.get("signed", []):
            if hashlib.sha256(source.read(name)).hexdigest() not in signed_files:
                raise Broken(f"{name} is in no ledger entry")
    said.append(f"{len(manifest['documents'])} documents and their records are the ones the ledger names")
    return said


def main(arguments: Optional[List[str]] = None) -> int:
    parser = argparse.ArgumentParser(description="Check an evidence package.")
    parser.add_argument("package", nargs="?", default=str(Path(__file__).resolve().parent), help="folder or ZIP (default: this folder)")
    parser.add_argument("--root-sha256", default="", help="SHA-256 fingerprint of the shop's root certificate, got another way")
    options = parser.parse_args(arguments)
    path = Path(options.package)
    if not path.exists():
        print(f"{path} does not exist", file=sys.stderr)
        return 2
    try:
        source: Source = Folder(path) if path.is_dir() else Package(path)
        for line in check(source, options.root_sha256):
            print(line)
    except Broken as error:
        print(f"DOES NOT HOLD: {error}")
        return 1
    except (OSError, KeyError, ValueError, IndexError, TypeError, OverflowError, zipfile.BadZipFile) as error:
        # Whatever is so damaged that it cannot be read does not hold either.
        print(f"DOES NOT HOLD: the package cannot be read ({error})")
        return 1
    print("It shows that:")
    for sentence in SHOWN:
        print(f"  - {sentence}")
    print("It does not show:")
    for sentence in NOT_SHOWN:
        print(f"  - {sentence}")
    print("HOLDS")
    return 0


if __name__ == "__main__":
    sys.exit(main())
