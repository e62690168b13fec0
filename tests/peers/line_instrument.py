"""An instrument that sends what it is told, over a serial line made here.

Each line of standard input is hexadecimal bytes to send, "flood" to send garbage
as fast as it goes until the next one, "drain" to say "drained" once all has been
read, or "close" to end. The line's end is at the path given. Prints "ready" once
it is there.
"""

import array
import fcntl
import os
import select
import sys
import termios
import time
import tty


def send(bytes):
    """All of it, however little the line takes at once."""
    while bytes:
        bytes = bytes[os.write(master, bytes) :]


def flood():
    """Garbage with ends of lines in it, until there is something to do."""
    while not select.select([commands], [], [], 0)[0]:
        if select.select([], [master], [], 0.1)[1]:
            os.write(master, os.urandom(1024))


def drain():
    """Until nothing is left to read, seen a few times in a row: the system
    hands bytes from end to end in its own time."""
    waiting, seen = array.array("i", [0]), 0
    while seen < 5:
        fcntl.ioctl(slave, termios.FIONREAD, waiting)
        seen = 0 if waiting[0] else seen + 1
        time.sleep(0.01)
    print("drained", flush=True)


link = sys.argv[1]
master, slave = os.openpty()
tty.setraw(slave)
os.symlink(os.ttyname(slave), link + ".new")
os.replace(link + ".new", link)
commands = os.fdopen(0, "rb", buffering=0)
print("ready", flush=True)
for line in commands:
    command = line.strip().decode()
    if command == "close":
        break
    elif command == "flood":
        os.set_blocking(master, False)
        flood()
        os.set_blocking(master, True)
    elif command == "drain":
        drain()
    else:
        send(bytes.fromhex(command))
