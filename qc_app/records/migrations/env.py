"""Runs migrations on the connection that ``records.database`` opened."""

from alembic import context

from qc_app.records.schema import Table

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Table.metadata,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
