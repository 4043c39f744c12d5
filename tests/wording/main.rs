//! What families read: every template with every sample, and templates that are wrong.

mod readability;
mod seasons;

use std::fs;
use std::path::Path;

use allheard::domain::season::Channel;
use allheard::domain::segments;
use allheard::service::digest::{Digest, DigestKind};
use allheard::service::letter::{Appearance, Introduction, Letter, LetterKind, What};
use allheard::service::office::Ways;
use allheard::service::samples::{digests, sample, sample_many, samples};
use allheard::service::wording::words::{plural_category, plural_forms};
use allheard::service::wording::{Fault, Wording};

fn wording() -> Wording {
    Wording::load(None).unwrap_or_else(|faults| {
        let lines: Vec<String> = faults.iter().map(Fault::to_string).collect();
        panic!("{}", lines.join("\n"))
    })
}

fn speak(mut letter: Letter, language: &str) -> Letter {
    letter.language = language.to_owned();
    letter
}

fn faults(files: &[(&str, &str)]) -> Vec<Fault> {
    match load_over(files) {
        Ok(_) => Vec::new(),
        Err(faults) => faults,
    }
}

fn load_over(files: &[(&str, &str)]) -> Result<Wording, Vec<Fault>> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (name, text) in files {
        let path = folder.path().join(name);
        let parent = path.parent().expect("a folder above");
        fs::create_dir_all(parent).expect("folders made");
        fs::write(path, text).expect("a file written");
    }
    Wording::load(Some(folder.path()))
}

#[test]
fn every_text_fits_its_limit_in_every_language() {
    let wording = wording();
    assert_eq!(wording.languages(), ["en", "es"]);
    for (language, limit) in [("en", 2), ("es", 2)] {
        for kind in LetterKind::ALL {
            for (name, letter) in samples(kind) {
                let letter = speak(letter, language);
                let worded = wording.text(&letter).unwrap();
                let counted = segments::count(&worded.text).segments.len();
                assert_eq!(counted, worded.segments);
                assert!(!worded.too_long && !worded.language_fell_back);
                // More only for a name with letters outside the alphabet of texts, of which a segment holds 67.
                let dear = !segments::count(&worded.text).causes.is_empty();
                assert!(
                    counted <= limit + 2 * usize::from(dear),
                    "{language} {kind:?} {name}: {}",
                    worded.text
                );
                println!("{language} {kind:?} {name} ({counted}): {}", worded.text);
            }
            let plain = wording.text(&speak(sample(kind), language)).unwrap();
            assert!(plain.segments <= limit, "{language} {kind:?}: {}", plain.text);
        }
    }
}

/// The facts a kind must carry whatever wording was chosen.
fn facts(kind: LetterKind, language: &str) -> Vec<&'static str> {
    let day = if language == "en" { "Fri 4 June" } else { "vie 4 de junio" };
    match kind {
        LetterKind::Rules => vec![],
        LetterKind::Introduction => vec!["Noor Tidewell"],
        LetterKind::CallSheet | LetterKind::Reminder | LetterKind::Duty => {
            vec![day, "17:00", "16:35", "stage door, Tar Lane"]
        }
        // On the eve, where both do not fit, the time to pick up goes before the time to park.
        LetterKind::Eve => vec![day, "17:00", "stage door, Tar Lane"],
        LetterKind::Change => vec![day, "17:00", "stage door, Tar Lane"],
        LetterKind::TurnIn | LetterKind::Cancelled => vec![day],
    }
}

#[test]
fn texts_carry_date_call_park_by_door_and_link() {
    let wording = wording();
    for language in ["en", "es"] {
        for kind in LetterKind::ALL {
            for letter in [sample(kind), sample_many(kind)] {
                let text = wording.text(&speak(letter.clone(), language)).unwrap().text;
                println!("{language} {}: {text}\n", kind.folder());
                for fact in facts(kind, language).into_iter().chain([letter.link.as_str()]) {
                    let text = if fact.starts_with("vie") { text.to_lowercase() } else { text.clone() };
                    assert!(text.contains(fact), "{language} {kind:?} lacks {fact}: {text}");
                }
                for child in letter.children.iter().flatten() {
                    assert!(text.contains(child.as_str()), "{language} {kind:?} lacks {child}: {text}");
                }
            }
        }
    }
}

