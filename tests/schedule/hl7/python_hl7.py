"""Reads base64 messages, one a line, with python-hl7, and prints what it found in each as JSON, one a line."""

import base64
import io
import json
import sys

import hl7
from hl7.client import read_stream

# What python-hl7 leaves to the application: highlighting is dropped, and a new line is LF.
APP_MAP = {"H": "", "N": "", ".br": "\n"}


def parts(container, depth):
    """Python-hl7 leaves out levels that were not split."""
    if isinstance(container, str):
        return container if depth == 0 else [parts(container, depth - 1)]
    kinds = {hl7.Field: 3, hl7.Repetition: 2, hl7.Component: 1}
    level = kinds[type(container)]
    children = [parts(child, level - 1) for child in container] or [parts("", level - 1)]
    for _ in range(depth - level):
        children = [children]
    return children


def leaves(message, tree):
    if isinstance(tree, str):
        return message.unescape(tree, APP_MAP) or ""
    return [leaves(message, child) for child in tree]


def read(line):
    kind, charset, content = line.split()
    raw = base64.b64decode(content)
    if kind == "frames":
        return [base64.b64encode(one).decode() for one in read_stream(io.BytesIO(raw))]
    message = hl7.parse(raw, encoding=charset)
    if kind == "ack":
        ack = message.create_ack("AA", message_id="D1")
        return [[str(field) for field in segment] for segment in ack]
    found = []
    for segment in message:
        fields = [parts(field, 3) for field in segment]
        head = 3 if str(segment[0]) == "MSH" else 0
        found.append(fields[:head] + [leaves(message, field) for field in fields[head:]])
    return found


for line in sys.stdin:
    print(json.dumps(read(line)))
