//! Digests: each chaperone her list and the coordinator the whole, by the season's rules and only when there is something
//! to say; and to each chaperone, when she has been introduced, the families she is to greet.

use super::composing::token_hash;
use super::digest::{Children, Digest, DigestKind, DigestNews, Listed};
use super::lists::{child_line, children_of};
use super::office::{Office, OfficeFault};
use super::overview;
use super::ports::{
    COORDINATOR, Course, Gateway, LinkKind, NewDigest, NewLink, NewReply, SaidDigest, Store, StoredDigest,
};
use super::wording;
use crate::domain::board::Board;
use crate::domain::cron_rule::CronRule;
use crate::domain::digests::{self, DigestMoment, Seen, worth_saying};
use crate::domain::due::window;
use crate::domain::hash as hashing;
use crate::domain::introduction::{Greeting, greetings};
use crate::domain::published::clocks;
use crate::domain::record::Record;
use crate::domain::season::{Channel, ChaperoneId, Child, EventId, Person};
use crate::domain::standing::{self, Standing};
use crate::domain::wall;
use jiff::Timestamp;
use std::collections::{BTreeSet, HashMap};

/// Which digest of a holder a list is.
const LIST: &str = "list";
/// Children named in one line of a list, at most; all of them stand on her page.
const NAMES_TOLD: usize = 20;
/// What a greeting saw; it is never compared.
const GREETED: &str = "- families greeted\n";
/// Hexadecimal digits of a digest's key (128 bits).
const KEY_DIGITS: usize = 32;

/// What looking for digests did.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub struct Digested {
    /// Letters put down to be sent.
    pub put: usize,
    /// When a digest may next be due; none for never.
    pub next: Option<Timestamp>,
}

/// The last digest of each holder and kind.
type Last = HashMap<(String, String), StoredDigest>;

/// A moment of a holder, and the digest that goes at it.
struct Turn<'a> {
    holder: &'a str,
    kind: &'a str,
    moment: DigestMoment,
}

/// Where a letter goes and what is in it, before it has a key.
struct Words {
    channel: Channel,
    address: String,
    subject: String,
    words: String,
    link: Option<NewLink>,
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Puts down the digests whose moment has come and that have something to say. Looking again is harmless: every moment
    /// of a holder is taken once, in any process.
    pub async fn digest_tick(&self) -> Result<Digested, OfficeFault> {
        let now = self.now();
        let (season, board) = {
            let desk = self.desk().await?;
            (desk.season, desk.board.clone())
        };
        // A digest is no reply: like a planned message it leaves only while the season is going.
        if !matches!(self.store.course(season).await?, Course::Going { .. }) {
            return Ok(Digested { put: 0, next: None });
        }
        let greetings = greetings(&board);
        let next = next(&board, &greetings, now);
        let hours = window(&board.season);
        if !hours.permitted(&board.season.zone, now) {
            let morning = hours.next_permitted(&board.season.zone, now);
            return Ok(Digested { put: 0, next: next.map(|at| at.min(morning)) });
        }
        let stored = self.store.digests(season).await?;
        let last: Last = stored.into_iter().map(|d| ((d.holder.clone(), d.kind.clone()), d)).collect();
        let mut new = {
            let desk = self.desk().await?;
            let mut new = self.lists(&desk.board, &desk.record, &last, now);
            new.extend(self.greeted(&desk.board, &desk.record, &greetings, &last, now));
            new
        };
        new.extend(self.whole(&board, &last, now).await?);
        if new.is_empty() {
            return Ok(Digested { put: 0, next });
        }
        let put = self.store.put_digests(season, &new, now).await?;
        Ok(Digested { put, next })
    }

