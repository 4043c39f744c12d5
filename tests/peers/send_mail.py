#!/usr/bin/env python3
"""Sends the mail on standard input through a mail server: STARTTLS with the certificate verified, then login.

    send_mail.py PORT CA_FILE PASSWORD FROM TO

Only Python's own library, which shares nothing with the program under test.
"""
import smtplib
import ssl
import sys

port, authority, password, sender, recipient = sys.argv[1:]
with smtplib.SMTP("localhost", int(port), timeout=20) as server:
    server.starttls(context=ssl.create_default_context(cafile=authority))
    server.login("season", password)
    server.sendmail(sender, [recipient], sys.stdin.buffer.read())
