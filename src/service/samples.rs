//! Invented letters that every template is rendered with before it is trusted.
//!
//! Telephone numbers and hosts come from ranges reserved for fiction.

use jiff::civil::{Date, Time, date, time};

use super::digest::{Children, Digest, DigestNews, Listed};
use super::letter::{
    Appearance, Costume, Introduction, Letter, LetterItem, LetterKind, LetterShift, Shared, ToldChange,
    ToldRule, Walk, What,
};
use super::reply::{Choice, Reply, ReplyMatter};

/// A letter about one child at one event.
pub fn sample(kind: LetterKind) -> Letter {
    letter(kind, vec![dress(kind, "Ana")])
}

/// A letter about two children at two events.
pub fn sample_many(kind: LetterKind) -> Letter {
    letter(kind, vec![dress(kind, "Ana"), photographs(kind, "Tomasz")])
}

/// Every sample of a kind, each with a few words on what is particular about it.
pub fn samples(kind: LetterKind) -> Vec<(&'static str, Letter)> {
    let mut all = vec![("one child", sample(kind)), ("two children", sample_many(kind))];
    let mut vary = |name: &'static str, change: &dyn Fn(&mut Letter)| {
        let mut letter = sample(kind);
        change(&mut letter);
        all.push((name, letter));
    };
    vary("a name outside the 7-bit alphabet", &|l| rename(l, Some("Łucja")));
    vary("names left out", &|l| rename(l, None));
    vary("an answer by text", &|l| l.reply_by_text = true);
    vary("no pages, an answer by text or mail", &|l| {
        l.link = String::new();
        l.reply_by_text = true;
        l.reply_by_mail = true;
    });
    vary("no pages and no answers but by telephone", &|l| l.link = String::new());
    vary("no pages, no answers, no telephone", &|l| {
        l.link = String::new();
        l.telephone = None;
    });
    vary("no answer owed", &|l| l.owes = false);
    vary("the first text to a number that can be answered", &|l| {
        l.reply_by_text = true;
        l.first_text = true;
    });
    vary("am and pm", &|l| {
        l.twelve = true;
        l.country = "US".to_owned();
    });
    vary("called after it has begun", &|l| l.items.iter_mut().for_each(|item| item.begins = None));
    vary("parked the evening before", &|l| {
        for item in &mut l.items {
            item.park_by = Some(time(23, 45, 0, 0));
            item.park_by_day_before = true;
        }
    });
    vary("joined late, one phone", &|l| {
        l.catch_up = true;
        l.one_phone = true;
    });
    vary("bare facts only", &strip);
    vary("a Saturday", &|l| l.items.iter_mut().for_each(|item| item.date = date(2027, 6, 5)));
    vary("a Saturday and a name outside the alphabet", &|l| {
        rename(l, Some("Łucja"));
        l.items.iter_mut().for_each(|item| item.date = date(2027, 6, 5));
    });
    vary("after midnight, adults watch", &|l| {
        for item in &mut l.items {
            item.collect_from = Some(time(0, 15, 0, 0));
            item.collect_overnight = true;
            item.adults_watch = Some(true);
            item.no_early_release = false;
        }
    });
    let mut siblings = letter(kind, vec![dress(kind, "Ana"), dress(kind, "Tomasz")]);
    siblings.shared = Shared::taken_from(&mut siblings.items);
    siblings.owes = false;
    all.push(("two children at one event", siblings));
    all.push(("one child, two events", { letter(kind, vec![dress(kind, "Ana"), photographs(kind, "Ana")]) }));
    all.push(("many events", many_events(kind)));
    if kind == LetterKind::Cancelled {
        for items in [vec![dress(kind, "Ana")], vec![dress(kind, "Ana"), photographs(kind, "Tomasz")]] {
            all.push(("no longer needed", Letter { not_needed: true, ..letter(kind, items) }));
        }
        let items = many_events(kind).items;
        all.push(("no longer needed at many", Letter { not_needed: true, ..letter(kind, items) }));
        let relieved = Letter { to_chaperone: true, not_needed: true, ..sample(kind) };
        all.push(("a chaperone no longer needed", relieved));
    }
    if matches!(kind, LetterKind::Change | LetterKind::Cancelled) {
        let mut duty = Letter { to_chaperone: true, ..sample(kind) };
        duty.items.iter_mut().for_each(|item| item.shift = Some(shift()));
        all.push(("a chaperone's duty", duty));
    }
    if kind == LetterKind::Change {
        all.extend(What::ALL.map(|what| ("one fact changed", changed(what))));
    }
    all
}