#[test]
fn mails_carry_every_fact_the_caution_and_the_ways_out() {
    let wording = wording();
    let said = |language: &str, english: &'static str, spanish: &'static str| {
        if language == "en" { english } else { spanish }
    };
    for language in ["en", "es"] {
        for kind in LetterKind::ALL {
            let letter = speak(sample(kind), language);
            let mail = wording.mail(&letter).unwrap();
            println!("Subject: {}\n\n{}\n=====", mail.subject, mail.text);
            let mut wanted = vec![
                letter.link.as_str(),
                letter.stop_link.as_str(),
                "01632 960 123",
                said(
                    language,
                    "This message is not for emergencies.",
                    "Este mensaje no es para emergencias.",
                ),
            ];
            if kind != LetterKind::Rules {
                wanted.push(said(language, "Friday 4 June", "viernes 4 de junio"));
            }
            match kind {
                LetterKind::Rules | LetterKind::TurnIn | LetterKind::Introduction | LetterKind::Cancelled => {
                }
                LetterKind::Duty => wanted.extend([
                    "17:00",
                    "16:35",
                    "17:15",
                    "17:45",
                    "20:30",
                    "stage door, Tar Lane",
                    "Kelp",
                    "Badge, pen, dark clothes",
                ]),
                _ => wanted.extend(["17:00", "16:35", "20:30", "Tar Lane gate", "stage door, Tar Lane"]),
            }
            for part in [&mail.text, &mail.html] {
                for fact in &wanted {
                    let escaped = fact.replace('/', "&#x2f;");
                    assert!(
                        part.contains(fact) || part.contains(&escaped),
                        "{language} {kind:?} lacks {fact}:\n{part}"
                    );
                }
            }
            assert!(mail.html.contains(&format!("<html lang=\"{language}\" dir=\"ltr\">")));
        }
        for kind in [LetterKind::CallSheet, LetterKind::Reminder, LetterKind::Eve, LetterKind::Change] {
            let mail = wording.mail(&speak(sample(kind), language)).unwrap();
            let rule =
                said(language, "Nobody leaves before the last number.", "Nadie sale antes del último baile.");
            assert!(mail.text.contains(rule) && mail.html.contains(rule), "{language} {kind:?}");
        }
    }
}

#[test]
fn a_change_says_the_new_first_and_what_it_was_after() {
    let wording = wording();
    let with = |what: What| {
        let mut all = samples(LetterKind::Change).into_iter().map(|(_, letter)| letter);
        all.find(|l| {
            l.items.len() == 1 && l.items[0].changes.len() == 1 && l.items[0].changes[0].what == what
        })
        .unwrap()
    };
    let text = |what, language| wording.text(&speak(with(what), language)).unwrap().text;
    assert!(text(What::Call, "en").contains("New time: 17:00 (was 17:30)"), "{}", text(What::Call, "en"));
    assert!(text(What::Date, "en").contains("Date: Fri 4 June (was Thu 3 June)"));
    assert!(text(What::Date, "es").contains("Fecha: vie 4 de junio (antes: jue 3 de junio)"));
    assert!(text(What::Bring, "en").contains("Bring: no longer Water"));
    assert!(text(What::Cancelled, "en").contains("Cancelled"));
    let html = wording.mail(&speak(with(What::Call), "en")).unwrap().html;
    let (new, old) =
        (html.find("<bdi>17:00</bdi></b>").unwrap(), html.find("<bdi>17:30</bdi></del>").unwrap());
    assert!(new < old, "{html}");
}

