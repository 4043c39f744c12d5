//! `allheard demo`: an invented season, end to end.

use super::{Exit, block_on_exit, pretty, say, tell};
use crate::app::demo::{Demo, DemoFault, peak_rss_bytes};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::time::Instant;

/// Minutes a live season takes unless told otherwise.
const MINUTES: f64 = 10.0;

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
    block_on_exit(async {
        let done = if options.once { once(&options, &folder).await } else { live(&options, &folder).await };
        match done {
            Ok(exit) => exit,
            Err(fault) => {
                tell(fault);
                Exit::Wrong
            }
        }
    })
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
    say(format!("messages: {}", summary["messages"]));
    if let Some(settled) = summary["settled"].as_object() {
        for (event, pair) in settled {
            say(format!("{event}: {} of {} children settled", pair[0], pair[1]));
        }
    }
    say(format!("violations: {}", summary["violations"]));
    say(format!("{} s, {} octets at most", summary["wall_seconds"], summary["peak_rss_bytes"]));
}

async fn live(_options: &Options, _folder: &Folder) -> Result<Exit, DemoFault> {
    Ok(Exit::Wrong)
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
