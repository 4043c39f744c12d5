//! What families write in their own words: who asks for early release, and who asks for no more messages.
//!
//! Source of the phrasings: tests/vectors/early_release.tsv and stop_words.tsv, invented by people who had not seen the
//! rules. That any reasonable means of opting out counts: 47 CFR 64.1200(a)(10).

use allheard::domain::answer::{Intent, asks_before, asks_early_release, understand};
use jiff::civil::{Time, time};

const CALL: Time = time(12, 0, 0, 0);
const PICK_UP: Time = time(21, 0, 0, 0);

struct Line {
    language: String,
    label: String,
    words: String,
}

fn lines(text: &str) -> Vec<Line> {
    text.lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| {
            let parts: Vec<&str> = line.splitn(4, '\t').collect();
            let [language, label, _, words] = parts[..] else { panic!("not four columns: {line}") };
            Line { language: language.to_owned(), label: label.to_owned(), words: words.replace("\\n", "\n") }
        })
        .collect()
}

/// Every phrasing is taken as its label says, and each language has its forty, half of them innocent.
fn check(text: &str, wanted: &str, is: impl Fn(&str) -> bool) {
    let all = lines(text);
    let wrong: Vec<&str> = all
        .iter()
        .filter(|line| is(&line.words) != (line.label == wanted))
        .map(|line| line.words.as_str())
        .collect();
    assert!(wrong.is_empty(), "{wrong:#?}");
    for language in ["en", "es"] {
        let of =
            |label: &str| all.iter().filter(|one| one.language == language && one.label == label).count();
        assert!(of(wanted) >= 20 && of("innocent") >= 20, "{language}");
    }
}

#[test]
fn who_asks_for_early_release_is_told_from_who_does_not() {
    let text = include_str!("../vectors/early_release.tsv");
    check(text, "ask", |words| asks_early_release(words) || asks_before(words, CALL, PICK_UP));
}

#[test]
fn stop_is_heard_in_any_plain_words_and_nowhere_else() {
    check(include_str!("../vectors/stop_words.tsv"), "stop", |words| understand(words) == Intent::Stop);
}

// The two of the design, and a mail's last line that is not its writer's.
#[test]
fn what_only_looks_like_stop_goes_to_a_person() {
    for words in
        ["please don't stop", "can't come, cancel her place", "Yes. Stop.", "stop?", "cancel the photographs"]
    {
        assert_eq!(understand(words), Intent::Question, "{words}");
    }
    for words in [
        "Stop\n\nSent from my phone",
        "STOP STOP stop!!",
        "Please stop\nMay",
        "stop\n--\nMay Finch\n01632 960111",
    ] {
        assert_eq!(understand(words), Intent::Stop, "{words}");
    }
}

// A time is early only between the call and the pick-up, whichever half of the day was left out.
#[test]
fn a_time_counts_against_the_days_own() {
    let (call, pick_up) = (time(17, 30, 0, 0), time(20, 55, 0, 0));
    for (words, early) in [
        ("can I collect her at 8", true),
        ("can I collect her at 8.30pm", true),
        ("can I collect her at 20:30", true),
        ("can I collect her at 9", false),
        ("can I collect her at 5", false),
        ("can I drop her at 8", false),
        ("la recojo a las 8", true),
        ("la recojo a las 21:00", false),
    ] {
        assert_eq!(asks_before(words, call, pick_up), early, "{words}");
    }
}

// A family that is taken off by mistake is told nothing more, so what only resembles a request goes to a person.
#[test]
fn complaints_and_reminders_are_no_request_to_stop() {
    for words in [
        "dont forget to text me the time",
        "Please don't forget us on Saturday",
        "I don't have your number text me",
        "don't text me before 9",
        "I unsubscribed by accident, please sign me up again",
        "we got no more messages since Friday",
        "I no longer get the texts",
        "we don't want to miss any updates",
        "I don't need this costume",
        "please stop sending texts to her dad, he has moved",
        "No me enviaron el horario",
        "no me mandaron la hora",
        "no me manden a la otra puerta",
        "a mi no me ha llegado nada",
        "dejaron de mandarme mensajes",
        "me quitaron de la lista, por favor vuelvan a ponerme",
        "quiero dar de baja a Tadeo del sábado",
        "quiero preguntar por la baja de Tadeo en ballet",
        "les escribí solo a ustedes",
        "no nos escribieron el lunes",
    ] {
        assert_ne!(understand(words), Intent::Stop, "{words}");
    }
}