// A name is never dropped for the price of its letters, and never stripped of them.
#[test]
fn a_name_outside_the_alphabet_is_paid_for() {
    let wording = wording();
    let mut letter = sample(LetterKind::CallSheet);
    letter.children = vec![Some("Łucja".to_owned())];
    letter.items[0].child = Some("Łucja".to_owned());
    let worded = wording.text(&letter).unwrap();
    assert!(worded.text.contains("Łucja") && worded.text.contains("16:35"), "{}", worded.text);
    assert!(worded.segments <= 4 && !worded.too_long, "{}: {}", worded.segments, worded.text);
    let mail = wording.mail(&letter).unwrap();
    for part in [&mail.subject, &mail.text, &mail.html] {
        assert!(part.contains("Łucja"));
    }
    assert!(wording.mail(&speak(letter, "es")).unwrap().text.contains("número"));
}

/// Every sample in every language.
fn everything() -> impl Iterator<Item = (&'static str, LetterKind, &'static str, Letter)> {
    ["en", "es"].into_iter().flat_map(|language| {
        LetterKind::ALL.into_iter().flat_map(move |kind| {
            let all = samples(kind).into_iter();
            all.map(move |(name, letter)| (language, kind, name, speak(letter, language)))
        })
    })
}

// Who writes stands within the first 20 characters: a rule of our own, after guidance to senders of texts.
#[test]
fn every_text_says_who_writes_and_about_whom() {
    let wording = wording();
    for (language, kind, name, letter) in everything() {
        let text = wording.text(&letter).unwrap().text;
        assert!(text.starts_with("Larkmoor: "), "{language} {kind:?} {name}: {text}");
        for child in letter.children.iter().flatten() {
            assert!(text.contains(child.as_str()), "{language} {kind:?} {name} lacks {child}: {text}");
        }
        let loud =
            if language == "en" { &["!", "urgent", "immediately", "final"][..] } else { &["!", "urgente"] };
        assert!(loud.iter().all(|word| !text.to_lowercase().contains(word)), "{language} {kind:?}: {text}");
    }
}

#[test]
fn what_is_owed_is_asked_for_by_every_road_there_is() {
    let wording = wording();
    for (language, kind, name, letter) in everything().filter(|(.., letter)| letter.owes) {
        let text = wording.text(&letter).unwrap().text;
        let ask = if language == "en" { ["onfirm", "Reply YES"] } else { ["onfirm", "Responda SI"] };
        let has_a_road = !letter.link.is_empty() || letter.reply_by_text || letter.telephone.is_some();
        assert_eq!(
            ask.iter().any(|ask| text.contains(ask)),
            has_a_road,
            "{language} {kind:?} {name}: {text}"
        );
        assert!(text.contains(&letter.link), "{language} {kind:?} {name}: {text}");
    }
}

#[test]
fn the_reply_word_is_asked_for_only_where_it_is_understood() {
    let wording = wording();
    for (language, kind, name, mut letter) in everything() {
        let asks = |letter: &Letter| {
            let text = wording.text(letter).unwrap().text;
            ["Reply YES", "Responda SI"].iter().any(|ask| text.contains(ask))
        };
        letter.reply_by_text = false;
        assert!(!asks(&letter), "{language} {kind:?} {name}");
        letter.reply_by_text = true;
        letter.owes = kind != LetterKind::Introduction;
        assert_eq!(asks(&letter), letter.owes, "{language} {kind:?} {name}");
        letter.owes = false;
        assert!(!asks(&letter), "{language} {kind:?} {name}");
    }
}

