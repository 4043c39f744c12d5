//! Texts through gateways over HTTP: scripted ones on loopback that misbehave, one of another's making (Kannel), and how
//! fast it goes.

#![allow(clippy::print_stdout, reason = "figures are shown")]
#![allow(clippy::unwrap_used, reason = "what cannot be set up fails its test")]

mod support;

use allheard::gateway::http::{Body, Http, Named, Spec, Statuses};
use allheard::gateway::tls::client_config;
use allheard::gateway::{Carrier, Gateways, Road, Texts};
use allheard::service::ports::{Content, Gateway as _, Handed, Outcome, Parcel};
use axum::Router;
use axum::extract::{Request, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Response};
use regex::Regex;
use reqwest::Method;
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use support::office::Season;
use support::peers::free_port;

const TO: &str = "+447700900021";
/// Octets of a request body read by the scripted gateway.
const BODY_MAX_OCTETS: usize = 1 << 20;
/// Texts a second that a whole office must reach in an optimized build on a machine with nothing else to do, durable.
const TEXTS_PER_SECOND: f64 = 3_000.0;
/// The same in a build that is optimized only a little.
const TEXTS_PER_SECOND_UNOPTIMISED: f64 = 300.0;
/// Texts of a season twelve times the demo's that are waited for.
const RUSH: usize = 20_000;
/// Answers a second that must be taken in, none lost.
const ANSWERS_PER_SECOND: f64 = 500.0;
/// The same in a build that is optimized only a little.
const ANSWERS_PER_SECOND_UNOPTIMISED: f64 = 100.0;

/// A request as the scripted gateway saw it.
#[derive(Debug, Clone)]
struct Seen {
    method: String,
    path: String,
    query: String,
    headers: BTreeMap<String, String>,
    body: String,
}

type Script = Arc<dyn Fn(&Seen) -> (Duration, Response) + Send + Sync>;

#[derive(Clone)]
struct Scripted {
    script: Script,
    seen: Arc<Mutex<Vec<Seen>>>,
}

async fn answer(State(scripted): State<Scripted>, request: Request) -> Response {
    let (parts, body) = request.into_parts();
    let body = axum::body::to_bytes(body, BODY_MAX_OCTETS).await.unwrap();
    let seen = Seen {
        method: parts.method.to_string(),
        path: parts.uri.path().to_owned(),
        query: parts.uri.query().unwrap_or_default().to_owned(),
        headers: parts
            .headers
            .iter()
            .map(|(name, value)| (name.to_string(), value.to_str().unwrap_or_default().to_owned()))
            .collect(),
        body: String::from_utf8_lossy(&body).into_owned(),
    };
    scripted.seen.lock().unwrap().push(seen.clone());
    let (wait, response) = (scripted.script)(&seen);
    tokio::time::sleep(wait).await;
    response
}

/// A gateway on loopback that answers by a script, and what it was asked.
async fn scripted(
    script: impl Fn(&Seen) -> (Duration, Response) + Send + Sync + 'static,
) -> (SocketAddr, Arc<Mutex<Vec<Seen>>>) {
    let seen = Arc::new(Mutex::new(Vec::new()));
    let state = Scripted { script: Arc::new(script), seen: seen.clone() };
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let at = listener.local_addr().unwrap();
    tokio::spawn(
        async move { axum::serve(listener, Router::new().fallback(answer).with_state(state)).await },
    );
    (at, seen)
}

fn says(status: u16, body: &str) -> (Duration, Response) {
    (Duration::ZERO, (StatusCode::from_u16(status).unwrap(), body.to_owned()).into_response())
}

