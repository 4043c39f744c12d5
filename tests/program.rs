//! The commands as a person types them, on the real program.

#[allow(clippy::print_stderr, reason = "what is left out is said")]
#[path = "support/database.rs"]
mod database;

use serde_json::Value;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

fn allheard(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_allheard"))
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .expect("the program starts")
}

fn out(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn err(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).expect("JSON on standard output")
}

fn example(folder: &Path) {
    let written = allheard(folder, &["workbook", "example", "example.xlsx"]);
    assert!(written.status.success(), "{}", err(&written));
}

#[test]
fn a_text_is_counted() {
    let folder = tempfile::tempdir().expect("a folder");
    // 3GPP TS 23.040 9.2.3.24.1: 153 septets a part; the escape pair of the euro sign is not split.
    let text = format!("{}€{}", "A".repeat(152), "A".repeat(152));
    let counted = json(&allheard(folder.path(), &["text", &text, "--json"]));
    assert_eq!(counted["encoding"], "gsm-7");
    assert_eq!(counted["units"], 306);
    assert_eq!(counted["segments"], serde_json::json!([152, 153, 1]));
    assert_eq!(counted["causes"], serde_json::json!(["€"]));
    let counted = json(&allheard(folder.path(), &["text", "Łódź 18:00", "--json"]));
    assert_eq!(counted["encoding"], "ucs-2");
    assert_eq!(counted["causes"], serde_json::json!(["Ł", "ó", "ź"]));
}

#[test]
fn workbooks_are_written_checked_and_planned() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    example(folder);
    let again = allheard(folder, &["workbook", "example", "example.xlsx"]);
    assert_eq!(again.status.code(), Some(1));
    assert!(err(&again).contains("was not changed"), "{}", err(&again));

    let checked = allheard(folder, &["check", "example.xlsx", "--json"]);
    assert_eq!(checked.status.code(), Some(0), "{}", out(&checked));
    assert_eq!(json(&checked)["usable"], true);

    let arguments = ["plan", "example.xlsx", "--at", "2027-02-08T09:00", "--json"];
    let plan = json(&allheard(folder, &arguments));
    let messages = plan["messages"].as_array().expect("messages");
    assert!(messages.len() > 1_000, "{}", messages.len());
    assert_eq!(plan, json(&allheard(folder, &arguments)), "a plan is a function");
    for message in messages {
        let due = message["due_local"].as_str().expect("a local time");
        let clock = &due[11..16];
        assert!(("08:00".."20:30").contains(&clock), "{due}");
        let text = message["channel"] == "text";
        assert_eq!(text, !message["segments"].as_array().expect("segments").is_empty());
    }

    let blank = allheard(folder, &["workbook", "new", "blank"]);
    assert!(blank.status.success(), "{}", err(&blank));
    let checked = allheard(folder, &["check", "blank"]);
    assert_eq!(checked.status.code(), Some(1), "a blank workbook lacks its first settings");
    let file = folder.join("blank/season.csv");
    let mut settings = std::fs::read_to_string(&file).expect("the sheet of settings");
    for (name, value) in
        [("name", "The Show"), ("school", "The School"), ("zone", "Europe/London"), ("country", "GB")]
    {
        let empty = format!("\r\n{name},\r\n");
        assert!(settings.contains(&empty), "{name} is empty in {settings}");
        settings = settings.replace(&empty, &format!("\r\n{name},{value}\r\n"));
    }
    std::fs::write(&file, settings).expect("written");
    let checked = allheard(folder, &["check", "blank"]);
    assert_eq!(checked.status.code(), Some(0), "its example rows are good: {}", out(&checked));
}

#[test]
fn a_file_that_is_no_workbook_is_told_so() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("notes.xlsx"), "not a workbook").expect("written");
    for arguments in [
        &["check", "notes.xlsx"][..],
        &["check", "missing.xlsx"],
        &["plan", "notes.xlsx", "--at", "2027-02-08T09:00"],
        &["rehearse", "notes.xlsx"],
    ] {
        let said = allheard(folder.path(), arguments);
        assert_eq!(said.status.code(), Some(1), "{arguments:?}");
        assert!(out(&said).starts_with("error: "), "{}", out(&said));
    }
}

