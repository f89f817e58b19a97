"""Writes the rows of every query of a file as CSV, as DuckDB answers them.

Run by tests/tests/outside/sql.rs as `python3 duckdb_rows.py FILE.sql`.
"""

import sys

import duckdb

with open(sys.argv[1], encoding="utf-8") as file:
    statements = duckdb.extract_statements(file.read())
for statement in statements:
    rows = duckdb.execute(statement)
    while batch := rows.fetchmany(10_000):
        sys.stdout.writelines(
            ",".join("" if cell is None else str(cell) for cell in row) + "\n"
            for row in batch
        )
