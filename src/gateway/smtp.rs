//! Mail by SMTP over connections of our own, with TCP_NODELAY: the library's pool sets none, and each message then
//! waits 44 ms for the peer's delayed acknowledgement.

use super::mail::{self, Identity};
use super::tls;
pub use crate::service::ports::Protection;
use crate::service::ports::{Content, MailContent, Outcome, Parcel, is_this_host};
use lettre::transport::smtp::authentication::{Credentials, Mechanism};
use lettre::transport::smtp::client::{AsyncSmtpConnection, AsyncTokioStream, Certificate, TlsParameters};
use lettre::transport::smtp::commands::{Data, Mail, Rcpt, Rset};
use lettre::transport::smtp::extension::{ClientId, Extension, MailBodyParameter, MailParameter};
use lettre::{Address, transport::smtp::Error};
use std::future::Future;
use std::pin::Pin;
use std::sync::{Arc, Mutex};
use std::task::{Context, Poll};
use std::time::{Duration, Instant};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;

/// Time for a connection to open.
const CONNECT_SECONDS: u64 = 30;
/// Time for a command to be answered (RFC 5321 4.5.3.2: 5 minutes).
const COMMAND_SECONDS: u64 = 300;
/// Time for the end of the data to be answered (RFC 5321 4.5.3.2.6: 10 minutes).
const END_OF_DATA_SECONDS: u64 = 600;
/// A session idle for so long is not used again.
const IDLE_SECONDS: u64 = 20;
/// Sessions kept open for the next batch.
const KEPT_SESSIONS: usize = 16;

/// A mail server.
#[derive(Debug, Clone)]
pub struct Server {
    /// Host name, also checked against its certificate.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Protection.
    pub protection: Protection,
    /// User and password.
    pub login: Option<(String, String)>,
    /// Certificates (PEM) trusted besides the system's.
    pub trusted: Option<Vec<u8>>,
    /// How we name ourselves.
    pub hello: String,
}

/// Why a mail server cannot be used as configured.
#[derive(Debug, thiserror::Error)]
pub enum SmtpFault {
    /// The certificates cannot be read.
    #[error("the trusted certificates cannot be read: {0}")]
    Certificates(String),
    /// No password goes over an open line to another host.
    #[error("protection 'none' is only for a mail server on this host, without a login; '{0}' is another")]
    Open(String),
}

/// The server closes (RFC 5321 4.2.3): about no mail.
const CLOSING: u16 = 421;
/// More than the server takes (RFC 5321 4.2.3): about this mail.
const TOO_LARGE: u16 = 552;

/// The gateway.
pub struct Smtp {
    server: Server,
    identity: Identity,
    tls: Option<TlsParameters>,
    wrap: Option<Arc<rustls::ClientConfig>>,
    idle: Mutex<Vec<(AsyncSmtpConnection, Instant)>>,
}

/// A mail that was not taken, or not surely.
struct Failure {
    outcome: Outcome,
    /// The library does not say so itself: it marks a connection as broken only in calls that are not used here.
    session: Session,
}

/// A session after a failure.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Session {
    /// In step, ready for the next mail.
    Usable,
    /// Gone or out of step before any data went out.
    LostBefore,
    /// Gone or out of step after data went out.
    LostAfter,
}

impl Smtp {
    /// Checks the configuration; connects to nothing yet.
    pub fn new(server: Server, identity: Identity) -> Result<Smtp, SmtpFault> {
        let local = is_this_host(&server.host);
        if server.protection == Protection::None && (!local || server.login.is_some()) {
            return Err(SmtpFault::Open(server.host));
        }
        let (tls, wrap) = match server.protection {
            Protection::StartTls => (Some(starttls_parameters(&server)?), None),
            Protection::Tls => (
                None,
                Some(Arc::new(
                    tls::client_config(server.trusted.as_deref()).map_err(SmtpFault::Certificates)?,
                )),
            ),
            Protection::None => (None, None),
        };
        Ok(Smtp { server, identity, tls, wrap, idle: Mutex::new(Vec::new()) })
    }

