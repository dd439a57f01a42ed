"""A sending system of its own: speaks FHIR R4 by urllib alone, and knows nothing of the service's code.

    peer.py BASE KEY   tells what each step was answered, one JSON line each
"""
import json
import sys
import urllib.error
import urllib.request

BASE, KEY = sys.argv[1:]


def ask(name, method, path, body=None, **headers):
    data = None if body is None else json.dumps(body).encode()
    sent = {"Authorization": "Bearer " + KEY, "Content-Type": "application/fhir+json"}
    sent.update({key.replace("_", "-"): value for key, value in headers.items()})
    request = urllib.request.Request(BASE + path, data, sent, method=method)
    try:
        with urllib.request.urlopen(request) as answer:
            status, told, text = answer.status, answer.headers, answer.read()
    except urllib.error.HTTPError as error:
        status, told, text = error.code, error.headers, error.read()
    line = {"name": name, "status": status, "type": told.get("Content-Type"), "etag": told.get("ETag"),
            "location": told.get("Location"), "modified": told.get("Last-Modified"),
            "body": json.loads(text) if text else None}
    print(json.dumps(line), flush=True)
    return line


def appointment(over=None, **more):
    one = {
        "resourceType": "Appointment", "status": "booked",
        "identifier": [{"system": "urn:peer:visit", "value": "0007"}],
        "serviceType": [{"coding": [{"system": "urn:peer:type", "code": "PAP"}]}],
        "start": "2026-03-20T09:00:00-03:00", "end": "2026-03-20T09:20:00-03:00",
        "contained": [{"resourceType": "Patient", "id": "p", "identifier": [{"system": "urn:peer:mrn", "value": "417"}],
                       "name": [{"family": "Gale", "given": ["Ines"]}],
                       "telecom": [{"system": "phone", "use": "mobile", "value": "+1-782-555-0101"}],
                       "communication": [{"language": {"coding": [{"code": "en"}]}}]}],
        "participant": [{"actor": {"reference": "#p"}, "status": "accepted"},
                        {"actor": {"reference": "Location/GYN1"}, "status": "accepted"}],
    }
    one.update(more)
    return one


ask("metadata", "GET", "/metadata")
first = ask("create", "POST", "/Appointment", appointment(), If_None_Exist="identifier=urn:peer:visit|0007")
where = first["location"].split("/fhir")[1].split("/_history")[0]
own = where.split("/")[-1]
ask("create-again", "POST", "/Appointment", appointment(), If_None_Exist="identifier=urn:peer:visit|0007")
later = appointment(id=own, start="2026-03-21T10:00:00-03:00", end="2026-03-21T10:20:00-03:00")
ask("move", "PUT", where, later, If_Match=first["etag"], Prefer="return=representation")
ask("stale", "PUT", where, appointment(id=own), If_Match=first["etag"])
ask("minimal", "PUT", where, later, Prefer="return=minimal")
ask("unknown-criteria", "POST", "/Appointment", appointment(), If_None_Exist="status=booked")
ask("twin", "PUT", "/Appointment/twin-1", appointment(id="twin-1", start="2026-03-27T09:00:00-03:00",
                                                       end="2026-03-27T09:20:00-03:00"))
ask("several", "POST", "/Appointment", appointment(), If_None_Exist="identifier=urn:peer:visit|0007")

URN = "urn:uuid:0c3151bd-1cbf-4d64-b04d-cd9187a4c6e0"
patient = appointment()["contained"][0]
patient = dict(patient, identifier=[{"system": "urn:peer:mrn", "value": "418"}], name=[{"family": "Holm"}])
patient.pop("id")
patient["telecom"] = [{"system": "phone", "use": "mobile", "value": "+1-782-555-0102"}]


def transaction(start):
    visit = appointment(id="t-1", start=start, end="2026-03-24T09:20:00-03:00",
                        identifier=[{"system": "urn:peer:visit", "value": "0008"}])
    visit.pop("contained")
    visit["participant"][0]["actor"]["reference"] = URN
    return {"resourceType": "Bundle", "type": "transaction", "entry": [
        {"fullUrl": URN, "resource": patient, "request": {"method": "POST", "url": "Patient"}},
        {"fullUrl": BASE + "/Appointment/t-1", "resource": visit,
         "request": {"method": "PUT", "url": "Appointment/t-1"}}]}


ask("transaction-refused", "POST", "", transaction("2026-03-24 09:00"))
ask("transaction", "POST", "", transaction("2026-03-24T09:00:00-03:00"))
ask("delete", "DELETE", "/Appointment/t-1")
ask("not-json", "POST", "/Appointment", None, Content_Type="application/fhir+xml", Content_Length="0")
ask("no-kind", "POST", "/Practitioner", {"resourceType": "Practitioner"})
