"""Making checkpoints of the ledger, and proofs under them."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from django.conf import settings
from django.db import transaction

from records.chain import GENESIS, Link, holds
from records.checkpoint_export import hand_out
from records.checkpoint_text import Said, as_content, follows
from records.checkpoints import Checkpoint, LedgerBlock
from records.events import CheckpointMade
from records.merkle import BLOCK, Head, consistency_proof, head_of_blocks, inclusion_proof, leaf_hash, tree_head
from records.models import LedgerEntry, LedgerHead
from records.shop_key import PEM, ShopKey, load_shop_key, raw_signature
from shop.canonical import canonical_json, sha256_hex
from shop.events import publish
from shop.finding import Finding, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings

logger = logging.getLogger(__name__)

AT_LEAST_EVERY = timedelta(hours=20)
"""A checkpoint that is asked for by the clock is made when the newest is older than this: once a working day, whoever starts it."""


def make_checkpoint(*, by: Person, at: datetime) -> Checkpoint:
    """Sign how far the ledger reaches. Where nothing was written since the newest checkpoint, that is the answer.

    Everything written since is checked first, and the new tree is proven to begin with the last one. Raises Refused where the ledger no
    longer extends its last checkpoint, KeyMissing or KeyUnreadable.
    """
    refuse_if(permission_findings(by, Deed.MAKE_CHECKPOINT) if by.username != "system" else [])
    key = load_shop_key(settings.SHOP_KEY_DIR, settings.SHOP_KEY_PASSPHRASE or None)
    certificate_sha256 = key.signing_sha256.replace(":", "").lower()
    head = LedgerHead.objects.get(pk=1)  # what it counts is committed and never changes: no lock, nobody waits for us
    last = Checkpoint.objects.order_by("-entries").first()
    if last is not None and last.certificate_sha256 == certificate_sha256 and _nothing_since(last, head):
        return last
    refuse_if(_chain_findings(last, head))
    blocks, tree = kept_tree(head.count)
    refuse_if(_tree_findings(last, tree))
    said = Said(
        entries=head.count,
        root=tree(0, head.count).hex(),
        head=head.hash,
        at=at.astimezone(UTC).isoformat(),
        shop=settings.SHOP_NAME,
        previous_entries=last.entries if last else 0,
        previous_root=last.root if last else "",
        consistency=tuple(step.hex() for step in consistency_proof(last.entries, head.count, tree)) if last else (),
        certificate_sha256=certificate_sha256,
    )
    if last is not None and not follows(said):  # cannot be, after the tree was held against it; a signature needs no trust in that
        refuse_if([misfit("checkpoint.differs", entries=last.entries)])
    return _kept(said, key, blocks, by, at)


def _kept(said: Said, key: ShopKey, blocks: list[LedgerBlock], by: Person, at: datetime) -> Checkpoint:
    text = canonical_json(as_content(said))
    signature = raw_signature(key, text.encode()).hex()
    with transaction.atomic():
        LedgerBlock.objects.bulk_create(blocks, ignore_conflicts=True)
        made = Checkpoint.objects.create(
            entries=said.entries,
            root=said.root,
            head=said.head,
            at=at,
            text=text,
            signature=signature,
            certificate=key.signing.public_bytes(PEM).decode(),
            certificate_sha256=said.certificate_sha256,
        )
        content = {"entries": said.entries, "root": said.root, "head": said.head, "sha256": sha256_hex(text)}
        publish(CheckpointMade(by=by, at=at, subject=("checkpoint", made.pk, str(made)), content=content))
        transaction.on_commit(lambda: hand_out_and_say(made), robust=True)
    return made


def hand_out_and_say(checkpoint: Checkpoint) -> None:
    """To every place that is set; what does not get there is in the log."""
    for handed in hand_out(checkpoint):
        if handed.fault:
            logger.error("%s did not reach %s: %s", checkpoint, handed.where, handed.fault)


def checkpoint_is_due(at: datetime) -> bool:
    """Whether the newest checkpoint is so old, or so far back, that the next is wanted."""
    last = Checkpoint.objects.order_by("-entries").first()
    if last is None:
        return True
    entries = LedgerHead.objects.get(pk=1).count
    return entries - last.entries >= settings.CHECKPOINT_ENTRIES or at - last.at >= AT_LEAST_EVERY


def _nothing_since(last: Checkpoint, head: LedgerHead) -> bool:
    """Whether the ledger has nothing behind it but the entry that says it was made."""
    if head.count != last.entries + 1 or not LedgerEntry.objects.filter(number=last.entries, hash=last.head).exists():
        return False
    return LedgerEntry.objects.filter(number=head.count, kind=CheckpointMade.kind, subject_id=last.pk).exists()


def _chain_findings(last: Checkpoint | None, head: LedgerHead) -> list[Finding]:
    """What was written since the last checkpoint follows it, entry by entry, up to the head."""
    if not head.count:
        return [misfit("checkpoint.empty")]
    number, previous = (last.entries, last.head) if last else (0, GENESIS)
    if head.count < number:
        return [misfit("checkpoint.shorter", entries=head.count, last=number)]
    if last and not LedgerEntry.objects.filter(number=number, hash=previous).exists():
        return [misfit("checkpoint.differs", entries=number)]
    rows = LedgerEntry.objects.filter(number__gt=number, number__lte=head.count).order_by("number")
    for row in rows.values_list("number", "text", "previous_hash", "hash").iterator(2000):
        link = Link(*row)
        if link.number != number + 1 or not holds(link, previous, link.number):
            break
        number, previous = link.number, link.hash
    return [] if (number, previous) == (head.count, head.hash) else [misfit("checkpoint.broken", entry=number + 1)]


def _tree_findings(last: Checkpoint | None, tree: Head) -> list[Finding]:
    if last is None or tree(0, last.entries).hex() == last.root:
        return []
    return [misfit("checkpoint.differs", entries=last.entries)]


# --- Proofs ----------------------------------------------------------------------------------------------------------------------


def kept_tree(entries: int) -> tuple[list[LedgerBlock], Head]:
    """(blocks that are whole and not kept yet, the tree over the first `entries` entries)."""
    heads = [bytes.fromhex(head) for head in LedgerBlock.objects.filter(number__lt=entries // BLOCK).values_list("head", flat=True)]
    missing = []
    for number in range(len(heads), entries // BLOCK):
        heads.append(tree_head(_leaves(number * BLOCK, (number + 1) * BLOCK)))
        missing.append(LedgerBlock(number=number, head=heads[-1].hex()))
    return missing, head_of_blocks(heads, _leaves)


def _leaves(start: int, stop: int) -> list[bytes]:
    rows = LedgerEntry.objects.filter(number__gt=start, number__lte=stop).order_by("number").values_list("hash", flat=True)
    return [leaf_hash(bytes.fromhex(own)) for own in rows]


def inclusion_proofs(numbers: Sequence[int], checkpoint: Checkpoint) -> dict[int, list[str]]:
    """For each entry number, the proof (hex, from the leaf up) that it is under the checkpoint. Raises ValueError beyond it."""
    _, tree = kept_tree(checkpoint.entries)
    seen: dict[tuple[int, int], bytes] = {}

    def once(start: int, stop: int) -> bytes:
        # The entries of a package lie close together: most of what their proofs need is the same.
        if (start, stop) not in seen:
            seen[start, stop] = tree(start, stop)
        return seen[start, stop]

    return {number: [step.hex() for step in inclusion_proof(number - 1, checkpoint.entries, once)] for number in numbers}
