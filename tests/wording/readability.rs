//! How easily what families read is read: published formulas over sentences of the templates, with invented data in them.
//!
//! Titles, captions beside times, addresses and lines without an end mark are skipped, as Flesch 1979 has it; figures are
//! one word of one syllable. The formulas were made for running text of about a hundred words, so they are held against all
//! sentences of a language together, and each sentence by itself only against its length.

use crate::{everything, wording};
use serde_json::Value;
use std::collections::BTreeSet;

/// English: US school grade at most. A limit of ours, after public bodies that ask for grade 4 to 6.
const GRADE_MAX: f64 = 6.0;
/// Spanish: points of the INFLESZ scale at least, where "fairly easy" begins (An Sist Sanit Navar 31(2), 2008).
const INFLESZ_MIN: f64 = 65.0;
/// Words of a sentence at most. A limit of ours.
const SENTENCE_WORDS_MAX: usize = 15;

#[derive(Debug, Default, Clone, Copy, PartialEq)]
struct Counts {
    words: usize,
    sentences: usize,
    syllables: usize,
}

impl Counts {
    fn per(self) -> (f64, f64) {
        let (w, n, s) = (self.words as f64, self.sentences as f64, self.syllables as f64);
        (w / n, s / w)
    }

    /// Flesch, J. Appl. Psychol. 32, 1948.
    fn flesch(self) -> f64 {
        let (w, s) = self.per();
        206.835 - 1.015 * w - 84.6 * s
    }

    /// Flesch and Kincaid, Navy report 8-75, 1975.
    fn grade(self) -> f64 {
        let (w, s) = self.per();
        0.39 * w + 11.8 * s - 15.59
    }

    /// Fernández Huerta 1959, corrected by Law, LINGUIST List 22.2332, 2011.
    fn huerta(self) -> f64 {
        let (w, s) = self.per();
        206.84 - 60.0 * s - 1.02 * w
    }

    /// Szigriszt Pazos, thesis, 1993.
    fn szigriszt(self) -> f64 {
        let (w, s) = self.per();
        206.835 - 62.3 * s - w
    }
}

fn sentences(text: &str) -> Vec<Vec<&str>> {
    let mut all = vec![Vec::new()];
    for word in text.split_whitespace() {
        let core = word.trim_matches(|c: char| !c.is_alphanumeric());
        if !core.is_empty() {
            all.last_mut().expect("one").push(core);
        }
        if word.trim_end_matches(['"', '\'', ')', '»', '”']).ends_with(['.', '?', '!']) {
            all.push(Vec::new());
        }
    }
    all.retain(|sentence| !sentence.is_empty());
    all
}

fn count(text: &str, language: &str) -> Counts {
    let sentences = sentences(text);
    let syllables = if language == "en" { english } else { spanish };
    Counts {
        words: sentences.iter().map(Vec::len).sum(),
        sentences: sentences.len(),
        syllables: sentences.iter().flatten().map(|word| syllables(word)).sum(),
    }
}

/// Words that the rule below miscounts, with their syllables.
const IRREGULAR: &[(&str, usize)] = &[
    ("everyone", 3),
    ("every", 2),
    ("everything", 3),
    ("rehearsal", 3),
    ("coordinator", 5),
    ("acknowledgement", 4),
    ("area", 3),
    ("being", 2),
    ("reading", 2),
    ("volunteer", 3),
    ("costume", 2),
    ("somebody", 3),
    ("someone", 2),
    ("home", 1),
    ("sometimes", 2),
    ("chaperone", 3),
    ("chaperones", 3),
    ("theatre", 3),
    ("quiet", 2),
    ("people", 2),
    ("participation", 5),
    ("registration", 4),
    ("wear", 1),
    ("we're", 1),
    ("you're", 1),
    ("you've", 1),
    ("don't", 1),
    ("can't", 1),
    ("isn't", 2),
    ("rules", 1),
    ("times", 1),
    ("dates", 1),
    ("jewellery", 3),
    ("arrangements", 3),
    ("evening", 2),
    ("different", 3),
    ("emergency", 4),
    ("emergencies", 4),
    ("custody", 3),
    ("safe", 1),
    ("something", 2),
    ("afterwards", 3),
    ("nobody", 3),
    ("tomasz", 2),
    ("ana", 2),
    ("noor", 1),
    ("minute", 2),
    ("outside", 2),
];

