"""The database: tables, migrations, sessions and the chain of events. Knows nothing of the web."""