fn spec(name: &str, at: SocketAddr) -> Spec {
    Spec {
        name: name.to_owned(),
        method: Method::POST,
        url: format!("http://{at}/send"),
        headers: Vec::new(),
        login: None,
        secret: "whisper".to_owned(),
        callback: String::new(),
        body: Body::Form,
        fields: [("to", "{to}"), ("text", "{text}"), ("ref", "{reference}")]
            .map(|(name, value)| (name.to_owned(), value.to_owned()))
            .into(),
        statuses: Statuses {
            accepted: vec![(200, 299)],
            slow: vec![(429, 429), (503, 503)],
            refused: vec![(400, 400)],
            unusable: vec![(401, 403)],
        },
        accepted_body: None,
        unusable_body: None,
        refused_body: None,
        named: Named::No,
        honours_reference: false,
        prefixes: Vec::new(),
        patience: Duration::from_millis(500),
    }
}

fn carrier(spec: Spec) -> Carrier {
    Carrier {
        road: Road::Http(Box::new(Http::new(spec, client_config(None).unwrap()).unwrap())),
        per_second: 1e9,
        sessions: 16,
    }
}

fn gateways(specs: Vec<Spec>) -> Gateways {
    let mut both = support::office::gateways(Road::Memory(allheard::gateway::memory::Memory::new(|_, _| {
        allheard::gateway::memory::Fate::Taken
    })));
    both.text = Texts::new(specs.into_iter().map(carrier).collect());
    both
}

fn parcel(text: &str) -> Parcel {
    Parcel {
        message: 1,
        to: TO.to_owned(),
        reference: "k7".to_owned(),
        at: "2027-06-03T17:30:00Z".parse().unwrap(),
        content: Content::Text(text.to_owned()),
    }
}

async fn send(specs: Vec<Spec>) -> Handed {
    gateways(specs).send(&parcel("Call 17:00")).await
}

