"""Reads an exported file as DuckDB does, and prints all of it as JSON: the
columns with their types, the rows (times in milliseconds), and what DuckDB
makes of the values of each series."""

import json
import sys

import duckdb

path = sys.argv[1]
db = duckdb.connect()
db.execute("SET TimeZone = 'UTC'")
if path.endswith(".parquet"):
    source = f"read_parquet('{path}')"
else:
    # Everything as text but what is said here: a guess would hide a slip.
    header = open(path, encoding="utf-8").readline().strip().split(",")
    kinds = {"time": "TIMESTAMPTZ", "start": "TIMESTAMPTZ"}
    kinds |= {name: "DOUBLE" for name in ("value", "lowest", "mean", "highest")}
    kinds |= {name: "BIGINT" for name in ("delay_ms", "seq", "good", "count")}
    columns = ", ".join(f"'{name}': '{kinds.get(name, 'VARCHAR')}'" for name in header)
    source = f"read_csv('{path}', header=true, auto_detect=false, delim=',', quote='\"', escape='\"', new_line='\\r\\n', columns={{{columns}}})"
columns = [row[:2] for row in db.execute(f"DESCRIBE SELECT * FROM {source}").fetchall()]
names = [name for name, _ in columns]
picked = ", ".join(f'epoch_ms("{name}") AS "{name}"' if name in ("time", "start") else f'"{name}"' for name in names)
rows = db.execute(f"SELECT {picked} FROM {source}").fetchall()
sums = []
if "value" in names:
    sums = db.execute(
        f"""SELECT sump, channel, kind, count(*), min(value), max(value), min(epoch_ms(time)), max(epoch_ms(time))
            FROM {source} GROUP BY ALL ORDER BY ALL"""
    ).fetchall()
groups = 0
if path.endswith(".parquet"):
    groups = db.execute(f"SELECT max(row_group_id) + 1 FROM parquet_metadata('{path}')").fetchone()[0]
json.dump({"columns": columns, "rows": rows, "sums": sums, "groups": groups}, sys.stdout)
