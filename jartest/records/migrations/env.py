"""Run by Alembic: the migrations, on the connection that `jartest.records.migrate` gives."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    render_as_batch=True,
    transactional_ddl=True,  # SQLite can; Alembic does not expect it to
)
context.run_migrations()
