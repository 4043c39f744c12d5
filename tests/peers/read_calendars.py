"""A reader of calendars: takes a JSON list of iCalendar texts on standard input and prints, one JSON list a calendar,
what PyPI's icalendar makes of each entry: item, UID, SEQUENCE, STATUS, start and end as UTC, and the instants at which
its alarms ring. Ends with 1 where a calendar breaks a rule it can see: a bare line feed, a line over 75 octets (RFC 5545
3.1), a property that is missing or cannot be read.

    read_calendars.py < calendars.json
"""
import datetime
import json
import sys

import icalendar

LINE_OCTETS = 75


def utc(at):
    return at.astimezone(datetime.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")


def faults_of(raw, calendar):
    if b"\n" in raw.replace(b"\r\n", b"") or b"\r" in raw.replace(b"\r\n", b""):
        yield "a line ends without CRLF"
    yield from (f"a line of {len(line)} octets" for line in raw.split(b"\r\n") if len(line) > LINE_OCTETS)
    yield from (f"no {name}" for name in ("PRODID", "VERSION") if name not in calendar)
    for event in calendar.walk("VEVENT"):
        yield from (str(error) for error in event.errors)
        yield from (f"an entry without {name}" for name in ("UID", "DTSTAMP", "DTSTART") if name not in event)


def entry(event):
    start = event["DTSTART"].dt
    return {
        "item": str(event.get("X-ALLHEARD-ITEM")),
        "uid": str(event["UID"]),
        "sequence": int(event["SEQUENCE"]),
        "status": str(event["STATUS"]),
        "start": utc(start),
        "end": utc(event["DTEND"].dt if "DTEND" in event else start),
        "alarms": [utc(start + alarm["TRIGGER"].dt) for alarm in event.walk("VALARM")],
    }


bad = 0
for text in json.load(sys.stdin):
    calendar = icalendar.Calendar.from_ical(text.encode())
    for fault in faults_of(text.encode(), calendar):
        print(fault, file=sys.stderr)
        bad = 1
    print(json.dumps([entry(event) for event in calendar.walk("VEVENT")]))
sys.exit(bad)
