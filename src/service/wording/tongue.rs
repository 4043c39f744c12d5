//! One language: its templates compiled in an engine that takes nothing unknown.

use std::collections::BTreeMap;
use std::sync::Arc;

use minijinja::value::Serde;
use minijinja::{
    AutoEscape, Environment, Error, ErrorKind, UndefinedBehavior, Value, context, escape_formatter,
};

use super::files::{self, TemplateFolder};
use super::words::{self, Words};
use super::{Fault, Mail, Worded};
use crate::domain::segments;
use crate::service::digest::{Digest, DigestKind};
use crate::service::letter::{Letter, LetterItem, LetterKind, What};
use crate::service::reply::{Reply, ReplyKind};

/// Stands alone on a line between two wordings of a text.
pub const BETWEEN_WORDINGS: &str = "----";
/// The same before the wordings that leave out so much that they are taken only where no other fits.
const LAST_RESORTS: &str = "====";
/// How lines end in templates of one line: the space keeps the words of two lines apart where the engine
/// takes away a line break after a tag.
const LINE_BREAK: &str = " \n";
/// Segments a text may have beyond its language's limit for the sake of a name with letters outside the alphabet of texts.
const SEGMENTS_FOR_LETTERS: usize = 2;
/// Characters of a subject at most: what a line of a mail holds (RFC 5322 2.1.1).
const SUBJECT_CHARACTERS: usize = 78;
/// One language, ready to use.
pub struct Tongue {
    pub(super) words: Arc<Words>,
    /// The words as templates see them.
    seen: Value,
    pub(super) env: Environment<'static>,
    /// For each file of several wordings their number.
    wordings: BTreeMap<String, usize>,
    /// Of such a file the first wording that is a last resort.
    resorts: BTreeMap<String, usize>,
    /// File names as their author knows them.
    labels: BTreeMap<String, String>,
}

