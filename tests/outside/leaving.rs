//! One road beside another, and the end of the daemon.

use super::host::{Host, Sink, until};
use super::support::server::{MailServer, Script};
use std::io::Write as _;
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// A gateway that takes 3 s for each text: mail goes at its own pace all the same (reliability fault 13).
#[tokio::test(flavor = "multi_thread")]
async fn a_slow_gateway_slows_itself_alone() {
    let mail = MailServer::start(Script::default()).await;
    let (sink, port) = Sink::start().await;
    *sink.pause.lock().unwrap() = Duration::from_secs(3);
    let host = Host::new(60, mail.port, port, "");
    let _daemon = host.serve();
    let began = Instant::now();
    until("all mails", Duration::from_secs(20), async || mail.count() >= 60).await;
    let (took, texts) = (began.elapsed(), sink.count());
    println!("60 mails in {took:?}, {texts} texts begun meanwhile by 4 sessions of 3 s each");
    assert!(
        texts <= 4 * (1 + took.as_secs() as usize / 3),
        "no more at once than there are sessions: {texts}"
    );
}

/// At SIGTERM nothing is begun any more, what is under way is waited for and written down, and the rest goes back
/// (reliability fault 33).
#[tokio::test(flavor = "multi_thread")]
async fn an_end_begins_nothing_and_writes_down_what_was_begun() {
    let mail = MailServer::start(Script { pause: Duration::from_secs(4), ..Script::default() }).await;
    let (sink, port) = Sink::start().await;
    *sink.pause.lock().unwrap() = Duration::from_secs(4);
    let host = Host::new(40, mail.port, port, "");
    let mut daemon = host.serve();
    until("some are under way", Duration::from_secs(20), async || mail.count() >= 4 && sink.count() >= 4)
        .await;
    // Somebody who hangs on does not hold it up.
    let mut half = TcpStream::connect(&daemon.address).unwrap();
    half.write_all(b"GET /season HT").unwrap();
    daemon.signal("-TERM");
    tokio::time::sleep(Duration::from_secs(1)).await;
    let begun = (mail.count(), sink.count());
    let took = daemon.ends(Duration::from_secs(20));
    let after = (mail.count(), sink.count());
    println!("ended {:?} after the signal; begun {begun:?} a second after it, {after:?} at the end", took);
    assert_eq!(after, begun, "nothing was begun after the first second");
    let counts = host.counts().await;
    let of = |channel: &str, state: &str| {
        counts.get(&(channel.to_owned(), state.to_owned())).copied().unwrap_or(0) as usize
    };
    for (channel, taken) in [("mail", after.0), ("text", after.1)] {
        assert_eq!(of(channel, "accepted"), taken, "{channel}: {counts:?}");
        let open = of(channel, "claimed") + of(channel, "attempting") + of(channel, "uncertain");
        assert_eq!(open, 0, "{channel}: {counts:?}");
    }
}

/// A second signal ends at once.
#[tokio::test(flavor = "multi_thread")]
async fn a_second_signal_waits_for_nothing() {
    let mail = MailServer::start(Script { pause: Duration::from_secs(30), ..Script::default() }).await;
    let (_sink, port) = Sink::start().await;
    let host = Host::new(8, mail.port, port, "");
    let mut daemon = host.serve();
    until("some are under way", Duration::from_secs(20), async || mail.count() >= 4).await;
    daemon.signal("-TERM");
    tokio::time::sleep(Duration::from_secs(1)).await;
    assert!(daemon.child.try_wait().unwrap().is_none(), "the first signal waits for what is under way");
    daemon.signal("-TERM");
    let took = daemon.ends(Duration::from_secs(5));
    println!("ended {took:?} after the second signal");
}
