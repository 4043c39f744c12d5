//! `/season/EVENT/show` and `/season/EVENT/show/change`: what is told of a show as it runs, and what follows from it.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header::HeaderName;
use axum::http::{HeaderMap, HeaderValue};
use axum::response::Response;

use super::fields::Fields;
use super::guardian::{Asked, asked};
use super::labels::{ENGLISH, capitalised};
use super::respond::{Denied, html};
use super::routes::Front;
use super::shown;
use super::views::{ChangePage, OrderLine, PageNotice, Pick, ShowMoment, ShowPage, Tick, ToldLine};
use crate::domain::day::next::{Names, time_left};
use crate::domain::day::order::{OrderShift, Piece, Target};
use crate::domain::day::running::{Before, HOLD_MINUTES_MAX, Running, ShowReport, StageNow};
use crate::domain::day::turns::{Ease, GroupTurn, Turn};
use crate::domain::season::{ChildId, NumberId, Season, Slot};
use crate::domain::sheets;
use crate::service::ports::{DeedKind, Gateway, Store};
use crate::service::show::{FIRST, INTERVAL, Saying, ShowData, ShowTold};

/// Seconds after which a page of the running show is read again.
pub(super) const AGAIN_SECONDS: u32 = 15;
/// Numbers ahead whose calls and turnarounds are shown.
const AHEAD_SHOWN: usize = 6;
/// Characters of a form's own name at most.
const DEED_MAX_CHARACTERS: usize = 64;
/// What stands before the count of an act in a form that holds it.
const ACT: &str = "act ";
/// Lengths of a hold to choose from, minutes.
const HOLD_MINUTES: [u32; 11] = [1, 2, 3, 4, 5, 6, 8, 10, 15, 20, 30];

pub(super) async fn show<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(event): Path<String>,
    query: Asked,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    let again = asked(&query, "still").is_empty().then_some(AGAIN_SECONDS);
    show_page(&front, &event, None, again).await
}

pub(super) async fn act<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(event): Path<String>,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    let notice = told(&front, &event, &headers, &fields).await?;
    show_page(&front, &event, Some(notice), Some(AGAIN_SECONDS)).await
}

pub(super) async fn show_change<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(event): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Denied> {
    front.coordinator(&headers).await?;
    change_page(&front, &event, None).await
}

pub(super) async fn act_change<S: Store + 'static, G: Gateway + 'static>(
    State(front): State<Arc<Front<S, G>>>,
    Path(event): Path<String>,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Denied> {
    let notice = told(&front, &event, &headers, &fields).await?;
    change_page(&front, &event, Some(notice)).await
}

/// Takes in what a form tells; gives back what became of it.
async fn told<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    event: &str,
    headers: &HeaderMap,
    fields: &Fields,
) -> Result<PageNotice, Denied> {
    front.coordinator_acts(headers).await?;
    let form = fields.first("deed");
    let shaped = form.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_');
    if form.is_empty() || form.len() > DEED_MAX_CHARACTERS || !shaped {
        return Err(Denied::BadForm);
    }
    let kind = DeedKind::from_word(fields.first("act")).ok_or(Denied::BadForm)?;
    let minutes = match fields.first("minutes") {
        "" => 0,
        text => text.parse::<u32>().map_err(|_| Denied::BadForm)?.min(HOLD_MINUTES_MAX + 1),
    };
    // A hold before an act names the act where others name a number.
    let (number, other) = match fields.first("number").strip_prefix(ACT) {
        Some(act) if kind == DeedKind::Held => ("", act),
        _ => (fields.first("number"), fields.first("other")),
    };
    if number.len() > DEED_MAX_CHARACTERS || other.len() > DEED_MAX_CHARACTERS {
        return Err(Denied::BadForm);
    }
    // Two acts of one page are two deeds, the same act posted twice is one.
    let external = format!("{form} {} {number} {other} {minutes}", kind.word());
    let saying = Saying { event, external: &external, kind, number, other, minutes };
    let told = front.office.tell(saying).await?.ok_or(Denied::NotFound)?;
    Ok(match told {
        ShowTold::Done => PageNotice { words: "Noted.".to_owned(), done: true },
        ShowTold::Known => PageNotice { words: "Already noted. Nothing changed.".to_owned(), done: true },
        ShowTold::Refused(why) => PageNotice { words: format!("Not noted. {why}"), done: false },
    })
}

