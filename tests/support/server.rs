//! A mail server in the test itself (RFC 5321, as much as a client needs) that answers what it is told to answer.

use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use std::path::Path;
use std::sync::{Arc, Mutex};
use tokio::io::{AsyncBufReadExt as _, AsyncRead, AsyncWrite, AsyncWriteExt as _, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio_rustls::TlsAcceptor;

/// When the server closes the connection without a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HangUp {
    Never,
    /// In place of the answer to a recipient.
    AtRecipient,
    /// After it has the whole message, in place of the answer.
    AfterData,
    /// After so many messages, each answered.
    AfterMessages(usize),
}

/// What the server says.
#[derive(Clone)]
pub struct Script {
    pub greeting: &'static str,
    pub tls: Option<Tls>,
    pub login: &'static str,
    pub mail: &'static str,
    pub recipient: &'static str,
    pub data: &'static str,
    pub end: &'static str,
    pub hang_up: HangUp,
    /// Answered instead to the first command of a second message in one session.
    pub second: Option<&'static str>,
    /// How long it takes over a message before it answers.
    pub pause: std::time::Duration,
}

/// How the server does TLS.
#[derive(Clone)]
pub enum Tls {
    /// Offered by STARTTLS.
    Offered(TlsAcceptor),
    /// From the first byte.
    AtOnce(TlsAcceptor),
}

impl Default for Script {
    fn default() -> Script {
        Script {
            greeting: "220 mail.example.test ready",
            tls: None,
            login: "235 2.7.0 welcome",
            mail: "250 2.1.0 fine",
            recipient: "250 2.1.5 fine",
            data: "354 go on",
            end: "250 2.0.0 kept",
            hang_up: HangUp::Never,
            second: None,
            pause: std::time::Duration::ZERO,
        }
    }
}

/// What the server saw.
#[derive(Debug, Clone, Default)]
pub struct Seen {
    pub sessions: usize,
    /// Command lines of all sessions; the secret of a login is left out.
    pub commands: Vec<String>,
    pub messages: Vec<String>,
    /// Messages that came through TLS.
    pub encrypted: usize,
    /// Messages it has and has not answered yet.
    pub open: usize,
}

/// The server; it ends with the test's runtime.
pub struct MailServer {
    pub port: u16,
    seen: Arc<Mutex<Seen>>,
}

impl MailServer {
    pub async fn start(script: Script) -> MailServer {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let seen = Arc::new(Mutex::new(Seen::default()));
        let log = seen.clone();
        tokio::spawn(async move {
            while let Ok((socket, _)) = listener.accept().await {
                log.lock().unwrap().sessions += 1;
                let (script, log) = (script.clone(), log.clone());
                // A client that goes away ends its session and nothing else.
                tokio::spawn(async move {
                    let _ = session(socket, script, log).await;
                });
            }
        });
        MailServer { port, seen }
    }

    /// How many messages it has been given.
    pub fn count(&self) -> usize {
        self.seen.lock().unwrap().messages.len()
    }

    /// What it has seen so far, as a copy.
    pub fn seen(&self) -> Seen {
        self.seen.lock().unwrap().clone()
    }
}

/// TLS with the certificate of a folder made by `tests/peers/certificate`.
pub fn acceptor(folder: &Path) -> TlsAcceptor {
    let chain = CertificateDer::pem_file_iter(folder.join("cert.pem")).unwrap();
    let key = PrivateKeyDer::from_pem_file(folder.join("key.pem")).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = rustls::ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(chain.map(Result::unwrap).collect(), key)
        .unwrap();
    TlsAcceptor::from(Arc::new(config))
}

trait Wire: AsyncRead + AsyncWrite + Send + Unpin {}
impl<T: AsyncRead + AsyncWrite + Send + Unpin> Wire for T {}

type Line = BufReader<Box<dyn Wire>>;

