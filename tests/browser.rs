//! The pages in a real browser: `tests/peers/pages.mjs` opens each in Chromium at phone and desktop width, dark, narrow
//! and without scripts, and reports anything axe, a thumb or a keyboard would stumble over.

#![allow(clippy::print_stdout, reason = "figures and findings are shown")]
#![allow(clippy::unwrap_used, reason = "what cannot be set up fails its test")]

mod support;

#[path = "pages/family.rs"]
mod family;
#[path = "pages/forecast.rs"]
mod forecast;
#[path = "pages/live.rs"]
mod live;
#[path = "pages/plan.rs"]
mod plan;
#[path = "pages/staff.rs"]
mod staff;
#[path = "pages/workbook.rs"]
mod workbook;

use allheard::web::assets;
use std::collections::HashMap;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;
use support::peers::{Running, free_port, here, node_package, program, ready};

/// Pages the demo names on the terminal: a guardian's, a chaperone's, the coordinator's.
const LIVE_PAGES: usize = 3;
/// Minutes for the season: so many that its clock does not move while a page is looked at, which would change its words.
const STANDING_STILL: &str = "1000000000";
/// Browsers at once.
const BROWSERS: usize = 3;
/// How long the demo may take to name them.
const NAMED_WITHIN: Duration = Duration::from_secs(300);
/// How long it goes on sending what was due when its clock came to a stand.
const SETTLED_WITHIN: Duration = Duration::from_secs(25);

fn browser() -> [Result<PathBuf, String>; 4] {
    [program("node"), program("chromium"), node_package("playwright-core"), node_package("axe-core")]
}

/// Opens every page, in a few browsers at once since much of it is waiting; fails with what was found.
fn open(urls: &[String]) {
    let share = urls.len().div_ceil(BROWSERS).max(1);
    std::thread::scope(|scope| {
        let checks: Vec<_> = urls.chunks(share).map(|urls| scope.spawn(move || check(urls))).collect();
        let bad: Vec<String> = checks.into_iter().filter_map(|check| check.join().unwrap().err()).collect();
        assert!(bad.is_empty(), "{}", bad.join("\n"));
    });
}

fn check(urls: &[String]) -> Result<(), String> {
    let mut check = Command::new(program("node").unwrap());
    check.arg(here("tests/peers/pages.mjs")).arg("-").args(urls);
    let done = check.env("CHROMIUM", program("chromium").unwrap()).output().unwrap();
    let said = String::from_utf8_lossy(&done.stdout);
    println!("{}", said.lines().last().unwrap_or_default());
    let whole = format!("{said}\n{}", String::from_utf8_lossy(&done.stderr));
    if done.status.success() { Ok(()) } else { Err(whole) }
}

#[test]
fn every_sample_page_is_good_in_a_browser() {
    if !ready("every_sample_page_is_good_in_a_browser", &browser()) {
        return;
    }
    let mut pages: HashMap<String, (&str, String)> = HashMap::new();
    let all = family::samples().into_iter().chain(staff::samples()).chain(live::samples());
    let all = all.chain(workbook::samples()).chain(plan::samples()).chain(forecast::samples());
    for (name, _, html) in all {
        pages.insert(format!("/{name}.html"), ("text/html; charset=utf-8", html));
    }
    let mut names: Vec<String> = pages.keys().cloned().collect();
    names.sort();
    pages.insert(assets::STYLE_PATH.to_owned(), (assets::STYLE_TYPE, assets::STYLE.to_owned()));
    pages.insert(assets::PAPER_PATH.to_owned(), (assets::STYLE_TYPE, assets::PAPER.to_owned()));
    pages.insert(assets::ICON_PATH.to_owned(), (assets::ICON_TYPE, assets::ICON.to_owned()));
    let port = serve(pages);
    open(&names.iter().map(|name| format!("http://127.0.0.1:{port}{name}")).collect::<Vec<_>>());
}

#[test]
fn the_live_pages_are_good_in_a_browser() {
    if !ready("the_live_pages_are_good_in_a_browser", &browser()) {
        return;
    }
    let (_demo, urls) = urls();
    open(&urls);
}

/// Starts the demo and reads the addresses it names; it is killed when the first of the two is dropped.
fn urls() -> (Running, Vec<String>) {
    let listen = format!("127.0.0.1:{}", free_port());
    let mut demo = Command::new(env!("CARGO_BIN_EXE_allheard"));
    demo.args(["demo", "--listen", &listen, "--seed", "1", "--minutes", STANDING_STILL])
        .stdin(Stdio::null())
        .stderr(Stdio::null());
    let mut child = demo.stdout(Stdio::piped()).spawn().unwrap();
    let lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let running = Running::watch(child);
    let (give, take) = std::sync::mpsc::channel();
    // Reads on to the end, so that the program never waits for somebody to hear it.
    std::thread::spawn(move || {
        for line in lines.map_while(Result::ok) {
            let found = line.split_whitespace().find(|word| word.starts_with("http://"));
            found.into_iter().for_each(|url| drop(give.send(url.to_owned())));
        }
    });
    let mut urls = Vec::new();
    while urls.len() < LIVE_PAGES {
        urls.push(take.recv_timeout(NAMED_WITHIN).expect("the demo names its pages"));
    }
    // What was due when the clock came to a stand is still being sent; only then do the counts stand still too.
    std::thread::sleep(SETTLED_WITHIN);
    (running, urls)
}

/// Serves texts by path on a free port, with the policy the pages are written for, until the test is over.
fn serve(pages: HashMap<String, (&'static str, String)>) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let pages = Arc::new(pages);
    std::thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            let pages = pages.clone();
            // A browser that hangs up early ends its own request only.
            std::thread::spawn(move || drop(answer(stream, &pages)));
        }
    });
    port
}

fn answer(mut stream: TcpStream, pages: &HashMap<String, (&'static str, String)>) -> std::io::Result<()> {
    let mut request = Vec::new();
    let mut octets = [0; 4096];
    while !request.windows(4).any(|w| w == b"\r\n\r\n") {
        match stream.read(&mut octets)? {
            0 => return Ok(()),
            n => request.extend_from_slice(&octets[..n]),
        }
    }
    let request = String::from_utf8_lossy(&request);
    let path = request.split(' ').nth(1).unwrap_or_default().split('?').next().unwrap_or_default();
    let (status, (kind, body)) = match pages.get(path) {
        Some((kind, body)) => ("200 OK", (*kind, body.as_str())),
        None => ("404 Not Found", ("text/plain", "no such page")),
    };
    write!(
        stream,
        "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\nContent-Security-Policy: {}\r\nConnection: close\r\n\r\n{body}",
        body.len(),
        assets::CONTENT_POLICY
    )
}
