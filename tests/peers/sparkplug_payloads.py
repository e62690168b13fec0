"""Writes tests/reference/sparkplug_payloads.csv to standard output.

Each row is one message as pysparkplug encodes it, with what it says of the
metrics in words of its own: name=value@milliseconds, joined by ";". Run with
the Python of target/peers.
"""

import importlib.metadata

from pysparkplug import DataType, DBirth, DData, DDeath, Metric, NBirth, NCmd, NData, NDeath
from pysparkplug import _protobuf as protobuf

T0 = 1_772_431_800_000  # 2026-03-02T06:10:00Z

BIRTH = [
    ("Int8", DataType.INT8, -5),
    ("Int16", DataType.INT16, -300),
    ("Int32", DataType.INT32, -70_000),
    ("Int64", DataType.INT64, -5_000_000_000),
    ("UInt8", DataType.UINT8, 200),
    ("UInt16", DataType.UINT16, 60_000),
    ("UInt32", DataType.UINT32, 4_000_000_000),
    ("UInt64", DataType.UINT64, 5_000_000_000),
    ("Fluid/Brix", DataType.FLOAT, 8.5),
    ("Fluid/pH", DataType.DOUBLE, 9.21),
    ("Pump/Running", DataType.BOOLEAN, True),
    ("Properties/Make", DataType.STRING, "none"),
]


def metrics(values, time, alias=False, name=True):
    """Metrics of (name, datatype, value); aliases count from 100."""
    order = [entry[0] for entry in BIRTH]
    return tuple(
        Metric(
            timestamp=time,
            name=metric if name else None,
            datatype=datatype,
            value=value,
            alias=100 + order.index(metric) if alias else None,
        )
        for metric, datatype, value in values
    )


def words(values, time):
    shown = {True: "true", False: "false", None: "null"}
    return ";".join(
        f"{name}={shown[value] if isinstance(value, bool) or value is None else value}@{time}"
        for name, datatype, value in values
        if datatype != DataType.STRING
    )


def with_quality(raw, codes):
    """The payload with the property Quality added to its metrics, by the
    library's own definition of the messages."""
    payload = protobuf.Payload.FromString(raw)
    for metric, code in zip(payload.metrics, codes):
        metric.properties.keys.extend(["Note", "Quality"])
        metric.properties.values.add(type=DataType.STRING, string_value="by hand")
        metric.properties.values.add(type=DataType.INT32, int_value=code)
    return payload.SerializeToString()


def rows():
    bd_seq = Metric(timestamp=T0, name="bdSeq", datatype=DataType.INT64, value=7)
    rebirth = Metric(timestamp=T0, name="Node Control/Rebirth", datatype=DataType.BOOLEAN, value=False)
    node, device = "spBv1.0/Hall 3/{}/gateway-1", "spBv1.0/Hall 3/{}/gateway-1/tank"

    birth = NBirth(timestamp=T0, seq=0, metrics=(bd_seq, rebirth))
    yield node.format("NBIRTH"), birth.encode(), ""
    birth = DBirth(timestamp=T0, seq=1, metrics=metrics(BIRTH, T0, alias=True))
    yield device.format("DBIRTH"), birth.encode(), words(BIRTH, T0)

    changed = [("Int16", DataType.INT16, -32_768), ("Fluid/Brix", DataType.FLOAT, 8.25), ("Pump/Running", DataType.BOOLEAN, False)]
    data = DData(timestamp=T0 + 1500, seq=2, metrics=metrics(changed, T0 + 1000, alias=True, name=False))
    yield device.format("DDATA"), data.encode(), words(changed, T0 + 1000)

    gone = [("Fluid/pH", DataType.DOUBLE, None)]
    data = DData(timestamp=T0 + 2500, seq=3, metrics=metrics(gone, T0 + 2000, alias=True, name=False))
    yield device.format("DDATA"), data.encode(), words(gone, T0 + 2000)

    said = [("UInt8", DataType.UINT8, 1), ("UInt16", DataType.UINT16, 2), ("UInt32", DataType.UINT32, 3)]
    data = DData(timestamp=T0 + 3500, seq=4, metrics=metrics(said, T0 + 3000, alias=True, name=False))
    stale = f"UInt8=1@{T0 + 3000};UInt16=bad 2@{T0 + 3000};UInt32=null@{T0 + 3000}"
    yield device.format("DDATA"), with_quality(data.encode(), [192, 0, 500]), stale

    past = Metric(timestamp=T0 - 60_000, name=None, datatype=DataType.FLOAT, value=8.75, alias=108, is_historical=True)
    data = DData(timestamp=T0 + 4500, seq=5, metrics=(past,))
    yield device.format("DDATA"), data.encode(), f"Fluid/Brix=past 8.75@{T0 - 60_000}"

    data = NData(timestamp=T0 + 5000, seq=6, metrics=(Metric(timestamp=T0 + 5000, name="Load", datatype=DataType.DOUBLE, value=0.25),))
    yield node.format("NDATA"), data.encode(), ""

    death = DDeath(timestamp=T0 + 6000, seq=7)
    yield device.format("DDEATH"), death.encode(), words([(name, datatype, None) for name, datatype, _ in BIRTH], T0 + 6000)

    death = NDeath(timestamp=T0 - 1000, bd_seq_metric=bd_seq)
    yield node.format("NDEATH"), death.encode(), "all gone at arrival"

    order = Metric(timestamp=T0, name="Node Control/Rebirth", datatype=DataType.BOOLEAN, value=True)
    command = NCmd(timestamp=T0, metrics=(order,))
    yield node.format("NCMD"), command.encode(include_dtypes=True), "the request for a birth"


print("# Sparkplug B messages as a library of others encodes them, in their order, and what they say of the metrics of device tank")
print(f"# pysparkplug {importlib.metadata.version('pysparkplug')} with protobuf {importlib.metadata.version('protobuf')}; made by tests/peers/sparkplug_payloads.py, which says how")
print("# says: name=value@milliseconds since 1970; null = no value, bad = the node says so, past = historical")
print("topic,payload_hex,says,status")
for topic, payload, says in rows():
    print(f"{topic},{payload.hex()},{says},computed")
