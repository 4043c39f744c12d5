//! Mails that come in, read: every delivery report and every mark of automatic mail in `vectors/dsn.json`, which names the
//! standard beside each (RFC 3464, RFC 3463, RFC 3834, RFC 8098).

#![allow(clippy::unwrap_used, reason = "a vector that cannot be read fails the test")]

use allheard::inbound::letter::{IncomingMail, OwnMail, fails_for_good, read, received, recipients};
use serde_json::Value;

fn vectors() -> Value {
    serde_json::from_str(include_str!("vectors/dsn.json")).unwrap()
}

fn own(domain: &str) -> OwnMail {
    OwnMail { domain: domain.to_owned(), base_url: "https://show.example".to_owned() }
}

#[test]
fn every_delivery_report_says_what_the_standard_says() {
    let vectors = vectors();
    let all = vectors["dsn"].as_array().unwrap();
    assert_eq!(all.len(), 11);
    for one in all {
        let raw = one["raw"].as_str().unwrap();
        let said = recipients(raw);
        let wanted: Vec<(String, String)> = one["recipients"]
            .as_array()
            .unwrap()
            .iter()
            .map(|r| (r["action"].as_str().unwrap().to_owned(), r["status"].as_str().unwrap().to_owned()))
            .collect();
        assert_eq!(said, wanted, "{}", one["id"]);
        let hard = wanted.iter().any(|(action, status)| action == "failed" && status.starts_with('5'));
        assert_eq!(fails_for_good(raw), hard, "{}", one["id"]);
        let letter = read(raw.replace('\n', "\r\n").as_bytes(), &own("reminders.example.org"));
        assert!(
            matches!(letter, IncomingMail::Returned(_) | IncomingMail::Report),
            "{}: {letter:?}",
            one["id"]
        );
        assert!(hard || letter == IncomingMail::Report, "{}: only what failed for good came back", one["id"]);
    }
}

#[test]
fn a_returned_mail_names_our_message() {
    for returned in [
        "Content-Type: message/rfc822\r\n\r\nMessage-ID: <k77@show.example>\r\nSubject: Call\r\n\r\nWords\r\n",
        "Content-Type: text/rfc822-headers\r\n\r\nMessage-ID: <k77@show.example>\r\nSubject: Call\r\n",
    ] {
        let mail = format!(
            "From: MAILER-DAEMON@mx.example\r\nContent-Type: multipart/report; report-type=delivery-status; boundary=b\r\n\r\n\
             --b\r\n\r\nSorry.\r\n--b\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; mx.example\r\n\r\n\
             Final-Recipient: rfc822; a@b.example\r\nAction: failed\r\nStatus: 5.1.1\r\n\r\n--b\r\n{returned}\r\n--b--\r\n"
        );
        assert_eq!(
            read(mail.as_bytes(), &own("show.example")),
            IncomingMail::Returned(vec!["k77".to_owned()])
        );
        assert_eq!(read(mail.as_bytes(), &own("other.example")), IncomingMail::Report, "it is not ours");
    }
}

#[test]
fn every_mark_of_automatic_mail_is_known() {
    let vectors = vectors();
    let all = vectors["auto_reply"].as_array().unwrap();
    assert_eq!(all.len(), 14);
    for one in all {
        let headers = one["headers"].as_object().unwrap();
        let mut mail: String =
            headers.iter().map(|(name, value)| format!("{name}: {}\r\n", value.as_str().unwrap())).collect();
        if !headers.contains_key("From") {
            mail.push_str("From: may@example.org\r\n");
        }
        mail.push_str("\r\nYES\r\n");
        let letter = read(mail.as_bytes(), &own("reminders.example.org"));
        let automatic = matches!(letter, IncomingMail::Note { automatic: true, .. });
        match one["treat_as"].as_str().unwrap() {
            "automatic" | "do-not-answer" => assert!(automatic, "{}: {letter:?}", one["id"]),
            "human" => {
                assert!(matches!(letter, IncomingMail::Note { automatic: false, .. }), "{}", one["id"])
            }
            "dsn" => assert_eq!(letter, IncomingMail::Report, "{}", one["id"]),
            "mdn" => assert_eq!(letter, IncomingMail::ReadReceipt, "{}", one["id"]),
            // Its subject alone proves nothing: without a token of ours it goes to a person and is never counted.
            "suspect" => assert!(matches!(letter, IncomingMail::Note { token: None, .. }), "{}", one["id"]),
            other => panic!("{other} is no way to treat a mail"),
        }
    }
}

#[test]
fn mails_that_are_huge_or_broken_are_for_a_person() {
    let mut huge = b"From: may@example.org\r\nMessage-ID: <big@example.org>\r\n\r\n".to_vec();
    huge.extend(std::iter::repeat_n(b"YES\r\n".as_slice(), 2 << 20).flatten());
    let IncomingMail::Note { words, external, automatic, .. } = read(&huge, &own("show.example")) else {
        panic!("a note")
    };
    assert!(words.starts_with("(This mail is too long") && !automatic);
    assert_eq!(external, "big@example.org");
    let broken = b"From: may@example.org\r\nContent-Type: multipart/mixed; boundary=x\r\n\r\n--x\r\nContent-Transfer-Encoding: base64\r\n\r\n!!!";
    assert!(matches!(read(broken, &own("show.example")), IncomingMail::Note { .. }));
    let html = b"From: may@example.org\r\nContent-Type: text/html\r\n\r\n<p>Yes,&nbsp;thanks</p><blockquote>Call 17:30</blockquote>";
    let IncomingMail::Note { words, .. } = read(html, &own("show.example")) else { panic!("a note") };
    assert!(words.starts_with("Yes,"), "{words}");
}

// Each server puts its own Received on top of those of the servers before it (RFC 5321 4.4); the topmost is of the one that keeps
// the mailbox.
#[test]
fn the_topmost_received_says_when_a_mail_arrived() {
    let mail = b"Return-Path: <may@example.org>\r\n\
        Received: from mx.example.net (mx.example.net [192.0.2.7])\r\n\tby imap.school.example with LMTP id 1; Fri, 28 May 2027 13:20:05 +0100\r\n\
        Received: from phone.example.org by mx.example.net with ESMTPSA id 2; Thu, 27 May 2027 09:00:00 +0000\r\n\
        From: may@example.org\r\nDate: Thu, 27 May 2027 08:59:00 +0000\r\nSubject: yes\r\n\r\nyes\r\n";
    assert_eq!(received(mail), Some("2027-05-28T12:20:05Z".parse().unwrap()));
    assert_eq!(received(b"From: may@example.org\r\n\r\nyes\r\n"), None);
}
