//! Both ways through an SMS gateway that nobody here wrote: Kannel, with its fake SMS centre and handset.

#![allow(clippy::unwrap_used, reason = "what cannot be set up fails its test")]

#[path = "served/house.rs"]
#[allow(dead_code, reason = "made for the tests of the pages")]
mod house;
#[path = "served/season.rs"]
mod season;
mod support;

use allheard::domain::season::Channel;
use allheard::domain::standing::Standing;
use allheard::gateway::http::{Body, Http, Named, Spec, Statuses};
use allheard::gateway::tls::client_config;
use allheard::gateway::{Carrier, Road, Texts};
use allheard::inbound::fields::Places;
use allheard::inbound::hook::{Form, Hook, Proof};
use allheard::service::ports::{Content, Gateway as _, Outcome, Parcel, Store as _};
use axum::extract::Request;
use axum::http::StatusCode;
use axum::middleware::Next;
use axum::response::IntoResponse as _;
use house::House;
use regex::Regex;
use reqwest::Method;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;
use support::peers::{free_port, here, program, ready, run, within};

const MAY: &str = "+447700900021";
/// Reports that are turned away at first, as while the store is away.
const TURNED_AWAY: u32 = 2;

/// Kannel, stopped by its process ids when the test is over.
struct Kannel(PathBuf);

impl Kannel {
    fn start(folder: &Path, callback: &str) -> (Kannel, u16) {
        let ports: Vec<u16> = (0..4).map(|_| free_port()).collect();
        let kannel = Kannel(folder.join("kannel"));
        let mut start = Command::new(here("tests/peers/kannel"));
        start.arg("start").arg(&kannel.0).args(ports.iter().map(u16::to_string)).arg(callback);
        run(&mut quiet(&mut start));
        (kannel, ports[0])
    }

    /// A handset texts the school.
    fn handset(&self, from: &str, words: &str) {
        let mut text = Command::new(here("tests/peers/kannel"));
        text.arg("handset").arg(&self.0).args([from, "1000", words]);
        run(&mut quiet(&mut text));
    }

    /// What the handset has been sent so far.
    fn received(&self) -> String {
        String::from_utf8_lossy(&std::fs::read(self.0.join("handset.log")).unwrap_or_default()).into_owned()
    }
}

impl Drop for Kannel {
    fn drop(&mut self) {
        let _ = Command::new(here("tests/peers/kannel")).arg("stop").arg(&self.0).status();
    }
}

/// Daemons that stay must not hold the test's own pipes.
fn quiet(command: &mut Command) -> Command {
    let words: Vec<_> =
        std::iter::once(command.get_program()).chain(command.get_args()).map(ToOwned::to_owned).collect();
    let mut shell = Command::new("sh");
    shell.arg("-c").arg("\"$@\" < /dev/null > /dev/null 2>&1").arg("sh").args(words);
    shell
}

fn gateway(send: u16, pages: u16) -> Carrier {
    let fields = [
        ("username", "show"),
        ("password", "{secret}"),
        ("to", "{to}"),
        ("text", "{text}"),
        ("charset", "UTF-8"),
        ("coding", "{coding}"),
        ("dlr-mask", "31"),
        ("dlr-url", "{callback}?key=quiet&ref={reference}&status=%d"),
    ];
    let spec = Spec {
        name: "fake".to_owned(),
        method: Method::GET,
        url: format!("http://127.0.0.1:{send}/cgi-bin/sendsms"),
        headers: Vec::new(),
        login: None,
        secret: "whisper".to_owned(),
        callback: format!("http://127.0.0.1:{pages}/hook/receipts"),
        body: Body::Query,
        fields: fields.map(|(name, value)| (name.to_owned(), value.to_owned())).into(),
        statuses: Statuses {
            accepted: vec![(202, 202)],
            slow: vec![(503, 503)],
            refused: vec![(400, 400)],
            unusable: vec![(401, 403)],
        },
        accepted_body: Some(Regex::new("^0: Accepted|^3: Queued").unwrap()),
        unusable_body: None,
        refused_body: None,
        named: Named::No,
        honours_reference: false,
        prefixes: Vec::new(),
        patience: Duration::from_secs(10),
    };
    let tls = client_config(None).unwrap();
    Carrier { road: Road::Http(Box::new(Http::new(spec, tls).unwrap())), per_second: 100.0, sessions: 2 }
}

fn hook(name: &str, places: Places) -> Hook {
    Hook {
        name: name.to_owned(),
        proof: Proof::Field { name: "key".to_owned() },
        secrets: vec!["quiet".to_owned()],
        form: Form::Query,
        list: String::new(),
        places,
        answer: String::new(),
    }
}

