//! `allheard demo`: an invented season, end to end.

use super::{Exit, block_on_exit, block_on_here, pretty, say, tell};
use crate::app::demo::{Demo, DemoFault, Round, peak_rss_bytes};
use crate::app::pages::{Pages, ended};
use crate::app::wake::Wake;
use crate::service::ports::Clock as _;
use jiff::{SignedDuration, Timestamp};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;

/// Minutes a live season takes unless told otherwise.
const MINUTES: f64 = 10.0;
/// Minutes a live season takes at least.
const SHORTEST_MINUTES: f64 = 0.1;
/// How often the season's clock moves while nothing is due.
const FRAME_MILLISECONDS: u64 = 50;
/// Of the season's time, how much passes between two lines on the terminal at least.
const TOLD_EVERY: SignedDuration = SignedDuration::from_hours(6);
/// Time pages under way get at the end.
const CLOSING_SECONDS: u64 = 3;

#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// Run the season as fast as it can and end, without pages.
    #[arg(long)]
    once: bool,
    /// With --once: print one JSON object.
    #[arg(long, requires = "once")]
    json: bool,
    /// Which season: the same number, the same season.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Minutes a live season takes.
    #[arg(long, default_value_t = MINUTES, conflicts_with = "once")]
    minutes: f64,
    /// Where the pages are served.
    #[arg(long, default_value = "127.0.0.1:8420", conflicts_with = "once")]
    listen: SocketAddr,
    /// End when the season is over, instead of keeping the pages open.
    #[arg(long, conflicts_with = "once")]
    end: bool,
    /// Keep the database and the outbox in this folder; otherwise they are removed at the end.
    #[arg(long, value_name = "FOLDER")]
    keep: Option<PathBuf>,
}

pub(super) fn run(options: Options) -> Exit {
    let folder = match Folder::make(options.keep.clone()) {
        Ok(folder) => folder,
        Err(error) => {
            tell(format!("the demonstration's folder cannot be made: {error}"));
            return Exit::Wrong;
        }
    };
    let at_once = options.once;
    let work = async move {
        let done = if options.once { once(&options, &folder).await } else { live(&options, &folder).await };
        match done {
            Ok(exit) => exit,
            Err(fault) => {
                tell(fault);
                Exit::Wrong
            }
        }
    };
    if at_once { block_on_here(work) } else { block_on_exit(work) }
}

async fn once(options: &Options, folder: &Folder) -> Result<Exit, DemoFault> {
    let start = Instant::now();
    let mut demo = Demo::open(&folder.path, options.seed, "http://127.0.0.1:8420").await?;
    demo.run().await?;
    let mut summary = demo.summary().await?;
    let violations = demo.violations().await?;
    demo.house.store.close().await;
    if let Some(object) = summary.as_object_mut() {
        let wall = (start.elapsed().as_secs_f64() * 1_000.0).round() / 1_000.0;
        object.insert("wall_seconds".to_owned(), wall.into());
        object.insert("peak_rss_bytes".to_owned(), peak_rss_bytes().into());
    }
    if options.json {
        say(pretty(&summary));
    } else {
        tell_summary(&summary);
    }
    for example in violations.examples.iter().filter(|_| violations.total() > 0) {
        tell(example);
    }
    Ok(if violations.total() == 0 { Exit::Done } else { Exit::Wrong })
}

fn tell_summary(summary: &serde_json::Value) {
    say(format!(
        "{} children, {} guardians, {} chaperones",
        summary["children"], summary["guardians"], summary["chaperones"]
    ));
    let (sent, volunteers) = (&summary["messages"], &summary["volunteers"]);
    say(format!(
        "{} messages planned, {} taken by a carrier, {} refused or bounced, {} no longer needed",
        sent["planned"],
        sum(sent, &["accepted", "delivered"]),
        sum(sent, &["refused", "bounced"]),
        sum(sent, &["withdrawn", "expired"]),
    ));
    say(format!(
        "{} calls, {} said yes; {} spoken to at a door; {} questions answered; {} times a child was not coming",
        volunteers["rung"],
        volunteers["yes"],
        volunteers["at_the_door"],
        volunteers["answered"],
        volunteers["not_coming"],
    ));
    if let Some(settled) = summary["settled"].as_object() {
        for (event, pair) in settled {
            say(format!("{event}: {} of {} children settled", pair[0], pair[1]));
        }
    }
    let wrong =
        summary["violations"].as_object().map_or(0, |all| all.values().filter_map(|n| n.as_u64()).sum());
    say(match wrong {
        0 => "An independent check of the whole outbox found nothing wrong.".to_owned(),
        _ => format!("An independent check found faults: {}", summary["violations"]),
    });
    if let Some(seconds) = summary["wall_seconds"].as_f64() {
        say(format!("{seconds} s, {} octets at most", summary["peak_rss_bytes"]));
    }
}

/// The sum of some figures of an object.
fn sum(object: &serde_json::Value, names: &[&str]) -> u64 {
    names.iter().filter_map(|name| object[name].as_u64()).sum()
}

