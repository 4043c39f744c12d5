//! The arrows between modules run inwards only, and what belongs to one module stays there.
//!
//! The sources are read as text: comments and literals are blanked, then every path from the crate's root is held
//! against the table below. That finds what a reviewer would look for; it is no compiler.

#![allow(clippy::unwrap_used, reason = "a source that cannot be read fails its test")]

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// Lines a source file may have.
const LINES_PER_FILE: usize = 700;

/// What each part of the crate may use of it besides itself; an entry with `::` names one module of a part only.
const ARROWS: &[(&str, &[&str])] = &[
    ("domain", &[]),
    ("service", &["domain"]),
    ("web", &["service", "domain"]),
    ("store", &["service", "domain"]),
    ("gateway", &["service", "domain"]),
    ("inbound", &["service", "domain"]),
    ("workbook", &["service", "domain"]),
    ("demo", &["service", "domain"]),
    // The checker works out for itself what was owed, so it reads the workbook and nothing that plans or sends.
    ("audit", &["domain::book", "domain::layout"]),
    ("app", &["web", "store", "gateway", "inbound", "workbook", "demo", "audit", "service", "domain"]),
    ("telemetry", &[]),
    ("cli", &["app", "telemetry", "workbook", "demo", "audit", "service", "domain"]),
    ("main", &["cli"]),
];

/// Crates the pure core may use: data in, data out.
const CRATES_OF_THE_CORE: &[&str] = &[
    "chrono",
    "cron",
    "jiff",
    "phonenumber",
    "proptest",
    "regex",
    "sha2",
    "thiserror",
    "unicode_normalization",
];

/// Parts of the standard library that reach outside the program.
const OUTSIDE: &[&str] = &["env", "fs", "io", "net", "os", "process", "thread"];

/// Names that several parts declare on purpose, each with its reason.
const DECLARED_TWICE: &[(&str, &str)] = &[];

/// The part that says the workbook's words over again in types of its own, on purpose: it shares no code with the rest.
const SPEAKS_FOR_ITSELF: &str = "audit/";

/// How a statement begins that only the store may hold.
const SQL: &[&str] = &["SELECT ", "INSERT INTO ", "INSERT OR ", "UPDATE ", "DELETE FROM ", "CREATE TABLE "];

#[test]
fn every_import_runs_inwards() {
    let (files, crates) = (sources(), dependencies());
    assert!(files.len() > 100 && crates.len() > 20, "{} files, {} crates", files.len(), crates.len());
    let found: Vec<String> = files.iter().flat_map(|(path, text)| faults(path, text, &crates)).collect();
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn no_file_is_too_long_to_read() {
    let long: Vec<_> = sources()
        .into_iter()
        .map(|(path, text)| (path, text.lines().count()))
        .filter(|(_, lines)| *lines > LINES_PER_FILE)
        .collect();
    assert!(long.is_empty(), "more than {LINES_PER_FILE} lines: {long:?}");
}

// One word has one meaning: whoever reads a type's name need not ask which of two it is.
#[test]
fn no_public_type_name_is_declared_twice() {
    let files = sources();
    let twice = declared_twice(files.iter().map(|(path, text)| (path.as_str(), text.as_str())));
    assert!(twice.is_empty(), "{twice:#?}");
    let planted = [
        ("domain/a.rs", "pub struct Call {\n}\n"),
        ("web/b.rs", "/// Words: pub struct Other;\npub enum Call {\n}\n"),
        ("audit/c.rs", "pub struct Call;\n"),
    ];
    assert_eq!(declared_twice(planted.into_iter()), ["Call: domain/a.rs, web/b.rs"]);
}

/// Public names of types that more than one file declares, with the files.
fn declared_twice<'a>(files: impl Iterator<Item = (&'a str, &'a str)>) -> Vec<String> {
    let mut declared: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for (path, text) in files.filter(|(path, _)| !path.starts_with(SPEAKS_FOR_ITSELF)) {
        for line in split(text).0.lines() {
            let mut words = line.trim_start().split(|c: char| !is_word(c)).filter(|word| !word.is_empty());
            if let (Some("pub"), Some("struct" | "enum" | "trait" | "type"), Some(name)) =
                (words.next(), words.next(), words.next())
            {
                declared.entry(name.to_owned()).or_default().push(path);
            }
        }
    }
    let allowed = |name: &String| DECLARED_TWICE.iter().any(|(excepted, _)| excepted == name);
    declared
        .into_iter()
        .filter(|(name, paths)| paths.len() > 1 && !allowed(name))
        .map(|(name, paths)| format!("{name}: {}", paths.join(", ")))
        .collect()
}