#[test]
fn configurations_are_checked() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    let sample = allheard(folder, &["config"]);
    std::fs::write(folder.join("allheard.toml"), out(&sample)).expect("written");
    let none = allheard(folder, &["ledger", "verify", "--config", "allheard.toml"]);
    assert_eq!(none.status.code(), Some(4), "the data folder is not there yet: {}", err(&none));

    std::fs::write(folder.join("wrong.toml"), "[mail]\nby = \"folder\"\nhosst = \"x\"\n").expect("written");
    let wrong = allheard(folder, &["serve", "--config", "wrong.toml"]);
    assert_eq!(wrong.status.code(), Some(3));
    assert!(err(&wrong).contains("hosst") && err(&wrong).contains("line 3"), "{}", err(&wrong));

    std::fs::write(
        folder.join("slash.toml"),
        "[pages]\naddress = \"https://x.example/\"\n[mail]\nby = \"smtp\"\n",
    )
    .expect("written");
    let wrong = allheard(folder, &["serve", "--config", "slash.toml"]);
    assert!(
        err(&wrong).contains("pages.address") && err(&wrong).contains("mail.host"),
        "all at once: {}",
        err(&wrong)
    );

    let tariffs = "[mail]\ncost = \"1p\"\n[texts]\nby = \"http\"\n[[texts.gateways]]\nname = \"first\"\ncost = \"0,04 GBP\"\n";
    std::fs::write(folder.join("tariffs.toml"), tariffs).expect("written");
    let wrong = allheard(folder, &["serve", "--config", "tariffs.toml"]);
    assert_eq!(wrong.status.code(), Some(3));
    for expected in [
        "mail.cost is '1p': that is no amount with a currency; write one such as 0.042 GBP",
        "cost of text gateway 'first' is '0,04 GBP': the amount is no plain decimal number",
        "or leave it empty",
    ] {
        assert!(err(&wrong).contains(expected), "{expected}: {}", err(&wrong));
    }
}

