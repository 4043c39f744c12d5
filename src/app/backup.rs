//! Copies of the database, made while the daemon runs, and put back while it does not.

use super::chance::HostRandom;
use super::clock::HostClock;
use super::config::Config;
use crate::service::ports::{Clock as _, StoreFault};
use crate::store::SqlStore;
use std::fs::{File, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};

/// Why a copy was not made or not put back.
#[derive(Debug, thiserror::Error)]
pub enum CopyFault {
    /// The database is on a server.
    #[error(
        "the database is on a PostgreSQL server: {0} it with that server's own tools (pg_dump, pg_restore); pause first"
    )]
    OnAServer(&'static str),
    /// The file to be written is there.
    #[error("{} is there already; name another file", .0.display())]
    IsThere(PathBuf),
    /// A daemon is running.
    #[error("allheard serve is running on {}; stop it first", .0.display())]
    Running(PathBuf),
    /// The copy is no sound database.
    #[error("{} is no sound copy: {why}", .file.display())]
    Unsound {
        /// Which file.
        file: PathBuf,
        /// Why.
        why: String,
    },
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreFault),
    /// A file.
    #[error("{what}: {source}")]
    Io {
        /// What was tried.
        what: String,
        /// What the system said.
        source: io::Error,
    },
}

fn io_fault(what: impl Into<String>) -> impl FnOnce(io::Error) -> CopyFault {
    let what = what.into();
    move |source| CopyFault::Io { what, source }
}

/// The file of the database; none where it is on a server.
fn file_of(config: &Config) -> Option<PathBuf> {
    config.data.database().strip_prefix("sqlite://").map(PathBuf::from)
}

/// The mark of those who run on a folder: as many as like share it, and whoever puts a copy back has it alone.
pub fn mark(config: &Config, alone: bool) -> Result<File, CopyFault> {
    let path = config.data.folder.join("serve.lock");
    let file = OpenOptions::new().create(true).truncate(false).write(true).open(&path);
    let file = file.map_err(io_fault(format!("{} cannot be opened", path.display())))?;
    let taken = if alone { file.try_lock() } else { file.try_lock_shared() };
    taken.map_err(|_| CopyFault::Running(config.data.folder.clone()))?;
    Ok(file)
}

/// Writes one consistent copy of the database, looked over, that only its owner can read.
pub async fn back_up(config: &Config, to: &Path) -> Result<(), CopyFault> {
    if file_of(config).is_none() {
        return Err(CopyFault::OnAServer("copy"));
    }
    if to.exists() {
        return Err(CopyFault::IsThere(to.to_owned()));
    }
    let part = with_ending(to, "part");
    let _ = std::fs::remove_file(&part);
    // Made empty first, since a copy is as readable as the file it is written into.
    OpenOptions::new()
        .create_new(true)
        .write(true)
        .open(&part)
        .and_then(|file| super::private(&file))
        .map_err(io_fault(format!("{} cannot be written", part.display())))?;
    let store = SqlStore::open(&config.data.database(), Box::new(HostRandom)).await?;
    let copied = store.copy_to(&part.display().to_string()).await;
    store.close().await;
    let done = match copied {
        Ok(()) => look_over(&part).await,
        Err(fault) => Err(fault.into()),
    };
    if let Err(fault) = done {
        let _ = std::fs::remove_file(&part);
        return Err(fault);
    }
    settle(&part, to)
}

/// Puts a copy in the place of the database, which is kept beside it. What was sent since is found by the journal at the next
/// start, which then holds sending until a person has looked.
pub async fn put_back(config: &Config, from: &Path) -> Result<PathBuf, CopyFault> {
    let Some(database) = file_of(config) else { return Err(CopyFault::OnAServer("put back")) };
    let _alone = mark(config, true)?;
    look_over(from).await?;
    is_ours(from).await?;
    let part = with_ending(&database, "part");
    std::fs::copy(from, &part)
        .and_then(|_| OpenOptions::new().write(true).open(&part))
        .and_then(|file| super::private(&file).and_then(|()| file.sync_all()))
        .map_err(io_fault(format!("{} cannot be written", part.display())))?;
    let kept = not_there_yet(&database);
    if database.exists() {
        std::fs::rename(&database, &kept).map_err(io_fault("the database in force cannot be set aside"))?;
    }
    for ending in ["-wal", "-shm"] {
        let mut beside = database.clone().into_os_string();
        beside.push(ending);
        let mut aside = kept.clone().into_os_string();
        aside.push(ending);
        // What a log still holds belongs to the old file and would spoil the new one.
        let _ = std::fs::rename(beside, aside);
    }
    settle(&part, &database)?;
    Ok(kept)
}

/// Whether a file is a sound database.
async fn look_over(file: &Path) -> Result<(), CopyFault> {
    let unsound = |why: String| CopyFault::Unsound { file: file.to_owned(), why };
    if !file.exists() {
        return Err(unsound("there is no such file".to_owned()));
    }
    if !file.is_file() {
        return Err(unsound("it is no file".to_owned()));
    }
    match SqlStore::faults_of(&file.display().to_string()).await {
        Ok(faults) if faults.is_empty() => Ok(()),
        Ok(faults) => Err(unsound(faults.join("; "))),
        Err(fault) => Err(unsound(fault.to_string())),
    }
}

/// Whether a sound file is a copy of a season of ours, and not an empty one or somebody else's.
async fn is_ours(file: &Path) -> Result<(), CopyFault> {
    let unsound = |why: String| CopyFault::Unsound { file: file.to_owned(), why };
    match SqlStore::seasons_in(&file.display().to_string()).await {
        Ok(0) => Err(unsound("no season is in it".to_owned())),
        Ok(_) => Ok(()),
        Err(fault) => Err(unsound(fault.to_string())),
    }
}

/// Looks at a copy before anybody is asked whether to put it back.
pub async fn is_sound(copy: &Path) -> Result<(), CopyFault> {
    look_over(copy).await?;
    is_ours(copy).await
}

/// A name beside the database that no earlier one was kept by.
fn not_there_yet(database: &Path) -> PathBuf {
    let day = HostClock.now().strftime("before-restore-%Y%m%dT%H%M%SZ").to_string();
    let names = std::iter::once(day.clone()).chain((2_u32..).map(|n| format!("{day}-{n}")));
    let mut paths = names.map(|name| with_ending(database, &name));
    paths.find(|path| !path.exists()).unwrap_or_else(|| with_ending(database, &day))
}

fn settle(part: &Path, to: &Path) -> Result<(), CopyFault> {
    let folder = to.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(part)
        .and_then(|file| file.sync_all())
        .and_then(|()| std::fs::rename(part, to))
        .and_then(|()| File::open(folder)?.sync_all())
        .map_err(io_fault(format!("{} cannot be written", to.display())))
}

fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.to_owned().into_os_string();
    name.push(".");
    name.push(ending);
    PathBuf::from(name)
}
