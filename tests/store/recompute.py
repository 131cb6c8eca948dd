"""Computes the hash chain of a job file again, from the description in src/store/chain.rs alone."""

import hashlib
import sqlite3
import sys


def field(value):
    data = value if isinstance(value, bytes) else str(value).encode()
    return len(data).to_bytes(8, "big") + data


job = sqlite3.connect(f"file:{sys.argv[1]}?mode=ro&immutable=1", uri=True)
last, chain = 0, hashlib.sha256(b"closerun job 1").digest()
for *columns, stored in job.execute("SELECT seq, at, kind, simulated, body, raw, hash FROM event ORDER BY seq"):
    chain = hashlib.sha256(chain + b"".join(map(field, columns))).digest()
    if columns[0] != last + 1 or stored != chain:
        sys.exit(print(f"event {last + 1} was altered"))
    last = columns[0]
print(last, chain.hex())