fn letter(kind: LetterKind, items: Vec<LetterItem>) -> Letter {
    let mut children: Vec<Option<String>> = Vec::new();
    for item in &items {
        if !children.contains(&item.child) {
            children.push(item.child.clone());
        }
    }
    let rules = kind == LetterKind::Rules;
    Letter {
        kind,
        language: "en".to_owned(),
        season_language: "en".to_owned(),
        short: "Larkmoor".to_owned(),
        school: "Larkmoor School of Dance".to_owned(),
        season: "The Tin Lighthouse".to_owned(),
        telephone: Some("01632 960 123".to_owned()),
        children,
        rules: if rules { house_rules() } else { Vec::new() },
        introductions: if kind == LetterKind::Introduction { introductions(&items) } else { Vec::new() },
        shared: None,
        items,
        link: "https://larkmoor.example/g/b7Qm2Xw9Zk4cVh1TnR5sYp".to_owned(),
        stop_link: "https://larkmoor.example/s/b7Qm2Xw9Zk4cVh1TnR5sYp".to_owned(),
        owes: kind != LetterKind::Introduction,
        first_text: false,
        twelve: false,
        country: "GB".to_owned(),
        reply_by_text: false,
        reply_by_mail: false,
        code: "b7Qm2Xw9Zk4cVh1TnR5sYp".to_owned(),
        one_phone: false,
        to_chaperone: kind == LetterKind::Duty,
        catch_up: false,
        not_needed: false,
    }
}

/// Replies of every size: about one child, about many with long names, and with as little as can be known.
pub fn replies() -> Vec<Reply> {
    let about = |child: &str, what: &str, date: Date| ReplyMatter {
        child: Some(child.to_owned()),
        what: Some(what.to_owned()),
        date: Some(date),
        pick_up: Some(time(20, 30, 0, 0)),
        no_early_release: true,
    };
    let one = reply(vec![about("Ana", "Dress rehearsal", date(2027, 6, 4))]);
    let outside = reply(vec![
        about("Łucja", "Photographs", date(2027, 6, 5)),
        about("Ana", "Dress rehearsal", date(2027, 6, 4)),
    ]);
    let many =
        (1..=9).map(|n| about("Maximiliana-Charlotte", "Dress rehearsal at the theatre", date(2027, 6, n)));
    let bare = ReplyMatter { child: None, what: None, date: None, pick_up: None, no_early_release: false };
    let mut bare = reply(vec![bare]);
    bare.telephone = None;
    vec![one, outside, reply(many.collect()), bare]
}

fn reply(about: Vec<ReplyMatter>) -> Reply {
    let mut children: Vec<Option<String>> = about.iter().map(|one| one.child.clone()).collect();
    children.dedup();
    Reply {
        language: "en".to_owned(),
        season_language: "en".to_owned(),
        short: "Larkmoor".to_owned(),
        twelve: false,
        country: "GB".to_owned(),
        school: "Larkmoor School of Dance".to_owned(),
        telephone: Some("01632 960 123".to_owned()),
        children,
        all: about.len() + 1,
        back: "https://larkmoor.example/stop/b7Qm2Xw9Zk4cVh1TnR5sYp".to_owned(),
        choices: about
            .iter()
            .enumerate()
            .map(|(at, one)| Choice {
                number: at + 1,
                child: one.child.clone(),
                what: one.what.clone(),
                date: one.date,
            })
            .collect(),
        about,
    }
}

/// As many chaperones as the child has events in the sample, so that one, two and many are tried.
fn introductions(items: &[LetterItem]) -> Vec<Introduction> {
    let mut all: Vec<Introduction> = Vec::new();
    for item in items {
        let event = Appearance { event: item.event.clone(), date: item.date };
        match all.iter_mut().find(|one| one.child == item.child) {
            Some(one) => {
                one.chaperones.push("Bartholomea Quillfeather-Ashworth".to_owned());
                one.events.push(event);
            }
            None => all.push(Introduction {
                child: item.child.clone(),
                signs_in: Some("Noor Tidewell".to_owned()),
                signs_out: Some("Uma Lock".to_owned()),
                chaperones: vec!["Noor Tidewell".to_owned()],
                events: vec![event],
            }),
        }
    }
    all
}

