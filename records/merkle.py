"""Merkle trees over the ledger, hashed as RFC 9162, section 2.1 says: pure computation.

A leaf is SHA-256(0x00 || data), a node SHA-256(0x01 || left || right). The data of leaf n (from 0) is the 32 bytes of the hash of ledger
entry n + 1, not its text: the entry's hash covers text, number and the hash before, so whoever holds an entry's text can compute the leaf,
and a proof never carries anybody else's text.

Hashes here are bytes, 32 long. Ranges are half open and count leaves from 0.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence

EMPTY = hashlib.sha256().digest()
"""The head of a tree without leaves."""

BLOCK_LEVEL = 10
BLOCK = 1 << BLOCK_LEVEL
"""Leaves of a block: the complete subtrees whose heads are kept, so that a proof reads two blocks and not the whole ledger."""

Head = Callable[[int, int], bytes]
"""Gives the head of the leaves in [start, stop)."""


def leaf_hash(data: bytes) -> bytes:
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()


class Frontier:
    """A growing tree in O(log n) memory: the heads of the complete subtrees of what was appended, the largest first."""

    def __init__(self, peaks: Iterable[tuple[int, bytes]] = ()) -> None:
        """peaks: (level, hash), as `peaks` of another frontier gave them."""
        self._peaks = list(peaks)

    @property
    def peaks(self) -> tuple[tuple[int, bytes], ...]:
        return tuple(self._peaks)

    @property
    def size(self) -> int:
        """How many leaves."""
        return sum(1 << level for level, _ in self._peaks)

    def append(self, value: bytes, level: int = 0) -> None:
        """Add a leaf's hash, or the head of a complete subtree of 2**level leaves. Raises ValueError where it does not fit there."""
        peaks = self._peaks
        if peaks and peaks[-1][0] < level:
            raise ValueError(f"a subtree of level {level} cannot follow one of level {peaks[-1][0]}")
        while peaks and peaks[-1][0] == level:
            value = node_hash(peaks.pop()[1], value)
            level += 1
        peaks.append((level, value))

    def extended(self, peaks: Iterable[tuple[int, bytes]]) -> Frontier:
        """Another frontier with these subtrees behind this one's."""
        longer = Frontier(self._peaks)
        for level, value in peaks:
            longer.append(value, level)
        return longer

    def head(self) -> bytes:
        """The head of the tree as it is now."""
        if not self._peaks:
            return EMPTY
        value = self._peaks[-1][1]
        for _, left in reversed(self._peaks[:-1]):
            value = node_hash(left, value)
        return value


def tree_head(leaves: Iterable[bytes]) -> bytes:
    """The head over these leaf hashes, in one pass."""
    frontier = Frontier()
    for leaf in leaves:
        frontier.append(leaf)
    return frontier.head()


def complete_head(leaves: Sequence[bytes]) -> bytes:
    """The head over leaf hashes whose number is a power of two: level by level, several times faster than leaf by leaf.

    Raises ValueError for any other number of them.
    """
    if not leaves or len(leaves) & (len(leaves) - 1):
        raise ValueError(f"{len(leaves)} leaves do not make a complete tree")
    sha256, level = hashlib.sha256, list(leaves)
    while len(level) > 1:
        level = [sha256(b"\x01" + left + right).digest() for left, right in zip(level[::2], level[1::2], strict=True)]
    return level[0]


def split(size: int) -> int:
    """The largest power of two below `size` (size > 1): how many leaves the left subtree has."""
    return 1 << ((size - 1).bit_length() - 1)


def inclusion_proof(index: int, size: int, head: Head) -> list[bytes]:
    """The audit path of leaf `index` in the tree of `size` leaves, RFC 9162, 2.1.3.1. Raises ValueError outside the tree."""
    if not 0 <= index < size:
        raise ValueError(f"a tree of {size} leaves has no leaf {index}")
    path: list[bytes] = []
    start, stop = 0, size
    while stop - start > 1:
        middle = start + split(stop - start)
        if index < middle:
            path.append(head(middle, stop))
            stop = middle
        else:
            path.append(head(start, middle))
            start = middle
    return path[::-1]


def consistency_proof(earlier: int, later: int, head: Head) -> list[bytes]:
    """That the tree of `later` leaves begins with that of `earlier`, RFC 9162, 2.1.4.1; empty where they are the same.

    Raises ValueError unless 0 < earlier <= later.
    """
    if not 0 < earlier <= later:
        raise ValueError(f"there is no proof from {earlier} to {later} leaves")
    path: list[bytes] = []
    start, stop, known = 0, later, True  # known: the verifier knows the head of [start, earlier) already
    while earlier != stop:
        middle = start + split(stop - start)
        if earlier <= middle:
            path.append(head(middle, stop))
            stop = middle
        else:
            path.append(head(start, middle))
            start, known = middle, False
    if not known:
        path.append(head(start, stop))
    return path[::-1]


def inclusion_holds(leaf: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes) -> bool:
    """Whether `proof` shows that `leaf` is leaf `index` of the tree with this root, RFC 9162, 2.1.3.2."""
    if not 0 <= index < size:
        return False
    place, last, value = index, size - 1, leaf
    for step in proof:
        if last == 0:
            return False
        if place & 1 or place == last:
            value = node_hash(step, value)
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            value = node_hash(value, step)
        place, last = place >> 1, last >> 1
    return last == 0 and value == root


def consistency_holds(earlier: int, earlier_root: bytes, later: int, later_root: bytes, proof: Sequence[bytes]) -> bool:
    """Whether `proof` shows that the later tree begins with the earlier one, RFC 9162, 2.1.4.2."""
    if not 0 < earlier <= later:
        return False
    if earlier == later:
        return not proof and earlier_root == later_root
    if not proof:
        return False
    steps = list(proof)
    if earlier & (earlier - 1) == 0:  # a complete tree: its head is not repeated in the proof
        steps.insert(0, earlier_root)
    place, last = earlier - 1, later - 1
    while place & 1:
        place, last = place >> 1, last >> 1
    before = after = steps[0]
    for step in steps[1:]:
        if last == 0:
            return False
        if place & 1 or place == last:
            before, after = node_hash(step, before), node_hash(step, after)
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            after = node_hash(after, step)
        place, last = place >> 1, last >> 1
    return last == 0 and before == earlier_root and after == later_root


def head_of_blocks(block_heads: Sequence[bytes], leaves: Callable[[int, int], Sequence[bytes]]) -> Head:
    """A `Head` that reads whole blocks from `block_heads` (the first len(block_heads) * BLOCK leaves) and asks `leaves` for the rest."""

    def head(start: int, stop: int) -> bytes:
        frontier = Frontier()
        # Every range of a proof begins at a multiple of its size rounded up to a power of two, so blocks never straddle its start.
        whole = min(stop // BLOCK, len(block_heads)) if start % BLOCK == 0 else 0
        for number in range(start // BLOCK, whole):
            frontier.append(block_heads[number], BLOCK_LEVEL)
        at = max(start, whole * BLOCK)
        for leaf in leaves(at, stop) if at < stop else ():
            frontier.append(leaf)
        return frontier.head()

    return head