#[test]
fn planted_faults_are_found() {
    let cases = [
        ("domain/due.rs", "use crate::service::ports::Clock;", "domain uses service"),
        ("domain/due.rs", "fn f() { crate::store::open() }", "domain uses store"),
        ("domain/mod.rs", "use super::gateway::Road;", "domain uses gateway"),
        ("domain/reading/mod.rs", "use super::super::web::views;", "domain uses web"),
        ("service/office.rs", "use crate::{domain::book::Book, store::SqlStore};", "service uses store"),
        ("service/office.rs", "use crate::{\n    domain::{book, due},\n    web,\n};", "service uses web"),
        ("web/views.rs", "use crate::store::db::Db;", "web uses store"),
        ("gateway/mail.rs", "use crate::demo;", "gateway uses demo"),
        ("audit/owed.rs", "use crate::domain::plan::plan;", "audit uses domain::plan"),
        ("audit/owed.rs", "use crate::domain::{book::Book, due::window};", "audit uses domain::due"),
        ("audit/owed.rs", "use crate::domain;", "audit uses domain"),
        ("cli.rs", "use crate::store::SqlStore;", "cli uses store"),
        ("main.rs", "use allheard::store::SqlStore;", "main uses store"),
        ("fresh/mod.rs", "use crate::domain::book;", "fresh is in no row of the table"),
        ("domain/due.rs", "use tokio::time::sleep;", "the core uses tokio"),
        ("domain/due.rs", "#[derive(serde::Serialize)]", "the core uses serde"),
        ("domain/due.rs", "fn f() { tracing::info!(\"x\") }", "the core uses tracing"),
        ("domain/due.rs", "use std::{collections::HashMap, fs};", "the core uses std::fs"),
        ("domain/due.rs", "fn f() { let _ = std::env::var(\"X\"); }", "the core uses std::env"),
        ("web/views.rs", "const Q: &str = \"SELECT id FROM message\";", "SQL outside the store"),
        ("web/views.rs", "const Q: &str = r#\"UPDATE \"message\" SET x = 1\"#;", "SQL outside the store"),
    ];
    for (path, text, expected) in cases {
        let found = faults(path, text, &dependencies());
        assert_eq!(found.len(), 1, "{text}: {found:?}");
        assert!(found[0].contains(expected), "{text}: {found:?}");
    }
}

#[test]
fn what_only_looks_like_a_fault_is_none() {
    let cases = [
        ("domain/due.rs", "//! See [`crate::service::ports`].\n/* crate::web /* crate::store */ */"),
        ("domain/due.rs", "const WORDS: &str = \"crate::web and tokio::spawn\"; const C: char = '\"';"),
        ("domain/reading/mod.rs", "use super::book::Book; mod tests { use super::super::due; }"),
        ("domain/due.rs", "pub(crate) fn f<'a>(x: &'a str) -> &'a str { x }"),
        ("domain/due.rs", "mod fs { } use self::fs::x; use std::collections::HashMap; use std::fmt;"),
        ("audit/mod.rs", "use crate::domain::{book::{Book, Row}, layout}; use super::audit;"),
        ("store/sql.rs", "const Q: &str = \"SELECT 1\";"),
        ("web/views.rs", "const WORDS: &str = \"Select all\"; // UPDATE it"),
        ("main.rs", "fn main() { allheard::cli::run() }"),
    ];
    for (path, text) in cases {
        assert_eq!(faults(path, text, &dependencies()), Vec::<String>::new(), "{path}: {text}");
    }
}

