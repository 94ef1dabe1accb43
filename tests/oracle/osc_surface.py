"""A surface for tests/osc.rs: sends OSC and prints what comes back, by python-osc.

Each line of its input is a JSON list:
  ["send", PORT, ADDRESS, [[TAG, VALUE], ...]]    a message; TAG is a type tag or null for python-osc's own choice
  ["bundle", PORT, [[ADDRESS, [[TAG, VALUE], ...]], ...], DEPTH]    a bundle, in so many others
  ["raw", PORT, HEX]                              bytes
  ["bad", PORT, SEED, COUNT]                      packets that are no OSC
  ["to", HOST]                                    where what follows is sent
Each line of its output is {"port": ...}, where it listens, {"address": ..., "args": [...]}, a message that came,
or {"done": ...} after a command.
"""

import json
import random
import socket
import sys
import threading

from pythonosc.osc_bundle import OscBundle
from pythonosc.osc_bundle_builder import IMMEDIATELY, OscBundleBuilder
from pythonosc.osc_message import OscMessage
from pythonosc.osc_message_builder import OscMessageBuilder
from pythonosc.osc_packet import OscPacket

lock = threading.Lock()


def say(what):
    with lock:
        print(json.dumps(what), flush=True)


def listen(s):
    while True:
        data, _ = s.recvfrom(65536)
        for timed in OscPacket(data).messages:
            say({"address": timed.message.address, "args": list(timed.message.params)})


def message(address, args):
    builder = OscMessageBuilder(address)
    for tag, value in args:
        builder.add_arg(value, tag)
    return builder.build()


def bundle(messages, depth):
    builder = OscBundleBuilder(IMMEDIATELY)
    for address, args in messages:
        builder.add_content(message(address, args))
    made = builder.build()
    for _ in range(depth):
        outer = OscBundleBuilder(IMMEDIATELY)
        outer.add_content(made)
        made = outer.build()
    return made


def bad(rng):
    """Bytes that are no OSC packet, or one cut short, or one with a bit of its head turned over."""
    good = message("/balance/exposure", [["f", rng.uniform(-8, 8)]])
    kind = rng.randrange(6)
    if kind == 0:
        # What begins with a slash might be a message.
        return bytes([rng.randrange(128, 256)]) + rng.randbytes(rng.randrange(200))
    if kind == 1:
        return good.dgram[: len(good.dgram) - rng.randrange(1, 5)]
    if kind == 2:
        made = bundle([["/balance/exposure", [["d", 1.0]]], ["/look/strength", [["f", 1.0]]]], rng.randrange(3)).dgram
        return made[: len(made) - rng.randrange(1, 13)]
    if kind == 3:
        broken = bytearray(good.dgram)
        broken[rng.randrange(1, 17)] |= 0x80
        return bytes(broken)
    if kind == 4:
        return b"#bundle\0" + rng.randbytes(8) + b"\x7f" + rng.randbytes(rng.randrange(3000, 5000))
    return bundle([["/balance/exposure", [["f", 1.0]]]], 8 + rng.randrange(30)).dgram


def main():
    s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    s.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
    s.bind(("0.0.0.0", 0))
    host = "127.0.0.1"
    say({"port": s.getsockname()[1]})
    threading.Thread(target=listen, args=(s,), daemon=True).start()
    for line in sys.stdin:
        command, *rest = json.loads(line)
        if command == "to":
            host = rest[0]
        elif command == "send":
            port, address, args = rest
            s.sendto(message(address, args).dgram, (host, port))
        elif command == "bundle":
            port, messages, depth = rest
            s.sendto(bundle(messages, depth).dgram, (host, port))
        elif command == "raw":
            s.sendto(bytes.fromhex(rest[1]), (host, rest[0]))
        elif command == "bad":
            port, seed, count = rest
            rng = random.Random(seed)
            for _ in range(count):
                s.sendto(bad(rng), (host, port))
        say({"done": command})


if __name__ == "__main__":
    main()
