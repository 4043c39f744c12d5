//! Where templates come from: those inside the program, each of which a host's folder may replace.

use std::collections::BTreeMap;
use std::path::Path;

use super::Fault;
use crate::service::digest::DigestKind;
use crate::service::letter::LetterKind;
use crate::service::reply::ReplyKind;

/// The file of small words.
pub const WORDS: &str = "words.toml";
/// How a text asks for its answer.
pub const ASK: &str = "ask.txt";
/// How a text says how to stop.
pub const STOP: &str = "stop.txt";
/// Files a language has once.
pub const SHARED: [&str; 12] = [
    WORDS,
    ASK,
    STOP,
    "changed.txt",
    "mail.txt",
    "mail.html",
    "times.txt",
    "signs.txt",
    "times.html",
    "signs.html",
    "shift.txt",
    "shift.html",
];
/// Files a language has for every kind.
pub const PER_KIND: [&str; 4] = ["text.txt", "subject.txt", "mail.txt", "mail.html"];
/// Files a language has for every kind of digest.
pub const PER_DIGEST: [&str; 3] = ["text.txt", "subject.txt", "mail.txt"];
/// A template file larger than this many octets is taken for a mistake.
const FILE_LIMIT: u64 = 256 * 1024;

macro_rules! built_in {
    ($($language:literal),*) => {
        &[$(
            built_in!(@file $language, "words.toml"),
            built_in!(@file $language, "ask.txt"),
            built_in!(@file $language, "stop.txt"),
            built_in!(@file $language, "changed.txt"),
            built_in!(@file $language, "mail.txt"),
            built_in!(@file $language, "mail.html"),
            built_in!(@file $language, "times.txt"),
            built_in!(@file $language, "signs.txt"),
            built_in!(@file $language, "times.html"),
            built_in!(@file $language, "signs.html"),
            built_in!(@file $language, "shift.txt"),
            built_in!(@file $language, "shift.html"),
            built_in!(@kind $language, "rules"),
            built_in!(@kind $language, "call-sheet"),
            built_in!(@kind $language, "reminder"),
            built_in!(@kind $language, "eve"),
            built_in!(@kind $language, "turn-in"),
            built_in!(@kind $language, "duty"),
            built_in!(@kind $language, "introduction"),
            built_in!(@kind $language, "change"),
            built_in!(@kind $language, "cancelled"),
            built_in!(@file $language, "digest/text.txt"),
            built_in!(@file $language, "digest/subject.txt"),
            built_in!(@file $language, "digest/mail.txt"),
            built_in!(@file $language, "greet/text.txt"),
            built_in!(@file $language, "greet/subject.txt"),
            built_in!(@file $language, "greet/mail.txt"),
            built_in!(@file $language, "reply/heard.txt"),
            built_in!(@file $language, "reply/cant-come.txt"),
            built_in!(@file $language, "reply/ask-back.txt"),
            built_in!(@file $language, "reply/stopped.txt"),
            built_in!(@file $language, "reply/started.txt"),
            built_in!(@file $language, "reply/help.txt"),
            built_in!(@file $language, "reply/passed-on.txt"),
            built_in!(@file $language, "reply/pick-up.txt"),
            built_in!(@file $language, "reply/away.txt"),
            built_in!(@file $language, "reply/back.txt"),
            built_in!(@file $language, "reply/requested.txt"),
            built_in!(@file $language, "reply/stop-noted.txt"),
            built_in!(@file $language, "reply/start-noted.txt"),
        )*]
    };
    (@file $language:literal, $file:literal) => {
        &[built_in!(@one $language, $file)] as &[(&str, &str, &str)]
    };
    (@kind $language:literal, $kind:literal) => {
        &[
            built_in!(@one $language, concat!($kind, "/text.txt")),
            built_in!(@one $language, concat!($kind, "/subject.txt")),
            built_in!(@one $language, concat!($kind, "/mail.txt")),
            built_in!(@one $language, concat!($kind, "/mail.html")),
        ] as &[(&str, &str, &str)]
    };
    (@one $language:literal, $file:expr) => {
        ($language, $file, include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/message-templates/", $language, "/", $file)))
    };
}

/// Language, file and source of everything in the program; a new language is one more word here.
const BUILT_IN: &[&[(&str, &str, &str)]] = built_in!("en", "es");

/// One template file.
#[derive(Debug, Clone)]
pub struct TemplateSource {
    /// How to name it to a person.
    pub label: String,
    /// Its text.
    pub text: String,
}

/// The files of one language by name, such as `eve/text.txt`.
pub type TemplateFolder = BTreeMap<String, TemplateSource>;

/// The files inside the program.
pub fn built_in() -> BTreeMap<String, TemplateFolder> {
    let mut languages: BTreeMap<String, TemplateFolder> = BTreeMap::new();
    for (language, file, text) in BUILT_IN.iter().copied().flatten() {
        let source = TemplateSource {
            label: format!("message-templates/{language}/{file}"),
            text: (*text).to_owned(),
        };
        languages.entry((*language).to_owned()).or_default().insert((*file).to_owned(), source);
    }
    languages
}

/// Every file a language must have.
pub fn wanted() -> Vec<String> {
    let kinds =
        LetterKind::ALL.iter().flat_map(|kind| PER_KIND.map(|file| format!("{}/{file}", kind.folder())));
    let digests =
        DigestKind::ALL.iter().flat_map(|kind| PER_DIGEST.map(|file| format!("{}/{file}", kind.folder())));
    let replies = ReplyKind::ALL.iter().map(|kind| kind.file().to_owned());
    SHARED.iter().map(|&file| file.to_owned()).chain(kinds).chain(digests).chain(replies).collect()
}

/// Lays a host's folder over the languages, file by file.
pub fn lay_over(languages: &mut BTreeMap<String, TemplateFolder>, root: &Path, faults: &mut Vec<Fault>) {
    for (name, path) in entries(root, faults) {
        if !path.is_dir() {
            faults.push(stray(&path));
        } else if name.parse::<icu_locale_core::Locale>().is_err() {
            faults.push(Fault {
                file: path.display().to_string(),
                line: 1,
                reason: format!("The folder {name:?} is not the tag of a language."),
                cure: "Name it by a language tag such as en, es or pl.".to_owned(),
            });
        } else {
            let folder = languages.entry(name.to_lowercase()).or_default();
            language(folder, &path, faults);
        }
    }
}

fn language(folder: &mut TemplateFolder, root: &Path, faults: &mut Vec<Fault>) {
    for (name, path) in entries(root, faults) {
        if !path.is_dir() {
            file(folder, &name, &path, faults);
            continue;
        }
        for (inner, path) in entries(&path, faults) {
            file(folder, &format!("{name}/{inner}"), &path, faults);
        }
    }
}

fn file(folder: &mut TemplateFolder, name: &str, path: &Path, faults: &mut Vec<Fault>) {
    if !wanted().iter().any(|wanted| wanted == name) {
        faults.push(stray(path));
        return;
    }
    let label = path.display().to_string();
    let size = std::fs::metadata(path).map(|m| m.len());
    let read = match size {
        Ok(octets) if octets > FILE_LIMIT => Err(format!("it is larger than {FILE_LIMIT} octets")),
        _ => std::fs::read_to_string(path).map_err(|e| e.to_string()),
    };
    match read {
        Ok(text) => {
            let text = text.trim_start_matches('\u{feff}').replace("\r\n", "\n");
            folder.insert(name.to_owned(), TemplateSource { label, text });
        }
        Err(why) => faults.push(Fault {
            file: label,
            line: 1,
            reason: format!("The template cannot be read: {why}."),
            cure: "Save it as a plain UTF-8 text file that the program may read.".to_owned(),
        }),
    }
}

/// The entries of a folder by name, without hidden files and notes to readers.
fn entries(root: &Path, faults: &mut Vec<Fault>) -> Vec<(String, std::path::PathBuf)> {
    let listed = std::fs::read_dir(root).and_then(Iterator::collect::<Result<Vec<_>, _>>);
    match listed {
        Ok(entries) => {
            let mut named: Vec<_> = entries
                .iter()
                .map(|e| (e.file_name().to_string_lossy().into_owned(), e.path()))
                .filter(|(name, _)| !name.starts_with('.') && !name.to_lowercase().starts_with("readme"))
                .collect();
            named.sort();
            named
        }
        Err(why) => {
            faults.push(Fault {
                file: root.display().to_string(),
                line: 1,
                reason: format!("The folder of templates cannot be read: {why}."),
                cure: "Check the path in the configuration and who may read it.".to_owned(),
            });
            Vec::new()
        }
    }
}

fn stray(path: &Path) -> Fault {
    Fault {
        file: path.display().to_string(),
        line: 1,
        reason: "No message uses a file of this name, so what it says would never be sent.".to_owned(),
        cure: format!("Name it LANGUAGE/FILE or LANGUAGE/KIND/FILE; the files are {}.", wanted().join(", ")),
    }
}
