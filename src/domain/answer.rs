//! What an answer means. English and Spanish are understood at once, whatever language was asked for.
//!
//! Only whole phrases count: a word inside a sentence decides nothing, because "please don't stop" and "the bus stop is
//! closed" hold the same word. Whatever is mixed, unclear or unknown is a [`Intent::Question`] and goes to a person.

mod early;
mod phrases;
mod stop;

pub use early::{asks_before, asks_early_release};

use jiff::civil::Date;
use phrases::{ABSENT, AFTER, AUTOMATIC, BEFORE, CANT_COME, HEARD, HELP, START, STOP};
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// What a person's words ask for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Intent {
    /// Has read it and will act on it.
    Heard,
    /// The child will not be there.
    CantCome,
    /// Send no more.
    Stop,
    /// Send again after a stop.
    Start,
    /// Who are you, what can I answer.
    Help,
    /// A person must read it: a question, a mixed answer, or words that are not understood.
    Question,
    /// One of the numbered choices that a message offered.
    Choice(u8),
    /// Written by a machine that says so: never answered and never counted as heard.
    Automatic,
}

/// Characters of the longest answer that is compared; longer ones are letters to a person.
pub const LONGEST_PHRASE: usize = 80;

/// What a person's words mean.
pub fn understand(words: &str) -> Intent {
    let phrase = fold(words);
    if phrase.is_empty() {
        return Intent::Question;
    }
    if AUTOMATIC.iter().any(|opening| begins(&phrase, opening)) {
        return Intent::Automatic;
    }
    // Stopping must never be hard: it is heard in whole sentences too.
    if stop::asks_to_stop(words) {
        return Intent::Stop;
    }
    if phrase.chars().count() > LONGEST_PHRASE {
        return Intent::Question;
    }
    let asks = words.nfkc().any(|c| matches!(c, '?' | '¿' | '؟'));
    let intent = bare(&phrase).or_else(|| bare(without_courtesy(&phrase))).unwrap_or(Intent::Question);
    // "Yes?" and "Stop?" are asked, not answered; "Help?" asks for what help is.
    if asks && intent != Intent::Help {
        return Intent::Question;
    }
    intent
}

/// The intent of a folded phrase, when it is exactly a known one.
fn bare(phrase: &str) -> Option<Intent> {
    let lists = [(STOP, Intent::Stop), (HEARD, Intent::Heard), (START, Intent::Start), (HELP, Intent::Help)];
    lists
        .iter()
        .find(|(list, _)| list.contains(&phrase))
        .map(|(_, intent)| *intent)
        .or_else(|| cant_come(phrase).then_some(Intent::CantCome))
        .or_else(|| choice(phrase))
}

fn cant_come(phrase: &str) -> bool {
    let absent = |who: &&str| {
        phrase
            .strip_prefix(*who)
            .and_then(|rest| rest.strip_prefix(' '))
            .is_some_and(|rest| CANT_COME.contains(&rest))
    };
    CANT_COME.contains(&phrase) || ABSENT.iter().any(absent)
}

/// A number from 1 to 255 alone, or after the word for a choice.
fn choice(phrase: &str) -> Option<Intent> {
    let digits = ["option ", "choice ", "number ", "opcion ", "numero "]
        .iter()
        .find_map(|word| phrase.strip_prefix(word))
        .unwrap_or(phrase);
    if !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let number: u8 = digits.parse().ok()?;
    (number > 0).then_some(Intent::Choice(number))
}

/// The phrase without one courtesy in front and one behind; the longest that fits is taken.
fn without_courtesy(phrase: &str) -> &str {
    let ahead = BEFORE
        .iter()
        .filter_map(|word| phrase.strip_prefix(word)?.strip_prefix(' '))
        .min_by_key(|rest| rest.len())
        .unwrap_or(phrase);
    AFTER
        .iter()
        .filter_map(|word| ahead.strip_suffix(word)?.strip_suffix(' '))
        .min_by_key(|rest| rest.len())
        .unwrap_or(ahead)
}

fn begins(phrase: &str, opening: &str) -> bool {
    phrase.strip_prefix(opening).is_some_and(|rest| rest.is_empty() || rest.starts_with(' '))
}

/// Whether words name a person by their given name.
pub fn names_person(words: &str, given: &str) -> bool {
    let (words, given) = (format!(" {} ", fold(words)), fold(given));
    !given.is_empty() && words.contains(&format!(" {given} "))
}

/// Whether words name the weekday of a date, in full or in short.
pub fn names_day(words: &str, date: Date) -> bool {
    let names = phrases::WEEKDAYS[usize::try_from(date.weekday().to_monday_zero_offset()).unwrap_or(0)];
    fold(words).split(' ').any(|word| names.contains(&word))
}

/// The clauses of a message, each folded; what asks and what answers stand in different ones.
fn clauses(words: &str) -> Vec<String> {
    let parts = words.split(['.', '!', '?', '¿', '¡', ';', ',', '\n', '(', ')', '\u{2014}']);
    parts.flat_map(|part| part.split(" - ")).map(fold).filter(|part| !part.is_empty()).collect()
}

