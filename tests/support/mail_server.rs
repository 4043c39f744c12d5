//! A whole mail server on loopback: Postfix takes mail, Dovecot keeps it and shows it by IMAP.

use super::office::server;
use super::peers::{free_port, here, run};
use allheard::gateway::smtp::{Protection, Server};
use std::collections::BTreeSet;
use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::Command;
use tempfile::TempDir;

/// Any name may log in with it.
pub const PASSWORD: &str = "of this test only";

/// Postfix and Dovecot with a mailbox for each address; stopped whatever happens.
pub struct Servers {
    pub folder: TempDir,
    pub smtp: u16,
    pub imap: u16,
    lmtp: u16,
    login: u16,
}

impl Servers {
    pub fn start(recipients: &BTreeSet<String>) -> Servers {
        let folder = tempfile::Builder::new().prefix("mail").tempdir().unwrap();
        fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).unwrap();
        let lines: String = recipients.iter().map(|address| format!("{address}\n")).collect();
        fs::write(folder.path().join("recipients"), lines).unwrap();
        fs::write(folder.path().join("password"), PASSWORD.replace(' ', "-")).unwrap();
        let servers =
            Servers { folder, smtp: free_port(), imap: free_port(), lmtp: free_port(), login: free_port() };
        servers.again();
        servers
    }

    /// Starts them, also after they were stopped.
    pub fn again(&self) {
        let mut start = self.script("start");
        start.env("SMTP", self.smtp.to_string()).env("IMAP", self.imap.to_string());
        run(start.env("LMTP", self.lmtp.to_string()).env("LOGIN", self.login.to_string()));
    }

    fn script(&self, what: &str) -> Command {
        let mut command = Command::new(here("tests/peers/mail-server"));
        command.arg(what).arg(self.folder.path());
        command
    }

    pub fn client(&self) -> Server {
        Server {
            login: Some(("season".to_owned(), PASSWORD.replace(' ', "-"))),
            trusted: Some(fs::read(self.folder.path().join("ca.pem")).unwrap()),
            ..server(self.smtp, Protection::StartTls)
        }
    }

    /// Stops them; what lies in mailboxes stays.
    pub fn stop(&self) {
        run(&mut self.script("stop"));
    }

    /// Messages that lie in mailboxes, unread.
    pub fn delivered(&self) -> usize {
        fn count(folder: &Path, inside: bool) -> usize {
            fs::read_dir(folder)
                .into_iter()
                .flatten()
                .flatten()
                .map(|entry| {
                    let path = entry.path();
                    if path.is_dir() { count(&path, path.ends_with("mail/new")) } else { usize::from(inside) }
                })
                .sum()
        }
        count(&self.folder.path().join("boxes"), false)
    }
}

impl Drop for Servers {
    fn drop(&mut self) {
        let _ = self.script("stop").status();
    }
}
