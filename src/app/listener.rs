//! The door to the net: how many connections there may be, and how long each may take over what it says.
//!
//! hyper keeps its time limits only where it is given a timer, and reads a head of any length unless told otherwise; both are
//! said here. Files stay in reserve for the database and the gateways: connections take half of what the system allows.

use axum::Router;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::io::AsyncWriteExt as _;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio_util::sync::CancellationToken;

/// Connections at once in all, where the system allows twice as many files.
const CONNECTIONS_MAX: usize = 4_096;
/// Connections at once from one address: a theatre's Wi-Fi is one address for everybody in it.
const FROM_ONE_ADDRESS_MAX: usize = 512;
/// A request's head has to be there after so long, also the next one of a connection kept open.
const HEAD_TIMEOUT: Duration = Duration::from_secs(10);
/// Octets of a request's head at most.
const HEAD_MAX_OCTETS: usize = 16 * 1024;
/// Header lines of a request at most.
const HEADERS_MAX: usize = 64;
/// At the end of the program, answers under way get so long.
const CLOSING: Duration = Duration::from_secs(5);
/// After a fault in taking a connection, such as too many open files.
const AFTER_A_FAULT: Duration = Duration::from_millis(100);
/// What a connection too many is told.
const FULL: &[u8] =
    b"HTTP/1.1 503 Service Unavailable\r\nRetry-After: 5\r\nConnection: close\r\nContent-Length: 0\r\n\r\n";

/// Connections from each address.
type Counted = Arc<Mutex<HashMap<IpAddr, usize>>>;

/// A place at the door, given back when it is dropped.
struct Place {
    _all: OwnedSemaphorePermit,
    from: Option<(IpAddr, Counted)>,
}

impl Drop for Place {
    fn drop(&mut self) {
        let Some((address, counted)) = &self.from else { return };
        if let Ok(mut counted) = counted.lock()
            && let Some(count) = counted.get_mut(address)
        {
            *count -= 1;
            if *count == 0 {
                counted.remove(address);
            }
        }
    }
}

/// Serves until told to stop; answers under way are waited for a little.
pub(super) async fn serve(
    listener: TcpListener,
    router: Router,
    proxies: Vec<IpAddr>,
    stop: CancellationToken,
) {
    let places = Arc::new(Semaphore::new(connections()));
    let counted: Counted = Arc::default();
    let graceful = GracefulShutdown::new();
    loop {
        let taken = tokio::select! {
            taken = listener.accept() => taken,
            () = stop.cancelled() => break,
        };
        let (stream, from) = match taken {
            Ok(taken) => taken,
            Err(fault) => {
                tracing::warn!(%fault, "a connection could not be taken");
                tokio::time::sleep(AFTER_A_FAULT).await;
                continue;
            }
        };
        // Behind a proxy, and on this host itself, one address is no one person.
        let alone = !from.ip().is_loopback() && !proxies.contains(&from.ip());
        let Some(place) = place(&places, alone.then_some(from.ip()), &counted) else {
            tokio::spawn(refuse(stream));
            continue;
        };
        let _ = stream.set_nodelay(true);
        let connection = hyper::server::conn::http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD_TIMEOUT)
            .max_headers(HEADERS_MAX)
            .max_buf_size(HEAD_MAX_OCTETS)
            .serve_connection(TokioIo::new(stream), TowerToHyperService::new(router.clone()));
        let watched = graceful.watch(connection);
        tokio::spawn(async move {
            // What a client did to its own connection is nothing to write about.
            let _ = watched.await;
            drop(place);
        });
    }
    drop(listener);
    if tokio::time::timeout(CLOSING, graceful.shutdown()).await.is_err() {
        tracing::warn!("some answers were still under way");
    }
}

/// A place for one more connection; none where there are too many.
fn place(places: &Arc<Semaphore>, alone: Option<IpAddr>, counted: &Counted) -> Option<Place> {
    let all = places.clone().try_acquire_owned().ok()?;
    let from = match alone {
        None => None,
        Some(address) => {
            let mut held = counted.lock().ok()?;
            let count = held.entry(address).or_default();
            if *count >= FROM_ONE_ADDRESS_MAX {
                return None;
            }
            *count += 1;
            drop(held);
            Some((address, counted.clone()))
        }
    };
    Some(Place { _all: all, from })
}

async fn refuse(mut stream: TcpStream) {
    let _ = tokio::time::timeout(Duration::from_secs(1), stream.write_all(FULL)).await;
}

/// How many connections there may be: half of the files that the system lets this program open, which is asked to be as many
/// as it may.
fn connections() -> usize {
    let limit = getrlimit(Resource::Nofile);
    let _ = setrlimit(Resource::Nofile, Rlimit { current: limit.maximum, maximum: limit.maximum });
    let files = getrlimit(Resource::Nofile).current.unwrap_or(u64::MAX);
    usize::try_from(files / 2).unwrap_or(usize::MAX).clamp(1, CONNECTIONS_MAX)
}
