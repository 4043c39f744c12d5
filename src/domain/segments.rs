//! How the phone network counts a text: its alphabet, its units, and the segments that are paid for.
//!
//! Sources: 3GPP TS 23.038 sections 6.2.1 and 6.2.1.1 (alphabet, extension) and 6.1.2.1.1 (packing); 3GPP TS 23.040
//! section 9.2.3.24.1 (concatenation with an 8-bit reference, and that no character is split between segments).

use unicode_normalization::UnicodeNormalization;

/// Septets in a text of one segment.
pub const GSM7_SINGLE: usize = 160;
/// Septets in each segment of a longer text (8-bit reference).
pub const GSM7_PART: usize = 153;
/// UTF-16 code units in a text of one segment.
pub const UCS2_SINGLE: usize = 70;
/// UTF-16 code units in each segment of a longer text (8-bit reference).
pub const UCS2_PART: usize = 67;
/// Segments in the longest text: the counter is one octet.
pub const MOST_SEGMENTS: usize = 255;

/// The code that announces a character of the extension table.
const ESCAPE: u8 = 0x1B;

/// The default alphabet in the order of its codes; position 0x1B is the escape and stands for no character.
const ALPHABET: &str = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\u{1B}ÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?\
                        ¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà";

/// The extension table: characters that cost two septets, and the code after the escape.
const EXTENSION: [(char, u8); 10] = [
    ('\u{0C}', 0x0A),
    ('^', 0x14),
    ('{', 0x28),
    ('}', 0x29),
    ('\\', 0x2F),
    ('[', 0x3C),
    ('~', 0x3D),
    (']', 0x3E),
    ('|', 0x40),
    ('€', 0x65),
];

/// The two ways in which a text can travel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// The GSM 7-bit default alphabet with its extension table.
    Gsm7,
    /// UTF-16 code units, two octets each.
    Ucs2,
}

impl Encoding {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Gsm7 => "gsm-7",
            Self::Ucs2 => "ucs-2",
        }
    }

    /// Units in a single segment, and in each of several.
    fn limits(self) -> (usize, usize) {
        match self {
            Self::Gsm7 => (GSM7_SINGLE, GSM7_PART),
            Self::Ucs2 => (UCS2_SINGLE, UCS2_PART),
        }
    }
}

/// What the network makes of a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Count {
    /// How it travels.
    pub encoding: Encoding,
    /// Septets, or UTF-16 code units.
    pub units: usize,
    /// The units in each segment; an empty text is one empty segment.
    pub segments: Vec<usize>,
    /// The distinct characters, in order of appearance, that made the text UCS-2; in a GSM-7 text, those that cost two
    /// septets.
    pub causes: Vec<char>,
}

/// The text in Unicode normalization form C, in which it must be both counted and sent: a decomposed é is not in the
/// alphabet, a composed one is.
pub fn composed(text: &str) -> String {
    if text.is_ascii() { text.to_owned() } else { text.nfc().collect() }
}

/// Counts `text` in normalization form C, as it will be sent.
pub fn count(text: &str) -> Count {
    count_as_written(&composed(text))
}

/// Counts `text` exactly as it is, without normalizing it.
pub fn count_as_written(text: &str) -> Count {
    let foreign = distinct(text, |c| septet_cost(c).is_none());
    let (encoding, causes) = if foreign.is_empty() {
        (Encoding::Gsm7, distinct(text, |c| septet_cost(c) == Some(2)))
    } else {
        (Encoding::Ucs2, foreign)
    };
    let costs: Vec<usize> = text
        .chars()
        .map(|c| match encoding {
            Encoding::Gsm7 => septet_cost(c).unwrap_or(0),
            Encoding::Ucs2 => c.len_utf16(),
        })
        .collect();
    Count { encoding, units: costs.iter().sum(), segments: split(&costs, encoding.limits()), causes }
}

/// Fills segments with whole characters; one that would cross a border moves to the next segment.
fn split(costs: &[usize], (single, part): (usize, usize)) -> Vec<usize> {
    let units = costs.iter().sum();
    if units <= single {
        return vec![units];
    }
    let mut segments = Vec::new();
    let mut filled = 0;
    for cost in costs {
        if filled + cost > part {
            segments.push(filled);
            filled = 0;
        }
        filled += cost;
    }
    segments.push(filled);
    segments
}

