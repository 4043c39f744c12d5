//! Finds words that a template uses and no letter has, even in branches that no sample takes.

use std::collections::BTreeSet;

use minijinja::Template;
use serde_json::Value;

/// Names at the root of a template. `item`, `change` and `one` are set by loops, also for files included in one.
const ROOTS: [&str; 10] =
    ["letter", "reply", "digest", "words", "item", "change", "one", "loop", "self", "super"];
/// What a loop knows about itself.
const LOOP: [&str; 10] =
    ["index", "index0", "revindex", "revindex0", "first", "last", "length", "depth", "previtem", "nextitem"];

/// A word inside `{{ }}` or `{% %}`.
#[derive(Debug, PartialEq, Eq)]
struct Token<'a> {
    word: &'a str,
    line: usize,
    /// The last character before it other than white space: `.` before a field, `|` before a filter.
    after: char,
}

/// Unknown words of a template with their lines.
pub fn unknown(
    template: &Template<'_, '_>,
    fields: &BTreeSet<String>,
    globals: &[String],
) -> Vec<(String, usize)> {
    let source = template.source();
    let tokens = tokens(source);
    let mut found: Vec<(String, usize)> = tokens
        .iter()
        .filter(|t| t.after == '.' && !fields.contains(t.word) && !LOOP.contains(&t.word))
        .map(|t| (t.word.to_owned(), t.line))
        .collect();
    for name in template.undeclared_variables(false) {
        if ROOTS.contains(&name.as_str()) || globals.contains(&name) {
            continue;
        }
        let line = tokens.iter().find(|t| t.after != '.' && t.word == name).map_or(1, |t| t.line);
        found.push((name, line));
    }
    found.sort_by(|a, b| (a.1, &a.0).cmp(&(b.1, &b.0)));
    found
}

/// The filters a template uses, with their lines.
pub fn filters(source: &str) -> Vec<(String, usize)> {
    let tokens = tokens(source);
    let used = tokens.iter().filter(|t| t.after == '|');
    used.map(|t| (t.word.to_owned(), t.line)).collect()
}

/// Every field name in a value, at any depth.
pub fn fields(value: &Value, into: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => {
            for (name, value) in map {
                into.insert(name.clone());
                fields(value, into);
            }
        }
        Value::Array(values) => values.iter().for_each(|value| fields(value, into)),
        _ => {}
    }
}

fn tokens(source: &str) -> Vec<Token<'_>> {
    let mut tokens = Vec::new();
    let mut at = 0;
    while let Some(open) = source[at..].find('{').map(|i| at + i) {
        let close = match source.as_bytes().get(open + 1) {
            Some(b'{') => "}}",
            Some(b'%') => "%}",
            Some(b'#') => "#}",
            _ => {
                at = open + 1;
                continue;
            }
        };
        let end = source[open..].find(close).map_or(source.len(), |i| open + i);
        if close != "#}" {
            let line = 1 + source[..open].matches('\n').count();
            words(&source[open + 2..end], line, &mut tokens);
        }
        at = end;
    }
    tokens
}

fn words<'a>(inside: &'a str, mut line: usize, tokens: &mut Vec<Token<'a>>) {
    let mut quote = None;
    let mut start = None;
    let mut before = ' ';
    let mut after = ' ';
    for (i, c) in inside.char_indices().chain([(inside.len(), ' ')]) {
        let in_word = quote.is_none() && (c.is_alphanumeric() || c == '_');
        match (start, in_word) {
            (None, true) => {
                start = Some(i);
                after = before;
            }
            (Some(from), false) => {
                let word = &inside[from..i];
                if !word.starts_with(|c: char| c.is_ascii_digit()) {
                    tokens.push(Token { word, line, after });
                }
                start = None;
            }
            _ => {}
        }
        quote = match quote {
            Some(open) if open == c => None,
            None if c == '"' || c == '\'' => Some(c),
            other => other,
        };
        line += usize::from(c == '\n');
        if !c.is_whitespace() {
            before = c;
        }
    }
}