/// Digests of every size: one event with little to say, many with long names, nothing but names, and no page to open.
pub fn digests() -> Vec<Digest> {
    let names = |count: usize| Children {
        count,
        names: (0..count).map(|n| format!("Maximiliana-Łucja {n}.")).collect(),
        more: count / 10,
    };
    let listed = |event: &str, count: usize| Listed {
        event: event.to_owned(),
        date: date(2027, 6, 5),
        settled: 140,
        all: 140 + count,
        unheard: names(count),
        cannot_come: names(count / 2),
        unasked: count / 3,
    };
    let digest = |events: Vec<Listed>| Digest {
        language: "en".to_owned(),
        season_language: "en".to_owned(),
        short: "Larkmoor".to_owned(),
        twelve: false,
        country: "GB".to_owned(),
        school: "Larkmoor School of Dance and Drama".to_owned(),
        season: "The Tin Lighthouse".to_owned(),
        telephone: Some("01632 960 123".to_owned()),
        given: "Maximiliana-Łucja".to_owned(),
        as_of: time(18, 0, 0, 0),
        unheard: events.iter().map(|one| one.unheard.count).sum(),
        all: events.iter().map(|one| one.all).sum(),
        families: 14,
        news: DigestNews { heard: names(2), cannot_come: names(1), asked_again: names(3) },
        events,
        link: "https://larkmoor.example/c/b7Qm2Xw9Zk4cVh1TnR5sYp".to_owned(),
    };
    let mut one = digest(vec![listed("Dress rehearsal", 1)]);
    one.news = DigestNews::default();
    one.families = 1;
    let many = digest((0..6).map(|n| listed("Dress rehearsal at the theatre", 14 + n)).collect());
    let settled = digest(vec![Listed { unasked: 0, ..listed("Photographs", 0) }]);
    let mut bare = digest(vec![listed("Photographs", 3)]);
    bare.link = String::new();
    bare.telephone = None;
    let nameless = |children: &mut Children| children.names.clear();
    bare.events.iter_mut().for_each(|one| nameless(&mut one.unheard));
    nameless(&mut bare.news.heard);
    vec![one, many, settled, bare]
}

fn house_rules() -> Vec<ToldRule> {
    [
        ("Stay with your chaperone", "Children stay with their chaperone from the door to the door."),
        ("No early release", "Nobody leaves before the last number.\nThis goes for every child."),
    ]
    .map(|(name, text)| ToldRule { name: name.to_owned(), text: text.to_owned(), acknowledge: true })
    .into()
}

fn dress(kind: LetterKind, child: &str) -> LetterItem {
    LetterItem {
        park_by: Some(time(16, 35, 0, 0)),
        collect_from: Some(time(20, 30, 0, 0)),
        ways: vec![
            Walk { name: "Quay car park".to_owned(), min: 15, max: 20 },
            Walk { name: "Tram stop Ropewalk".to_owned(), min: 1, max: 1 },
        ],
        collect_at: "Tar Lane gate".to_owned(),
        arrive_ready: "Costume on, hair and make-up done".to_owned(),
        bring: "Water and a plain snack".to_owned(),
        leave_home: "Jewellery and toys".to_owned(),
        signs_in: Some("Noor Tidewell".to_owned()),
        signs_out: Some("Uma Lock".to_owned()),
        collectors: vec!["Rosa Reed".to_owned()],
        turn_in: vec![costume("Kelp", &["blue tunic", "silver sash"])],
        rules: vec![ToldRule {
            name: "Food".to_owned(),
            text: "No nuts, please.".to_owned(),
            acknowledge: false,
        }],
        ..item(kind, child, "Dress rehearsal", date(2027, 6, 4), time(17, 0, 0, 0))
    }
}

fn photographs(kind: LetterKind, child: &str) -> LetterItem {
    LetterItem {
        park_by: Some(time(9, 5, 0, 0)),
        begins: Some(time(9, 30, 0, 0)),
        no_early_release: false,
        turn_in: vec![costume("Foghorn", &[])],
        ..item(kind, child, "Photographs", date(2027, 6, 5), time(9, 20, 0, 0))
    }
}

