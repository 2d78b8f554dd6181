"""Merkle hashing and proofs, against published vectors and against the definition of RFC 9162 written down as it stands there."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from records.merkle import (
    BLOCK,
    BLOCK_LEVEL,
    EMPTY,
    Frontier,
    complete_head,
    consistency_holds,
    consistency_proof,
    head_of_blocks,
    inclusion_holds,
    inclusion_proof,
    leaf_hash,
    tree_head,
)

# The eight inputs that implementations of RFC 6962 share as test data, and the heads of the trees of their first n (from memory; the
# definition below computes the same).
INPUTS = [
    bytes.fromhex(text) for text in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")
]
HEADS = (
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
)
LEAVES = [leaf_hash(data) for data in INPUTS]


def defined_head(data):
    """MTH of RFC 9162, 2.1.1, word for word."""
    if not data:
        return hashlib.sha256().digest()
    if len(data) == 1:
        return hashlib.sha256(b"\x00" + data[0]).digest()
    k = 1
    while k * 2 < len(data):
        k *= 2
    return hashlib.sha256(b"\x01" + defined_head(data[:k]) + defined_head(data[k:])).digest()


def defined_path(m, data):
    """PATH of RFC 9162, 2.1.3.1, word for word."""
    if len(data) == 1:
        return []
    k = 1
    while k * 2 < len(data):
        k *= 2
    if m < k:
        return [*defined_path(m, data[:k]), defined_head(data[k:])]
    return [*defined_path(m - k, data[k:]), defined_head(data[:k])]


def defined_subproof(m, data, whole):
    """SUBPROOF of RFC 9162, 2.1.4.1, word for word."""
    if m == len(data):
        return [] if whole else [defined_head(data)]
    k = 1
    while k * 2 < len(data):
        k *= 2
    if m <= k:
        return [*defined_subproof(m, data[:k], whole), defined_head(data[k:])]
    return [*defined_subproof(m - k, data[k:], False), defined_head(data[:k])]


def head_over(leaves):
    return lambda start, stop: tree_head(leaves[start:stop])


def test_empty_tree_has_the_hash_of_nothing():
    assert tree_head([]) == EMPTY == hashlib.sha256(b"").digest()
    assert EMPTY.hex() == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


@pytest.mark.parametrize("size", range(1, 9))
def test_head_of_the_published_inputs(size):
    assert tree_head(LEAVES[:size]).hex() == HEADS[size - 1] == defined_head(INPUTS[:size]).hex()


@pytest.mark.parametrize(
    ("index", "size", "path"),
    [
        (0, 1, []),
        (
            0,
            8,
            [
                "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
                "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
                "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
            ],
        ),
        (
            5,
            8,
            [
                "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
                "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
                "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
            ],
        ),
        (2, 3, ["fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"]),
    ],
)
def test_inclusion_proof_of_the_published_inputs(index, size, path):
    """Paths from memory; the definition gives the same."""
    proof = inclusion_proof(index, size, head_over(LEAVES))

    assert [step.hex() for step in proof] == path == [step.hex() for step in defined_path(index, INPUTS[:size])]


@pytest.mark.parametrize(
    ("earlier", "later", "path"),
    [
        (1, 1, []),
        (
            1,
            8,
            [
                "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
                "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
                "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
            ],
        ),
        (
            6,
            8,
            [
                "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
                "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
                "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
            ],
        ),
        (
            2,
            5,
            [
                "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
                "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
            ],
        ),
    ],
)
def test_consistency_proof_of_the_published_inputs(earlier, later, path):
    """Paths from memory; the definition gives the same."""
    proof = consistency_proof(earlier, later, head_over(LEAVES))

    assert [step.hex() for step in proof] == path == [step.hex() for step in defined_subproof(earlier, INPUTS[:later], True)]


trees = st.lists(st.binary(max_size=4), min_size=1, max_size=40)


@given(trees, st.data())
def test_inclusion_proof_is_the_defined_one_and_holds(data, draw):
    index = draw.draw(st.integers(0, len(data) - 1))
    leaves = [leaf_hash(one) for one in data]

    proof = inclusion_proof(index, len(data), head_over(leaves))

    assert proof == defined_path(index, data)
    assert inclusion_holds(leaves[index], index, len(data), proof, defined_head(data))


@given(trees, st.data())
def test_consistency_proof_is_the_defined_one_and_holds(data, draw):
    earlier = draw.draw(st.integers(1, len(data)))
    leaves = [leaf_hash(one) for one in data]

    proof = consistency_proof(earlier, len(data), head_over(leaves))

    assert proof == defined_subproof(earlier, data, True)
    assert consistency_holds(earlier, defined_head(data[:earlier]), len(data), defined_head(data), proof)


def wrong_proofs(proof):
    """Every way to spoil a proof by one step or one bit."""
    yield from ([*proof[:n], *proof[n + 1 :]] for n in range(len(proof)))
    yield from ([*proof[:n], bytes(32), *proof[n:]] for n in range(len(proof) + 1))
    yield from ([*proof[:n], bytes([step[0] ^ 1]) + step[1:], *proof[n + 1 :]] for n, step in enumerate(proof))
    yield from ([*proof[:n], proof[n + 1], proof[n], *proof[n + 2 :]] for n in range(len(proof) - 1) if proof[n] != proof[n + 1])


@pytest.mark.parametrize("size", [1, 2, 3, 5, 7, 8])
def test_wrong_inclusion_proof_is_refused(size):
    root = tree_head(LEAVES[:size])
    for index in range(size):
        proof = inclusion_proof(index, size, head_over(LEAVES))
        for wrong in wrong_proofs(proof):
            assert not inclusion_holds(LEAVES[index], index, size, wrong, root)
        for other in range(size):
            if other != index:
                assert not inclusion_holds(LEAVES[other], index, size, proof, root)
                assert not inclusion_holds(LEAVES[index], other, size, proof, root)
        assert not inclusion_holds(LEAVES[index], index, size, proof, tree_head(LEAVES[: size - 1]))
        assert not inclusion_holds(LEAVES[index], size, size, proof, root)


@pytest.mark.parametrize("later", [1, 2, 3, 5, 7, 8])
def test_wrong_consistency_proof_is_refused(later):
    root = tree_head(LEAVES[:later])
    for earlier in range(1, later + 1):
        before = tree_head(LEAVES[:earlier])
        proof = consistency_proof(earlier, later, head_over(LEAVES))
        for wrong in wrong_proofs(proof):
            assert not consistency_holds(earlier, before, later, root, wrong)
        assert not consistency_holds(earlier, bytes(32), later, root, proof)
        assert not consistency_holds(earlier, before, later, bytes(32), proof)
        assert not consistency_holds(0, EMPTY, later, root, proof)
        assert not consistency_holds(later + 1, before, later, root, proof)


@given(st.lists(st.binary(max_size=3), max_size=30), st.integers(0, 30))
def test_frontier_taken_up_again_gives_the_same_head(data, stop):
    leaves = [leaf_hash(one) for one in data]
    first = Frontier()
    for leaf in leaves[:stop]:
        first.append(leaf)

    longer = first.extended((0, leaf) for leaf in leaves[stop:])

    assert (longer.head(), longer.size) == (defined_head(data), len(data))


def test_subtree_larger_than_what_stands_before_it_is_refused():
    frontier = Frontier([(0, LEAVES[0])])

    with pytest.raises(ValueError, match="level 3"):
        frontier.append(LEAVES[1], 3)


@pytest.mark.parametrize("size", [BLOCK - 1, BLOCK, BLOCK + 1, 3 * BLOCK + 5])
@pytest.mark.parametrize("kept", [0, 1, 2])
def test_proof_over_kept_blocks_is_the_one_over_all_leaves(size, kept):
    leaves = [leaf_hash(number.to_bytes(4, "big")) for number in range(size)]
    kept = min(kept, size // BLOCK)
    blocks = [tree_head(leaves[n * BLOCK : (n + 1) * BLOCK]) for n in range(kept)]
    head = head_of_blocks(blocks, lambda start, stop: leaves[start:stop])
    root = tree_head(leaves)

    for index in (0, 1, BLOCK - 2, size // 2, size - 1):
        proof = inclusion_proof(index, size, head)
        assert proof == inclusion_proof(index, size, head_over(leaves))
        assert inclusion_holds(leaves[index], index, size, proof, root)
    for earlier in (1, BLOCK - 1, size - 1, size):
        assert consistency_proof(earlier, size, head) == consistency_proof(earlier, size, head_over(leaves))
    assert head(0, size) == root
    assert BLOCK == 1 << BLOCK_LEVEL


@pytest.mark.parametrize(("index", "size"), [(-1, 3), (3, 3), (0, 0)])
def test_proof_of_a_leaf_outside_the_tree_is_an_error(index, size):
    with pytest.raises(ValueError, match="no leaf"):
        inclusion_proof(index, size, head_over(LEAVES))


@pytest.mark.parametrize(("earlier", "later"), [(0, 3), (4, 3)])
def test_proof_from_no_tree_is_an_error(earlier, later):
    with pytest.raises(ValueError, match="no proof"):
        consistency_proof(earlier, later, head_over(LEAVES))


@given(st.integers(0, 6), st.binary(min_size=32, max_size=32))
def test_complete_tree_has_the_head_of_the_same_leaves_one_by_one(level, seed):
    leaves = [leaf_hash(seed + bytes([n])) for n in range(1 << level)]

    assert complete_head(leaves) == tree_head(leaves)


@pytest.mark.parametrize("count", [0, 3, 5, 6, 12])
def test_tree_that_is_not_complete_has_no_complete_head(count):
    with pytest.raises(ValueError, match="complete"):
        complete_head([leaf_hash(bytes([n])) for n in range(count)])