/// Costs are segments by the tariff, exactly; each message says why it leaves then, and when it really does.
#[test]
fn a_plan_is_priced_by_the_gateways_tariff() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    example(folder);
    let config = "[mail]\ncost = \"0.001 GBP\"\n[texts]\nby = \"http\"\n[[texts.gateways]]\nname = \"first\"\n\
        url = \"https://gateway.example/send\"\nfields = { text = \"{text}\" }\ncost = \"0.042 GBP\"\nper_second = 10.0\n";
    std::fs::write(folder.join("allheard.toml"), config).expect("written");
    let arguments = ["plan", "example.xlsx", "--at", "2027-02-08T09:00"];
    let with = [&arguments[..], &["--config", "allheard.toml"]].concat();
    let plan = json(&allheard(folder, &[&with[..], &["--json"]].concat()));
    let (mut segments, mut mails) = (0, 0);
    for message in plan["messages"].as_array().expect("messages") {
        let why = message["why"].as_str().expect("why");
        assert!(why.contains(": ") && (why.contains(" before ") || why.contains(" of ")), "{why}");
        let (due, leaves) = (message["due"].as_str().expect("due"), message["leaves"].as_str());
        assert!(leaves.is_some_and(|leaves| leaves[..10] == due[..10]), "{due} {leaves:?}");
        let count = message["segments"].as_array().expect("segments").len();
        let thousandths = if message["channel"] == "text" { 42 * count } else { 1 };
        assert_eq!(message["cost"], amount(thousandths), "{message}");
        segments += count;
        mails += usize::from(message["channel"] == "mail");
    }
    assert_eq!(plan["costs"][0]["gateway"], "first");
    assert_eq!(plan["costs"][0]["cost"], amount(42 * segments));
    assert_eq!(plan["late"], 0);
    let weeks = plan["weeks"].as_array().expect("weeks");
    assert_eq!(
        weeks.iter().map(|week| week["messages"].as_u64().expect("a number")).sum::<u64>() as usize,
        plan["messages"].as_array().expect("messages").len()
    );
    let told = err(&allheard(folder, &with));
    assert!(
        told.contains(&format!("texts by first in {segments} segments: {}", amount(42 * segments))),
        "{told}"
    );
    assert!(told.contains("by mail: ") && mails > 100, "{told}");
    // Texts are as long as the words of the configured folder make them: Spanish ones are of two segments otherwise.
    let words = folder.join("words/es/reminder");
    std::fs::create_dir_all(&words).expect("a folder");
    let shorter = "Traiga agua.\n";
    std::fs::write(words.join("text.txt"), shorter).expect("written");
    std::fs::write(folder.join("allheard.toml"), format!("{config}[data]\ntemplates = \"words\"\n"))
        .expect("written");
    let plan = json(&allheard(folder, &[&with[..], &["--json"]].concat()));
    let messages = plan["messages"].as_array().expect("messages").iter();
    let fewer: usize = messages.map(|one| one["segments"].as_array().expect("segments").len()).sum();
    assert!(fewer < segments, "{fewer} segments, {segments} before");
    std::fs::write(words.join("text.txt"), "{{ letter.nonsense }}").expect("written");
    let wrong = allheard(folder, &with);
    assert_eq!(wrong.status.code(), Some(3));
    assert!(err(&wrong).contains("reminder/text.txt"), "{}", err(&wrong));
    let without = allheard(folder, &arguments);
    assert!(err(&without).contains("without it costs are not known"), "{}", err(&without));
    let first: Vec<String> = out(&without).lines().map(str::to_owned).collect();
    assert!(
        first[0].starts_with("The Paper Comet, Ashlarmere School of Dance: 350 children with"),
        "{}",
        first[0]
    );
    let summed_up =
        first.iter().any(|line| line.ends_with(" mails: Dress rehearsal, call sheet + Shows, call sheet"));
    assert!(summed_up && !out(&without).contains("tariff"), "{}", out(&without));
}

/// Thousandths of a pound as the program writes them: at least two figures after the point.
fn amount(thousandths: usize) -> String {
    let text = format!("{}.{:03}", thousandths / 1_000, thousandths % 1_000);
    format!("{} GBP", text.strip_suffix('0').unwrap_or(&text))
}

#[test]
fn a_season_is_brought_served_and_verified() {
    a_season_goes_by_on("");
}

#[test]
fn a_season_is_brought_served_and_verified_on_postgresql() {
    let Some(cluster) = database::server("the program on PostgreSQL") else { return };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    a_season_goes_by_on(&runtime.block_on(cluster.database()));
}

/// Most children are gone from a workbook: saying yes is not enough, saying how many lines go is.
fn a_halved_roster_is_held(folder: &Path) {
    let (mut few, _) = allheard::workbook::read(&folder.join("back.xlsx")).expect("it is read");
    let children = &mut few.sheet_mut("children").rows;
    children.truncate(children.len() / 3);
    allheard::workbook::write(&few, &folder.join("few.xlsx")).expect("it is written");
    let bring = ["bring", "few.xlsx", "--config", "allheard.toml", "--yes"];
    let held = allheard(folder, &bring);
    assert_eq!(held.status.code(), Some(1), "{}", out(&held));
    assert!(out(&held).contains("held: ") && out(&held).contains("children are left"), "{}", out(&held));
    let words = err(&held);
    let going = words.split("--so-few ").nth(1).and_then(|rest| rest.split_whitespace().next());
    let going = going.unwrap_or_else(|| panic!("{words}"));
    let wrong = allheard(folder, &[&bring[..], &["--so-few", "1"]].concat());
    assert_eq!(wrong.status.code(), Some(1), "{}", err(&wrong));
    let taken = allheard(folder, &[&bring[..], &["--so-few", going]].concat());
    assert_eq!(taken.status.code(), Some(0), "{}", err(&taken));
    assert!(err(&taken).contains("revision 2"), "{}", err(&taken));
}

