"""Sends messages over MLLP with python-hl7, which shares no code with the service. What to do comes as JSON on stdin:
`how`, `port`, `messages`, and for TLS `ca`, `cert`, `key`. Prints what came of each as one JSON list a line."""

import asyncio
import json
import socket
import ssl
import sys
import time

import hl7
from hl7.client import MLLPClient
from hl7.mllp import open_hl7_connection

asked = json.load(sys.stdin)


def say(*words):
    print(json.dumps(words), flush=True)


def codes(ack):
    msa = hl7.parse(ack).segment("MSA") if isinstance(ack, str) else ack.segment("MSA")
    return [str(msa[1]), str(msa[2])]


def control_id(message):
    return str(hl7.parse(message).segment("MSH")[10])


def one_by_one():
    with MLLPClient("127.0.0.1", asked["port"]) as client:
        for message in asked["messages"]:
            raw = client.send_message(message)
            ack = hl7.parse(raw.strip(b"\x0b\x1c\r") + b"\r", encoding="utf-8")
            say(*codes(ack), *[str(segment) for segment in ack])


async def with_asyncio():
    more = {}
    if asked.get("ca"):
        context = ssl.create_default_context(cafile=asked["ca"])
        if asked.get("cert"):
            context.load_cert_chain(asked["cert"], asked["key"])
        more = {"ssl": context}
    reader, writer = await open_hl7_connection("127.0.0.1", asked["port"], encoding="utf-8", **more)
    for message in asked["messages"]:
        writer.writemessage(hl7.parse(message))
        await writer.drain()
        for _ in range(asked.get("answers", 1)):
            say(*codes(await asyncio.wait_for(reader.readmessage(), 10)))
    writer.close()


def until_accepted():
    """As an interface engine does: what is not answered with AA or AE is sent again, as it is."""
    client = None
    for message in asked["messages"]:
        wanted = control_id(message)
        while True:
            try:
                if client is None:
                    client = MLLPClient("127.0.0.1", asked["port"])
                    client.socket.settimeout(15)
                raw = client.send_message(message)
                if not raw:
                    raise ConnectionError("ended")
                code, answered = codes(hl7.parse(raw.strip(b"\x0b\x1c\r") + b"\r", encoding="utf-8"))
            except (OSError, socket.timeout) as error:
                say("again", wanted, type(error).__name__)
                if client is not None:
                    client.close()
                client = None
                time.sleep(0.1)
                continue
            say(code, answered)
            if answered != wanted:
                sys.exit("answered to another message")
            if code in ("AA", "AE"):
                break
            time.sleep(0.1)
        time.sleep(asked.get("pause", 0))


if asked["how"] == "one-by-one":
    one_by_one()
elif asked["how"] == "asyncio":
    asyncio.run(with_asyncio())
else:
    until_accepted()