async fn session(socket: TcpStream, script: Script, log: Arc<Mutex<Seen>>) -> std::io::Result<()> {
    let (wire, mut encrypted): (Box<dyn Wire>, bool) = match &script.tls {
        Some(Tls::AtOnce(tls)) => (Box::new(tls.accept(socket).await?), true),
        _ => (Box::new(socket), false),
    };
    let mut line = BufReader::new(wire);
    say(&mut line, script.greeting).await?;
    let mut messages = 0;
    loop {
        let command = hear(&mut line).await?;
        let verb = command.split([' ', ':']).next().unwrap_or_default().to_ascii_uppercase();
        log.lock().unwrap().commands.push(if verb == "AUTH" { verb.clone() } else { command.clone() });
        match verb.as_str() {
            "EHLO" => say(&mut line, &greeting_again(&script, encrypted)).await?,
            "STARTTLS" => {
                let Some(Tls::Offered(tls)) = &script.tls else { return Ok(()) };
                say(&mut line, "220 2.0.0 go ahead").await?;
                line = BufReader::new(Box::new(tls.accept(line.into_inner()).await?));
                encrypted = true;
            }
            "AUTH" => say(&mut line, script.login).await?,
            "MAIL" => match script.second {
                Some(answer) if messages > 0 => {
                    say(&mut line, answer).await?;
                    return Ok(());
                }
                _ => say(&mut line, script.mail).await?,
            },
            "RCPT" if script.hang_up == HangUp::AtRecipient => return Ok(()),
            "RCPT" => say(&mut line, script.recipient).await?,
            "DATA" if !script.data.starts_with('3') => say(&mut line, script.data).await?,
            "DATA" => {
                say(&mut line, script.data).await?;
                let message = message(&mut line).await?;
                messages += 1;
                {
                    let mut seen = log.lock().unwrap();
                    seen.messages.push(message);
                    seen.encrypted += usize::from(encrypted);
                }
                log.lock().unwrap().open += 1;
                tokio::time::sleep(script.pause).await;
                log.lock().unwrap().open -= 1;
                if script.hang_up == HangUp::AfterData {
                    return Ok(());
                }
                say(&mut line, script.end).await?;
                if script.hang_up == HangUp::AfterMessages(messages) {
                    return Ok(());
                }
            }
            "RSET" | "NOOP" => say(&mut line, "250 2.0.0 fine").await?,
            "QUIT" => return say(&mut line, "221 2.0.0 goodbye").await,
            _ => say(&mut line, "500 5.5.1 no such command").await?,
        }
    }
}

fn greeting_again(script: &Script, encrypted: bool) -> String {
    let mut lines = vec!["mail.example.test", "8BITMIME", "ENHANCEDSTATUSCODES"];
    if matches!(script.tls, Some(Tls::Offered(_))) && !encrypted {
        lines.push("STARTTLS");
    }
    if encrypted {
        lines.push("AUTH PLAIN LOGIN");
    }
    let last = lines.len() - 1;
    let all: Vec<String> = lines
        .iter()
        .enumerate()
        .map(|(at, text)| format!("250{}{text}", if at == last { ' ' } else { '-' }))
        .collect();
    all.join("\r\n")
}

async fn say(line: &mut Line, text: &str) -> std::io::Result<()> {
    line.write_all(format!("{text}\r\n").as_bytes()).await?;
    line.flush().await
}

async fn hear(line: &mut Line) -> std::io::Result<String> {
    let mut text = String::new();
    if line.read_line(&mut text).await? == 0 {
        return Err(std::io::ErrorKind::UnexpectedEof.into());
    }
    Ok(text.trim_end_matches(['\r', '\n']).to_owned())
}

/// A message up to the lone dot, with the doubled dots undone (RFC 5321 4.5.2).
async fn message(line: &mut Line) -> std::io::Result<String> {
    let mut whole = String::new();
    loop {
        let text = hear(line).await?;
        if text == "." {
            return Ok(whole);
        }
        whole.push_str(text.strip_prefix('.').unwrap_or(&text));
        whole.push_str("\r\n");
    }
}
