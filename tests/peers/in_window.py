"""Works out with DuckDB, from exported files, what a report tells: for each line
of standard input (JSON: sump, channel, kind, low, high, from, to, holds_ms, times in
milliseconds) the shares of the known time below, inside and above, the share that is known,
and the mean weighed by time. Then, from the journal, the litres of additions."""

import json
import sys

import duckdb

series, journal = sys.argv[1:3]
db = duckdb.connect()
db.execute("SET TimeZone = 'UTC'")
db.execute(f"CREATE TABLE series AS SELECT epoch_ms(time) AS t, * FROM read_parquet('{series}')")
db.execute(f"CREATE TABLE journal AS SELECT epoch_ms(time) AS t, * FROM read_parquet('{journal}')")
windows = []
for line in sys.stdin:
    ask = json.loads(line)
    windows.append(
        db.execute(
            """WITH good AS (
                   SELECT t, value, lead(t, 1, $to) OVER (ORDER BY t) AS next FROM series
                   WHERE sump = $sump AND channel = $channel AND kind = $kind
                     AND quality IN ('good', 'late') AND t >= $from - $holds_ms AND t < $to),
               spent AS (
                   SELECT value, greatest(0, least(next, t + $holds_ms) - greatest(t, $from)) AS ms FROM good)
               SELECT sum(ms) FILTER (value < $low) / sum(ms), sum(ms) FILTER (value >= $low AND value <= $high) / sum(ms),
                      sum(ms) FILTER (value > $high) / sum(ms), sum(ms) / ($to - $from), sum(ms * value) / sum(ms)
               FROM spent""",
            ask,
        ).fetchone()
    )
additions = db.execute(
    """SELECT sump, count(*), sum((body->>'$.entry.litres')::DOUBLE) FROM journal
       WHERE kind = 'entry' AND body->>'$.entry.kind' = 'addition' GROUP BY ALL ORDER BY ALL"""
).fetchall()
raised = db.execute(
    """SELECT sump, body->>'$.condition', count(*) FROM journal
       WHERE kind = 'alarm' AND (body->>'$.transition' = 'raised'
           OR body->>'$.transition' IN ('unshelved', 'unsuppressed', 'put_into_service') AND body->>'$.state' = 'unacknowledged')
       GROUP BY ALL ORDER BY ALL"""
).fetchall()
json.dump({"windows": windows, "additions": additions, "raised": raised}, sys.stdout)
