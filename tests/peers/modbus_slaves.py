"""Slaves of pymodbus, on a serial line made here or over TCP.

Each number is slave:table:register:kind:order:value, as
3:input:12:float32:CDAB:4.25. Registers without a number do not exist, and
slaves without one do not answer. Prints "ready" once it listens.
"""

import argparse
import asyncio
import os
import struct
import threading
import time
import tty

from pymodbus.client import ModbusTcpClient
from pymodbus.framer import FramerType
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

KINDS = {
    kind: getattr(ModbusTcpClient.DATATYPE, kind.upper())
    for kind in ("uint16", "int16", "uint32", "int32", "float32", "float64")
}


def registers(kind, order, value):
    """The number as pymodbus writes it; it knows no swapped bytes."""
    value = float(value) if kind.startswith("float") else int(value)
    low_register_first = order in ("CDAB", "DCBA", "GHEFCDAB", "HGFEDCBA")
    low_byte_first = order in ("BA", "BADC", "DCBA", "BADCFEHG", "HGFEDCBA")
    word_order = "little" if low_register_first else "big"
    words = ModbusTcpClient.convert_to_registers(value, KINDS[kind], word_order=word_order)
    if low_byte_first:
        words = [struct.unpack("<H", struct.pack(">H", word))[0] for word in words]
    return words


def devices(numbers):
    """One device a slave, with holding and input registers of their own."""
    slaves = {}
    for number in numbers:
        slave, table, register, kind, order, value = number.split(":")
        data = SimData(
            int(register),
            values=registers(kind, order, value),
            datatype=DataType.REGISTERS,
        )
        slaves.setdefault(int(slave), {"holding": [], "input": []})[table].append(data)
    # pymodbus wants something in each table.
    none = lambda: [SimData(60000, values=[False], datatype=DataType.BITS)]
    no_register = lambda: [SimData(60000, values=[0], datatype=DataType.REGISTERS)]
    return [
        SimDevice(
            slave,
            simdata=(
                none(),
                none(),
                tables["holding"] or no_register(),
                tables["input"] or no_register(),
            ),
        )
        for slave, tables in slaves.items()
    ]


def line(link, late, known):
    """A serial line with two ends: ours at `link`, the other for the slaves.

    What is for a slave that is not known gets lost: it is switched off.
    """
    ends = []
    for _ in range(2):
        master, slave = os.openpty()
        tty.setraw(slave)
        ends.append((master, slave))
    (near, near_slave), (far, far_slave) = ends
    threading.Thread(target=carry, args=(near, far, None, known), daemon=True).start()
    threading.Thread(target=carry, args=(far, near, late, None), daemon=True).start()
    new = link + ".new"
    os.symlink(os.ttyname(near_slave), new)
    os.replace(new, link)
    return os.ttyname(far_slave)


def carry(source, sink, late, known):
    """Carries frames one way; each so-manieth comes late."""
    count = 0
    while True:
        frame = os.read(source, 4096)
        count += 1
        if known and frame[0] not in known:
            continue
        if late and count % late[0] == 0:
            time.sleep(late[1] / 1000)
        os.write(sink, frame)


async def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--line", help="where the near end of the line is to be")
    parser.add_argument("--port", type=int, help="TCP port")
    parser.add_argument("--late", help="EVERY:MS, each EVERYth answer comes MS late")
    parser.add_argument("numbers", nargs="+")
    wanted = parser.parse_args()
    slaves = devices(wanted.numbers)
    if wanted.line:
        late = wanted.late and [int(part) for part in wanted.late.split(":")]
        server = ModbusSerialServer(
            slaves,
            framer=FramerType.RTU,
            port=line(wanted.line, late, {slave.id for slave in slaves}),
            baudrate=19200,
        )
    else:
        server = ModbusTcpServer(slaves, address=("127.0.0.1", wanted.port))
    await server.serve_forever(background=True)
    print("ready", flush=True)
    await asyncio.Event().wait()


asyncio.run(main())