    pub(super) async fn send(&self, parcel: &Parcel) -> Outcome {
        let Content::Mail(content) = &parcel.content else {
            return Outcome::Refused { why: "not a mail".to_owned(), address: false };
        };
        let (mut connection, reused) = match self.kept() {
            Some(connection) => (connection, true),
            None => match self.connect().await {
                Ok(connection) => (connection, false),
                Err(outcome) => return outcome,
            },
        };
        let mut result = self.exchange(&mut connection, parcel, content).await;
        // A kept session may have been closed by the server; before any data that costs nothing but another try.
        if reused && result.as_ref().is_err_and(|f| f.session == Session::LostBefore) {
            connection = match self.connect().await {
                Ok(fresh) => fresh,
                Err(outcome) => return outcome,
            };
            result = self.exchange(&mut connection, parcel, content).await;
        }
        if result.as_ref().map_or_else(|f| f.session == Session::Usable, |()| true) {
            self.keep(connection).await;
        }
        result.map_or_else(|failure| failure.outcome, |()| Outcome::Accepted)
    }

    fn kept(&self) -> Option<AsyncSmtpConnection> {
        let mut idle = self.idle.lock().ok()?;
        while let Some((connection, since)) = idle.pop() {
            if since.elapsed() < Duration::from_secs(IDLE_SECONDS) {
                return Some(connection);
            }
        }
        None
    }

    async fn keep(&self, mut connection: AsyncSmtpConnection) {
        let full = self.idle.lock().map_or(true, |idle| idle.len() >= KEPT_SESSIONS);
        if full {
            let _ = connection.quit().await;
        } else if let Ok(mut idle) = self.idle.lock() {
            idle.push((connection, Instant::now()));
        }
    }

    /// Opens a session: TCP with TCP_NODELAY, TLS as configured, login.
    async fn connect(&self) -> Result<AsyncSmtpConnection, Outcome> {
        let hello = ClientId::Domain(self.server.hello.clone());
        let socket = limit(CONNECT_SECONDS, dial(&self.server.host, self.server.port)).await?;
        let stream: Box<dyn AsyncTokioStream> = match &self.wrap {
            None => Box::new(socket),
            Some(config) => {
                Box::new(limit(CONNECT_SECONDS, wrapped(socket, &self.server.host, config.clone())).await?)
            }
        };
        let opening = AsyncSmtpConnection::connect_with_transport(stream, &hello);
        let mut connection = limit(COMMAND_SECONDS, async { opening.await.map_err(|e| early(&e)) }).await?;
        if let Some(tls) = &self.tls {
            if !connection.can_starttls() {
                return Err(Outcome::Unusable { why: "the mail server offers no STARTTLS".to_owned() });
            }
            let upgrade = connection.starttls(tls.clone(), &hello);
            limit(COMMAND_SECONDS, async { upgrade.await.map_err(|e| unusable("TLS failed", &e)) }).await?;
        }
        if let Some((user, password)) = &self.server.login {
            let login = Credentials::new(user.clone(), password.clone());
            let mechanisms = [Mechanism::Plain, Mechanism::Login];
            let auth = connection.auth(&mechanisms, &login);
            limit(COMMAND_SECONDS, async { auth.await.map(|_| ()).map_err(|e| login_failed(&e)) }).await?;
        }
        Ok(connection)
    }