// 47 CFR 64.1200(a)(10): where replies cannot be received each text says so, with another way to stop.
// Brothers and sisters with the same times are told them once; with two times, each theirs.
#[test]
fn a_text_tells_what_two_children_share_once() {
    let wording = wording();
    let mut letter = sample(LetterKind::Eve);
    let mut second = letter.items[0].clone();
    second.child = Some("Bo".to_owned());
    second.signs_in = Some("Ivo Wren".to_owned());
    letter.children.push(second.child.clone());
    letter.items.push(second);
    let text = wording.text(&letter).unwrap().text;
    assert!(text.contains(" and Bo to ") && text.matches("16:35").count() == 1, "{text}");
    letter.items[1].call = "16:50".parse().unwrap();
    let text = wording.text(&letter).unwrap().text;
    assert!(text.contains("16:35") && text.contains("Bo to ") && text.contains("16:50"), "{text}");
    letter.children = vec![None, None];
    letter.items.iter_mut().for_each(|item| item.child = None);
    letter.items[1].call = letter.items[0].call;
    let text = wording.text(&letter).unwrap().text;
    assert!(text.contains("your children to "), "{text}");
}

#[test]
fn a_text_says_how_to_stop() {
    let wording = wording();
    for (language, kind, name, mut letter) in everything() {
        let text = |letter: &Letter| wording.text(letter).unwrap().text;
        letter.reply_by_text = true;
        letter.first_text = true;
        assert!(text(&letter).contains("STOP"), "{language} {kind:?} {name}: {}", text(&letter));
        letter.first_text = false;
        assert!(!text(&letter).contains("STOP"), "{language} {kind:?} {name}: {}", text(&letter));
        letter.reply_by_text = false;
        letter.telephone = Some("01632 960 123".to_owned());
        let said = text(&letter);
        let says = said.contains("repl") || said.contains("No responda");
        assert!(says && said.contains("01632 960 123"), "{language} {kind:?} {name}: {said}");
    }
}

// RFC 5322 2.1.1: a line of a mail should have no more than 78 characters.
#[test]
fn a_subject_is_a_line() {
    let wording = wording();
    for (language, kind, name, mut letter) in everything() {
        for event in
            ["Dress rehearsal", "The long dress rehearsal of all the groups at the theatre, by the river"]
        {
            letter.items.iter_mut().for_each(|item| event.clone_into(&mut item.event));
            let subject = wording.mail(&letter).unwrap().subject;
            assert!(
                !subject.is_empty() && subject.chars().count() <= 78,
                "{language} {kind:?} {name}: {subject}"
            );
        }
        letter.children = (0..14).map(|n| Some(format!("Maximiliana {n}"))).collect();
        let subject = wording.mail(&letter).unwrap().subject;
        assert!(
            !subject.is_empty() && subject.chars().count() <= 78,
            "{language} {kind:?} {name}: {subject}"
        );
    }
}

// Parents know a call from the telephone.
#[test]
fn families_read_times_and_never_calls() {
    let wording = wording();
    let of_family = |(_, kind, ..): &(_, LetterKind, _, Letter)| *kind != LetterKind::Duty;
    for (language, kind, name, letter) in everything().filter(of_family) {
        let mail = wording.mail(&letter).unwrap();
        let text = wording.text(&letter).unwrap().text;
        for part in [&mail.subject, &mail.text, &text] {
            let words = part.split(|c: char| !c.is_alphabetic()).map(str::to_lowercase);
            let calls = words.filter(|word| ["call", "calls", "cita", "citas"].contains(&word.as_str()));
            assert_eq!(calls.count(), 0, "{language} {kind:?} {name}: {part}");
        }
    }
}

#[test]
fn watching_is_said_only_where_the_workbook_says_it() {
    let wording = wording();
    for language in ["en", "es"] {
        let said = |may: Option<bool>| {
            let mut letter = speak(sample(LetterKind::CallSheet), language);
            letter.items[0].adults_watch = may;
            let mail = wording.mail(&letter).unwrap();
            let words = ["watch", "entrar a verlo"];
            [&mail.text, &mail.html].map(|part| words.iter().any(|word| part.contains(word)))
        };
        assert_eq!(said(None), [false, false], "{language}");
        assert_eq!((said(Some(true)), said(Some(false))), ([true, true], [true, true]), "{language}");
    }
}

