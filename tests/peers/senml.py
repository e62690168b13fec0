"""Writes a pack with kpn_senml: what it holds as JSON on standard input, the
pack as JSON and, in hexadecimal, as CBOR on standard output."""

import json
import sys

from kpn_senml import SenmlPack, SenmlRecord

wanted = json.load(sys.stdin)
pack = SenmlPack(wanted["name"])
pack.base_time = wanted.get("time")
pack.base_value = wanted.get("value")
for record in wanted["records"]:
    pack.add(SenmlRecord(record.pop("name"), **record))
json.dump({"json": pack.to_json(), "cbor": pack.to_cbor().hex()}, sys.stdout)
