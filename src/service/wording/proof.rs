//! Proves the templates of a language before any is trusted.

use std::collections::BTreeSet;

use minijinja::ErrorKind;

use super::tongue::{BETWEEN_WORDINGS, Tongue, cure};
use super::{Fault, names};
use crate::domain::segments;
use crate::service::digest::DigestKind;
use crate::service::letter::{Letter, LetterKind};
use crate::service::reply::ReplyKind;
use crate::service::samples;

impl Tongue {
    /// Looks for unknown words, then renders everything with every sample.
    pub fn prove(&self, faults: &mut Vec<Fault>) {
        let before = faults.len();
        self.prove_words(faults);
        if faults.len() > before {
            return;
        }
        for (kind, (name, mut letter)) in LetterKind::ALL
            .into_iter()
            .flat_map(|kind| samples::samples(kind).into_iter().map(move |sample| (kind, sample)))
        {
            letter.language.clone_from(&self.words.tag);
            self.prove_sample(kind, name, &letter, faults);
        }
        for kind in ReplyKind::ALL {
            self.prove_reply(kind, faults);
        }
        for kind in DigestKind::ALL {
            self.prove_digest(kind, faults);
        }
    }

    /// A digest's text has one segment whatever it says, and its mail a subject.
    fn prove_digest(&self, kind: DigestKind, faults: &mut Vec<Fault>) {
        for digest in samples::digests() {
            let all: Result<Vec<_>, _> = self.digest_wordings(kind, &digest).collect();
            let file = |name: &str| self.label(&format!("{}/{name}", kind.folder()));
            match all.and_then(|_| self.digest_text(kind, &digest)) {
                Ok(text) if text.is_empty() || segments::count(&text).segments.len() > 1 => {
                    faults.push(Fault {
                        file: file("text.txt"),
                        line: 1,
                        reason: format!(
                            "No wording of this list fits one segment; the shortest is {text:?}."
                        ),
                        cure: format!("Add a shorter wording at the end, after a line {BETWEEN_WORDINGS}."),
                    })
                }
                Ok(_) => {}
                Err(fault) => faults.push(fault),
            }
            match self.digest_mail(kind, &digest) {
                Ok((subject, _)) if subject.is_empty() => faults.push(Fault {
                    file: file("subject.txt"),
                    line: 1,
                    reason: "The subject of this list is empty.".to_owned(),
                    cure: "Write at least one word outside any condition.".to_owned(),
                }),
                Ok(_) => {}
                Err(fault) => faults.push(fault),
            }
        }
    }

    /// A reply has one segment whatever it is about.
    fn prove_reply(&self, kind: ReplyKind, faults: &mut Vec<Fault>) {
        for reply in samples::replies() {
            let all: Result<Vec<_>, _> = self.reply_wordings(kind, &reply).collect();
            match all.and_then(|_| self.reply(kind, &reply)) {
                Ok(text) if text.is_empty() || segments::count(&text).segments.len() > 1 => {
                    faults.push(Fault {
                        file: self.label(kind.file()),
                        line: 1,
                        reason: format!(
                            "No wording of this reply fits one segment; the shortest is {text:?}."
                        ),
                        cure: format!("Add a shorter wording at the end, after a line {BETWEEN_WORDINGS}."),
                    })
                }
                Ok(_) => {}
                Err(fault) => faults.push(fault),
            }
        }
    }

    fn prove_words(&self, faults: &mut Vec<Fault>) {
        let mut fields = BTreeSet::new();
        for kind in LetterKind::ALL {
            for (_, letter) in samples::samples(kind) {
                let both = serde_json::json!({ "letter": letter, "words": *self.words });
                names::fields(&both, &mut fields);
            }
        }
        for reply in samples::replies() {
            names::fields(&serde_json::json!({ "reply": reply }), &mut fields);
        }
        for digest in samples::digests() {
            names::fields(&serde_json::json!({ "digest": digest }), &mut fields);
        }
        let globals: Vec<String> = self.env.globals().map(|(name, _)| name.to_owned()).collect();
        for (name, template) in self.env.templates() {
            for (filter, line) in names::filters(template.source()) {
                if self.lacks_filter(&filter) {
                    faults.push(Fault {
                        file: self.label(name),
                        line,
                        reason: format!("There is no filter called {filter:?}."),
                        cure: cure(ErrorKind::UnknownFilter).to_owned(),
                    });
                }
            }
            for (word, line) in names::unknown(&template, &fields, &globals) {
                faults.push(Fault {
                    file: self.label(name),
                    line,
                    reason: format!("Nothing in a letter is called {word:?}."),
                    cure: "Correct its spelling; the templates that came with the program show every name."
                        .to_owned(),
                });
            }
        }
    }

    /// The engine looks for a filter only where a branch is taken, and has no list of its filters to ask.
    fn lacks_filter(&self, filter: &str) -> bool {
        let tried = self.env.render_str(&format!("{{{{ ''|{filter} }}}}"), ());
        tried.is_err_and(|error| error.kind() == ErrorKind::UnknownFilter)
    }

    fn prove_sample(&self, kind: LetterKind, name: &str, letter: &Letter, faults: &mut Vec<Fault>) {
        // Every wording is rendered, also those after the first that fits.
        let all: Result<Vec<_>, _> = self.wordings(letter).collect();
        match all.and_then(|_| self.text(letter, false)) {
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
}