#[test]
fn it_begins_stands_nowhere_for_who_is_called_later() {
    let wording = wording();
    let mut letter = sample(LetterKind::CallSheet);
    assert!(wording.mail(&letter).unwrap().text.contains("Starts"));
    letter.items[0].begins = None;
    let mail = wording.mail(&letter).unwrap();
    assert!(!mail.text.contains("Starts") && !mail.html.contains("Starts"), "{}", mail.text);
}

#[test]
fn what_all_dates_have_in_common_is_said_once() {
    let wording = wording();
    let many = samples(LetterKind::CallSheet).into_iter().find(|(name, _)| *name == "many events").unwrap().1;
    let mail = wording.mail(&many).unwrap();
    assert_eq!(mail.text.matches("Water and a plain snack").count(), 1, "{}", mail.text);
    assert_eq!(mail.text.matches("Quay car park").count(), 1);
    assert_eq!(mail.text.matches("No nuts, please.").count(), 1);
    let two = wording.mail(&sample_many(LetterKind::CallSheet)).unwrap();
    assert_eq!(two.text.matches("Water and a plain snack").count(), 1, "it is said of the one that has it");
}

#[test]
fn line_breaks_and_markup_in_names_stay_inert() {
    let wording = wording();
    let mut letter = sample(LetterKind::CallSheet);
    letter.items[0].child = Some("Ana\r\nBcc: all@example.com".to_owned());
    letter.items[0].event = "<b>Dress</b> & tea\u{2028}\n\u{202e}.".to_owned();
    for kind in LetterKind::ALL.into_iter().filter(|kind| *kind != LetterKind::Rules) {
        let mut letter = Letter { kind, ..letter.clone() };
        letter.children = vec![letter.items[0].child.clone()];
        letter.introductions = vec![Introduction {
            child: letter.items[0].child.clone(),
            signs_in: None,
            signs_out: None,
            chaperones: vec![letter.items[0].event.clone()],
            events: vec![Appearance { event: letter.items[0].event.clone(), date: letter.items[0].date }],
        }];
        let mail = wording.mail(&letter).unwrap();
        assert!(!mail.subject.contains(['\r', '\n', '\u{2028}']), "{:?}", mail.subject);
        assert!(!mail.text.lines().any(|line| line.trim_start().starts_with("Bcc:")));
        assert!(!mail.html.contains('\u{202e}') && !mail.text.contains('\u{202e}'));
        assert!(!mail.html.contains("<b>Dress"));
        assert!(mail.html.contains("&lt;b&gt;Dress"));
        assert!(!wording.text(&letter).unwrap().text.contains(['\r', '\n', '\u{2028}']));
    }
}

#[test]
fn names_written_from_right_to_left_are_isolated_in_html() {
    let wording = wording();
    let mut letter = sample(LetterKind::CallSheet);
    let (noor, layla) = ("نور", "ליאה");
    letter.children = vec![Some(noor.to_owned()), Some(layla.to_owned())];
    letter.items[0].child = Some(noor.to_owned());
    let html = wording.mail(&letter).unwrap().html;
    assert!(html.contains(&format!("<bdi>{noor}</bdi> and <bdi>{layla}</bdi>")));
    assert!(html.contains(&format!("<bdi>{noor}</bdi><br>")));
}

#[test]
fn a_language_without_templates_falls_back_and_says_so() {
    let wording = wording();
    let mut letter = speak(sample(LetterKind::Eve), "pl");
    letter.season_language = "es".to_owned();
    let worded = wording.text(&letter).unwrap();
    assert!(worded.language_fell_back && worded.language == "es" && worded.text.contains("4 de junio"));
    assert!(wording.mail(&letter).unwrap().language_fell_back);
    letter.season_language = "de".to_owned();
    let worded = wording.text(&letter).unwrap();
    assert!(worded.language_fell_back && worded.language == "en");
    letter.language = "es-MX".to_owned();
    let worded = wording.text(&letter).unwrap();
    assert!(!worded.language_fell_back && worded.language == "es");
}