/// Brings, serves and verifies a season on the database of an address; empty is the usual one.
fn a_season_goes_by_on(database: &str) {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    example(folder);
    let config = format!(
        "[data]\ndatabase = \"{database}\"\n[pages]\nlisten = \"127.0.0.1:0\"\n[mail]\nfrom = \"Us <us@example.org>\"\n"
    );
    std::fs::write(folder.join("allheard.toml"), config).expect("written");
    let bring = ["bring", "example.xlsx", "--config", "allheard.toml", "--returned", "back.xlsx"];
    let asked = allheard(folder, &bring);
    assert_eq!(asked.status.code(), Some(1), "nobody said yes");
    let brought = allheard(folder, &[&bring[..], &["--yes"]].concat());
    assert_eq!(brought.status.code(), Some(0), "{}", err(&brought));
    assert!(err(&brought).contains("revision 1"), "{}", err(&brought));
    assert!(err(&brought).contains("not started: nothing is sent"), "{}", err(&brought));
    it_is_started_and_paused(folder);
    let again = allheard(folder, &["bring", "back.xlsx", "--config", "allheard.toml", "--yes"]);
    assert!(out(&again).contains("nothing changes"), "{}", out(&again));
    a_halved_roster_is_held(folder);

    let mut daemon = Command::new(env!("CARGO_BIN_EXE_allheard"))
        .args(["serve", "--config", "allheard.toml"])
        .current_dir(folder)
        .stderr(Stdio::piped())
        .spawn()
        .expect("the daemon starts");
    let mut address = String::new();
    let mut log = BufReader::new(daemon.stderr.take().expect("standard error"));
    let (mut line, mut state) = (String::new(), String::new());
    while log.read_line(&mut line).expect("a line") > 0 {
        if let Some((_, found)) = line.split_once("pages at http://") {
            address = found.trim().to_owned();
            break;
        }
        state.push_str(&line);
        line.clear();
    }
    assert!(state.contains("started; sending since"), "{state}");
    // The rest of the log is read, so that the daemon never waits for a reader.
    std::thread::spawn(move || std::io::copy(&mut log, &mut std::io::sink()));
    let mut page = String::new();
    let mut stream = TcpStream::connect(&address).expect("the daemon answers");
    stream.write_all(b"GET /readyz HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n").expect("asked");
    stream.read_to_string(&mut page).expect("an answer");
    assert!(page.starts_with("HTTP/1.1 200"), "{page}");

    let began = Instant::now();
    let killed = Command::new("kill").args(["-TERM", &daemon.id().to_string()]).status().expect("a signal");
    assert!(killed.success());
    let ended = daemon.wait().expect("the daemon ends");
    assert!(ended.success(), "{ended:?}");
    assert!(began.elapsed() < Duration::from_secs(20), "{:?}", began.elapsed());

    let verified = allheard(folder, &["ledger", "verify", "--config", "allheard.toml"]);
    assert_eq!(verified.status.code(), Some(0), "{}", err(&verified));
    assert!(out(&verified).contains("whole"), "{}", out(&verified));

    // What is over is not rehearsed, and what was due by then goes at once.
    let week = ["--at", "2027-03-20T12:00", "--seasons", "1", "--changes", "0", "--json"];
    let rehearse = [&["rehearse", "example.xlsx", "--config", "allheard.toml"], &week[..]].concat();
    let report = json(&allheard(folder, &rehearse));
    let standing = report["standing"].as_array().expect("events");
    assert!(standing.iter().all(|m| m["name"] != "Photographs"), "{report}");
    let dress = standing.iter().find(|m| m["name"] == "Dress rehearsal").expect("the dress rehearsal");
    assert_eq!(dress["days"][0]["date"], "2027-03-20");
    assert!(dress["days"][0]["heard"]["mean"].as_f64() > Some(0.0), "{dress}");
}

