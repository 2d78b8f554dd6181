"""PostgreSQL whose transactions can let go of their locks before they wait for the disk ("early lock release").

Every act appends to one chain, whose head row stays locked until the commit. If the commit waited for the disk under that lock,
writers would flush one after the other. So such a commit does not wait, and an empty transaction after it does, together with
those of other writers. The log is written in order: when the empty one is on the disk, so is everything before it, and nobody is
told before that an act happened. Both go to the server in one message, so that the waiting costs no journey of its own.
"""

from __future__ import annotations

from typing import Any

import psycopg
from django.db import transaction
from django.db.backends.postgresql import base
from django.db.backends.utils import debug_transaction

# The message is transactional, so its transaction is none of nothing: its commit is written and waited for.
COMMIT_THEN_FLUSH = "COMMIT; SELECT pg_logical_emit_message(true, 'ledger', '')"


class DatabaseWrapper(base.DatabaseWrapper):
    """Django's wrapper; `lets_go_early` says that the transaction now open set synchronous_commit off for itself."""

    lets_go_early = False

    def flush_after_commit(self) -> None:
        """Told by whoever set synchronous_commit off in the transaction that is open: its commit is to be followed by a flush.

        Raises TransactionManagementError outside of a transaction: then nobody would wait for the disk.
        """
        if not self.in_atomic_block:
            raise transaction.TransactionManagementError("A commit can be flushed after a transaction only, and there is none.")
        self.lets_go_early = True

    def _commit(self) -> Any:
        if self.connection is None or not self.lets_go_early:
            return super()._commit()  # type: ignore[misc]  # the stubs leave it out
        self.lets_go_early = False
        with debug_transaction(self, "COMMIT"), self.wrap_database_errors:
            # Without parameters psycopg sends the text as it is: one message, two transactions.
            psycopg.Cursor(self.connection).execute(COMMIT_THEN_FLUSH)
        return None

    def _rollback(self) -> Any:
        self.lets_go_early = False
        return super()._rollback()  # type: ignore[misc]