#[test]
fn children_are_listed_as_the_language_lists_them() {
    let wording = wording();
    let subject = |children: &[&str], language| {
        let mut letter = speak(sample(LetterKind::Rules), language);
        letter.children = children.iter().map(|c| Some((*c).to_owned())).collect();
        wording.mail(&letter).unwrap().subject
    };
    assert!(subject(&["Ana", "Tomasz"], "en").contains("Ana and Tomasz,"));
    assert!(subject(&["Ana", "Tomasz", "Łucja"], "en").contains("Ana, Tomasz and Łucja,"));
    assert!(subject(&["Ana", "Tomasz"], "es").contains("Ana y Tomasz"));
    // The Academy's rule for y and e before the sound of i, from memory.
    for (name, and) in [
        ("Inés", "e"),
        ("Íñigo", "e"),
        ("Hilario", "e"),
        ("Yvonne", "e"),
        ("Hierro", "y"),
        ("Yara", "y"),
        ("Ian", "y"),
    ] {
        assert!(subject(&["Ana", name], "es").contains(&format!("Ana {and} {name}")), "{name}");
    }
    let mut letter = sample(LetterKind::Rules);
    letter.children = vec![None];
    assert!(wording.mail(&letter).unwrap().subject.contains("your child,"));
    letter.children = vec![None, None];
    assert!(wording.mail(&letter).unwrap().subject.contains("your children,"));
}

#[test]
fn accents_survive_in_texts() {
    let wording = wording();
    let mut letter = speak(sample(LetterKind::CallSheet), "es");
    letter.items[0].event = "Función".to_owned();
    letter.items[0].door = "callejón".to_owned();
    letter.reply_by_text = true;
    let worded = wording.text(&letter).unwrap();
    assert!(worded.text.contains("callejón"), "{}", worded.text);
    // ó is outside the 7-bit alphabet: 67 characters a segment.
    assert_eq!(worded.segments, 3);
}

/// Source: Unicode CLDR, language plural rules (cardinals) of en, es and pl with their integer samples, from memory.
#[test]
fn plurals_follow_cldr() {
    let table: &[(&str, &str, &[u64])] = &[
        ("en", "one", &[1]),
        ("en", "other", &[0, 2, 3, 16, 100, 1_000, 1_000_000]),
        ("es", "one", &[1]),
        ("es", "other", &[0, 2, 3, 16, 100, 1_000, 100_000]),
        ("es", "many", &[1_000_000]),
        ("pl", "one", &[1]),
        ("pl", "few", &[2, 3, 4, 22, 23, 24, 32, 33, 34, 102, 1_002]),
        ("pl", "many", &[0, 5, 6, 11, 12, 13, 14, 19, 21, 25, 100, 112, 1_000, 1_000_000]),
    ];
    for (language, category, numbers) in table {
        for number in *numbers {
            assert_eq!(plural_category(language, *number), Some(*category), "{language} {number}");
        }
    }
    assert_eq!(plural_forms("en"), ["one", "other"]);
    assert_eq!(plural_forms("es"), ["one", "other"]);
    assert_eq!(plural_forms("pl"), ["one", "few", "many"]);
}

#[test]
fn an_unknown_word_is_found_with_its_file_and_line() {
    let found = faults(&[("en/eve/text.txt", "{{ letter.link }}\n\n{{ letter.lnik }}\n")]);
    let [fault] = &found[..] else { panic!("{found:?}") };
    assert!(fault.file.ends_with("en/eve/text.txt"), "{fault}");
    assert_eq!(fault.line, 3);
    assert!(fault.reason.contains("\"lnik\""), "{fault}");
    // Also where no sample would take the branch, at the root, and after other wordings.
    let dead = "{{ letter.link }}\n----\n{{ letter.link }}\n{% if false %}\n{{ chlid }} {{ letter.roomm }}\n{% endif %}";
    let found = faults(&[("es/change/text.txt", dead)]);
    assert_eq!(found.iter().map(|f| f.line).collect::<Vec<_>>(), [5, 5], "{found:?}");
}