/// The words for comparing: width and case folded, accents removed, and every run of anything but letters and digits (so
/// punctuation, emoji and line breaks too) turned into one space, with none at the edges.
fn fold(words: &str) -> String {
    let plain: String = words
        .nfkd()
        .filter(|c| !is_combining_mark(*c))
        .flat_map(char::to_lowercase)
        .map(|c| if c.is_alphanumeric() { c } else { ' ' })
        .collect();
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn all(intent: Intent, answers: &[&str]) {
        for words in answers {
            assert_eq!(understand(words), intent, "{words:?}");
        }
    }

    #[test]
    fn heard_in_two_languages() {
        all(
            Intent::Heard,
            &[
                "YES",
                "yes!",
                "Yes 👍",
                "y",
                "OK",
                "ok, thanks",
                "Yes, thank you!",
                "Got it.",
                "Hi, yes",
                "We’ll be there",
                "SÍ",
                "Si",
                "sí, gracias",
                "Vale",
                "Recibido ✅",
                "ＹＥＳ",
                "Yes\nThanks",
                "  yes  ",
                "Sí, ahí estaremos",
            ],
        );
    }

    #[test]
    fn not_coming_in_two_languages() {
        all(
            Intent::CantCome,
            &[
                "can't come",
                "Can’t come",
                "CANT COME",
                "We can't make it, sorry",
                "Sorry, she can't come",
                "She's not coming",
                "I'm not coming",
                "No, we can't come",
                "unable to attend",
                "No puedo ir",
                "No podemos ir, lo siento",
                "Mi hija no puede ir",
                "no vamos",
            ],
        );
    }

    #[test]
    fn opting_out_and_in_and_help_and_choices() {
        all(
            Intent::Stop,
            &[
                "please stop",
                "Stop, thanks",
                "No más",
                "BAJA",
                "alto",
                "Por favor, no más mensajes",
                "opt–out",
            ],
        );
        all(Intent::Start, &["START", "unstop", "Opt in", "reanudar"]);
        all(Intent::Help, &["help?", "AYUDA", "¿Ayuda?", "información"]);
        all(Intent::Choice(1), &["1", "1.", "#1", "1️⃣", "１", "option 1", "opción 1", "1 please"]);
        all(Intent::Choice(12), &["12", "(12)"]);
        all(Intent::Automatic, &["Automatic reply: away until Monday", "Respuesta automática: de viaje"]);
    }

    #[test]
    fn what_is_mixed_or_unclear_goes_to_a_person() {
        all(
            Intent::Question,
            &[
                "",
                " ",
                "👍",
                "❤️",
                "no",
                "No.",
                "maybe",
                "thanks",
                "Thank you!",
                "yes?",
                "¿Sí?",
                "yes but she will be late",
                "Yes. Stop.",
                "yes and no",
                "1 or 2",
                "1/2",
                "18:00",
                "0",
                "256",
                "1.5",
                "Yes to Saturday, no to Sunday",
                "can't come on Saturday",
                "She can't come to the photographs",
                "can't come?",
                "stop?",
                "please don't stop",
                "No dejen de escribirme",
                "can I collect her early",
                "Can I collect her early?",
                "yes, can I collect her early",
                "Yes, we will pick her up early",
                "I'll be there late",
                "Liked “Call 17:00. Reply YES”",
                "Don't cancel",
                "not ok",
                "no vale",
                "the end",
                "not coming?",
                "cancel the photographs",
                "no problem",
            ],
        );
    }

    #[test]
    fn no_phrase_has_two_meanings_and_each_is_written_as_it_is_compared() {
        let lists = [HEARD, CANT_COME, STOP, START, HELP, AUTOMATIC, ABSENT, BEFORE, AFTER];
        for list in lists {
            for phrase in list {
                assert_eq!(fold(phrase), **phrase);
                assert!(phrase.chars().count() <= LONGEST_PHRASE);
            }
        }
        let meanings = [HEARD, CANT_COME, STOP, START, HELP, AUTOMATIC];
        let all: Vec<&str> = meanings.concat();
        let distinct: std::collections::BTreeSet<&str> = all.iter().copied().collect();
        assert_eq!(distinct.len(), all.len());
    }

    proptest! {
        #[test]
        fn any_words_have_a_meaning_and_a_tail_makes_it_a_question(tail in "[a-z]{9,20}", words in any::<String>()) {
            understand(&words);
            for phrase in ["yes", "stop", "can't come", "start", "help", "1"] {
                let longer = format!("{phrase} {tail}");
                prop_assert_eq!(understand(&longer), Intent::Question);
            }
        }

        #[test]
        fn case_edges_and_width_change_nothing(pick in 0_usize..STOP.len(), edge in "[ .!\"*🙏\n]{0,5}") {
            let words = format!("{edge}{}{edge}", STOP[pick].to_uppercase());
            prop_assert_eq!(understand(&words), Intent::Stop);
        }
    }
}
