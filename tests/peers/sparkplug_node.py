"""An edge node of Sparkplug B with one device, by pysparkplug, for tests.

Takes the port of a broker on 127.0.0.1 and the number of its connection
(bdSeq); then one command a line on standard input:

    birth              births of node and device
    data NAME VALUE    a value, by alias
    bad NAME VALUE     the same, called bad by its property Quality
    past NAME VALUE MS a value of that time, as historical
    null NAME          no value
    lose               a message that never comes: only its seq is used up
    ddeath             the death of the device

Says "connected" on standard output, and "asked" when it is asked for a birth,
which it then gives.
"""

import sys
import threading

import pysparkplug as sp
from pysparkplug import _protobuf as protobuf

GROUP, NODE, DEVICE = "Hall 3", "gateway-1", "tank"
PORT, BD_SEQ = int(sys.argv[1]), int(sys.argv[2])
# Name: alias, datatype and present value.
METRICS = {
    "Fluid/pH": [10, sp.DataType.DOUBLE, 9.25],
    "Fluid/Conductivity": [11, sp.DataType.FLOAT, 2.5],
    "Pump/Running": [12, sp.DataType.BOOLEAN, True],
}
lock = threading.Lock()
seq = 0


def topic(kind, device=None):
    return sp.Topic(group_id=GROUP, message_type=kind, edge_node_id=NODE, device_id=device)


def next_seq():
    global seq
    seq, now = (seq + 1) % 256, seq
    return now


def bd_seq():
    return sp.Metric(timestamp=sp.get_current_timestamp(), name="bdSeq", datatype=sp.DataType.INT64, value=BD_SEQ)


def publish(kind, payload, device=None):
    client.publish(sp.Message(topic(kind, device), payload, sp.QoS.AT_MOST_ONCE, False), include_dtypes=False)


def births():
    global seq
    now = sp.get_current_timestamp()
    seq = 0
    rebirth = sp.Metric(timestamp=now, name="Node Control/Rebirth", datatype=sp.DataType.BOOLEAN, value=False)
    publish(sp.MessageType.NBIRTH, sp.NBirth(timestamp=now, seq=next_seq(), metrics=(bd_seq(), rebirth)))
    metrics = tuple(
        sp.Metric(timestamp=now, name=name, alias=alias, datatype=datatype, value=value)
        for name, (alias, datatype, value) in METRICS.items()
    )
    publish(sp.MessageType.DBIRTH, sp.DBirth(timestamp=now, seq=next_seq(), metrics=metrics), DEVICE)


def data(name, value, time=None, quality=None):
    now = sp.get_current_timestamp()
    alias, datatype, _ = METRICS[name]
    metric = sp.Metric(
        timestamp=now if time is None else time,
        name=None,
        alias=alias,
        datatype=datatype,
        value=value,
        is_historical=time is not None,
    )
    payload = sp.DData(timestamp=now, seq=next_seq(), metrics=(metric,))
    if quality is None:
        publish(sp.MessageType.DDATA, payload, DEVICE)
        return
    # The library knows no properties, but its definition of the messages does.
    raw = protobuf.Payload.FromString(payload.encode())
    raw.metrics[0].properties.keys.append("Quality")
    raw.metrics[0].properties.values.add(type=sp.DataType.INT32, int_value=quality)
    client._client.publish(str(topic(sp.MessageType.DDATA, DEVICE)), raw.SerializeToString())


def commanded(_, message):
    for metric in message.payload.metrics:
        if metric.name == "Node Control/Rebirth" and metric.value is True:
            print("asked", flush=True)
            with lock:
                births()


def value_of(name, text):
    value = text == "true" if METRICS[name][1] == sp.DataType.BOOLEAN else float(text)
    METRICS[name][2] = value
    return value


def obey(command, *words):
    if command == "birth":
        births()
    elif command == "data":
        data(words[0], value_of(*words))
    elif command == "bad":
        data(words[0], float(words[1]), quality=0)
    elif command == "past":
        data(words[0], float(words[1]), time=int(words[2]))
    elif command == "null":
        data(words[0], None)
    elif command == "lose":
        next_seq()
    elif command == "ddeath":
        death = sp.DDeath(timestamp=sp.get_current_timestamp(), seq=next_seq())
        publish(sp.MessageType.DDEATH, death, DEVICE)
    else:
        sys.exit(f"no such command: {command}")


client = sp.Client(client_id="gateway-1")
will = sp.NDeath(timestamp=sp.get_current_timestamp(), bd_seq_metric=bd_seq())
client.set_will(sp.Message(topic(sp.MessageType.NDEATH), will, sp.QoS.AT_LEAST_ONCE, False))
client.subscribe(topic(sp.MessageType.NCMD), sp.QoS.AT_LEAST_ONCE, commanded)
client.connect("127.0.0.1", port=PORT, callback=lambda _: print("connected", flush=True))
for line in sys.stdin:
    with lock:
        obey(*line.split())
