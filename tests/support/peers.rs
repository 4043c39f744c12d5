//! Programs of others that tests talk to: found, started on free ports, stopped by process id whatever happens.

use std::env;
use std::io::Write as _;
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// Where system packages put daemons, besides the search path.
const DAEMONS: &[&str] = &["/usr/sbin", "/usr/local/sbin"];
/// How long a program may take to answer its port.
const START: Duration = Duration::from_secs(20);
const LOOK_AGAIN: Duration = Duration::from_millis(20);

/// Whether everything in `needed` is there. What is missing fails the test where `CI` is set; elsewhere one line says
/// what was not run, so that a plain `cargo test` is of use on any machine.
pub fn ready(test: &str, needed: &[Result<PathBuf, String>]) -> bool {
    let missing: Vec<&str> = needed.iter().filter_map(|n| n.as_ref().err().map(String::as_str)).collect();
    if missing.is_empty() {
        return true;
    }
    let missing = missing.join(", ");
    assert!(env::var_os("CI").is_none(), "{test} needs {missing}; tests/run installs what tests need");
    eprintln!("{test}: not run, for want of {missing}");
    false
}

/// A program by name.
pub fn program(name: &str) -> Result<PathBuf, String> {
    let path = env::var_os("PATH").unwrap_or_default();
    env::split_paths(&path)
        .chain(DAEMONS.iter().map(PathBuf::from))
        .map(|folder| folder.join(name))
        .find(|file| file.is_file())
        .ok_or_else(|| format!("the program {name}"))
}

/// The Python that has the packages of `tests/peers/requirements.txt`.
pub fn python() -> Result<PathBuf, String> {
    let named = env::var_os("ALLHEARD_PYTHON").map(PathBuf::from);
    let python = named.unwrap_or_else(|| here("target/peers/venv/bin/python"));
    if python.is_file() { Ok(python) } else { Err("a Python with tests/peers/requirements.txt".to_owned()) }
}

/// A package of `tests/peers/package.json`.
pub fn node_package(name: &str) -> Result<PathBuf, String> {
    let folder = here("tests/peers/node_modules").join(name);
    if folder.is_dir() { Ok(folder) } else { Err(format!("the package {name} (npm ci in tests/peers)")) }
}

/// Root, for daemons that insist on it.
pub fn root() -> Result<PathBuf, String> {
    let user = Command::new("id").arg("-u").output().map_err(|_| "the program id".to_owned())?;
    if user.stdout == b"0\n" {
        Ok(PathBuf::new())
    } else {
        Err("root, which Postfix is started by".to_owned())
    }
}

/// A file of the project.
pub fn here(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// A port that was free a moment ago.
pub fn free_port() -> u16 {
    TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap().local_addr().unwrap().port()
}

/// Makes `ca.pem`, and `cert.pem` and `key.pem` for localhost, in a folder.
pub fn certificate(folder: &Path) {
    run(Command::new(here("tests/peers/certificate")).arg(folder));
}

/// How long a text or a mail may be on its way.
const ON_ITS_WAY: Duration = Duration::from_secs(30);

/// Whether something comes true while a text or a mail may be on its way.
pub async fn within(mut done: impl AsyncFnMut() -> bool) -> bool {
    let began = Instant::now();
    while began.elapsed() < ON_ITS_WAY {
        if done().await {
            return true;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    false
}

/// Runs a program to its end; what it says is shown if it fails.
pub fn run(command: &mut Command) -> String {
    let done = command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"));
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    assert!(
        done.status.success(),
        "{command:?}: {}\n{said}\n{}",
        done.status,
        String::from_utf8_lossy(&done.stderr)
    );
    said
}

/// What an independent reader makes of calendars: `icalendar` of PyPI, or `ical.js` or `node-ical` of npm. One list of
/// entries a calendar.
pub fn read_calendars(reader: &str, calendars: &[String]) -> Vec<serde_json::Value> {
    let mut command = if reader == "icalendar" {
        let mut command = Command::new(python().unwrap());
        command.arg(here("tests/peers/read_calendars.py"));
        command
    } else {
        let mut command = Command::new(program("node").unwrap());
        command.arg(here("tests/peers/read_calendars.mjs")).arg(reader);
        command
    };
    let mut running = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    let mut input = running.stdin.take().unwrap();
    let given = serde_json::to_vec(calendars).unwrap();
    // Written beside the reading, since a pipe holds less than a season's calendars.
    let writer = std::thread::spawn(move || input.write_all(&given));
    let done = running.wait_with_output().unwrap();
    writer.join().unwrap().unwrap();
    assert!(done.status.success(), "{reader} found faults");
    let said = String::from_utf8(done.stdout).unwrap();
    said.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// A program that is killed, by its own process id, when the test is over.
pub struct Running(Child);

impl Running {
    /// Starts a program and waits until it answers on a port.
    pub fn start(command: &mut Command, port: u16) -> Running {
        let silent = command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        let mut running = Running(silent.spawn().unwrap());
        let began = Instant::now();
        while TcpStream::connect((Ipv4Addr::LOCALHOST, port)).is_err() {
            let ended = running.0.try_wait().unwrap();
            assert!(ended.is_none() && began.elapsed() < START, "{command:?} does not answer: {ended:?}");
            sleep(LOOK_AGAIN);
        }
        running
    }

    /// Watches over a program that was started otherwise.
    pub fn watch(child: Child) -> Running {
        Running(child)
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}