fn item(kind: LetterKind, child: &str, event: &str, date: Date, call: Time) -> LetterItem {
    LetterItem {
        child: Some(child.to_owned()),
        event: event.to_owned(),
        date,
        call,
        park_by: None,
        park_by_day_before: false,
        begins: Some(time(18, 0, 0, 0)),
        collect_from: None,
        collect_overnight: false,
        place: "Old Ropewalk Theatre".to_owned(),
        door: "stage door, Tar Lane".to_owned(),
        ways: Vec::new(),
        collect_at: String::new(),
        arrive_ready: String::new(),
        bring: String::new(),
        leave_home: String::new(),
        adults_watch: None,
        signs_in: None,
        signs_out: None,
        collectors: Vec::new(),
        turn_in: Vec::new(),
        rules: Vec::new(),
        changes: if kind == LetterKind::Change {
            vec![change(What::Call, "17:30", "17:00"), change(What::ParkBy, "17:05", "16:35")]
        } else {
            Vec::new()
        },
        cancelled: kind == LetterKind::Cancelled,
        no_early_release: kind != LetterKind::Duty,
        shift: (kind == LetterKind::Duty).then(shift),
    }
}

fn costume(number: &str, pieces: &[&str]) -> Costume {
    Costume { number: number.to_owned(), pieces: pieces.iter().map(|piece| (*piece).to_owned()).collect() }
}

fn shift() -> LetterShift {
    let names = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
    LetterShift {
        briefing: Some(time(17, 15, 0, 0)),
        station: Some(time(17, 45, 0, 0)),
        until: Some(time(20, 30, 0, 0)),
        numbers: names(&["Kelp", "Lamp oil"]),
        tasks: names(&["stage door"]),
        signs_in: names(&["Kelp"]),
        signs_out: names(&["Lamp oil"]),
        kit: "Badge, pen, dark clothes".to_owned(),
    }
}

fn change(what: What, old: &str, new: &str) -> ToldChange {
    ToldChange { what, old: old.to_owned(), new: new.to_owned() }
}

fn changed(what: What) -> Letter {
    let (old, new) = match what {
        What::Date => ("2027-06-03", "2027-06-04"),
        What::Place => ("Studio 2", "Old Ropewalk Theatre"),
        What::Door => ("front door", "stage door, Tar Lane"),
        What::Call => ("17:30", "17:00"),
        What::ParkBy => ("", "16:35"),
        What::Ready => ("Hair done", "Costume on"),
        What::Bring => ("Water", ""),
        What::TurnIn => ("", "blue costume"),
        What::Collect => ("20:15", "20:30"),
        What::Rules => ("", "Closed rehearsal"),
        What::Cancelled => ("", ""),
        What::Briefing => ("16:15", "16:20"),
        What::Station => ("16:45", ""),
        What::Until => ("20:30", "20:45"),
        What::Numbers => ("Kelp", "Kelp; Foghorn"),
        What::Task => ("", "stage door"),
        What::SignsIn => ("Kelp", ""),
        What::SignsOut => ("Kelp", "Foghorn"),
    };
    let mut letter = sample(LetterKind::Change);
    for item in &mut letter.items {
        item.cancelled = what == What::Cancelled;
        item.changes = vec![change(what, old, new)];
    }
    letter
}

fn many_events(kind: LetterKind) -> Letter {
    let items = (0..6)
        .flat_map(|week| ["Ana", "Tomasz"].map(|child| (week, child)))
        .map(|(day, child)| LetterItem { date: date(2027, 6, 5 + day), ..dress(kind, child) })
        .collect();
    let mut letter = letter(kind, items);
    letter.shared = Shared::taken_from(&mut letter.items);
    letter
}

fn rename(letter: &mut Letter, to: Option<&str>) {
    let to = to.map(str::to_owned);
    letter.children = vec![to.clone()];
    letter.introductions.iter_mut().for_each(|one| one.child.clone_from(&to));
    for item in &mut letter.items {
        item.child.clone_from(&to);
    }
}

fn strip(letter: &mut Letter) {
    letter.telephone = None;
    for rule in &mut letter.rules {
        rule.text = "Stay together.".to_owned();
    }
    for item in &mut letter.items {
        *item = LetterItem {
            call: item.call,
            changes: std::mem::take(&mut item.changes),
            turn_in: std::mem::take(&mut item.turn_in),
            cancelled: item.cancelled,
            ..self::item(letter.kind, "Ana", "Dress rehearsal", item.date, item.call)
        };
    }
}