#[test]
fn a_season_is_rehearsed() {
    let folder = tempfile::tempdir().expect("a folder");
    let folder = folder.path();
    example(folder);
    let run = |more: &[&str]| {
        let arguments = ["rehearse", "example.xlsx", "--seasons", "2", "--changes", "0"];
        let done = allheard(folder, &[&arguments, more].concat());
        assert_eq!(done.status.code(), Some(0), "{}", err(&done));
        done
    };
    let prices = ["--json", "--per-text", "0.04", "--per-mail", "0"];
    let report = json(&run(&prices));
    assert_eq!(report, json(&run(&prices)), "a rehearsal is a function");
    assert_ne!(report["calls"], json(&run(&["--json", "--seed", "2"]))["calls"]);
    let segments = report["messages"]["segments"]["mean"].as_f64().expect("a number");
    assert!(segments > report["messages"]["texts"]["mean"].as_f64().expect("a number"), "{segments}");
    assert!((report["cost"].as_f64().expect("a price") - 0.04 * segments).abs() < 1e-6);
    let standing = report["standing"].as_array().expect("events");
    let dress = standing.iter().find(|m| m["name"] == "Dress rehearsal").expect("the dress rehearsal");
    let settled: Vec<f64> = dress["days"]
        .as_array()
        .expect("days")
        .iter()
        .map(|day| day["settled"]["mean"].as_f64().expect("a number"))
        .collect();
    assert!(settled.first() < settled.last() && settled.last() < Some(&350.0), "{settled:?}");
    let told = out(&run(&[]));
    for words in ["Dress rehearsal: 350 children", "to ring about on Sat 20 Mar 18:00", "Messages: "] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let wrong = allheard(folder, &["rehearse", "example.xlsx", "--at", "soon"]);
    assert_eq!(wrong.status.code(), Some(1), "{}", err(&wrong));
}

/// The deliberate step, a pause, and going on, as somebody at the host types them.
fn it_is_started_and_paused(folder: &Path) {
    let typed = |arguments: &[&str], code: i32, expected: &str| {
        let said = allheard(folder, &[arguments, &["--config", "allheard.toml"]].concat());
        assert_eq!(said.status.code(), Some(code), "{arguments:?}: {}", err(&said));
        assert!(err(&said).contains(expected), "{arguments:?}: {}", err(&said));
        out(&said)
    };
    typed(&["pause"], 0, "not started: nothing is sent");
    let asked = typed(&["start"], 1, "nothing was started");
    assert!(asked.contains("messages are planned; 0 of them in the next 7 days"), "{asked}");
    typed(&["start", "--yes"], 0, "started: messages are sent when they are due");
    typed(&["start"], 0, "started; sending since");
    typed(&["pause"], 0, "paused: nothing planned is sent until `allheard start`");
    typed(&["pause"], 0, "paused since");
    typed(&["start", "--yes"], 0, "started: messages are sent when they are due");
}

/// The demonstration twice: the same seed gives the same JSON but for time and memory, and nothing is wrong with it.
#[test]
fn the_demonstration_repeats_itself() {
    let folder = tempfile::tempdir().expect("a folder");
    let run = || {
        let done = allheard(folder.path(), &["demo", "--once", "--json", "--seed", "7"]);
        assert_eq!(done.status.code(), Some(0), "{}", err(&done));
        let mut summary = json(&done);
        let object = summary.as_object_mut().expect("an object");
        let seconds = object.remove("wall_seconds").and_then(|v| v.as_f64()).expect("seconds");
        let octets = object.remove("peak_rss_bytes").and_then(|v| v.as_u64()).expect("octets");
        println!("demo --once: {seconds} s, {octets} octets");
        assert!(octets < 150 * 1024 * 1024, "{octets}");
        summary
    };
    let first = run();
    for (name, count) in first["violations"].as_object().expect("violations") {
        assert_eq!(count, 0, "{name}");
    }
    assert!(first["messages"]["accepted"].as_u64().expect("a number") > 3_000, "{first}");
    assert!(
        first["messages"]["refused"].as_u64().expect("a number") > 0,
        "dead numbers are part of the season: {first}"
    );
    assert!(first["standing"]["Dress rehearsal"]["heard"].as_u64().expect("a number") > 300, "{first}");
    assert_eq!(first, run());
}