    /// Each chaperone's list, where its moment has come.
    fn lists(&self, board: &Board, record: &Record, last: &Last, now: Timestamp) -> Vec<NewDigest> {
        let season = &board.season;
        let Some(rule) = &season.settings.chaperone_digest else { return Vec::new() };
        let mut new = Vec::new();
        for (at, chaperone) in (0_u32..).zip(&season.chaperones) {
            let holder = chaperone.reference.as_str();
            let before = last.get(&(holder.to_owned(), LIST.to_owned()));
            let Some(moment) = moment(board, rule, before, now) else { continue };
            let turn = Turn { holder, kind: LIST, moment };
            let id = ChaperoneId(at);
            let before = before.map(|d| d.form.as_str()).filter(|form| !form.is_empty());
            let (seen, mut digest) = list(board, record, id, before, now);
            let said = if worth_saying(digest.unheard, before, &seen) {
                let letter = self.letter(board, record, id, DigestKind::List, &mut digest);
                letter.map(|letter| said(board, &turn, letter, digests::form(&seen), now))
            } else {
                None
            };
            new.push(turn.taken(said));
        }
        new
    }

    /// The families that chaperones are to greet, where they have been introduced; of several that are late the newest.
    fn greeted(
        &self,
        board: &Board,
        record: &Record,
        greetings: &[Greeting],
        last: &Last,
        now: Timestamp,
    ) -> Vec<NewDigest> {
        let season = &board.season;
        let kind = |greeting: &Greeting| format!("greet {}", season.notices[greeting.notice].reference);
        let holder = |greeting: &Greeting| season.chaperones[greeting.chaperone.at()].reference.clone();
        let due: Vec<&Greeting> = greetings
            .iter()
            .filter(|g| g.due.at <= now && now < g.due.until && !last.contains_key(&(holder(g), kind(g))))
            .collect();
        let mut new = Vec::new();
        for greeting in &due {
            let newer = |other: &&&Greeting| {
                other.chaperone == greeting.chaperone
                    && (other.due.at, other.notice) > (greeting.due.at, greeting.notice)
            };
            let (holder, kind) = (holder(greeting), kind(greeting));
            let day = digests::placed(&season.zone, window(season), now);
            let moment =
                DigestMoment { of: greeting.due.at, due: now, until: day.until.min(greeting.due.until) };
            let turn = Turn { holder: &holder, kind: &kind, moment };
            let said = if due.iter().any(|other| newer(&other)) {
                None
            } else {
                let mut digest = bare(board, greeting.chaperone, now);
                digest.families = greeting.children.len();
                let letter = self.letter(board, record, greeting.chaperone, DigestKind::Greet, &mut digest);
                letter.map(|letter| said(board, &turn, letter, GREETED.to_owned(), now))
            };
            new.push(turn.taken(said));
        }
        new
    }

    /// The coordinator's digest, where its moment has come.
    async fn whole(
        &self,
        board: &Board,
        last: &Last,
        now: Timestamp,
    ) -> Result<Option<NewDigest>, OfficeFault> {
        let roads = &self.ways.coordinator;
        let by = |channel: Channel| roads.iter().find(|(by, _)| *by == channel);
        let Some((channel, address)) = by(Channel::Mail).or(by(Channel::Text)) else { return Ok(None) };
        let Some(rule) = &board.season.settings.coordinator_digest else { return Ok(None) };
        let before = last.get(&(COORDINATOR.to_owned(), LIST.to_owned()));
        let Some(moment) = moment(board, rule, before, now) else { return Ok(None) };
        let turn = Turn { holder: COORDINATOR, kind: LIST, moment };
        // When the season is over nobody needs to be hurried any more; what still lies there stands on her pages.
        if board.programme.itineraries().all(|it| it.over_at <= now) {
            return Ok(Some(turn.taken(None)));
        }
        let before = before.map(|d| d.form.as_str()).filter(|form| !form.is_empty());
        let seen = overview::Overview::of(&self.season_data().await?);
        if !worth_saying(seen.waiting(), before, &seen.seen) {
            return Ok(Some(turn.taken(None)));
        }
        let pages =
            if self.ways.pages_public { format!("{}/season", self.ways.base_url) } else { String::new() };
        let letter = Words {
            channel: *channel,
            address: address.clone(),
            subject: if *channel == Channel::Mail { seen.subject() } else { String::new() },
            words: if *channel == Channel::Mail { seen.mail(before, &pages) } else { seen.text() },
            link: None,
        };
        let said = said(board, &turn, letter, digests::form(&seen.seen), now);
        Ok(Some(turn.taken(Some(said))))
    }

