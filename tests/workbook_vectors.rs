//! Outside check values for telephone numbers and `.csv` fields: tests/vectors/phones.json (PyPI phonenumbers 9.0.43,
//! equal to npm google-libphonenumber 3.2.47) and tests/vectors/csv.json (OWASP ASVS 5.0 1.2.10, RFC 4180 s2). Every item runs.

#![allow(clippy::unwrap_used, reason = "a helper of a test may fail the test")]

use allheard::domain::phone::{self, PhoneFault};
use allheard::domain::season::Line;
use allheard::workbook::{csv_field, guarded, unguarded};
use serde_json::Value;

fn items(text: &str) -> Vec<Value> {
    serde_json::from_str::<Value>(text).unwrap()["cases"].as_array().unwrap().clone()
}

#[test]
fn phones_agree_with_the_numbering_plans() {
    let cases = items(include_str!("vectors/phones.json"));
    assert_eq!(cases.len(), 50);
    let mut wrong = Vec::new();
    for case in &cases {
        let (id, raw, region) =
            (case["id"].as_str().unwrap(), case["input"].as_str().unwrap(), case["region"].as_str().unwrap());
        let got = phone::parse(raw, region);
        let kind = case["type"].as_str().unwrap_or("");
        let fits = match (&got, case["parse_error"].as_str(), case["possible"].as_bool()) {
            (Err(_), Some(_), _) => true,
            (Err(fault), None, Some(false)) => *fault == PhoneFault::Impossible,
            (Ok(phone), None, Some(true)) => {
                let voice_only =
                    matches!(kind, "FIXED_LINE" | "TOLL_FREE" | "UAN" | "PREMIUM_RATE" | "SHARED_COST");
                phone.e164 == case["e164"].as_str().unwrap()
                    && phone.valid == case["valid"].as_bool().unwrap()
                    && (!voice_only || phone.line == Line::VoiceOnly)
            }
            _ => false,
        };
        if !fits {
            wrong.push(format!("{id} {raw:?} {region}: {got:?} expected {case}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn mobiles_are_textable_and_extensions_are_not() {
    let check = |raw: &str, region: &str, expect: Line| {
        assert_eq!(phone::parse(raw, region).unwrap().line, expect, "{raw}")
    };
    check("0491 570 006", "AU", Line::Textable);
    check("(212) 555-0123", "US", Line::Textable);
    check("07700 900123", "GB", Line::Textable);
    check("2125550142 ext. 7", "US", Line::VoiceOnly);
    check("555-0123", "US", Line::VoiceOnly);
    check("020 7946 0018", "GB", Line::VoiceOnly);
    for (raw, region) in [
        ("911", "US"),
        ("999", "GB"),
        ("112", "DE"),
        ("12345", "US"),
        ("", "GB"),
        ("=cmd()", "GB"),
        ("07700 900123 after 6", "GB"),
        ("07700 900123 or 07700 900124", "GB"),
        ("0161 MUM", "GB"),
        ("mum", "GB"),
    ] {
        assert!(phone::parse(raw, region).is_err(), "{raw}");
    }
    assert_eq!(phone::parse("020 7946 0018", "XX"), Err(PhoneFault::Country));
}

// A note beside a number is kept out of it; letters are keys only where they are plainly meant so.
#[test]
fn a_note_beside_a_number_is_never_dialled() {
    for raw in [
        "07700 900123 mum",
        "07700 900123 MUM",
        "Mum: 07700 900123",
        "07700 900123 (work, not mornings)",
        "mamá 07700 900123 ☎",
        "call 07700 900123!",
        "07700 900123 DAD DAVE",
    ] {
        assert_eq!(phone::parse(raw, "GB").map(|p| p.e164).as_deref(), Ok("+447700900123"), "{raw}");
        assert!(phone::has_words(raw), "{raw}");
    }
    for raw in
        ["07700 900123", "+44 (0)7700 900123", "1-800-FLOWERS", "2125550142 ext. 7", "tel:+1-212-555-0123"]
    {
        assert!(!phone::has_words(raw), "{raw}");
    }
    assert_eq!(phone::parse("1-800-flowers", "US"), Err(PhoneFault::Impossible));
}

#[test]
fn fields_are_guarded_and_come_back() {
    let cases = items(include_str!("vectors/csv.json"));
    assert_eq!(cases.len(), 24);
    for case in &cases {
        let value = case["value"].as_str().unwrap();
        assert_eq!(guarded(value), case["escaped_value"].as_str().unwrap(), "{value:?}");
        assert_eq!(guarded(value) != value, case["formula_trigger"].as_bool().unwrap(), "{value:?}");
        assert_eq!(csv_field(value), case["rfc4180_field_minimal_quoting"].as_str().unwrap(), "{value:?}");
        let line = format!("{}\r\n", csv_field(value));
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(line.as_bytes());
        let back = reader.records().next().map(|r| r.unwrap()[0].to_owned()).unwrap_or_default();
        assert_eq!(unguarded(&back), value, "{value:?}");
    }
}
