//! What the coordinator wrote, as families read it in other languages: a text of the workbook stands once for each language,
//! however often it is used.

use super::season::Language;
use super::words::key;
use std::collections::BTreeMap;

/// Texts of the workbook in other languages.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Phrases {
    by_language: BTreeMap<Language, BTreeMap<String, String>>,
}

impl Phrases {
    /// Adds a translation; says whether there was none yet.
    pub fn add(&mut self, language: Language, text: &str, translation: &str) -> bool {
        let of_language = self.by_language.entry(language).or_default();
        of_language.insert(key(text), translation.to_owned()).is_none()
    }

    /// A text in a language, or in the language it is a form of (`es` for `es-mx`); none where it is not translated.
    pub fn translation(&self, text: &str, language: &Language) -> Option<&str> {
        let key = key(text);
        lineage(language).find_map(|tag| self.by_language.get(&tag)?.get(&key)).map(String::as_str)
    }

    /// A text as somebody who reads a language is given it: translated, or else as it was written.
    pub fn said<'a>(&'a self, text: &'a str, language: &Language) -> &'a str {
        if text.is_empty() { text } else { self.translation(text, language).unwrap_or(text) }
    }
}

/// A language and those it is a form of, the nearest first.
pub fn lineage(language: &Language) -> impl Iterator<Item = Language> + use<> {
    let mut next = Some(language.0.clone());
    std::iter::from_fn(move || {
        let tag = next.take()?;
        next = tag.rfind('-').map(|at| tag[..at].to_owned());
        Some(Language(tag))
    })
}

/// Whether somebody who reads one language reads what is written in the other: `es-mx` reads `es`.
pub fn reads(reader: &Language, written: &Language) -> bool {
    lineage(reader).any(|tag| tag == *written)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tag(text: &str) -> Language {
        Language(text.to_owned())
    }

    #[test]
    fn a_text_is_found_in_any_case_and_by_the_nearest_language() {
        let mut phrases = Phrases::default();
        assert!(phrases.add(tag("es"), "Dress rehearsal", "Ensayo general"));
        assert!(phrases.add(tag("es-mx"), "Car park", "Estacionamiento"));
        assert!(!phrases.add(tag("es"), "DRESS rehearsal ", "Ensayo"));
        assert_eq!(phrases.said("dress rehearsal", &tag("es-mx")), "Ensayo");
        assert_eq!(phrases.said("car park", &tag("es-mx")), "Estacionamiento");
        assert_eq!(phrases.said("Car park", &tag("es")), "Car park");
        assert_eq!(phrases.said("", &tag("es")), "");
        assert!(reads(&tag("es-mx"), &tag("es")) && !reads(&tag("es"), &tag("es-mx")));
    }
}