#[test]
fn broken_templates_are_found_with_their_file_and_line() {
    let cases: &[(&str, &str, usize, &str)] = &[
        ("en/eve/mail.txt", "Hello\n{% if letter.owes %}\nnever closed", 3, "end of input"),
        ("en/eve/mail.html", "<p>\n<p>{{ letter.link|shout }}", 2, "shout"),
        ("en/eve/mail.txt", "\n{% if false %}{{ letter.link | shuot }}{% endif %}", 2, "shuot"),
        ("en/eve/subject.txt", "a\nb\n{% include \"nowhere.txt\" %}", 3, "nowhere.txt"),
        ("en/eve/subject.txt", "{% if false %}x{% endif %}", 1, "subject is empty"),
        ("en/eve/subject.txt", "\n{{ 3|plural(one=\"call\") }}", 2, "other"),
        ("en/eve/subject.txt", "\n{{ letter.items[0].date|clock }}", 2, "no time"),
        ("en/rules/mail.txt", "Ring\n{{ letter.telephone }}", 2, "may be absent"),
        ("en/words.toml", "direction = \"ltr\"\nsegments = \"one\"", 2, "segments"),
        ("en/eve/texts.txt", "misspelt", 1, "No message uses"),
        ("en/ask.txt", "Tap\n{{ item.wrong }} {{ letter.link }}", 2, "wrong"),
    ];
    for (file, text, line, says) in cases {
        let found = faults(&[(file, text)]);
        let hit = found.iter().find(|f| f.file.ends_with(file) && f.line == *line && f.reason.contains(says));
        let hit = hit.unwrap_or_else(|| panic!("{file} {says}: {found:#?}"));
        assert!(!hit.cure.is_empty());
    }
}

#[test]
fn a_text_that_cannot_fit_is_refused_at_load() {
    let long = format!("{} {{{{ letter.link }}}}", "word ".repeat(60));
    let found = faults(&[("en/eve/text.txt", &long)]);
    assert!(
        found.iter().any(|f| f.file.ends_with("en/eve/text.txt") && f.reason.contains("fits 2 segment")),
        "{found:?}"
    );
}

#[test]
fn a_new_language_needs_every_file() {
    let found = faults(&[("pl/ask.txt", "Szczegóły: {{ letter.link }}")]);
    assert!(found.iter().any(|f| f.file == "pl/words.toml" && f.reason.contains("lacks")), "{found:?}");
    assert!(found.iter().any(|f| f.file == "pl/eve/text.txt"));
    assert!(faults(&[("not a tag/ask.txt", "x")]).iter().any(|f| f.reason.contains("tag of a language")));
    assert!(Wording::load(Some(Path::new("no-such-folder"))).is_err());
}

#[test]
fn a_hosts_file_replaces_one_template_and_no_other() {
    let wording = load_over(&[
        ("en/eve/subject.txt", "Until then, {{ letter.children|names }}"),
        ("readme.txt", "notes to ourselves"),
    ])
    .unwrap_or_else(|faults| panic!("{faults:?}"));
    assert_eq!(wording.mail(&sample(LetterKind::Eve)).unwrap().subject, "Until then, Ana");
    assert!(wording.mail(&sample(LetterKind::CallSheet)).unwrap().subject.contains("Friday 4 June, 17:00"));
}

#[test]
fn a_text_longer_than_any_limit_is_sent_whole_and_marked() {
    let wording = wording();
    let mut letter = sample(LetterKind::CallSheet);
    letter.items[0].door = "the small green door behind the bicycle shed, ".repeat(4);
    letter.items[0].event = "Répétition générale en costumes à Saint-Éloi".to_owned();
    let worded = wording.text(&letter).unwrap();
    assert!(worded.too_long && worded.text.contains(&letter.link) && worded.text.contains("17:00"));
}

