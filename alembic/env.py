"""Runs the migrations on the connection that checkwatch/store/migrate.py hands over.

There is no ini file and no offline mode: a book is only ever upgraded by checkwatch itself, inside
one transaction that ends with the guards standing.
"""

from alembic import context

from checkwatch.store import guards
from checkwatch.store.indexes import metadata

connection = context.config.attributes["connection"]
context.configure(
    connection=connection, target_metadata=metadata, version_table=guards.VERSION_TABLE
)
with context.begin_transaction():
    context.run_migrations()
guards.build(connection)