/// Every fault of one file; `path` is relative to `src`.
fn faults(path: &str, text: &str, crates: &[String]) -> Vec<String> {
    let (code, literals) = split(text);
    let part = path.split(['/', '.']).next().unwrap_or_default();
    let mut found = Vec::new();
    if part != "lib" {
        found.extend(wrong_arrows(path, part, &code));
    }
    if part == "domain" {
        found.extend(impure(&code, crates).into_iter().map(|what| format!("{path}: the core uses {what}")));
    }
    let sql = literals.iter().find(|text| SQL.iter().any(|start| text.contains(start)));
    if let (Some(sql), true) = (sql, part != "store") {
        found.push(format!("{path}: SQL outside the store: {sql}"));
    }
    found
}

fn wrong_arrows(path: &str, part: &str, code: &str) -> Vec<String> {
    let Some((_, allowed)) = ARROWS.iter().find(|(name, _)| *name == part) else {
        return vec![format!("{path}: {part} is in no row of the table")];
    };
    let known = |name: &str| ARROWS.iter().any(|(part, _)| *part == name);
    let mut found: Vec<String> = from_root(path, code)
        .into_iter()
        .filter(|used| {
            let top = used.split("::").next().unwrap_or_default();
            let named =
                |entry: &&&str| **entry == top || used == **entry || used.starts_with(&format!("{entry}::"));
            known(top) && top != part && !allowed.iter().any(|entry| named(&entry))
        })
        .map(|used| {
            // Where a whole part is closed its name says enough; where one module of it is open, the module counts.
            let open_in_part =
                allowed.iter().any(|entry| entry.starts_with(used.split("::").next().unwrap_or_default()));
            let depth = if open_in_part { 2 } else { 1 };
            let shown: Vec<&str> = used.split("::").take(depth).collect();
            format!("{path}: {part} uses {}", shown.join("::"))
        })
        .collect();
    found.sort();
    found.dedup();
    found
}

/// Paths from the root of the crate that a file names, whichever way it says them.
fn from_root(path: &str, code: &str) -> Vec<String> {
    let mut paths = after(code, "crate");
    paths.extend(after(code, "allheard"));
    // `super` climbs one module for each time; the file's own depth says when it reaches the root.
    let name = path.trim_end_matches(".rs").trim_end_matches("/mod");
    let climb = vec!["super"; name.split('/').count()].join("::");
    paths.extend(after(code, &climb));
    paths
}

/// What of the outside the core uses, each once.
fn impure(code: &str, crates: &[String]) -> Vec<String> {
    let mut found: Vec<String> = crates
        .iter()
        .filter(|name| !CRATES_OF_THE_CORE.contains(&name.as_str()) && !after(code, name).is_empty())
        .cloned()
        .collect();
    let std = after(code, "std").into_iter().filter_map(|path| path.split("::").next().map(str::to_owned));
    found.extend(std.filter(|name| OUTSIDE.contains(&name.as_str())).map(|name| format!("std::{name}")));
    found.sort();
    found.dedup();
    found
}

/// The paths that follow `start::`, a group opened into its members; a path that goes on after `start` elsewhere
/// (`self::start`, `my_start`) does not count.
fn after(code: &str, start: &str) -> Vec<String> {
    let mut paths = Vec::new();
    for (at, _) in code.match_indices(start) {
        let before = code[..at].trim_end();
        let inside = code[..at].chars().next_back().is_some_and(is_word) || before.ends_with("::");
        let rest = code[at + start.len()..].trim_start();
        if let (false, Some(rest)) = (inside, rest.strip_prefix("::")) {
            open(rest.trim_start(), "", &mut paths);
        }
    }
    paths
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// Reads one use tree; gives back what follows it.
fn open<'a>(text: &'a str, prefix: &str, paths: &mut Vec<String>) -> &'a str {
    if let Some(mut rest) = text.strip_prefix('{') {
        loop {
            rest = rest.trim_start().trim_start_matches(',').trim_start();
            if rest.is_empty() || rest.starts_with('}') {
                return rest.get(1..).unwrap_or_default();
            }
            let left = rest.len();
            rest = open(rest, prefix, paths);
            if rest.len() == left {
                // A renaming or a star: nothing more to learn of this member.
                rest = rest.find([',', '}']).map_or("", |at| &rest[at..]);
            }
        }
    }
    let end = text.find(|c| !is_word(c)).unwrap_or(text.len());
    if end == 0 {
        return text;
    }
    let path = if prefix.is_empty() { text[..end].to_owned() } else { format!("{prefix}::{}", &text[..end]) };
    match text[end..].trim_start().strip_prefix("::") {
        Some(more) if more.trim_start().starts_with(|c| is_word(c) || c == '{') => {
            open(more.trim_start(), &path, paths)
        }
        _ => {
            paths.push(path);
            &text[end..]
        }
    }
}

