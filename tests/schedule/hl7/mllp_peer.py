"""A filler's system, by python-hl7: takes HL7 v2 over MLLP, prints each message's fields as JSON, and acknowledges it.

Arguments: the port, and the codes to answer with, one after the other, the last one again and again.
"""

import asyncio
import json
import sys

from hl7.mllp import start_hl7_server

codes = sys.argv[2:]


async def take(reader, writer):
    while not writer.is_closing():
        try:
            message = await reader.readmessage()
        except asyncio.IncompleteReadError:
            return
        code = codes.pop(0) if len(codes) > 1 else codes[0]
        found = [[str(field) for field in segment] for segment in message]
        print(json.dumps({"code": code, "segments": found}), flush=True)
        writer.writemessage(message.create_ack(code))
        await writer.drain()


async def main():
    server = await start_hl7_server(take, host="127.0.0.1", port=int(sys.argv[1]))
    print(json.dumps({"ready": True}), flush=True)
    await server.serve_forever()


asyncio.run(main())