/// Syllables of an English word by its vowels; a silent e and the endings -es and -ed add none.
fn english(word: &str) -> usize {
    let word = word.to_lowercase().replace('’', "'");
    if word.chars().any(|c| c.is_ascii_digit()) {
        return 1;
    }
    if let Some((_, known)) = IRREGULAR.iter().find(|(irregular, _)| *irregular == word) {
        return *known;
    }
    if let Some((one, other)) = word.split_once('-') {
        return english(one) + english(other);
    }
    let letters: Vec<char> = word.chars().filter(|c| c.is_alphabetic()).collect();
    let vowel = |c: char| "aeiouyáéíóúł".contains(c) && c != 'ł';
    let mut groups = 0;
    let mut before = false;
    for (at, c) in letters.iter().enumerate() {
        let is = vowel(*c) && !(at == 0 && *c == 'y');
        groups += usize::from(is && !before);
        before = is;
    }
    // -ia-, -io- and the like are two, but for -tion and -cial.
    let text: String = letters.iter().collect();
    for pair in ["ia", "io", "eo", "ua", "iu"] {
        for (at, _) in text.match_indices(pair) {
            let soft = at > 0 && ["t", "c", "s", "g", "q"].contains(&&text[at - 1..at]);
            groups += usize::from(!soft);
        }
    }
    let consonant_before = |back: usize| letters.len() > back && !vowel(letters[letters.len() - 1 - back]);
    let silent =
        if text.ends_with('e') && consonant_before(1) && !(text.ends_with("le") && consonant_before(2)) {
            1
        } else if text.ends_with("es") && consonant_before(2) {
            usize::from(!["s", "z", "x", "h", "c", "g"].contains(&&text[text.len() - 3..text.len() - 2]))
        } else if text.ends_with("ed") && consonant_before(2) {
            usize::from(!["t", "d"].contains(&&text[text.len() - 3..text.len() - 2]))
        } else {
            0
        };
    groups.saturating_sub(silent).max(1)
}

/// Syllables of a Spanish word: two strong vowels, or a stressed weak one beside a strong, are two; u is silent in que,
/// qui, gue, gui; a last y is a vowel (RAE, Ortografía, 2010, from memory).
fn spanish(word: &str) -> usize {
    let word = word.to_lowercase();
    if word.chars().any(|c| c.is_ascii_digit()) {
        return 1;
    }
    let plain = word.replace("que", "qe").replace("qui", "qi").replace("qué", "qé").replace("quí", "qí");
    let plain = plain.replace("gue", "ge").replace("gui", "gi").replace("gué", "gé").replace("guí", "gí");
    let letters: Vec<char> = plain.chars().filter(|c| c.is_alphabetic()).collect();
    #[derive(PartialEq, Clone, Copy)]
    enum Sound {
        Strong,
        Weak,
        StressedWeak,
        None,
    }
    let sound = |at: usize| match letters[at] {
        'a' | 'e' | 'o' | 'á' | 'é' | 'ó' => Sound::Strong,
        'i' | 'u' | 'ü' => Sound::Weak,
        'í' | 'ú' => Sound::StressedWeak,
        'y' if at + 1 == letters.len() => Sound::Weak,
        _ => Sound::None,
    };
    let mut syllables = 0;
    let mut before = Sound::None;
    for at in 0..letters.len() {
        let now = sound(at);
        let begins = match (before, now) {
            (_, Sound::None) => false,
            (Sound::None, _) => true,
            (Sound::Strong, Sound::Strong) => true,
            (Sound::Strong, Sound::StressedWeak) | (Sound::StressedWeak, Sound::Strong) => true,
            _ => false,
        };
        syllables += usize::from(begins);
        before = now;
    }
    syllables.max(1)
}

fn vectors() -> Value {
    serde_json::from_str(include_str!("../vectors/readability.json")).expect("vectors")
}