/// The season as if it took minutes: pages served, families answering, a line on the terminal whenever much happened.
async fn live(options: &Options, folder: &Folder) -> Result<Exit, DemoFault> {
    let pages = Pages::bind(options.listen).await?;
    let base_url = format!("http://{}", pages.address);
    let mut demo = Demo::open(&folder.path, options.seed, &base_url).await?;
    let (stop, acted) = (CancellationToken::new(), Arc::new(Wake::default()));
    let serving = tokio::spawn(pages.serve(demo.house.clone(), Vec::new(), acted.clone(), stop.clone()));
    demo.run_to_first_letter().await?;
    say(format!("coordinator  {base_url}/enter/{}", demo.house.coordinator_link().await?));
    if let Some((name, token)) = demo.chaperone().await? {
        say(format!("chaperone    {base_url}/c/{token}  ({name})"));
    }
    if let Some(token) = &demo.family_link {
        say(format!("family       {base_url}/r/{token}"));
    }
    let mut teller = Teller::new(&demo, options.minutes);
    tokio::select! {
        ended = teller.run(&mut demo) => ended?,
        () = ended() => {}
    }
    if teller.is_over {
        say("");
        tell_summary(&demo.summary().await?);
        if !options.end {
            say("The season is over. The pages stay open until you press Ctrl-C.");
            ended().await;
        }
    }
    stop.cancel();
    let _ = tokio::time::timeout(Duration::from_secs(CLOSING_SECONDS), serving).await;
    demo.house.store.close().await;
    Ok(Exit::Done)
}

/// Moves the clock and tells what happens.
struct Teller {
    start: Timestamp,
    began: Instant,
    seconds_per_second: f64,
    told: Timestamp,
    sent: usize,
    answers: usize,
    /// The season has been lived to its end.
    is_over: bool,
}

impl Teller {
    fn new(demo: &Demo, minutes: f64) -> Teller {
        let start = demo.clock.now();
        let season = demo.end.duration_since(start).as_secs_f64();
        Teller {
            start,
            began: Instant::now(),
            seconds_per_second: season / (minutes.max(SHORTEST_MINUTES) * 60.0),
            told: start,
            sent: 0,
            answers: 0,
            is_over: false,
        }
    }

    /// Where the season is by now.
    fn now(&self) -> Timestamp {
        let passed =
            SignedDuration::from_secs_f64(self.began.elapsed().as_secs_f64() * self.seconds_per_second);
        self.start.saturating_add(passed).unwrap_or(self.start)
    }

    async fn run(&mut self, demo: &mut Demo) -> Result<(), DemoFault> {
        loop {
            let step = demo.step().await?;
            self.sent += step.sent;
            self.answers += step.answers;
            self.tell(demo, step.changed).await?;
            if let Some(words) = round_words(&step.round) {
                say(format!("{}  {words}", demo.local(demo.clock.now()).await?));
            }
            let Some(next) = step.next else {
                self.is_over = true;
                return Ok(());
            };
            while self.now() < next {
                tokio::time::sleep(Duration::from_millis(FRAME_MILLISECONDS)).await;
                demo.clock.advance_to(self.now().min(next));
            }
            demo.clock.advance_to(next);
        }
    }

    async fn tell(&mut self, demo: &Demo, changed: bool) -> Result<(), DemoFault> {
        let now = demo.clock.now();
        if changed {
            say(format!("{}  the workbook changed: {}", demo.local(now).await?, demo.open_again().await?));
        }
        let quiet = now.duration_since(self.told) < TOLD_EVERY;
        if quiet || self.sent + self.answers == 0 {
            return Ok(());
        }
        let (event, settled, all) = demo.next_event(now).await?;
        say(format!(
            "{}  {} messages went out, {} answers came; {event}: {settled} of {all} children settled",
            demo.local(now).await?,
            self.sent,
            self.answers
        ));
        (self.told, self.sent, self.answers) = (now, 0, 0);
        Ok(())
    }
}

/// What volunteers did, in a sentence; none where it was nothing.
fn round_words(round: &Round) -> Option<String> {
    let count = |number: usize, one: &str, other: &str| match number {
        0 => None,
        1 => Some(format!("1 {one}")),
        n => Some(format!("{n} {other}")),
    };
    let in_vain = round.rung - round.yes.min(round.rung);
    let parts = [
        count(round.rung, "family rung", "families rung"),
        count(round.yes, "said yes", "said yes"),
        count(in_vain, "to ring again", "to ring again"),
        count(round.at_the_door, "spoken to at a door", "spoken to at a door"),
        count(round.not_coming, "child not coming", "children not coming"),
        count(round.answered, "question answered", "questions answered"),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    (!parts.is_empty()).then(|| format!("volunteers: {}", parts.join(", ")))
}

/// The demonstration's folder; removed at the end unless it is to be kept.
struct Folder {
    path: PathBuf,
    keep: bool,
}

impl Folder {
    fn make(keep: Option<PathBuf>) -> std::io::Result<Folder> {
        let path = match &keep {
            Some(path) => path.clone(),
            None => std::env::temp_dir().join(format!("allheard-demo-{}", std::process::id())),
        };
        std::fs::create_dir_all(&path)?;
        if std::fs::read_dir(&path)?.next().is_some() {
            let reason = format!("{} is not empty; name an empty folder", path.display());
            return Err(std::io::Error::new(std::io::ErrorKind::AlreadyExists, reason));
        }
        Ok(Folder { path, keep: keep.is_some() })
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        if !self.keep {
            let _ = std::fs::remove_dir_all(&self.path);
        }
    }
}
