"""What is kept: values, tables, store, photo files, migrations."""
