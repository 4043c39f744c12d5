//! Puts letters into words: strict templates in every language, proved at load with every sample.
//!
//! A template that names something no letter has, does not parse, or makes a text too long is a [`Fault`]
//! with its file and line when the program starts, so that it cannot surprise anyone at sending time.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use minijinja::value::Serde;
use minijinja::{
    AutoEscape, Environment, Error, ErrorKind, UndefinedBehavior, Value, context, escape_formatter,
};

use self::files::Folder;
use self::words::Words;
use super::letter::{Kind, Letter, What};
use super::samples;
use crate::domain::segments;

mod files;
mod names;
pub mod words;

/// Stands alone on a line between two wordings of a text.
const BETWEEN_WORDINGS: &str = "----";
/// How lines end in templates of one line: the space keeps the words of two lines apart where the engine
/// takes away a line break after a tag.
const LINE_BREAK: &str = " \n";
/// Segments a text may have beyond its language's limit rather than leave open which child or event is meant.
const SEGMENTS_FOR_CLARITY: usize = 1;
/// The language of last resort.
const LAST_RESORT: &str = "en";

/// Something wrong with a template, told so that its author can mend it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, thiserror::Error)]
#[error("{file}, line {line}: {reason} {cure}")]
pub struct Fault {
    /// The file, as its author knows it.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// What is wrong, one sentence.
    pub reason: String,
    /// What to do next, one sentence.
    pub cure: String,
}

/// A text message in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Worded {
    /// What to send, in one line.
    pub text: String,
    /// The language it is in.
    pub language: String,
    /// Whether the guardian's own language had no templates.
    pub language_fell_back: bool,
    /// Segments it makes.
    pub segments: usize,
    /// Whether no wording fitted the limit, so that this is the shortest that could be had.
    pub too_long: bool,
}

/// A mail in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mail {
    /// Subject, one line.
    pub subject: String,
    /// Plain text part.
    pub text: String,
    /// HTML part.
    pub html: String,
    /// The language it is in.
    pub language: String,
    /// Whether the guardian's own language had no templates.
    pub language_fell_back: bool,
}

/// One language, ready to use.
struct Tongue {
    words: Arc<Words>,
    env: Environment<'static>,
    /// For each kind the number of wordings of its text.
    wordings: BTreeMap<Kind, usize>,
    /// File names as their author knows them.
    labels: BTreeMap<String, String>,
}

/// Every language, ready to use.
pub struct Wording {
    tongues: BTreeMap<String, Tongue>,
}

impl Wording {
    /// Reads the templates inside the program, lays those of `folder` over them file by file, and renders
    /// all of them with every sample.
    ///
    /// # Errors
    /// Everything wrong with any template, ordered by file and line.
    pub fn load(folder: Option<&Path>) -> Result<Wording, Vec<Fault>> {
        let mut faults = Vec::new();
        let mut languages = files::built_in();
        if let Some(folder) = folder {
            files::lay_over(&mut languages, folder, &mut faults);
        }
        let mut tongues = BTreeMap::new();
        for (language, folder) in languages {
            if let Some(tongue) = Tongue::load(&language, &folder, &mut faults) {
                tongue.prove(&mut faults);
                tongues.insert(language, tongue);
            }
        }
        faults.sort();
        faults.dedup();
        if faults.is_empty() {
            Ok(Wording { tongues })
        } else {
            Err(faults)
        }
    }

    /// Tags of the languages with templates, in alphabetical order.
    pub fn languages(&self) -> Vec<&str> {
        self.tongues.keys().map(String::as_str).collect()
    }

    /// The text message: the first wording that fits, else the one with the fewest segments.
    ///
    /// # Errors
    /// A template that fails on this letter in spite of the proof at load.
    pub fn text(&self, letter: &Letter) -> Result<Worded, Fault> {
        let (tongue, language_fell_back) = self.tongue(letter)?;
        tongue.text(letter, language_fell_back)
    }

    /// The mail.
    ///
    /// # Errors
    /// A template that fails on this letter in spite of the proof at load.
    pub fn mail(&self, letter: &Letter) -> Result<Mail, Fault> {
        let (tongue, language_fell_back) = self.tongue(letter)?;
        tongue.mail(letter, language_fell_back)
    }

