//! How many parts the telephone network makes of a text, and which characters make it dearer.

/// Septets of one message that stands alone (3GPP TS 23.040 9.2.3.24.1).
const GSM_ALONE: usize = 160;
/// Septets in each part of a joined message with an 8-bit reference (3GPP TS 23.040 9.2.3.24.1).
const GSM_JOINED: usize = 153;
/// UTF-16 units of one message that stands alone (3GPP TS 23.040 9.2.3.24.1).
const UCS2_ALONE: usize = 70;
/// UTF-16 units in each part of a joined message (3GPP TS 23.040 9.2.3.24.1).
const UCS2_JOINED: usize = 67;
/// Characters of one septet (3GPP TS 23.038 6.2.1).
const BASIC: &str = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà";
/// Characters of two septets, an escape and itself (3GPP TS 23.038 6.2.1.1).
const EXTENDED: &str = "\u{c}^{}\\[~]|€";

/// How a text is carried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// The 7-bit default alphabet.
    Gsm7,
    /// Two octets a unit.
    Ucs2,
}

/// What a text costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Count {
    /// How it is carried.
    pub encoding: Encoding,
    /// Septets or UTF-16 units altogether.
    pub units: usize,
    /// Units in each segment.
    pub segments: Vec<usize>,
    /// The characters outside the 7-bit alphabet, each once, in order of appearance.
    pub causes: Vec<char>,
}

/// Counts a text as the network will.
pub fn count(text: &str) -> Count {
    let mut causes = Vec::new();
    for c in text.chars() {
        if !BASIC.contains(c) && !EXTENDED.contains(c) && !causes.contains(&c) {
            causes.push(c);
        }
    }
    let (encoding, alone, joined) = if causes.is_empty() {
        (Encoding::Gsm7, GSM_ALONE, GSM_JOINED)
    } else {
        (Encoding::Ucs2, UCS2_ALONE, UCS2_JOINED)
    };
    let weigh = |c: char| match encoding {
        Encoding::Gsm7 => 1 + usize::from(EXTENDED.contains(c)),
        Encoding::Ucs2 => c.len_utf16(),
    };
    let units = text.chars().map(weigh).sum();
    let mut segments = Vec::new();
    if units > 0 && units <= alone {
        segments.push(units);
    } else {
        for weight in text.chars().map(weigh) {
            match segments.last_mut() {
                Some(last) if *last + weight <= joined => *last += weight,
                _ => segments.push(weight),
            }
        }
    }
    Count {
        encoding,
        units,
        segments,
        causes,
    }
}