impl Tongue {
    /// Compiles the templates of one language; none if any is faulty.
    pub fn load(language: &str, folder: &TemplateFolder, faults: &mut Vec<Fault>) -> Option<Tongue> {
        let before = faults.len();
        for file in files::wanted().into_iter().filter(|file| !folder.contains_key(file)) {
            faults.push(Fault {
                file: format!("{language}/{file}"),
                line: 1,
                reason: format!(
                    "The language {language:?} lacks this file, so some message could not be worded."
                ),
                cure: "Write it, or remove the folder of this language.".to_owned(),
            });
        }
        let words = folder.get(files::WORDS).and_then(|source| match read_words(language, source) {
            Ok(words) => Some(Arc::new(words)),
            Err(fault) => {
                faults.push(fault);
                None
            }
        })?;
        let mut tongue = Tongue {
            env: engine(&words),
            seen: Value::from(Serde(&*words)),
            words,
            wordings: BTreeMap::new(),
            resorts: BTreeMap::new(),
            labels: folder.iter().map(|(name, source)| (name.clone(), source.label.clone())).collect(),
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
        let several = name.ends_with("/text.txt")
            || name.ends_with("/subject.txt")
            || [files::ASK, files::STOP].contains(&name)
            || ReplyKind::ALL.iter().any(|kind| kind.file() == name);
        if !several {
            return vec![(name.to_owned(), source.to_owned())];
        }
        let mut wordings = vec![String::new()];
        for (above, line) in source.lines().enumerate() {
            match wordings.last_mut() {
                Some(wording) if ![BETWEEN_WORDINGS, LAST_RESORTS].contains(&line.trim_end()) => {
                    wording.push_str(line);
                    wording.push_str(LINE_BREAK);
                }
                _ => {
                    if line.trim_end() == LAST_RESORTS {
                        self.resorts.entry(name.to_owned()).or_insert(wordings.len());
                    }
                    wordings.push("\n".repeat(above + 1));
                }
            }
        }
        self.wordings.insert(name.to_owned(), wordings.len());
        let named = |(at, wording)| (format!("{name}#{at}"), wording);
        wordings.into_iter().enumerate().map(named).collect()
    }

    /// The text message; see [`super::Wording::text`]. Of what makes one segment the longest is taken, else of what fits
    /// the language's limit, else the one with the fewest; beyond the limit may go what has a letter outside the alphabet
    /// of texts.
    pub fn text(&self, letter: &Letter, language_fell_back: bool) -> Result<Worded, Fault> {
        let limit = self.words.segments;
        let mut counted: Vec<(String, usize)> = Vec::new();
        let mut resort = false;
        for worded in self.worded(letter) {
            let (text, last_resort) = worded?;
            // Whatever fits says more than a last resort.
            if last_resort && !resort {
                resort = true;
                if counted.iter().any(|(_, segments)| *segments <= limit) {
                    break;
                }
            }
            let segments = segments::count(&text).segments.len();
            counted.push((text, segments));
            if segments <= 1 {
                break;
            }
        }
        let fits = |most| counted.iter().find(|(_, segments)| *segments <= most);
        let dear = |text: &str| !segments::count(text).causes.is_empty();
        let chosen = fits(1).or_else(|| fits(limit)).or_else(|| counted.iter().min_by_key(|(_, n)| *n));
        let (text, segments) = chosen.cloned().unwrap_or_default();
        let most = limit + if dear(&text) { SEGMENTS_FOR_LETTERS } else { 0 };
        Ok(Worded {
            too_long: segments > most,
            text,
            language: self.words.tag.clone(),
            language_fell_back,
            segments,
        })
    }

    /// Every wording of the text that says anything, each in one line, longest first: who writes, what it says, how to
    /// answer where an answer is owed, how to stop. The first and the last two are never left out.
    pub fn wordings(&self, letter: &Letter) -> impl Iterator<Item = Result<String, Fault>> {
        self.worded(letter).map(|worded| worded.map(|(text, _)| text))
    }

    /// The same, each with whether it is a last resort.
    fn worded(&self, letter: &Letter) -> impl Iterator<Item = Result<(String, bool), Fault>> {
        let context = if letter.children.len() > 1 {
            self.context(&self.together(letter))
        } else {
            self.context(letter)
        };
        let ends = self.ends(&context);
        let short = one_line(&letter.short);
        let file = format!("{}/text.txt", letter.kind.folder());
        let resorts = self.resorts.get(&file).copied().unwrap_or(usize::MAX);
        let bodies = self.numbered(file, context);
        bodies.flat_map(move |body| match (&ends, body) {
            (Err(fault), _) => vec![Err(fault.clone())],
            (_, Err(fault)) => vec![Err(fault)],
            (Ok(ends), Ok((at, body))) => {
                let end = |end: &String| Ok((one_line(&format!("{short}: {body} {end}")), at >= resorts));
                ends.iter().map(end).collect()
            }
        })
    }

    /// The letter with brothers and sisters who are told the same of one event as one item: a text has no room to say it
    /// twice. Costumes stay with who hands them in.
    fn together(&self, letter: &Letter) -> Letter {
        let mut one = letter.clone();
        if letter.kind == LetterKind::TurnIn {
            return one;
        }
        let mut groups: Vec<(LetterItem, Vec<Option<String>>)> = Vec::new();
        for item in std::mem::take(&mut one.items) {
            match groups.iter_mut().find(|(first, _)| first.says_the_same_as(&item)) {
                Some((_, children)) => children.push(item.child),
                None => groups.push((item.clone(), vec![item.child])),
            }
        }
        let named = |(item, children): (LetterItem, Vec<Option<String>>)| {
            let several = children.len() > 1;
            let names: Option<Vec<String>> = children.into_iter().collect();
            let joined = match names {
                Some(names) => Some(self.words.joined(&names)),
                None if several => Some(self.words.your_children.clone()),
                None => None,
            };
            LetterItem { child: joined, ..item }
        };
        one.items = groups.into_iter().map(named).collect();
        one
    }

    /// How a text ends: asking and stopping, in words that grow shorter.
    fn ends(&self, context: &Value) -> Result<Vec<String>, Fault> {
        let all = |file: &str| -> Result<Vec<String>, Fault> {
            let count = self.wordings.get(file).copied().unwrap_or(0);
            (0..count).map(|at| Ok(one_line(&self.render(&format!("{file}#{at}"), context)?))).collect()
        };
        let (asks, stops) = (all(files::ASK)?, all(files::STOP)?);
        let nth = |list: &[String], at: usize| list.get(at).or(list.last()).cloned().unwrap_or_default();
        let longest = asks.len().max(stops.len()).max(1);
        Ok((0..longest).map(|at| format!("{} {}", nth(&asks, at), nth(&stops, at))).collect())
    }

    /// Every wording of a reply, each in one line, longest first.
    pub fn reply_wordings(
        &self,
        kind: ReplyKind,
        reply: &Reply,
    ) -> impl Iterator<Item = Result<String, Fault>> {
        let (short, twelve, country) = (one_line(&reply.short), reply.twelve, reply.country.clone());
        let mut reply = serde_json::json!(reply);
        tidy(&mut reply, false);
        let context = context! {
            reply => Value::from(Serde(&reply)), words => self.seen.clone(), twelve => twelve, country => country,
        };
        self.in_one_line(kind.file().to_owned(), context).map(move |text| from(&short, text))
    }

    /// The reply: the first wording of one segment, else the shortest.
    pub fn reply(&self, kind: ReplyKind, reply: &Reply) -> Result<String, Fault> {
        one_segment(self.reply_wordings(kind, reply))
    }

    /// Every wording of a digest's text, each in one line, longest first.
    pub fn digest_wordings(
        &self,
        kind: DigestKind,
        digest: &Digest,
    ) -> impl Iterator<Item = Result<String, Fault>> {
        let short = one_line(&digest.short);
        let texts = self.in_one_line(format!("{}/text.txt", kind.folder()), self.digest_context(digest));
        texts.map(move |text| from(&short, text))
    }

    /// A digest's text: the first wording of one segment, else the shortest.
    pub fn digest_text(&self, kind: DigestKind, digest: &Digest) -> Result<String, Fault> {
        one_segment(self.digest_wordings(kind, digest))
    }

    /// A digest's mail: subject and words.
    pub fn digest_mail(&self, kind: DigestKind, digest: &Digest) -> Result<(String, String), Fault> {
        let context = self.digest_context(digest);
        let words = self.render(&format!("{}/mail.txt", kind.folder()), &context)?;
        Ok((self.subject(kind.folder(), context)?, few_blank_lines(&words)))
    }

    fn digest_context(&self, digest: &Digest) -> Value {
        let (twelve, country) = (digest.twelve, digest.country.clone());
        let mut digest = serde_json::json!(digest);
        tidy(&mut digest, false);
        context! {
            digest => Value::from(Serde(&digest)), words => self.seen.clone(), twelve => twelve, country => country,
        }
    }

    /// The first wording of a subject that a line of a mail holds, else the shortest.
    fn subject(&self, folder: &str, context: Value) -> Result<String, Fault> {
        let mut shortest: Option<String> = None;
        for subject in self.in_one_line(format!("{folder}/subject.txt"), context) {
            let subject = subject?;
            if subject.chars().count() <= SUBJECT_CHARACTERS {
                return Ok(subject);
            }
            let length = |text: &String| text.chars().count();
            if shortest.as_ref().is_none_or(|least| length(&subject) < length(least)) {
                shortest = Some(subject);
            }
        }
        Ok(shortest.unwrap_or_default().chars().take(SUBJECT_CHARACTERS).collect())
    }

    fn in_one_line(&self, file: String, context: Value) -> impl Iterator<Item = Result<String, Fault>> {
        self.numbered(file, context).map(|worded| worded.map(|(_, text)| text))
    }

    /// The wordings of a file that say anything, each in one line, with their places.
    fn numbered(&self, file: String, context: Value) -> impl Iterator<Item = Result<(usize, String), Fault>> {
        let count = self.wordings.get(&file).copied().unwrap_or(0);
        (0..count)
            .map(move |at| Ok((at, one_line(&self.render(&format!("{file}#{at}"), &context)?))))
            .filter(|worded| worded.as_ref().map_or(true, |(_, text)| !text.is_empty()))
    }

    /// The mail; see [`super::Wording::mail`].
    pub fn mail(&self, letter: &Letter, language_fell_back: bool) -> Result<Mail, Fault> {
        let context = self.context(letter);
        let part = |file: &str| self.render(&format!("{}/{file}", letter.kind.folder()), &context);
        Ok(Mail {
            text: few_blank_lines(&part("mail.txt")?),
            html: few_blank_lines(&part("mail.html")?),
            subject: self.subject(letter.kind.folder(), context)?,
            language: self.words.tag.clone(),
            language_fell_back,
        })
    }

    fn context(&self, letter: &Letter) -> Value {
        let (twelve, country) = (letter.twelve, letter.country.clone());
        let mut letter = serde_json::json!(letter);
        tidy(&mut letter, false);
        context! {
            letter => Value::from(Serde(&letter)), words => self.seen.clone(), twelve => twelve, country => country,
        }
    }

    fn render(&self, name: &str, context: &Value) -> Result<String, Fault> {
        self.env
            .get_template(name)
            .and_then(|template| template.render(context.clone()))
            .map_err(|error| self.fault(&error, name))
    }

    /// The name of a template's file as its author knows it.
    pub fn label(&self, name: &str) -> String {
        let file = name.split('#').next().unwrap_or(name);
        self.labels.get(file).cloned().unwrap_or_else(|| format!("{}/{file}", self.words.tag))
    }

    /// The innermost cause, because an error in an included file is wrapped in one of the file that includes it.
    fn fault(&self, error: &Error, asked: &str) -> Fault {
        let mut inner = error;
        while let Some(next) = std::error::Error::source(inner).and_then(|e| e.downcast_ref::<Error>()) {
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

/// A text with the name of who writes before it.
fn from(short: &str, text: Result<String, Fault>) -> Result<String, Fault> {
    text.map(|text| format!("{short}: {text}"))
}

/// The first wording of one segment, else the shortest.
fn one_segment(wordings: impl Iterator<Item = Result<String, Fault>>) -> Result<String, Fault> {
    let mut shortest: Option<(usize, String)> = None;
    for text in wordings {
        let text = text?;
        let segments = segments::count(&text).segments.len();
        if shortest.as_ref().is_none_or(|(least, _)| segments < *least) {
            shortest = Some((segments, text));
        }
        if segments <= 1 {
            break;
        }
    }
    Ok(shortest.map(|(_, text)| text).unwrap_or_default())
}

/// What to do about an error of the engine.
pub fn cure(kind: ErrorKind) -> &'static str {
    match kind {
        ErrorKind::SyntaxError => "Compare the line with the template that came with the program.",
        ErrorKind::UndefinedError => "Correct the spelling, or ask first whether it is there.",
        ErrorKind::UnknownFilter => "Use one of the filters of the templates that came with the program.",
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
    env.set_auto_escape_callback(
        |name| {
            if name.ends_with(".html") { AutoEscape::Html } else { AutoEscape::None }
        },
    );
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

fn read_words(language: &str, source: &files::TemplateSource) -> Result<Words, Fault> {
    let fault = |line, reason: String| Fault {
        file: source.label.clone(),
        line,
        reason,
        cure: "Compare it with the words.toml of another language.".to_owned(),
    };
    let mut words: Words = toml::from_str(&source.text).map_err(|error| {
        let start = error.span().map_or(0, |span| span.start);
        let above = source.text.bytes().take(start).filter(|b| *b == b'\n').count();
        let line = source.text.lines().nth(above).unwrap_or_default().trim();
        fault(above + 1, format!("The words cannot be read at `{line}`: {}.", one_line(error.message())))
    })?;
    language.clone_into(&mut words.tag);
    let facts: Vec<String> =
        What::ALL.iter().filter_map(|what| serde_json::json!(what).as_str().map(str::to_owned)).collect();
    match words.complaint(&facts) {
        Some(complaint) => Err(fault(1, format!("In the words, {complaint}."))),
        None => Ok(words),
    }
}

/// Makes every string one line, so that no name can add a line to a message; only the text of a rule keeps its lines.
fn tidy(value: &mut serde_json::Value, keep_lines: bool) {
    match value {
        serde_json::Value::String(text) if keep_lines => {
            let lines: Vec<String> = text.lines().map(one_line).filter(|line| !line.is_empty()).collect();
            *text = lines.join("\n");
        }
        serde_json::Value::String(text) => *text = one_line(text),
        serde_json::Value::Array(values) => values.iter_mut().for_each(|value| tidy(value, false)),
        serde_json::Value::Object(map) => {
            map.iter_mut().for_each(|(name, value)| tidy(value, name == "text"))
        }
        _ => {}
    }
}

/// The text with control characters and every run of white space made one space, and without characters
/// that turn the direction of what follows them.
fn one_line(text: &str) -> String {
    let spaced: String = text
        .chars()
        .filter(|c| !matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'))
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