    /// The guardian's language or its parent (`es` for `es-mx`), else the season's, else English.
    fn tongue(&self, letter: &Letter) -> Result<(&Tongue, bool), Fault> {
        let own = self.nearest(&letter.language).map(|tongue| (tongue, false));
        own.or_else(|| {
            self.nearest(&letter.season_language)
                .map(|tongue| (tongue, true))
        })
        .or_else(|| self.nearest(LAST_RESORT).map(|tongue| (tongue, true)))
        .ok_or_else(|| Fault {
            file: format!("message-templates/{LAST_RESORT}"),
            line: 1,
            reason: "There are no templates in the language of last resort.".to_owned(),
            cure: "Put them back.".to_owned(),
        })
    }

    fn nearest(&self, tag: &str) -> Option<&Tongue> {
        let mut tag = tag.to_lowercase();
        loop {
            if let Some(tongue) = self.tongues.get(&tag) {
                return Some(tongue);
            }
            tag.truncate(tag.rfind(['-', '_'])?);
        }
    }
}

impl Tongue {
    fn load(language: &str, folder: &Folder, faults: &mut Vec<Fault>) -> Option<Tongue> {
        let before = faults.len();
        for file in files::wanted()
            .into_iter()
            .filter(|file| !folder.contains_key(file))
        {
            faults.push(Fault {
                file: format!("{language}/{file}"),
                line: 1,
                reason: format!("The language {language:?} lacks this file, so some message could not be worded."),
                cure: "Write it, or remove the folder of this language.".to_owned(),
            });
        }
        let words =
            folder
                .get(files::WORDS)
                .and_then(|source| match read_words(language, source) {
                    Ok(words) => Some(Arc::new(words)),
                    Err(fault) => {
                        faults.push(fault);
                        None
                    }
                })?;
        let mut tongue = Tongue {
            env: engine(&words),
            words,
            wordings: BTreeMap::new(),
            labels: folder
                .iter()
                .map(|(name, source)| (name.clone(), source.label.clone()))
                .collect(),
        };
        for (name, source) in folder.iter().filter(|(name, _)| *name != files::WORDS) {
            for (name, text) in tongue.parts(name, &source.text) {
                if let Err(error) = tongue.env.add_template_owned(name.clone(), text) {
                    faults.push(tongue.fault(&error, &name));
                }
            }
        }
        (faults.len() == before).then_some(tongue)
    }

    /// The templates in one file: a text has one for each wording, padded so that lines keep their numbers.
    fn parts(&mut self, name: &str, source: &str) -> Vec<(String, String)> {
        let Some((folder, "text.txt")) = name.split_once('/') else {
            let one_line = name == "ask.txt" || name.ends_with("/subject.txt");
            let source = if one_line {
                source.replace('\n', LINE_BREAK)
            } else {
                source.to_owned()
            };
            return vec![(name.to_owned(), source)];
        };
        let mut wordings = vec![String::new()];
        for (above, line) in source.lines().enumerate() {
            match wordings.last_mut() {
                Some(wording) if line.trim_end() != BETWEEN_WORDINGS => {
                    wording.push_str(line);
                    wording.push_str(LINE_BREAK);
                }
                _ => wordings.push("\n".repeat(above + 1)),
            }
        }
        if let Some(kind) = Kind::from_folder(folder) {
            self.wordings.insert(kind, wordings.len());
        }
        let named = |(at, wording)| (format!("{name}#{at}"), wording);
        wordings.into_iter().enumerate().map(named).collect()
    }

    /// Looks for unknown words, then renders everything with every sample.
    fn prove(&self, faults: &mut Vec<Fault>) {
        let before = faults.len();
        self.prove_words(faults);
        if faults.len() > before {
            return;
        }
        for (kind, (name, mut letter)) in Kind::ALL.into_iter().flat_map(|kind| {
            samples::samples(kind)
                .into_iter()
                .map(move |sample| (kind, sample))
        }) {
            letter.language.clone_from(&self.words.tag);
            self.prove_sample(kind, name, &letter, faults);
        }
    }

    fn prove_words(&self, faults: &mut Vec<Fault>) {
        let mut fields = BTreeSet::new();
        for kind in Kind::ALL {
            for (_, letter) in samples::samples(kind) {
                let both = serde_json::json!({ "letter": letter, "words": *self.words });
                names::fields(&both, &mut fields);
            }
        }
        let globals: Vec<String> = self
            .env
            .globals()
            .map(|(name, _)| name.to_owned())
            .collect();
        for (name, template) in self.env.templates() {
            for (word, line) in names::unknown(&template, &fields, &globals) {
                faults.push(Fault {
                    file: self.label(name),
                    line,
                    reason: format!("Nothing in a letter is called {word:?}."),
                    cure: "Correct its spelling; the templates that came with the program show every name.".to_owned(),
                });
            }
        }
    }