fn hooks() -> Vec<Hook> {
    let words = |list: &[&str]| list.iter().map(|word| (*word).to_owned()).collect();
    let receipts = Places::Receipt {
        gateway: "fake".to_owned(),
        reference: "ref".to_owned(),
        status: "status".to_owned(),
        id: String::new(),
        // Kannel's user guide: 1 delivered, 2 failed, 4 buffered, 8 taken by the centre, 16 rejected by it.
        delivered: words(&["1"]),
        failed: words(&["2"]),
        failed_for_good: words(&["16"]),
    };
    let answers = Places::Answer {
        from: "from".to_owned(),
        words: "text".to_owned(),
        id: "id".to_owned(),
        at: String::new(),
    };
    vec![hook("receipts", receipts), hook("answers", answers)]
}

fn book() -> allheard::domain::book::Book {
    let mut book = season::book();
    for row in &mut book.sheet_mut("notices").rows {
        row.set("by", "text");
    }
    for row in &mut book.sheet_mut("children").rows {
        if row.text("guardian 1 name") == "May Finch" {
            row.set("guardian 1 texts", "yes");
        }
    }
    season::set(&mut book, "children", "Nia", "guardian 1 texts", "yes");
    book
}

#[tokio::test(flavor = "multi_thread")]
async fn texts_go_out_and_answers_and_receipts_come_back() {
    let needed = [program("bearerbox"), program("smsbox")];
    if !ready("texts_go_out_and_answers_and_receipts_come_back", &needed) {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let pages = listener.local_addr().unwrap().port();
    let report = format!("http://127.0.0.1:{pages}/hook/answers?key=quiet&from=%p&text=%b&id=%I&charset=%C");
    let (kannel, send) = Kannel::start(folder.path(), &report);
    let house = House::with(Texts::new(vec![gateway(send, pages)]), hooks()).await;
    house.bring(book()).await;
    let turned_away = Arc::new(AtomicU32::new(0));
    let counted = turned_away.clone();
    // Reports of answers find the store away at first; the gateway tries again.
    let router = house.router().layer(axum::middleware::from_fn(move |request: Request, next: Next| {
        let counted = counted.clone();
        async move {
            let answers = request.uri().path() == "/hook/answers";
            if answers && counted.fetch_add(1, Ordering::Relaxed) < TURNED_AWAY {
                return StatusCode::SERVICE_UNAVAILABLE.into_response();
            }
            next.run(request).await
        }
    }));
    tokio::spawn(async move { axum::serve(listener, router).await });

    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    let office = house.office.clone();
    let season = office.desk().await.unwrap().season;
    let states = async || -> Vec<String> {
        let lives = office.store.lives(season, None, 0, 10).await.unwrap();
        let texts = lives.iter().filter(|(message, _)| message.channel == Channel::Text);
        texts.map(|(message, _)| message.state.word().to_owned()).collect()
    };
    assert_eq!(states().await.len(), 2);
    assert!(
        within(async || kannel.received().matches("Got message").count() >= 2).await,
        "{}",
        kannel.received()
    );
    assert!(kannel.received().contains("Ada"), "{}", kannel.received());
    // Outside the 7-bit alphabet a text travels as UCS-2 (3GPP TS 23.038).
    let parcel = Parcel {
        message: 0,
        to: MAY.to_owned(),
        reference: "ucs2".to_owned(),
        at: office.now(),
        content: Content::Text("Łucja".to_owned()),
    };
    assert_eq!(office.gateway.send(&parcel).await.outcome, Outcome::Accepted);
    // U+0141 and four letters, each in two octets; what is printable is shown as it is.
    let arrived = async || kannel.received().contains("ucs-2 %01A%00u%00c%00j%00a");
    assert!(within(arrived).await, "{:?}", kannel.received());
    assert!(
        within(async || states().await.iter().all(|state| state == "delivered")).await,
        "{:?}",
        states().await
    );

    kannel.handset(MAY, "YES");
    let heard = async || {
        let lists = office.event_lists().await.unwrap();
        let at = Standing::ALL.iter().position(|s| *s == Standing::Heard).unwrap();
        lists.iter().map(|list| list.recipients[at]).sum::<u64>()
    };
    assert!(within(async || heard().await == 1).await, "{}", kannel.received());
    assert!(turned_away.load(Ordering::Relaxed) > TURNED_AWAY, "it was turned away and tried again");
    assert_eq!(house.answers().await, 1);
    let noor = {
        let desk = office.desk().await.unwrap();
        desk.board.season.chaperones.iter().find(|c| c.name == "Noor Hadi").unwrap().reference.clone()
    };
    let link = office.chaperone_link(&noor).await.unwrap().unwrap();
    let page = house.get(&format!("/c/{link}")).await;
    assert!(page.plain().contains("Ada"), "{}", page.plain());
    let data = office.chaperone_data(&noor, "").await.unwrap().unwrap();
    let ada = data.children.iter().find(|line| data.board.season.children[line.child.at()].given == "Ada");
    assert_eq!(ada.unwrap().standing, Standing::Heard, "the chaperone's page shows it");
    // The reply travels too, and answers nobody's report with a text of its own.
    office.send_tick().await.unwrap();
    assert!(within(async || kannel.received().contains("Thank you.")).await, "{}", kannel.received());
}
