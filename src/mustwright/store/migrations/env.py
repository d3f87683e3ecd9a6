"""Run by Alembic: migrates over the connection, and in the transaction, that the opener holds."""

from alembic import context

from mustwright.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transactional_ddl=True,
    render_as_batch=True,
)
context.run_migrations()