    async fn exchange(
        &self,
        connection: &mut AsyncSmtpConnection,
        parcel: &Parcel,
        content: &MailContent,
    ) -> Result<(), Failure> {
        let refused = |why: String| Failure {
            outcome: Outcome::Refused { why, address: true },
            session: Session::Usable,
        };
        let message =
            mail::build(parcel, content, &self.identity).map_err(|fault| refused(fault.to_string()))?;
        let to: Address = parcel.to.parse().map_err(|_| refused("not a mail address".to_owned()))?;
        let mut parameters = Vec::new();
        if connection.server_info().supports_feature(Extension::EightBitMime) {
            parameters.push(MailParameter::Body(MailBodyParameter::EightBitMime));
        }
        if !parcel.to.is_ascii() {
            if !connection.server_info().supports_feature(Extension::SmtpUtfEight) {
                return Err(refused("the mail server takes no such address (no SMTPUTF8)".to_owned()));
            }
            parameters.push(MailParameter::SmtpUtfEight);
        }
        let steps = async {
            let from = Mail::new(Some(self.identity.bounces.clone()), parameters);
            connection.command(from).await.map_err(|e| (e, Step::From))?;
            connection.command(Rcpt::new(to, vec![])).await.map_err(|e| (e, Step::To))?;
            connection.command(Data).await.map_err(|e| (e, Step::Data))?;
            Ok(())
        };
        let failed = match tokio::time::timeout(Duration::from_secs(COMMAND_SECONDS), steps).await {
            Ok(Ok(())) => None,
            Ok(Err((error, step))) => Some((refusal(&error, step), error.status().is_some())),
            Err(_) => Some((late(), false)),
        };
        if let Some((outcome, answered)) = failed {
            // A refused recipient leaves the session usable for the next mail, if the server is still in step.
            let session =
                if answered && reset(connection).await { Session::Usable } else { Session::LostBefore };
            return Err(Failure { outcome, session });
        }
        let body = message.formatted();
        let sending = connection.message(&body);
        let lost = |why: &str| Failure { outcome: uncertain(why), session: Session::LostAfter };
        match tokio::time::timeout(Duration::from_secs(END_OF_DATA_SECONDS), sending).await {
            Ok(Ok(_)) => Ok(()),
            Ok(Err(error)) if error.is_transient() || error.is_permanent() => {
                Err(Failure { outcome: refusal(&error, Step::Data), session: Session::Usable })
            }
            Ok(Err(_)) => Err(lost("the connection broke at the end of the data")),
            Err(_) => Err(lost("no answer to the end of the data")),
        }
    }
}

/// Drops a transaction that failed half-way; false if the server does not answer to that.
async fn reset(connection: &mut AsyncSmtpConnection) -> bool {
    let answer = tokio::time::timeout(Duration::from_secs(COMMAND_SECONDS), connection.command(Rset)).await;
    matches!(answer, Ok(Ok(_)))
}

/// Where in a mail an answer came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    /// MAIL FROM: about us.
    From,
    /// RCPT TO: about the recipient, unless it says otherwise.
    To,
    /// DATA and its end: about the content, or about us.
    Data,
}

/// Out of time before any data: the server's trouble, and no message's.
fn late() -> Outcome {
    Outcome::Unusable { why: "the mail server did not answer in time".to_owned() }
}

fn uncertain(why: &str) -> Outcome {
    Outcome::Uncertain { why: why.to_owned() }
}

/// Bounds a step that comes before any mail was offered; running out of time is the server's trouble.
async fn limit<T>(seconds: u64, step: impl Future<Output = Result<T, Outcome>>) -> Result<T, Outcome> {
    tokio::time::timeout(Duration::from_secs(seconds), step).await.unwrap_or_else(|_| Err(late()))
}

/// A TCP connection with TCP_NODELAY set.
///
/// # Errors
/// The server cannot be used at this moment: nothing has been said yet.
pub async fn dial(host: &str, port: u16) -> Result<TcpStream, Outcome> {
    let unreached = |error: std::io::Error| Outcome::Unusable {
        why: format!("the mail server cannot be reached: {}", error.kind()),
    };
    let socket = TcpStream::connect((host, port)).await.map_err(unreached)?;
    socket.set_nodelay(true).map_err(unreached)?;
    Ok(socket)
}

/// A failure before any mail was offered.
fn early(error: &Error) -> Outcome {
    match error.status() {
        Some(code) if error.is_permanent() => {
            Outcome::Unusable { why: format!("the mail server refuses us ({code})") }
        }
        Some(code) => Outcome::Unusable { why: format!("the mail server takes nothing now ({code})") },
        None => Outcome::Unusable { why: "the connection failed".to_owned() },
    }
}

fn unusable(what: &str, error: &Error) -> Outcome {
    let why = error.status().map_or_else(|| what.to_owned(), |code| format!("{what} ({code})"));
    Outcome::Unusable { why }
}

fn login_failed(error: &Error) -> Outcome {
    if error.is_permanent() || error.is_client() { unusable("login failed", error) } else { early(error) }
}

