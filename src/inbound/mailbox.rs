//! A mailbox looked into by IMAP: what lies in it is handed on, and moved away when it has been taken in.
//!
//! Standards: RFC 3501 (IMAP), RFC 2177 (IDLE), RFC 6851 (MOVE), RFC 2595 (STARTTLS). Nothing depends on identifiers of the
//! server that may change: a mail that is met again is known by its own.

pub use crate::service::ports::Protection;
use async_imap::extensions::idle::IdleResponse;
use async_imap::{Client, Session};
use futures_util::TryStreamExt as _;
use rustls::pki_types::ServerName;
use std::future::Future;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tokio_util::sync::CancellationToken;

/// How long connecting, or one command, may take, seconds.
const COMMAND_SECONDS: u64 = 60;
/// IDLE is begun again before a server may take it for dead (RFC 2177: 29 minutes), seconds.
const IDLE_SECONDS: u64 = 25 * 60;
/// The first wait after a failure, and the longest, seconds.
const WAIT_SECONDS: u64 = 1;
const WAIT_SECONDS_MAX: u64 = 300;
/// How long to wait after a login was refused, seconds: trying faster locks accounts.
const REFUSED_SECONDS: u64 = 900;
/// Mails fetched in one go.
const AT_ONCE: usize = 50;

/// Where the mailbox is.
#[derive(Clone)]
pub struct Mailbox {
    /// Host name, also checked against its certificate.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Protection.
    pub protection: Protection,
    /// User and password.
    pub login: (String, String),
    /// Whom to trust.
    pub tls: Arc<rustls::ClientConfig>,
    /// Folder that is looked into.
    pub folder: String,
    /// Folder for what has been taken in.
    pub processed: String,
    /// How often to look where the server cannot tell by itself.
    pub poll: Duration,
}

/// What went wrong with a session.
#[derive(Debug, thiserror::Error)]
pub enum Broken {
    /// The connection, or the protocol.
    #[error("{0}")]
    Connection(String),
    /// The login was refused.
    #[error("the server refused the login")]
    Refused,
    /// What was fetched could not be taken in; it stays where it is.
    #[error("what came in could not be taken in")]
    NotTaken,
}

impl From<async_imap::error::Error> for Broken {
    fn from(error: async_imap::error::Error) -> Self {
        Broken::Connection(error.to_string())
    }
}

impl From<std::io::Error> for Broken {
    fn from(error: std::io::Error) -> Self {
        Broken::Connection(error.kind().to_string())
    }
}

trait Stream: AsyncRead + AsyncWrite + Unpin + Send + std::fmt::Debug {}
impl<T: AsyncRead + AsyncWrite + Unpin + Send + std::fmt::Debug> Stream for T {}

type Line = Box<dyn Stream>;

/// Looks into a mailbox until told to stop. `take` gives back whether a mail may be moved away.
pub async fn watch<F, T>(mailbox: &Mailbox, take: F, stop: &CancellationToken)
where
    F: Fn(Vec<u8>) -> T + Send + Sync,
    T: Future<Output = bool> + Send,
{
    let mut wait = WAIT_SECONDS;
    while !stop.is_cancelled() {
        let ended = tokio::select! {
            ended = session(mailbox, &take, &mut wait) => ended,
            () = stop.cancelled() => return,
        };
        let Err(broken) = ended else { continue };
        let rest = match broken {
            Broken::Refused => REFUSED_SECONDS,
            Broken::Connection(_) | Broken::NotTaken => wait,
        };
        tracing::warn!(%broken, seconds = rest, "the mailbox is looked into again later");
        wait = (wait * 2).min(WAIT_SECONDS_MAX);
        tokio::select! {
            () = tokio::time::sleep(Duration::from_secs(rest)) => {}
            () = stop.cancelled() => return,
        }
    }
}

async fn in_time<T, E: Into<Broken>>(what: impl Future<Output = Result<T, E>>) -> Result<T, Broken> {
    match tokio::time::timeout(Duration::from_secs(COMMAND_SECONDS), what).await {
        Ok(done) => done.map_err(Into::into),
        Err(_) => Err(Broken::Connection("no answer in time".to_owned())),
    }
}