/// The distinct characters of `text` that `wanted` picks, in order of appearance.
fn distinct(text: &str, wanted: impl Fn(char) -> bool) -> Vec<char> {
    let mut found = Vec::new();
    for c in text.chars().filter(|c| wanted(*c)) {
        if !found.contains(&c) {
            found.push(c);
        }
    }
    found
}

/// Septets that a character costs, or `None` when the alphabet has no such character.
fn septet_cost(c: char) -> Option<usize> {
    if base_code(c).is_some() { Some(1) } else { extension_code(c).map(|_| 2) }
}

fn base_code(c: char) -> Option<u8> {
    if c == char::from(ESCAPE) {
        return None;
    }
    // Most of any text stands where ASCII has it, and need not be looked for.
    if c.is_ascii_alphabetic() || (' '..='?').contains(&c) && c != '$' {
        return u8::try_from(c).ok();
    }
    let place = ALPHABET.chars().position(|known| known == c)?;
    u8::try_from(place).ok()
}

fn extension_code(c: char) -> Option<u8> {
    EXTENSION.iter().find(|(known, _)| *known == c).map(|(_, code)| *code)
}

/// The septets of a text, one an octet; `None` when a character is not in the alphabet. The text is taken as it is.
pub fn septets(text: &str) -> Option<Vec<u8>> {
    let mut codes = Vec::with_capacity(text.len());
    for c in text.chars() {
        if let Some(code) = base_code(c) {
            codes.push(code);
        } else {
            codes.push(ESCAPE);
            codes.push(extension_code(c)?);
        }
    }
    Some(codes)
}

/// The text packed seven bits a character, lowest bit first, without a header; `None` when a character is not in the
/// alphabet. Unused bits are zero: the network carries the count of septets beside it.
pub fn pack(text: &str) -> Option<Vec<u8>> {
    septets(text).map(|codes| pack_septets(&codes, 0))
}

/// The text packed to follow a six-octet header: one fill bit brings it to the next septet border.
pub fn pack_after_header(text: &str) -> Option<Vec<u8>> {
    septets(text).map(|codes| pack_septets(&codes, 1))
}

fn pack_septets(codes: &[u8], fill_bits: usize) -> Vec<u8> {
    let mut packed = vec![0_u8; (fill_bits + 7 * codes.len()).div_ceil(8)];
    for (index, code) in codes.iter().enumerate() {
        let bit = fill_bits + 7 * index;
        let [low, high] = (u16::from(*code) << (bit % 8)).to_le_bytes();
        packed[bit / 8] |= low;
        if high != 0 {
            packed[bit / 8 + 1] |= high;
        }
    }
    packed
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_decomposed_accent_is_composed_before_it_is_counted() {
        assert_eq!(count("Cafe\u{301}").encoding, Encoding::Gsm7);
        assert_eq!(count_as_written("Cafe\u{301}").causes, vec!['\u{301}']);
    }

    #[test]
    fn the_characters_to_blame_are_named_once_and_in_order() {
        assert_eq!(count("Don’t – don’t!").causes, vec!['’', '–']);
        assert_eq!(count("[€5] [€6]").causes, vec!['[', '€', ']']);
        assert_eq!(count("[Don’t]").causes, vec!['’']);
        assert_eq!(count("Plain").causes, Vec::<char>::new());
    }

    proptest! {
        #[test]
        fn segments_are_full_enough_and_lose_nothing(text in "[a-z€’🎭\\[é]{0,700}") {
            let counted = count(&text);
            let (single, part) = counted.encoding.limits();
            prop_assert_eq!(counted.segments.iter().sum::<usize>(), counted.units);
            if let [only] = counted.segments[..] {
                prop_assert!(only <= single);
            } else {
                let (last, full) = counted.segments.split_last().unwrap();
                prop_assert!(*last <= part && *last > 0);
                // At most one unit is left unused, before a character of two.
                prop_assert!(full.iter().all(|s| *s == part || *s == part - 1));
            }
        }

        #[test]
        fn packing_can_be_undone(text in "[a-zA-Z0-9 €\\[\\]@à]{0,300}") {
            let codes = septets(&text).unwrap();
            for (fill, packed) in [(0, pack(&text).unwrap()), (1, pack_after_header(&text).unwrap())] {
                let bit = |n: usize| packed[n / 8] >> (n % 8) & 1;
                let back: Vec<u8> = (0..codes.len())
                    .map(|i| (0..7).map(|b| bit(fill + 7 * i + b) << b).sum())
                    .collect();
                prop_assert_eq!(&back, &codes);
            }
        }
    }
}