    /// A chaperone's digest in words, by mail or where she has none by text, with a fresh link to her list; none if she
    /// cannot be written to.
    fn letter(
        &self,
        board: &Board,
        record: &Record,
        chaperone: ChaperoneId,
        kind: DigestKind,
        digest: &mut Digest,
    ) -> Option<Words> {
        let reference = &board.season.chaperones[chaperone.at()].reference;
        let own = board.guardian(reference)?;
        let by = |channel| Some((channel, standing::address(board, record, own, channel)?));
        let (channel, address) = by(Channel::Mail).or_else(|| by(Channel::Text))?;
        let mut link = None;
        if self.ways.pages_public {
            let token = self.token();
            digest.link = format!("{}/c/{token}", self.ways.base_url);
            link = Some(NewLink {
                hash: token_hash(&token),
                kind: LinkKind::Chaperone,
                message: 0,
                chaperone: reference.clone(),
                expires: self.season_links_end(board),
                made: self.now(),
                parent: String::new(),
            });
        }
        let worded: Result<(String, String), wording::Fault> = match channel {
            Channel::Mail => self.wording.digest_mail(kind, digest),
            Channel::Text => self.wording.digest_text(kind, digest).map(|text| (String::new(), text)),
        };
        match worded {
            Ok((subject, words)) => {
                Some(Words { channel, address: address.to_owned(), subject, words, link })
            }
            Err(fault) => {
                tracing::error!(%fault, "a digest could not be worded");
                None
            }
        }
    }
}

impl Turn<'_> {
    fn taken(&self, said: Option<SaidDigest>) -> NewDigest {
        NewDigest { holder: self.holder.to_owned(), kind: self.kind.to_owned(), of: self.moment.of, said }
    }
}

fn said(board: &Board, turn: &Turn<'_>, letter: Words, form: String, now: Timestamp) -> SaidDigest {
    let Turn { holder, kind, moment } = turn;
    let text =
        format!("digest 1\n{}\n{holder}\n{kind}\n{}", board.season.reference, moment.of.as_millisecond());
    let mut reference = hashing::hex(&hashing::sha256(text.as_bytes()));
    reference.truncate(KEY_DIGITS);
    SaidDigest {
        form,
        letter: NewReply {
            channel: letter.channel,
            address: letter.address,
            subject: letter.subject,
            words: letter.words,
            in_reply_to: String::new(),
            ready: now,
            until: moment.until,
            reference,
            by_person: false,
        },
        link: letter.link,
    }
}

fn moment(
    board: &Board,
    rule: &CronRule,
    last: Option<&StoredDigest>,
    now: Timestamp,
) -> Option<DigestMoment> {
    let season = &board.season;
    digests::moment(rule, &season.zone, window(season), last.map(|d| d.of), now)
}

/// When a digest or a greeting may next be due.
fn next(board: &Board, greetings: &[Greeting], now: Timestamp) -> Option<Timestamp> {
    let season = &board.season;
    let settings = &season.settings;
    let rules = [&settings.chaperone_digest, &settings.coordinator_digest].into_iter().flatten();
    let by_rule = rules.filter_map(|rule| digests::next(rule, &season.zone, window(season), now));
    let greeted = greetings.iter().map(|g| g.due.at).filter(|at| *at > now);
    by_rule.chain(greeted).min()
}

/// A digest to a chaperone before there is anything in it.
fn bare(board: &Board, chaperone: ChaperoneId, now: Timestamp) -> Digest {
    let season = &board.season;
    let own = &season.chaperones[chaperone.at()];
    Digest {
        language: own.contact.language.0.clone(),
        season_language: season.language.0.clone(),
        short: season.short_name.clone(),
        twelve: clocks::is_twelve(&season.country, &own.contact.language.0),
        country: season.country.clone(),
        school: season.school.clone(),
        season: season.name.clone(),
        telephone: Some(season.telephone.clone()).filter(|t| !t.is_empty()),
        given: season.given_name(Person::Chaperone(chaperone)).to_owned(),
        as_of: wall::local(&season.zone, now).time(),
        unheard: 0,
        all: 0,
        families: 0,
        events: Vec::new(),
        news: DigestNews::default(),
        link: String::new(),
    }
}