/// What an answer to a mail command means. Any failure at MAIL is about us. At RCPT a permanent refusal of class 5.1 or 5.2
/// (RFC 3463), or without a class by code 550, 551 or 553 (RFC 5321 4.2.3), is about the address. Policy (5.7) and routes
/// (5.4), and a refusal of the data without a class of the message's own (5.2 for a full mailbox, 5.3.4 and 5.6 for size
/// and content), may be about us.
fn refusal(error: &Error, step: Step) -> Outcome {
    let Some(code) = error.status() else {
        return Outcome::Unusable { why: "the connection failed".to_owned() };
    };
    let text = error.to_string();
    let code = u16::from(code);
    if step == Step::From || code == CLOSING {
        return Outcome::Unusable { why: format!("the mail server takes nothing from us ({code})") };
    }
    if error.is_transient() {
        return Outcome::Temporary { why: format!("not now ({code})"), after_seconds: None };
    }
    let class = class(&text, code);
    let why = format!("refused ({code})");
    let own = match (step, class) {
        (Step::To, None) => true,
        (Step::To, Some((subject, _))) => !matches!(subject, 4 | 7),
        (_, Some((subject, detail))) => matches!(subject, 1 | 2 | 6) || (subject, detail) == (3, 4),
        (_, None) => code == TOO_LARGE,
    };
    if !own {
        return Outcome::Suspect { why };
    }
    let by_code = matches!(code, 550 | 551 | 553);
    let address = step == Step::To && class.map_or(by_code, |(subject, _)| matches!(subject, 1 | 2));
    Outcome::Refused { why, address }
}

/// The subject and detail of an enhanced status code (RFC 2034 4: it stands right behind the reply code; digits anywhere
/// else, such as in an address, are none).
fn class(text: &str, code: u16) -> Option<(u16, u16)> {
    let code = code.to_string();
    // The library writes the lines of an answer without their reply code, or with it.
    let line = text.split(['(', '\n', ':']).map(|part| part.trim().trim_start_matches(code.as_str()));
    line.filter_map(|part| {
        let word = part.trim_start_matches(['-', ' ']).split_whitespace().next()?;
        let mut parts = word.split('.');
        let (first, subject, detail) = (parts.next()?, parts.next()?, parts.next()?);
        let rest = parts.next();
        let known = matches!(first, "4" | "5") && rest.is_none() && subject.len() <= 3 && detail.len() <= 3;
        known.then(|| Some((subject.parse().ok()?, detail.parse().ok()?)))?
    })
    .next()
}

fn starttls_parameters(server: &Server) -> Result<TlsParameters, SmtpFault> {
    let broken = |error: Error| SmtpFault::Certificates(error.to_string());
    let mut builder = TlsParameters::builder(server.host.clone());
    if let Some(pem) = &server.trusted {
        builder = builder.add_root_certificate(Certificate::from_pem(pem).map_err(broken)?);
    }
    builder.build_rustls().map_err(broken)
}

async fn wrapped(
    socket: TcpStream,
    host: &str,
    config: Arc<rustls::ClientConfig>,
) -> Result<Wrapped, Outcome> {
    let broken = |why: String| Outcome::Unusable { why };
    let name = rustls::pki_types::ServerName::try_from(host.to_owned()).map_err(|e| broken(e.to_string()))?;
    let stream = tokio_rustls::TlsConnector::from(config).connect(name, socket).await;
    Ok(Wrapped(stream.map_err(|error| broken(format!("TLS failed: {}", error.kind())))?))
}

/// A TLS stream the mail library can talk over.
#[derive(Debug)]
struct Wrapped(tokio_rustls::client::TlsStream<TcpStream>);

impl AsyncTokioStream for Wrapped {
    fn peer_addr(&self) -> std::io::Result<std::net::SocketAddr> {
        self.0.get_ref().0.peer_addr()
    }
}

impl AsyncRead for Wrapped {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<std::io::Result<()>> {
        Pin::new(&mut self.0).poll_read(cx, buf)
    }
}

impl AsyncWrite for Wrapped {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &[u8],
    ) -> Poll<std::io::Result<usize>> {
        Pin::new(&mut self.0).poll_write(cx, buf)
    }
    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<std::io::Result<()>> {
        Pin::new(&mut self.0).poll_flush(cx)
    }
    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<std::io::Result<()>> {
        Pin::new(&mut self.0).poll_shutdown(cx)
    }
}
