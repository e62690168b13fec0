"""An instrument that sends what it is told, over a serial line made here.

Each line of standard input is hexadecimal bytes to send, or "close" to end. The
line's end is at the path given. Prints "ready" once it is there.
"""

import os
import sys
import tty

link = sys.argv[1]
master, slave = os.openpty()
tty.setraw(slave)
os.symlink(os.ttyname(slave), link + ".new")
os.replace(link + ".new", link)
print("ready", flush=True)
for line in sys.stdin:
    if line.strip() == "close":
        break
    os.write(master, bytes.fromhex(line))