#[test]
fn the_formulas_and_the_counting_agree_with_the_vectors() {
    let vectors = vectors();
    let tolerance = vectors["tolerance"].as_f64().unwrap();
    let close = |found: f64, wanted: &Value, what: &str| {
        let wanted = wanted.as_f64().unwrap_or_else(|| panic!("{what}"));
        assert!((found - wanted).abs() <= tolerance, "{what}: {found}, wanted {wanted}");
    };
    let items = vectors["items"].as_array().unwrap();
    assert_eq!(items.len(), 14);
    for item in items {
        let (id, language) = (item["id"].as_str().unwrap(), item["lang"].as_str().unwrap());
        let number = |key: &str| item[key].as_u64().unwrap() as usize;
        let wanted =
            Counts { words: number("words"), sentences: number("sentences"), syllables: number("syllables") };
        for pair in item["syllables_per_word"].as_array().unwrap() {
            let (word, syllables) = (pair[0].as_str().unwrap(), pair[1].as_u64().unwrap() as usize);
            let counted = if language == "en" { english(word) } else { spanish(word) };
            assert_eq!(counted, syllables, "{id}: {word}");
        }
        let found = count(item["text"].as_str().unwrap(), language);
        assert_eq!(found, wanted, "{id}");
        let expected = &item["expected"];
        if language == "en" {
            close(found.flesch(), &expected["flesch_reading_ease"], id);
            close(found.grade(), &expected["flesch_kincaid_grade"], id);
        } else {
            close(found.huerta(), &expected["fernandez_huerta"], id);
            close(found.szigriszt(), &expected["szigriszt_pazos"], id);
        }
    }
    for edge in vectors["edges"].as_array().unwrap() {
        let case = edge["case"].as_str().unwrap();
        let number = |key: &str| edge[key].as_u64().map(|n| n as usize);
        let (Some(words), Some(sentences), Some(syllables)) = (number("W"), number("N"), number("S")) else {
            assert_eq!(count("", "en"), Counts::default(), "{case}");
            continue;
        };
        let counts = Counts { words, sentences, syllables };
        for (key, found) in [
            ("flesch_reading_ease", counts.flesch()),
            ("flesch_kincaid_grade", counts.grade()),
            ("fernandez_huerta", counts.huerta()),
            ("szigriszt_pazos", counts.szigriszt()),
            ("right", counts.huerta()),
        ] {
            if !edge[key].is_null() {
                close(found, &edge[key], case);
            }
        }
    }
}

/// The lines of a mail that are sentences.
fn running(text: &str) -> impl Iterator<Item = &str> {
    text.lines().map(str::trim).filter(|line| {
        let beside_a_time = line.starts_with(|c: char| c.is_ascii_digit());
        !beside_a_time && !line.contains("https://") && line.ends_with(['.', '?', '!'])
    })
}

/// Every sentence of every mail, each once.
fn catalogue(language: &str) -> BTreeSet<String> {
    let wording = wording();
    let mut lines = BTreeSet::new();
    for (_, _, _, letter) in everything().filter(|(tongue, ..)| *tongue == language) {
        lines.extend(running(&wording.mail(&letter).expect("a mail").text).map(str::to_owned));
    }
    lines
}

#[test]
fn what_families_read_is_easy() {
    for language in ["en", "es"] {
        let lines = catalogue(language);
        let text = lines.iter().cloned().collect::<Vec<_>>().join(" ");
        let counts = count(&text, language);
        println!("{language}: {counts:?}, grade {:.2}, INFLESZ {:.2}", counts.grade(), counts.szigriszt());
        assert!(counts.words > 300, "{language}: {counts:?}");
        if language == "en" {
            assert!(counts.grade() <= GRADE_MAX, "grade {}", counts.grade());
        } else {
            assert!(counts.szigriszt() >= INFLESZ_MIN, "INFLESZ {}", counts.szigriszt());
        }
        for sentence in lines.iter().flat_map(|line| sentences(line)) {
            assert!(sentence.len() <= SENTENCE_WORDS_MAX, "{language}: {}", sentence.join(" "));
        }
    }
}