/// Her children at every event of hers that is still ahead and that families have been asked about.
fn list(
    board: &Board,
    record: &Record,
    chaperone: ChaperoneId,
    before: Option<&str>,
    now: Timestamp,
) -> (Vec<Seen>, Digest) {
    let season = &board.season;
    let mut digest = bare(board, chaperone, now);
    let language = &season.chaperones[chaperone.at()].contact.language;
    let hers: BTreeSet<EventId> =
        season.duties.iter().filter(|d| d.chaperone == chaperone).map(|d| d.event).collect();
    let mut hers: Vec<EventId> = hers.into_iter().filter(|e| season.curtain_up(*e) > now).collect();
    hers.sort_by_key(|e| season.curtain_up(*e));
    let mut seen = Vec::new();
    for id in hers {
        let lines: Vec<_> = children_of(board, chaperone, id)
            .into_iter()
            .map(|child| (child, child_line(board, record, child, id).standing))
            .collect();
        if !lines.iter().any(|(_, standing)| is_asked(*standing)) {
            continue;
        }
        let event = &season.events[id.at()];
        let those = |wanted: fn(Standing) -> bool| -> Vec<&Child> {
            let those = lines.iter().filter(|(_, standing)| wanted(*standing));
            those.map(|(child, _)| &season.children[child.at()]).collect()
        };
        digest.events.push(Listed {
            event: season.phrases.said(&event.name, language).to_owned(),
            date: event.date,
            settled: those(|s| s == Standing::Heard).len(),
            all: those(|s| s != Standing::Away).len(),
            unheard: named(board, &those(is_open)),
            cannot_come: named(board, &those(|s| s == Standing::CantCome)),
            unasked: those(|s| s == Standing::NotAsked).len(),
        });
        seen.extend(lines.iter().map(|(child, standing)| Seen {
            event: event.reference.clone(),
            what: season.children[child.at()].reference.clone(),
            how: standing.word().to_owned(),
        }));
    }
    // A child stands at every event of its own, and is one child.
    let children = |wanted: &dyn Fn(&Seen) -> bool| {
        let those: BTreeSet<&str> =
            seen.iter().filter(|one| wanted(one)).map(|one| one.what.as_str()).collect();
        those.len()
    };
    let open = [Standing::HeardBefore, Standing::Waiting, Standing::NoWay].map(Standing::word);
    digest.unheard = children(&|one| open.contains(&one.how.as_str()));
    digest.all = children(&|one| one.how != Standing::Away.word());
    if let Some(before) = before {
        let news = digests::news(before, &seen);
        let turned = |to: Standing| {
            let moved: BTreeSet<&str> = news
                .iter()
                .filter(|(now, _)| now.how == to.word())
                .map(|(now, _)| now.what.as_str())
                .collect();
            let children = season.children.iter().filter(|child| moved.contains(child.reference.as_str()));
            named(board, &children.collect::<Vec<_>>())
        };
        digest.news = DigestNews {
            heard: turned(Standing::Heard),
            cannot_come: turned(Standing::CantCome),
            asked_again: turned(Standing::HeardBefore),
        };
    }
    (seen, digest)
}

/// Whether a family has been asked, as far as its standing tells.
pub(super) fn is_asked(standing: Standing) -> bool {
    !matches!(standing, Standing::NotAsked | Standing::NoWay)
}

/// Whether somebody of the family is to be rung.
pub(super) fn is_open(standing: Standing) -> bool {
    matches!(standing, Standing::HeardBefore | Standing::Waiting | Standing::NoWay)
}

/// Children by given name and the first letter of the family name, where messages may carry names.
fn named(board: &Board, children: &[&Child]) -> Children {
    let name = |child: &&Child| child.short_name();
    let told = if board.season.settings.given_names { NAMES_TOLD } else { 0 };
    let names: Vec<String> = children.iter().take(told).map(name).collect();
    let more = if names.is_empty() { 0 } else { children.len() - names.len() };
    Children { count: children.len(), names, more }
}
