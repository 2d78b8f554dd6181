"""Django's PostgreSQL with one addition, see base."""