    fn prove_sample(&self, kind: Kind, name: &str, letter: &Letter, faults: &mut Vec<Fault>) {
        // Every wording is rendered, also those after the first that fits.
        match self.wordings(letter).and_then(|_| self.text(letter, false)) {
            Ok(worded) if worded.too_long || worded.text.is_empty() => {
                let file = format!("{}/text.txt", kind.folder());
                let limit = self.words.segments;
                faults.push(Fault {
                    file: self.label(&file),
                    line: 1,
                    reason: format!(
                        "No wording of this text fits {limit} segment(s) for the sample \"{name}\"; the shortest makes {}: {:?}.",
                        worded.segments, worded.text
                    ),
                    cure: format!("Add a shorter wording at the end, after a line {BETWEEN_WORDINGS}."),
                });
            }
            Ok(_) => {}
            Err(fault) => faults.push(fault),
        }
        match self.mail(letter, false) {
            Ok(mail) if mail.subject.is_empty() => faults.push(Fault {
                file: self.label(&format!("{}/subject.txt", kind.folder())),
                line: 1,
                reason: format!("The subject is empty for the sample \"{name}\"."),
                cure: "Write at least one word outside any condition.".to_owned(),
            }),
            Ok(_) => {}
            Err(fault) => faults.push(fault),
        }
    }

    fn text(&self, letter: &Letter, language_fell_back: bool) -> Result<Worded, Fault> {
        let clarity = !letter.only_child || letter.items.len() > 1;
        let limit = self.words.segments;
        let generous = limit + if clarity { SEGMENTS_FOR_CLARITY } else { 0 };
        let counted: Vec<(String, usize)> = self
            .wordings(letter)?
            .into_iter()
            .map(|text| (segments::count(&text).segments.len(), text))
            .map(|(segments, text)| (text, segments))
            .collect();
        let fits = |most| counted.iter().find(|(_, segments)| *segments <= most);
        let chosen = fits(limit)
            .or_else(|| fits(generous))
            .or_else(|| counted.iter().min_by_key(|(_, n)| *n));
        let (text, segments) = chosen.cloned().unwrap_or_default();
        Ok(Worded {
            too_long: segments > generous,
            text,
            language: self.words.tag.clone(),
            language_fell_back,
            segments,
        })
    }

    /// Every wording of the text that says anything, each in one line.
    fn wordings(&self, letter: &Letter) -> Result<Vec<String>, Fault> {
        let context = self.context(letter);
        let count = self.wordings.get(&letter.kind).copied().unwrap_or(0);
        let mut all = Vec::new();
        for at in 0..count {
            let text = self.render(&format!("{}/text.txt#{at}", letter.kind.folder()), &context)?;
            let text = one_line(&text);
            if !text.is_empty() {
                all.push(text);
            }
        }
        Ok(all)
    }

    fn mail(&self, letter: &Letter, language_fell_back: bool) -> Result<Mail, Fault> {
        let context = self.context(letter);
        let part = |file: &str| self.render(&format!("{}/{file}", letter.kind.folder()), &context);
        Ok(Mail {
            subject: one_line(&part("subject.txt")?),
            text: few_blank_lines(&part("mail.txt")?),
            html: few_blank_lines(&part("mail.html")?),
            language: self.words.tag.clone(),
            language_fell_back,
        })
    }

    fn context(&self, letter: &Letter) -> Value {
        let mut letter = serde_json::json!(letter);
        tidy(&mut letter, false);
        context! { letter => Value::from(Serde(&letter)), words => Value::from(Serde(&*self.words)) }
    }

    fn render(&self, name: &str, context: &Value) -> Result<String, Fault> {
        self.env
            .get_template(name)
            .and_then(|template| template.render(context.clone()))
            .map_err(|error| self.fault(&error, name))
    }

    fn label(&self, name: &str) -> String {
        let file = name.split('#').next().unwrap_or(name);
        self.labels
            .get(file)
            .cloned()
            .unwrap_or_else(|| format!("{}/{file}", self.words.tag))
    }