/// What the pages of a running show are made from.
pub(super) struct Stand<'a> {
    season: &'a Season,
    pub running: Running<'a>,
    labels: HashMap<ChildId, String>,
}

impl<'a> Stand<'a> {
    pub fn of(data: &'a ShowData) -> Stand<'a> {
        let running = data.running();
        let season = &data.board.season;
        let labels = sheets::labels(season, &running.planned.children());
        Stand { season, running, labels }
    }

    pub fn names(&self) -> Names<'_> {
        Names { season: self.season, children: &self.labels }
    }

    fn name(&self, number: NumberId) -> &'a str {
        &self.season.numbers[number.at()].name
    }

    /// The name of a number by its position.
    fn at(&self, at: usize) -> &'a str {
        self.name(self.running.day.numbers[at].number)
    }

    fn reference(&self, number: NumberId) -> String {
        self.season.numbers[number.at()].reference.clone()
    }

    pub fn clock(&self, seconds: i64) -> String {
        self.running.day.clock(seconds).strftime("%H:%M").to_string()
    }

    fn starts(&self, at: usize) -> String {
        self.clock(self.running.day.numbers[at].starts)
    }

    /// Where the show is.
    pub fn heading(&self) -> String {
        let running = &self.running;
        match (running.on(), running.next()) {
            (Some(on), _) => format!("{} is on", self.at(on)),
            (None, Some(0)) => format!("Curtain up {}: {} begins", self.starts(0), self.at(0)),
            (None, Some(next)) if running.between_acts() => {
                format!("Interval until {}: then {}", self.starts(next), self.at(next))
            }
            (None, Some(next)) => format!("Next: {}, {}", self.at(next), self.starts(next)),
            (None, None) if running.progress.is_empty() => "Nothing is left of this show".to_owned(),
            (None, None) => "The show is over".to_owned(),
        }
    }

    /// When the curtain comes down, and by how much that is not as planned.
    pub fn down(&self) -> String {
        let Some(ends) = self.running.day.ends() else { return String::new() };
        let verb = if self.running.over() { "came down at" } else { "comes down at" };
        format!("The curtain {verb} {}, {}.", self.clock(ends), self.late())
    }

    /// Late or early, in words.
    pub fn late(&self) -> String {
        let late = self.running.late();
        let minutes = (late.abs() + 30) / 60;
        let count = usize::try_from(minutes).unwrap_or(usize::MAX);
        let words =
            if minutes == 1 { "one minute".to_owned() } else { format!("{} minutes", ENGLISH.number(count)) };
        match late {
            _ if minutes == 0 => "as planned".to_owned(),
            1.. => format!("{words} later than planned"),
            _ => format!("{words} earlier than planned"),
        }
    }

    fn ticks(&self) -> (Option<Tick>, Option<Tick>) {
        let tick = |at: usize, act: &'static str, verb: &str| Tick {
            act,
            number: self.reference(self.running.day.numbers[at].number),
            words: format!("{} {verb}", self.at(at)),
        };
        let begun = |at| tick(at, "begun", "has begun");
        let ended = |at| tick(at, "ended", "is over");
        match (self.running.on(), self.running.next()) {
            (Some(on), next) => (Some(ended(on)), next.map(begun)),
            (None, next) => (next.map(begun), next.map(ended)),
        }
    }

    /// For whom the next number is held.
    fn held(&self) -> String {
        let Some(next) = self.running.next() else { return String::new() };
        let off = |turn: &&Turn| {
            turn.into == next
                && turn.ease != Ease::Easy
                && self.running.progress[turn.from].stage == StageNow::Over
        };
        let children: Vec<String> =
            self.running.day.turns.iter().filter(off).map(|turn| self.labels[&turn.child].clone()).collect();
        if children.is_empty() {
            return String::new();
        }
        format!("Hold {} for {} from the quick-change room.", self.at(next), ENGLISH.list(&children))
    }

    /// The calls before curtain up that are still to give, then those to get ready.
    fn calls(&self) -> Vec<ShowMoment> {
        let running = &self.running;
        let mut out: Vec<ShowMoment> = running
            .calls()
            .into_iter()
            .filter(|(_, at)| *at >= running.now)
            .map(|(name, at)| ShowMoment {
                clock: self.clock(at),
                title: capitalised(name),
                more: String::new(),
                now: false,
            })
            .collect();
        for (timed, progress) in running.day.numbers.iter().zip(&running.progress) {
            if progress.stage != StageNow::ToCome || progress.ahead >= AHEAD_SHOWN {
                continue;
            }
            let called = timed.ready <= running.now;
            let when = match progress.ahead {
                0 => "next".to_owned(),
                ahead => format!("in {} numbers", ENGLISH.number(ahead + 1)),
            };
            let (lead, planned) = (timed.lead() / 60, progress.planned_lead / 60);
            let lead = if lead == planned {
                format!("{lead} min before it")
            } else {
                format!("{lead} min before it instead of {planned}")
            };
            let beginners = if timed.beginner { ", with the beginners" } else { "" };
            let called = if called { "called" } else { "get ready" };
            out.push(ShowMoment {
                clock: self.clock(timed.ready),
                title: format!("{}: {when}", self.name(timed.number)),
                more: format!(
                    "{}{beginners}, {lead}; on at {}.",
                    capitalised(called),
                    self.clock(timed.starts)
                ),
                now: progress.ahead == 0,
            });
        }
        out
    }

    /// Turnarounds ahead, children of one passage together.
    fn passages(&self, wanted: impl Fn(&Turn) -> bool) -> Vec<GroupTurn> {
        self.running.day.passages(|turn| {
            let into = &self.running.progress[turn.into];
            let from = &self.running.progress[turn.from];
            into.stage == StageNow::ToCome && from.ahead < AHEAD_SHOWN && wanted(turn)
        })
    }

    fn children(&self, children: &[ChildId]) -> String {
        ENGLISH.list(&children.iter().map(|child| self.labels[child].clone()).collect::<Vec<_>>())
    }

    fn moment(&self, GroupTurn { turn, children }: &GroupTurn) -> ShowMoment {
        let day = &self.running.day;
        let with = |at: usize| self.names().chaperones(day.in_charge(turn.child, at));
        let left = match turn.ease {
            Ease::Impossible => " No time to change.".to_owned(),
            Ease::Quick => format!(" {} to change.", time_left(turn.left)),
            Ease::Easy => String::new(),
        };
        ShowMoment {
            clock: self.clock(day.numbers[turn.from].ends),
            title: self.children(children),
            more: format!(
                "Out of {}, into {} at {}.{left} From {} to {}.",
                self.at(turn.from),
                self.at(turn.into),
                self.starts(turn.into),
                with(turn.from),
                with(turn.into)
            ),
            now: turn.ease == Ease::Impossible || self.running.progress[turn.from].stage != StageNow::ToCome,
        }
    }

    fn changes(&self) -> Vec<ShowMoment> {
        let passages = self.passages(|turn| turn.ease != Ease::Easy);
        passages.iter().map(|passage| self.moment(passage)).collect()
    }

    fn hand_overs(&self) -> Vec<ShowMoment> {
        let day = &self.running.day;
        let handed: HashSet<(ChildId, usize)> = day
            .hand_overs()
            .iter()
            .filter(|passed| !passed.by_quick_change)
            .map(|passed| &day.turns[passed.turn])
            .map(|turn| (turn.child, turn.into))
            .collect();
        let fresh = |turn: &Turn| self.running.progress[turn.from].stage != StageNow::Over;
        let passages = self.passages(|turn| fresh(turn) && handed.contains(&(turn.child, turn.into)));
        passages.iter().map(|passage| self.moment(passage)).collect()
    }

    /// The running order as it stands, what is over apart.
    fn order(&self) -> (Vec<OrderLine>, Vec<OrderLine>) {
        let running = &self.running;
        let first = running.on().or(running.next());
        let (mut past, mut to_come) = (Vec::new(), Vec::new());
        let mut seen = 0;
        for slot in &running.order {
            let place = seen;
            let line = match slot {
                Slot::Interval(minutes) => OrderLine {
                    clock: String::new(),
                    was: String::new(),
                    name: "Interval".to_owned(),
                    stage: format!("{minutes} minutes"),
                    cut: false,
                    now: false,
                },
                Slot::Number { number, .. } if running.cut.contains(number) => OrderLine {
                    clock: String::new(),
                    was: String::new(),
                    name: self.name(*number).to_owned(),
                    stage: "cut".to_owned(),
                    cut: true,
                    now: false,
                },
                Slot::Number { .. } => {
                    let line = self.line(seen, first);
                    seen += 1;
                    line
                }
            };
            // What is cut, and an interval, belongs to what comes behind it.
            let over = first.is_none_or(|first| place < first);
            if over { past.push(line) } else { to_come.push(line) }
        }
        (past, to_come)
    }

    fn line(&self, at: usize, first: Option<usize>) -> OrderLine {
        let (timed, progress) = (&self.running.day.numbers[at], &self.running.progress[at]);
        let (clock, was) = (self.clock(timed.starts), self.clock(progress.planned));
        OrderLine {
            was: if was == clock { String::new() } else { was },
            clock,
            name: self.name(timed.number).to_owned(),
            stage: match progress.stage {
                StageNow::Over => format!("over {}", self.clock(timed.ends)),
                StageNow::On => format!("on now, until about {}", self.clock(timed.ends)),
                StageNow::ToCome => String::new(),
            },
            cut: false,
            now: first == Some(at),
        }
    }

    /// What the house may be held before: the next act that has not begun, then the numbers to come.
    fn holds(&self) -> Vec<Pick> {
        let running = &self.running;
        let first_of_act =
            |at: usize| at == 0 || running.day.numbers[at].act != running.day.numbers[at - 1].act;
        let to_come =
            || (0..running.progress.len()).filter(|at| running.progress[*at].stage == StageNow::ToCome);
        let act = to_come().find(|at| first_of_act(*at)).map(|at| Pick {
            value: format!("{ACT}{}", running.day.numbers[at].act),
            words: if running.day.numbers[at].act == 0 {
                format!("curtain up ({})", self.at(at))
            } else {
                format!("the end of the interval ({})", self.at(at))
            },
            chosen: running.next() == Some(at),
        });
        act.into_iter().chain(self.numbers()).collect()
    }

    /// The numbers to come.
    fn numbers(&self) -> Vec<Pick> {
        let rows = self.running.day.numbers.iter().zip(&self.running.progress);
        rows.filter(|(_, progress)| progress.stage == StageNow::ToCome)
            .map(|(timed, _)| Pick {
                value: self.reference(timed.number),
                words: self.name(timed.number).to_owned(),
                chosen: false,
            })
            .collect()
    }

    /// What a number may move behind: the last that has begun, and everything after it.
    fn behind(&self) -> Vec<Pick> {
        let running = &self.running;
        let stage = |number: NumberId| {
            let at = running.day.numbers.iter().position(|timed| timed.number == number);
            at.map(|at| running.progress[at].stage)
        };
        let mut out =
            vec![Pick { value: FIRST.to_owned(), words: "the beginning".to_owned(), chosen: false }];
        let mut intervals = 0;
        for slot in &running.order {
            match slot {
                Slot::Interval(_) => {
                    let value = format!("{INTERVAL}{intervals}");
                    out.push(Pick { value, words: "the interval".to_owned(), chosen: false });
                    intervals += 1;
                }
                Slot::Number { number, .. } => {
                    let Some(stage) = stage(*number) else { continue };
                    if stage != StageNow::ToCome {
                        out.clear();
                    }
                    let words = self.name(*number).to_owned();
                    out.push(Pick { value: self.reference(*number), words, chosen: false });
                }
            }
        }
        out
    }

    /// A deed in words.
    fn said(&self, act: &ShowReport) -> String {
        let piece = |piece: &Piece| match piece {
            Piece::Number(number) => self.name(*number).to_owned(),
            Piece::Interval(_) => "the interval".to_owned(),
        };
        match act {
            ShowReport::Begun(number) => format!("{} has begun", self.name(*number)),
            ShowReport::Ended(number) => format!("{} is over", self.name(*number)),
            ShowReport::Cut(number) => format!("{} is cut", self.name(*number)),
            ShowReport::Held(before, minutes) => {
                let before = match before {
                    Before::Act(0) => "curtain up".to_owned(),
                    Before::Act(_) => "the end of the interval".to_owned(),
                    Before::Number(number) => self.name(*number).to_owned(),
                };
                format!("held {minutes} min before {before}")
            }
            ShowReport::Shifted(OrderShift::Exchange(one, other)) => {
                format!("{} and {} swap places", piece(one), piece(other))
            }
            ShowReport::Shifted(OrderShift::Move(one, Target::First)) => {
                format!("{} moves to the beginning", piece(one))
            }
            ShowReport::Shifted(OrderShift::Move(one, Target::Behind(other))) => {
                format!("{} moves after {}", piece(one), piece(other))
            }
            ShowReport::TakenBack(_) => "something is taken back".to_owned(),
        }
    }
}