#[test]
fn a_digest_is_one_segment_with_its_link_whatever_it_says() {
    let wording = wording();
    for language in ["en", "es"] {
        for kind in DigestKind::ALL {
            for digest in digests() {
                let digest = Digest { language: language.to_owned(), ..digest };
                let text = wording.digest_text(kind, &digest).unwrap();
                assert_eq!(segments::count(&text).segments.len(), 1, "{language} {kind:?}: {text}");
                assert!(text.contains(&digest.link), "{language} {kind:?}: {text}");
                let (subject, mail) = wording.digest_mail(kind, &digest).unwrap();
                assert!(
                    !subject.contains('\n') && mail.contains(&digest.link),
                    "{language} {kind:?}: {mail}"
                );
                println!("{language} {}: {text}\n{subject}\n{mail}\n=====", kind.folder());
            }
        }
    }
    let [one, many, ..] = &digests()[..] else { panic!("samples") };
    assert!(wording.digest_text(DigestKind::List, one).unwrap().contains("No answer yet: 1 of 141 children"));
    let (_, mail) = wording.digest_mail(DigestKind::List, many).unwrap();
    for name in many.events.iter().flat_map(|event| &event.unheard.names) {
        assert!(mail.contains(name.as_str()), "{name}: {mail}");
    }
}

#[test]
fn an_introduction_tells_names_and_no_times() {
    let wording = wording();
    for language in ["en", "es"] {
        for (name, letter) in samples(LetterKind::Introduction) {
            let letter = speak(letter, language);
            let mail = wording.mail(&letter).unwrap();
            let text = wording.text(&letter).unwrap().text;
            for part in [&text, &mail.subject, &mail.text, &mail.html] {
                for time in ["17:00", "16:35", "20:30", "09:20"] {
                    assert!(!part.contains(time), "{language} {name}: {part}");
                }
            }
            // Who signs is named; where nobody is known to, whoever looks after the child.
            let named = letter.introductions.iter().flat_map(|one| {
                let signs: Vec<&String> = one.signs_in.iter().chain(&one.signs_out).collect();
                if signs.is_empty() { one.chaperones.iter().collect() } else { signs }
            });
            for who in named {
                assert!(
                    mail.text.contains(who.as_str()) && mail.html.contains(who.as_str()),
                    "{name}: {}",
                    mail.text
                );
            }
        }
    }
}

/// The blank workbook, everybody by text, in both languages.
#[test]
fn the_texts_of_the_starting_set_fit() {
    let mut book = allheard::workbook::blank();
    for (name, value) in [
        ("name", "The Brass Heron"),
        ("school", "Fenmouth Dance"),
        ("zone", "Europe/London"),
        ("country", "GB"),
    ] {
        let rows = &mut book.sheet_mut("season").rows;
        rows.iter_mut().find(|row| row.text("setting") == name).unwrap().set("value", value);
    }
    for (at, row) in book.sheet_mut("children").rows.iter_mut().enumerate() {
        row.set("guardian 1 mobile", format!("07700 90001{at}"));
        row.set("guardian 1 texts", "yes");
        row.set("guardian 1 agreed", "herself, 2030-01-10");
    }
    let (season, _) = allheard::domain::reading::season(&book);
    let ways = Ways {
        base_url: "https://show.example.org".to_owned(),
        pages_public: true,
        reply_by_text: true,
        ..Ways::default()
    };
    let paces = allheard::app::config::Config::default().paces();
    let now = "2030-04-20T09:00:00Z".parse().unwrap();
    let plan = allheard::app::preview::plan(season.unwrap(), &wording(), &ways, paces, now);
    let mut counts = std::collections::BTreeMap::new();
    for line in plan.lines.iter().filter(|line| line.wanted.channel == Channel::Text) {
        let reader = &plan.board.season.guardians[line.wanted.guardians[0].at()];
        let language = reader.contact.language.0.as_str();
        println!("{language} {}", line.words);
        assert!((1..=2).contains(&line.segments.len()), "{language}: {}", line.words);
        *counts.entry(language).or_insert(0) += 1;
    }
    // Second asking, call sheet, a week, three days, and the two days before; chaperones read English.
    assert_eq!(counts["es"], 6);
    assert!(counts["en"] >= 6);
}
