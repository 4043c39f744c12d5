//! The journal of attempts that lies in the data folder beside the database: one line an attempt, written and synced before the
//! message leaves. A copy of the database does not take it along, so a database put back from a copy is found out.
//!
//! It holds keys, numbers and instants, never a name, an address or a word.

use crate::service::ports::{Journal, Lost};
use jiff::Timestamp;
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// What the name of a journal begins and ends with.
const NAME: (&str, &str) = ("attempts-", ".journal");

/// A journal in a folder.
pub struct FolderJournal {
    /// Its name in the database.
    pub id: String,
    file: Mutex<File>,
}

/// The journals of a folder with what they hold; a last line that was cut short counts for nothing.
pub fn found(folder: &Path) -> io::Result<Vec<(String, Vec<Lost>)>> {
    let mut out = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        let Some(id) = id_of(&path) else { continue };
        let mut attempts = Vec::new();
        for line in BufReader::new(File::open(&path)?).lines() {
            let line = line?;
            let mut words = line.split(' ');
            let (key, number, at) = (words.next(), words.next(), words.next());
            let (Some(key), Some(Ok(number)), Some(_)) = (key, number.map(str::parse), at) else { continue };
            attempts.push(Lost { key: key.to_owned(), number });
        }
        out.push((id, attempts));
    }
    out.sort();
    Ok(out)
}

fn id_of(path: &Path) -> Option<String> {
    let name = path.file_name()?.to_str()?;
    Some(name.strip_prefix(NAME.0)?.strip_suffix(NAME.1)?.to_owned())
}

impl FolderJournal {
    /// Opens the journal of an id, or begins it.
    pub fn open(folder: &Path, id: &str) -> io::Result<FolderJournal> {
        let path: PathBuf = folder.join(format!("{}{id}{}", NAME.0, NAME.1));
        let file = OpenOptions::new().create(true).append(true).open(&path)?;
        // The line that was cut short by a crash is closed, so that the next stands by itself.
        let mut journal = FolderJournal { id: id.to_owned(), file: Mutex::new(file) };
        journal.file.get_mut().map_err(|_| io::Error::other("locked"))?.write_all(b"\n")?;
        File::open(folder)?.sync_all()?;
        Ok(journal)
    }
}

impl Journal for FolderJournal {
    fn begun(&self, attempts: &[Lost], at: Timestamp) -> Result<(), String> {
        let mut lines = String::with_capacity(attempts.len() * 64);
        for one in attempts {
            lines.push_str(&format!("{} {} {}\n", one.key, one.number, at.as_millisecond()));
        }
        let mut file = self.file.lock().map_err(|_| "the journal is locked".to_owned())?;
        file.write_all(lines.as_bytes()).and_then(|()| file.sync_data()).map_err(|fault| fault.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_begun_is_found_again_and_a_torn_line_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let journal = FolderJournal::open(folder.path(), "a1").unwrap();
        let some = [Lost { key: "k1".to_owned(), number: 1 }, Lost { key: "k2".to_owned(), number: 3 }];
        journal.begun(&some, Timestamp::UNIX_EPOCH).unwrap();
        journal.file.lock().unwrap().write_all(b"k3 1").unwrap();
        drop(journal);
        let again = FolderJournal::open(folder.path(), "a1").unwrap();
        again.begun(&some[..1], Timestamp::UNIX_EPOCH).unwrap();
        let found = found(folder.path()).unwrap();
        assert_eq!(found, [("a1".to_owned(), vec![some[0].clone(), some[1].clone(), some[0].clone()])]);
    }
}