async fn show_page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    event: &str,
    notice: Option<PageNotice>,
    again: Option<u32>,
) -> Result<Response, Denied> {
    let data = front.office.show_data(event).await?.ok_or(Denied::NotFound)?;
    let stand = Stand::of(&data);
    let (main, other) = stand.ticks();
    let (past, to_come) = stand.order();
    let named = stand.running.day.event();
    if !named.ordered {
        return Err(Denied::NotFound);
    }
    let page = ShowPage {
        school: stand.season.school.clone(),
        season: stand.season.name.clone(),
        as_of: shown::as_of(&stand.season.zone, data.now),
        event: named.name.clone(),
        href: format!("/season/{event}"),
        heading: stand.heading(),
        down: stand.down(),
        notice,
        deed: front.office.token(),
        main,
        other,
        held: stand.held(),
        calls: stand.calls(),
        changes: stand.changes(),
        hand_overs: stand.hand_overs(),
        to_come,
        past,
        again,
    };
    Ok(read_again(html(&page), again, &format!("/season/{event}/show")))
}

async fn change_page<S: Store + 'static, G: Gateway + 'static>(
    front: &Front<S, G>,
    event: &str,
    notice: Option<PageNotice>,
) -> Result<Response, Denied> {
    let data = front.office.show_data(event).await?.ok_or(Denied::NotFound)?;
    let stand = Stand::of(&data);
    let named = stand.running.day.event();
    if !named.ordered {
        return Err(Denied::NotFound);
    }
    let told = data.counted().into_iter().map(|(stored, act)| ToldLine {
        seq: stored.seq,
        clock: shown::as_of(&stand.season.zone, stored.at).clock(),
        words: stand.said(&act),
    });
    Ok(html(&ChangePage {
        school: stand.season.school.clone(),
        season: stand.season.name.clone(),
        as_of: shown::as_of(&stand.season.zone, data.now),
        event: named.name.clone(),
        href: format!("/season/{event}/show"),
        down: stand.down(),
        notice,
        deed: front.office.token(),
        holds: stand.holds(),
        minutes: HOLD_MINUTES.to_vec(),
        numbers: stand.numbers(),
        behind: stand.behind(),
        told: told.collect(),
    }))
}

/// Lets the browser read a page again after a while by itself (HTML Standard, "The `Refresh` header"): without scripts.
pub(super) fn read_again(mut response: Response, again: Option<u32>, href: &str) -> Response {
    let value = again.and_then(|seconds| HeaderValue::from_str(&format!("{seconds}; url={href}")).ok());
    if let Some(value) = value {
        response.headers_mut().insert(HeaderName::from_static("refresh"), value);
    }
    response
}
