"""Reads mailboxes back by IMAP and tells, one JSON object a message, what an independent reader makes of each.

    read_mail.py F PORT ZONE

F is that of tests/peers/mail-server: ca.pem, password, recipients. ZONE is the season's time zone. The first
sentence of a `faults` entry says what is wrong; an empty list is what a test wants. Sources: line lengths RFC 5322 2.1.1
(998 octets) and RFC 5545 3.1 (75 octets), method in both places RFC 6047 2.4.
"""
import concurrent.futures
import datetime
import email
import email.policy
import html.parser
import imaplib
import json
import pathlib
import ssl
import sys
import zoneinfo

import icalendar

MAIL_LINE, CALENDAR_LINE = 998, 75
SESSIONS = 8
HEADERS = ["From", "To", "Subject", "Date", "Message-ID", "Reply-To", "Return-Path", "Auto-Submitted", "List-Unsubscribe",
           "List-Unsubscribe-Post", "Content-Language", "Received"]


def text_of(part, faults):
    """The words of a part, decoded strictly."""
    raw = part.get_payload(decode=True)
    try:
        return raw.decode(part.get_content_charset() or "ascii")
    except (UnicodeDecodeError, LookupError) as error:
        faults.append(f"{part.get_content_type()} cannot be decoded: {error}")
        return ""


class Links(html.parser.HTMLParser):
    """Where the links of a page lead."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attributes):
        self.found += [value for name, value in attributes if tag == "a" and name == "href"]


def links_of(text):
    links = Links()
    links.feed(text)
    return links.found


def entries_of(part, zone, faults):
    """The entries of a calendar part, with the start as the season's clocks show it."""
    raw = part.get_payload(decode=True)
    if b"\n" in raw.replace(b"\r\n", b""):
        faults.append("a calendar line ends without CR")
    faults += [f"a calendar line of {len(line)} octets" for line in raw.split(b"\r\n") if len(line) > CALENDAR_LINE]
    calendar = icalendar.Calendar.from_ical(raw)
    if part.get_param("method") != calendar.get("METHOD"):
        faults.append("the method differs between header and calendar")
    entries = []
    for event in calendar.walk("VEVENT"):
        faults += [f"calendar: {error}" for error in event.errors]
        faults += [f"an entry without {name}" for name in ("UID", "DTSTAMP", "DTSTART") if name not in event]
        start, end = event["DTSTART"].dt, event["DTEND"].dt
        if start.utcoffset() != datetime.timedelta(0) or end.utcoffset() != datetime.timedelta(0):
            faults.append("an entry's time is not UTC")
        entries.append({
            "item": str(event["X-ALLHEARD-ITEM"]), "start": start.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "end": end.strftime("%Y-%m-%dT%H:%M:%SZ"), "local": start.astimezone(zone).strftime("%Y-%m-%d %H:%M"),
            "summary": str(event["SUMMARY"]),
        })
    return entries


def read(box, raw, zone):
    faults = [f"a line of {len(line)} octets" for line in raw.split(b"\r\n") if len(line) > MAIL_LINE]
    message = email.message_from_bytes(raw, policy=email.policy.default)
    found = {"box": box, "text": "", "html": "", "links": [], "calendar": "", "entries": []}
    found["headers"] = {name: [str(value) for value in message.get_all(name, [])] for name in HEADERS}
    found["seconds"] = message["Date"].datetime.timestamp()
    for part in message.walk():
        faults += [f"{part.get_content_type()}: {type(defect).__name__}" for defect in part.defects]
        kind = part.get_content_type()
        if kind == "text/plain":
            found["text"] = text_of(part, faults)
        elif kind == "text/html":
            found["html"] = text_of(part, faults)
            found["links"] = links_of(found["html"])
        elif kind == "text/calendar":
            found["calendar"] = text_of(part, faults)
            found["entries"] = entries_of(part, zone, faults)
        elif not part.is_multipart():
            faults.append(f"an unexpected part: {kind}")
    found["faults"] = faults
    return found


def read_box(folder, port, zone, box):
    """Every message of one mailbox."""
    trust = ssl.create_default_context(cafile=str(folder / "ca.pem"))
    with imaplib.IMAP4("localhost", port) as imap:
        imap.starttls(trust)
        imap.login(box, (folder / "password").read_text().strip())
        imap.select("INBOX", readonly=True)
        numbers = imap.search(None, "ALL")[1][0].split()
        return [read(box, imap.fetch(number, "(BODY.PEEK[])")[1][0][1], zone) for number in numbers]


def main(folder, port, zone):
    folder, zone = pathlib.Path(folder), zoneinfo.ZoneInfo(zone)
    boxes = [box for box in (folder / "recipients").read_text().split()
             if (folder / "boxes" / box.split("@")[1] / box.split("@")[0]).exists()]
    # A login is mostly waiting, so several go on at once.
    with concurrent.futures.ThreadPoolExecutor(SESSIONS) as pool:
        for messages in pool.map(lambda box: read_box(folder, int(port), zone, box), boxes):
            for message in messages:
                print(json.dumps(message))


main(*sys.argv[1:])
