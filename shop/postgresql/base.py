"""PostgreSQL whose transactions can let go of their locks before they wait for the disk ("early lock release").

Every act appends to one chain, whose head row stays locked until the commit. So its statement can be kept for last and go to the server
in one message with the commit: no client is waited for under that lock. And if the commit waited for the disk under it, writers would
flush one after the other; such a commit does not wait, and an empty transaction after it does, together with those of other writers.
The log is written in order: when the empty one is on the disk, so is everything before it, and nobody is told before that an act
happened. It goes in the same message, so that the waiting costs no journey of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import psycopg
from django.db import transaction
from django.db.backends.postgresql import base
from django.db.backends.utils import debug_transaction

# The message is transactional, so its transaction is none of nothing: its commit is written and waited for.
COMMIT_THEN_FLUSH = "COMMIT; SELECT pg_logical_emit_message(true, 'ledger', '')"

MOST_AT_ONCE = 50  # of these statements in one message

LastWord = tuple[str, Sequence[Any], Callable[[tuple[Any, ...]], None]]


class DatabaseWrapper(base.DatabaseWrapper):
    """Django's wrapper. A statement said to it `at_commit` is the last of its transaction, or is executed at once where more follows."""

    _last_words: list[LastWord]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._last_words = []
        self._lets_go_early = False

    def at_commit(self, statement: str, parameters: Sequence[Any], told: Callable[[tuple[Any, ...]], None]) -> None:
        """Execute `statement` as the last of the open transaction, with the commit, which then does not wait for the disk by itself.

        `told` gets the one row that it answers. Whatever else is asked of the database before, a savepoint too, finds it executed; inside
        a savepoint it is executed at once, as it can be undone with it. So what follows reads what was written, in the order of the calls.
        The statement has to set synchronous_commit off for its transaction, and to raise where it cannot be done: then nothing commits.
        Raises TransactionManagementError outside of a transaction.
        """
        if not self.in_atomic_block:
            raise transaction.TransactionManagementError("A statement can go with a commit in a transaction only, and there is none.")
        self._last_words.append((statement, parameters, told))
        if self.savepoint_ids or len(self._last_words) >= MOST_AT_ONCE:
            self.say_now()

    def say_now(self) -> None:
        """Execute what was kept for the commit."""
        words, self._last_words = self._last_words, []
        self._lets_go_early = True
        with self.cursor() as cursor:
            for statement, parameters, told in words:
                cursor.execute(statement, parameters)
                told(cursor.fetchone())

    def _cursor(self, name: str | None = None) -> Any:
        if self._last_words:
            self.say_now()
        return super()._cursor(name)  # type: ignore[misc]  # the stubs leave it out

    def _commit(self) -> Any:
        words = self._forget()
        if self.connection is None or words is None:
            return super()._commit()  # type: ignore[misc]
        with debug_transaction(self, "COMMIT"), self.wrap_database_errors:
            binding = psycopg.ClientCursor(self.connection)
            said = [binding.mogrify(statement, parameters) for statement, parameters, _told in words]
            # Without parameters psycopg sends the text as it is: one message, two transactions.
            answers = psycopg.Cursor(self.connection).execute("; ".join([*said, COMMIT_THEN_FLUSH]))
            for _statement, _parameters, told in words:
                told(answers.fetchmany(1)[0])
                answers.nextset()
        return None

    def _forget(self) -> list[LastWord] | None:
        """What is still to be said, taken away; None where this transaction was told nothing of the kind."""
        words, self._last_words = self._last_words, []
        early, self._lets_go_early = self._lets_go_early, False
        return words if words or early else None

    def _rollback(self) -> Any:
        self._forget()
        return super()._rollback()  # type: ignore[misc]

    def _close(self) -> Any:
        self._forget()
        return super()._close()  # type: ignore[misc]