/// Parts a source into its code, with comments and literals left out, and the texts of its literals.
fn split(text: &str) -> (String, Vec<String>) {
    let (mut code, mut literals) = (String::new(), Vec::new());
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let word_before = code.chars().next_back().is_some_and(is_word);
        let length = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if rest.starts_with("/*") {
            comment(rest)
        } else if let (false, Some((inner, length))) = (word_before, raw(rest)) {
            literals.push(inner.to_owned());
            length
        } else if first == '"' {
            let length = quoted(rest);
            literals.push(rest[..length].trim_matches('"').to_owned());
            length
        } else if first == '\'' {
            character(rest)
        } else {
            code.push(first);
            rest = &rest[first.len_utf8()..];
            continue;
        };
        code.push(' ');
        rest = &rest[length..];
    }
    (code, literals)
}

/// Length of a comment that may hold others.
fn comment(text: &str) -> usize {
    let (mut depth, mut at) = (0, 0);
    while at < text.len() {
        let step = &text.as_bytes()[at..];
        if step.starts_with(b"/*") {
            depth += 1;
            at += 2;
        } else if step.starts_with(b"*/") {
            depth -= 1;
            at += 2;
            if depth == 0 {
                return at;
            }
        } else {
            at += 1;
        }
    }
    text.len()
}

/// A raw literal's inside and whole length.
fn raw(text: &str) -> Option<(&str, usize)> {
    let opening = text.strip_prefix('b').unwrap_or(text).strip_prefix('r')?;
    let hashes = opening.len() - opening.trim_start_matches('#').len();
    let inner = opening[hashes..].strip_prefix('"')?;
    let end = format!("\"{}", "#".repeat(hashes));
    let length = inner.find(&end)?;
    Some((&inner[..length], text.len() - inner.len() + length + end.len()))
}

/// Length of an ordinary literal with its quotes.
fn quoted(text: &str) -> usize {
    let mut escaped = false;
    for (at, c) in text.char_indices().skip(1) {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            '"' => return at + 1,
            _ => {}
        }
    }
    text.len()
}

/// Length of a character literal, or of the tick of a lifetime.
fn character(text: &str) -> usize {
    let mut inside = text.char_indices().skip(1);
    let closing = match inside.next() {
        Some((_, '\\')) => text[3..].find('\'').map(|at| at + 3),
        _ => inside.next().filter(|(_, c)| *c == '\'').map(|(at, _)| at),
    };
    closing.map_or(1, |at| at + 1)
}

fn sources() -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let (mut folders, mut files) = (vec![root.clone()], Vec::new());
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                let name = path.strip_prefix(&root).unwrap().to_string_lossy().into_owned();
                files.push((name, fs::read_to_string(&path).unwrap()));
            }
        }
    }
    files.sort();
    files
}

/// Names of the crates in the manifest as code spells them.
fn dependencies() -> Vec<String> {
    let manifest = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml")).unwrap();
    let manifest: toml::Table = manifest.parse().unwrap();
    let tables =
        ["dependencies", "dev-dependencies"].into_iter().filter_map(|name| manifest.get(name)?.as_table());
    tables.flat_map(|table| table.keys().map(|name| name.replace('-', "_"))).collect()
}