#[tokio::test]
async fn a_request_is_filled_as_described() {
    let (at, seen) = scripted(|_| says(202, "ok")).await;
    let mut form = spec("form", at);
    form.headers = vec![("x-key".parse().unwrap(), "key {secret}".to_owned())];
    form.login = Some(("user".to_owned(), "pass".to_owned()));
    assert_eq!(gateways(vec![form]).send(&parcel("Réhearsal at 5? & more")).await.outcome, Outcome::Accepted);
    let mut query = spec("query", at);
    (query.method, query.body, query.url) = (Method::GET, Body::Query, format!("http://{at}/send?user=u"));
    query.fields.push(("coding".to_owned(), "{coding}".to_owned()));
    query.fields.push(("digits".to_owned(), "{to_digits}".to_owned()));
    assert_eq!(gateways(vec![query]).send(&parcel("Łódź")).await.outcome, Outcome::Accepted);
    let mut json = spec("json", at);
    json.body = Body::Json(r#"{"to":[{to}],"text":{text},"ref":{reference},"as":{encoding}}"#.to_owned());
    assert_eq!(
        gateways(vec![json]).send(&parcel("say \"yes\"\u{0065}\u{0301}")).await.outcome,
        Outcome::Accepted
    );
    let seen = seen.lock().unwrap();
    assert_eq!((seen[0].method.as_str(), seen[0].path.as_str()), ("POST", "/send"));
    let fields = allheard::inbound::fields::form(&seen[0].body);
    assert_eq!((fields["to"].as_str(), fields["text"].as_str()), (TO, "Réhearsal at 5? & more"));
    assert_eq!(seen[0].headers["x-key"], "key whisper");
    // RFC 7617: user and password joined by a colon, in base64.
    assert_eq!(seen[0].headers["authorization"], "Basic dXNlcjpwYXNz");
    let fields = allheard::inbound::fields::form(&seen[1].query);
    assert_eq!(
        (fields["text"].as_str(), fields["coding"].as_str(), fields["user"].as_str()),
        ("Łódź", "2", "u")
    );
    assert_eq!(fields["digits"], "447700900021");
    let body: serde_json::Value = serde_json::from_str(&seen[2].body).unwrap();
    // A decomposed é is sent composed, as it was counted (Unicode normalization form C).
    assert_eq!(body, serde_json::json!({"to": [TO], "text": "say \"yes\"é", "ref": "k7", "as": "gsm-7"}));
}

#[tokio::test]
async fn an_answer_is_sorted_by_status_and_body() {
    let (at, _) = scripted(|seen| match seen.path.as_str() {
        "/html" => {
            let page = axum::response::Html("<h1>Gateway error</h1>");
            (Duration::ZERO, (StatusCode::OK, page).into_response())
        }
        "/long" => says(200, &"x".repeat(10 << 20)),
        "/slow-answer" => (Duration::from_secs(2), "ok".into_response()),
        "/busy" => {
            (Duration::ZERO, (StatusCode::TOO_MANY_REQUESTS, [("retry-after", "7")], "wait").into_response())
        }
        "/named" => says(200, r#"{"messages":[{"id":"g-17"}]}"#),
        "/no-credit" => says(200, "ERR 103 no credit"),
        "/bad-number" => says(200, "ERR 105 no such number"),
        path => says(path[1..].parse().unwrap(), "status"),
    })
    .await;
    let ask = |path: &str, change: fn(&mut Spec)| {
        let mut spec = spec("one", at);
        spec.url = format!("http://{at}{path}");
        change(&mut spec);
        send(vec![spec])
    };
    let plain: fn(&mut Spec) = |_| {};
    let by_body: fn(&mut Spec) = |spec| {
        spec.accepted_body = Some(Regex::new("^OK").unwrap());
        spec.unusable_body = Some(Regex::new("^ERR 103").unwrap());
        spec.refused_body = Some(Regex::new("^ERR 105").unwrap());
    };
    let named: fn(&mut Spec) = |spec| spec.named = Named::Pointer("/messages/0/id".to_owned());
    assert_eq!(ask("/202", plain).await.outcome, Outcome::Accepted);
    let handed = ask("/named", named).await;
    assert_eq!(
        (handed.outcome, handed.id.as_str(), handed.gateway.as_str()),
        (Outcome::Accepted, "g-17", "one")
    );
    // Nobody can know whether these were taken, so nothing is sent again blindly.
    for (path, change) in [
        ("/html", plain),
        ("/long", plain),
        ("/slow-answer", plain),
        ("/200", by_body),
        ("/200", named),
        ("/500", plain),
        ("/302", plain),
    ] {
        let outcome = ask(path, change).await.outcome;
        assert!(matches!(outcome, Outcome::Uncertain { .. }), "{path}: {outcome:?}");
    }
    for (path, change) in [("/401", plain), ("/403", plain), ("/no-credit", by_body)] {
        let outcome = ask(path, change).await.outcome;
        assert!(matches!(outcome, Outcome::Unusable { .. }), "{path}: {outcome:?}");
    }
    for (path, change) in [("/400", plain), ("/bad-number", by_body)] {
        let outcome = ask(path, change).await.outcome;
        assert!(matches!(outcome, Outcome::Refused { address: true, .. }), "{path}: {outcome:?}");
    }
    let Outcome::Temporary { after_seconds, .. } = ask("/busy", plain).await.outcome else {
        panic!("not busy")
    };
    assert_eq!(after_seconds, Some(7));
}

#[tokio::test]
async fn another_gateway_stands_in_only_where_nothing_was_taken() {
    let (good, good_seen) = scripted(|_| says(200, "ok")).await;
    let (bad, bad_seen) = scripted(|_| says(401, "no")).await;
    let (doubtful, _) = scripted(|_| says(500, "?")).await;
    let closed: SocketAddr = format!("127.0.0.1:{}", free_port()).parse().unwrap();
    for first in [bad, closed] {
        let both = gateways(vec![spec("first", first), spec("second", good)]);
        let handed = both.send(&parcel("one")).await;
        assert_eq!((handed.outcome, handed.gateway.as_str()), (Outcome::Accepted, "second"));
        let asked = bad_seen.lock().unwrap().len();
        assert_eq!(both.send(&parcel("two")).await.gateway, "second");
        assert_eq!(bad_seen.lock().unwrap().len(), asked, "the first is passed over for a while");
        assert_eq!(both.troubles(parcel("").at).len(), 1);
    }
    let before = good_seen.lock().unwrap().len();
    let handed = send(vec![spec("first", doubtful), spec("second", good)]).await;
    assert!(matches!(handed.outcome, Outcome::Uncertain { .. }));
    assert_eq!(good_seen.lock().unwrap().len(), before, "what may have been taken goes to nobody else");
    let mut french = spec("french", good);
    french.prefixes = vec!["+33".to_owned()];
    let mut british = spec("british", good);
    british.prefixes = vec!["+44".to_owned()];
    assert_eq!(send(vec![french.clone(), british]).await.gateway, "british");
    assert!(matches!(send(vec![french]).await.outcome, Outcome::Refused { .. }));
}

#[tokio::test]
async fn an_inbox_is_looked_into_for_hosts_that_cannot_be_reached() {
    use allheard::inbound::fields::Places;
    use allheard::inbound::poll::Inbox;
    use allheard::service::hearing::CarrierNews;
    let (at, seen) = scripted(|seen| match seen.path.as_str() {
        "/inbox" => says(
            200,
            r#"{"messages":[{"from":"+447700900021","body":{"text":"YES"},"id":7,"at":"2027-06-03T17:00:00Z"},
                {"from":"+447700900022"},{"from":"+447700900023","body":{"text":"Sí"},"id":"8","at":"2099-01-01T00:00:00Z"}]}"#,
        ),
        "/page" => says(200, "<html>"),
        "/long" => says(200, &"x".repeat(10 << 20)),
        _ => says(500, "?"),
    })
    .await;
    let inbox = |path: &str| Inbox {
        name: "first".to_owned(),
        url: format!("http://{at}{path}"),
        headers: vec![("x-key".parse().unwrap(), "whisper".to_owned())],
        login: None,
        list: "/messages".to_owned(),
        places: Places::Answer {
            from: "from".to_owned(),
            words: "/body/text".to_owned(),
            id: "id".to_owned(),
            at: "at".to_owned(),
        },
        every: Duration::from_secs(1),
    };
    let client =
        reqwest::Client::builder().tls_backend_preconfigured(client_config(None).unwrap()).build().unwrap();
    let now: jiff::Timestamp = "2027-06-03T17:30:00Z".parse().unwrap();
    let told = inbox("/inbox").fetch(&client, now).await.unwrap();
    let answers: Vec<_> = told
        .iter()
        .map(|one| match one {
            CarrierNews::Answer(answer) => (answer.words.as_str(), answer.external.as_str(), answer.at),
            _ => panic!("not an answer"),
        })
        .collect();
    let earlier = "2027-06-03T17:00:00Z".parse().unwrap();
    // The item without words is left out and said so in the log; a clock ahead of ours is not believed.
    assert_eq!(answers, [("YES", "first 7", earlier), ("Sí", "first 8", now)]);
    assert_eq!(seen.lock().unwrap()[0].headers["x-key"], "whisper");
    for path in ["/page", "/long", "/500"] {
        assert!(inbox(path).fetch(&client, now).await.is_err(), "{path}");
    }
}