    /// The innermost cause, because an error in an included file is wrapped in one of the file that includes it.
    fn fault(&self, error: &Error, asked: &str) -> Fault {
        let mut inner = error;
        while let Some(next) =
            std::error::Error::source(inner).and_then(|e| e.downcast_ref::<Error>())
        {
            inner = next;
        }
        let detail = inner.detail().map(|d| format!(": {d}")).unwrap_or_default();
        Fault {
            file: self.label(inner.name().unwrap_or(asked)),
            line: inner.line().unwrap_or(1),
            reason: format!("The template fails, {}{detail}.", inner.kind()),
            cure: cure(inner.kind()).to_owned(),
        }
    }
}

fn cure(kind: ErrorKind) -> &'static str {
    match kind {
        ErrorKind::SyntaxError => "Compare the line with the template that came with the program.",
        ErrorKind::UndefinedError => "Correct the spelling, or ask first whether it is there.",
        ErrorKind::UnknownFilter => {
            "Use one of the filters of the templates that came with the program."
        }
        ErrorKind::TemplateNotFound => "Name a file of the same language, such as ask.txt.",
        ErrorKind::MissingArgument => "Give every plural form that the language has.",
        _ => "Put the template that came with the program back and change it in small steps.",
    }
}

/// An engine in which an unknown or absent value is an error and only HTML is escaped.
fn engine(words: &Arc<Words>) -> Environment<'static> {
    let mut env = Environment::new();
    let mut syntax = minijinja::syntax::SyntaxConfig::builder();
    syntax.trim_blocks(true).lstrip_blocks(true);
    if let Ok(syntax) = syntax.build() {
        env.set_syntax(syntax);
    }
    env.set_undefined_behavior(UndefinedBehavior::Strict);
    env.set_auto_escape_callback(|name| {
        if name.ends_with(".html") {
            AutoEscape::Html
        } else {
            AutoEscape::None
        }
    });
    env.set_formatter(|out, state, value| {
        if value.is_none() {
            // An absent telephone or time would otherwise be sent as the word "none".
            return Err(Error::new(
                ErrorKind::UndefinedError,
                "this value may be absent; ask with {% if … %} first",
            ));
        }
        escape_formatter(out, state, value)
    });
    words::add_filters(&mut env, words);
    env
}

fn read_words(language: &str, source: &files::Source) -> Result<Words, Fault> {
    let fault = |line, reason: String| Fault {
        file: source.label.clone(),
        line,
        reason,
        cure: "Compare it with the words.toml of another language.".to_owned(),
    };
    let mut words: Words = toml::from_str(&source.text).map_err(|error| {
        let start = error.span().map_or(0, |span| span.start);
        let above = source
            .text
            .bytes()
            .take(start)
            .filter(|b| *b == b'\n')
            .count();
        let line = source.text.lines().nth(above).unwrap_or_default().trim();
        fault(
            above + 1,
            format!(
                "The words cannot be read at `{line}`: {}.",
                one_line(error.message())
            ),
        )
    })?;
    language.clone_into(&mut words.tag);
    let facts: Vec<String> = What::ALL
        .iter()
        .filter_map(|what| serde_json::json!(what).as_str().map(str::to_owned))
        .collect();
    match words.complaint(&facts) {
        Some(complaint) => Err(fault(1, format!("In the words, {complaint}."))),
        None => Ok(words),
    }
}

/// Makes every string one line, so that no name can add a line to a message; only the text of a rule keeps its lines.
fn tidy(value: &mut serde_json::Value, keep_lines: bool) {
    match value {
        serde_json::Value::String(text) if keep_lines => {
            let lines: Vec<String> = text
                .lines()
                .map(one_line)
                .filter(|line| !line.is_empty())
                .collect();
            *text = lines.join("\n");
        }
        serde_json::Value::String(text) => *text = one_line(text),
        serde_json::Value::Array(values) => values.iter_mut().for_each(|value| tidy(value, false)),
        serde_json::Value::Object(map) => map
            .iter_mut()
            .for_each(|(name, value)| tidy(value, name == "text")),
        _ => {}
    }
}

/// The text with control characters and every run of white space made one space.
fn one_line(text: &str) -> String {
    let spaced: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The text with no line ending in blanks and at most one empty line in a row.
fn few_blank_lines(text: &str) -> String {
    let mut kept = String::with_capacity(text.len());
    let mut blank = true;
    for line in text.lines().map(str::trim_end) {
        if !(line.is_empty() && blank) {
            kept.push_str(line);
            kept.push('\n');
        }
        blank = line.is_empty();
    }
    kept.truncate(kept.trim_end().len());
    kept.push('\n');
    kept
}