async fn connect(mailbox: &Mailbox) -> Result<Session<Line>, Broken> {
    let tcp = in_time(TcpStream::connect((mailbox.host.as_str(), mailbox.port))).await?;
    let name = || {
        ServerName::try_from(mailbox.host.clone())
            .map_err(|_| Broken::Connection("the host has no valid name".to_owned()))
    };
    let secured = async |tcp: TcpStream| -> Result<Line, Broken> {
        let tls = in_time(TlsConnector::from(mailbox.tls.clone()).connect(name()?, tcp)).await?;
        let line: Line = Box::new(tls);
        Ok(line)
    };
    let (line, greeted): (Line, bool) = match mailbox.protection {
        Protection::None => (Box::new(tcp), false),
        Protection::Tls => (secured(tcp).await?, false),
        Protection::StartTls => {
            let mut plain = Client::new(tcp);
            in_time(plain.read_response())
                .await?
                .ok_or_else(|| Broken::Connection("no greeting".to_owned()))?;
            in_time(plain.run_command_and_check_ok("STARTTLS", None)).await?;
            (secured(plain.into_inner()).await?, true)
        }
    };
    let mut client = Client::new(line);
    if !greeted {
        in_time(client.read_response()).await?.ok_or_else(|| Broken::Connection("no greeting".to_owned()))?;
    }
    let (user, password) = &mailbox.login;
    match tokio::time::timeout(Duration::from_secs(COMMAND_SECONDS), client.login(user, password)).await {
        Ok(Ok(session)) => Ok(session),
        Ok(Err((async_imap::error::Error::No(_), _))) => Err(Broken::Refused),
        Ok(Err((error, _))) => Err(error.into()),
        Err(_) => Err(Broken::Connection("no answer in time".to_owned())),
    }
}

/// One session, until it breaks: takes in what is there, then waits for more.
async fn session<F, T>(mailbox: &Mailbox, take: &F, wait: &mut u64) -> Result<(), Broken>
where
    F: Fn(Vec<u8>) -> T + Send + Sync,
    T: Future<Output = bool> + Send,
{
    let mut session = connect(mailbox).await?;
    let capabilities = in_time(session.capabilities()).await?;
    let (idle, moves) = (capabilities.has_str("IDLE"), capabilities.has_str("MOVE"));
    // It may be there already, which is as good.
    let _ = in_time(session.create(&mailbox.processed)).await;
    in_time(session.select(&mailbox.folder)).await?;
    loop {
        empty(&mut session, mailbox, take, moves).await?;
        *wait = WAIT_SECONDS;
        if !idle {
            tokio::time::sleep(mailbox.poll).await;
            in_time(session.noop()).await?;
            continue;
        }
        let mut waiting = session.idle();
        in_time(waiting.init()).await?;
        let length = Duration::from_secs(IDLE_SECONDS).min(mailbox.poll.max(Duration::from_secs(1)));
        let (until, _interrupt) = waiting.wait_with_timeout(length);
        let woken = until.await?;
        session = in_time(waiting.done()).await?;
        if matches!(woken, IdleResponse::ManualInterrupt) {
            return Ok(());
        }
    }
}

/// Takes in everything in the folder and moves it away.
async fn empty<F, T>(
    session: &mut Session<Line>,
    mailbox: &Mailbox,
    take: &F,
    moves: bool,
) -> Result<(), Broken>
where
    F: Fn(Vec<u8>) -> T + Send + Sync,
    T: Future<Output = bool> + Send,
{
    loop {
        let mut uids: Vec<u32> = in_time(session.uid_search("UNDELETED")).await?.into_iter().collect();
        uids.sort_unstable();
        uids.truncate(AT_ONCE);
        if uids.is_empty() {
            return Ok(());
        }
        for uid in uids {
            let set = uid.to_string();
            // A prefix is enough: longer mails are not read to their end.
            let query = format!("BODY.PEEK[]<0.{}>", super::letter::MAIL_MAX_OCTETS + 1);
            let fetched =
                in_time(async { session.uid_fetch(&set, &query).await?.try_collect::<Vec<_>>().await })
                    .await?;
            let body = fetched.iter().find_map(|one| one.body()).map(<[u8]>::to_vec);
            if let Some(octets) = body
                && !take(octets).await
            {
                return Err(Broken::NotTaken);
            }
            if moves {
                in_time(session.uid_mv(&set, &mailbox.processed)).await?;
            } else {
                in_time(session.uid_copy(&set, &mailbox.processed)).await?;
                in_time(async {
                    session.uid_store(&set, "+FLAGS.SILENT (\\Deleted)").await?.try_collect::<Vec<_>>().await
                })
                .await?;
                in_time(async { session.expunge().await?.try_collect::<Vec<_>>().await }).await?;
            }
        }
    }
}