#[tokio::test]
async fn a_gateway_without_credit_burns_no_attempts_and_the_coordinator_hears_of_it() {
    let folder = tempfile::tempdir().unwrap();
    let (at, seen) = scripted(|_| says(402, "out of credit")).await;
    let mut season = Season::open(folder.path(), 1, gateways(vec![spec("only", at)])).await;
    season.office.ways.coordinator =
        vec![(allheard::domain::season::Channel::Mail, "coordinator@example.org".to_owned())];
    season.office.plan_tick().await.unwrap();
    while seen.lock().unwrap().is_empty() && season.advance().await {
        season.office.send_tick().await.unwrap();
    }
    season.office.send_tick().await.unwrap();
    let counts = {
        use allheard::service::ports::Store as _;
        season.office.store.counts(season.row().await).await.unwrap()
    };
    use allheard::domain::graph::State;
    assert!(
        !counts.iter().any(|(state, ..)| matches!(state, State::Refused | State::Uncertain)),
        "{counts:?}"
    );
    assert!(seen.lock().unwrap().len() <= 32, "the rest was not even tried");
    let Road::Memory(mail) = &season.office.gateway.mail.road else { panic!("not memory") };
    let words: Vec<String> = mail
        .taken()
        .iter()
        .filter(|parcel| parcel.to == "coordinator@example.org")
        .map(|parcel| match &parcel.content {
            Content::Mail(mail) => format!("{}: {}", mail.subject, mail.text),
            Content::Text(_) => panic!("not a mail"),
        })
        .collect();
    assert_eq!(words.len(), 1, "told once");
    assert!(
        words[0].starts_with("Texts cannot leave: Allheard: Texts cannot leave (status 402)."),
        "{}",
        words[0]
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_seasons_texts_leave_durably_and_fast() {
    let folder = tempfile::tempdir().unwrap();
    let (at, seen) = scripted(|_| says(200, "ok")).await;
    let book = support::office::enlarged(1, 12, allheard::domain::season::Channel::Text);
    let season = Season::open_with(folder.path(), book, gateways(vec![spec("only", at)])).await;
    season.office.plan_tick().await.unwrap();
    let mut spent = Duration::ZERO;
    while seen.lock().unwrap().len() < RUSH && season.advance().await {
        let began = std::time::Instant::now();
        season.office.send_tick().await.unwrap();
        spent += began.elapsed();
    }
    let texts = seen.lock().unwrap().len();
    let rate = texts as f64 / spent.as_secs_f64();
    println!("{texts} texts in {:.2} s: {rate:.0} a second", spent.as_secs_f64());
    let floor = if cfg!(debug_assertions) { TEXTS_PER_SECOND_UNOPTIMISED } else { TEXTS_PER_SECOND };
    assert!(texts >= RUSH && rate >= floor, "{rate:.0} a second");
}

#[tokio::test(flavor = "multi_thread")]
async fn hundreds_of_answers_come_in_fast_and_none_is_lost() {
    use allheard::domain::season::Channel;
    use allheard::service::hearing::{Became, Incoming};
    let folder = tempfile::tempdir().unwrap();
    let (at, _) = scripted(|_| says(200, "ok")).await;
    let season = Season::open(folder.path(), 1, gateways(vec![spec("only", at)])).await;
    season.office.plan_tick().await.unwrap();
    let phones: Vec<String> = {
        let desk = season.office.desk().await.unwrap();
        let all = desk.board.season.guardians.iter();
        all.filter_map(|g| g.contact.phone.as_ref()).map(|phone| phone.e164.clone()).collect()
    };
    let now = season.office.now();
    let began = std::time::Instant::now();
    let mut taken = 0_u32;
    for (nth, phone) in phones.iter().cycle().take(2_000).enumerate() {
        let incoming = Incoming {
            channel: Channel::Text,
            from: phone.clone(),
            words: if nth % 7 == 0 { "Which door is it?" } else { "YES" }.to_owned(),
            at: now,
            external: format!("m{nth}"),
            token: None,
            about: None,
            automatic: false,
        };
        let became = season.office.hear(&incoming).await.unwrap();
        taken += u32::from(became != Became::Ignored);
        if nth % 50 == 0 {
            assert_eq!(season.office.hear(&incoming).await.unwrap(), Became::Known, "the same one again");
        }
    }
    let rate = f64::from(taken) / began.elapsed().as_secs_f64();
    println!("{taken} answers taken in: {rate:.0} a second");
    assert_eq!(taken, 2_000);
    let floor = if cfg!(debug_assertions) { ANSWERS_PER_SECOND_UNOPTIMISED } else { ANSWERS_PER_SECOND };
    assert!(rate >= floor, "{rate:.0} a second");
}
