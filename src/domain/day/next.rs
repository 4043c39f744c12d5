//! What a chaperone has to do next while a show runs, the most urgent first.

use super::running::{Running, StageNow};
use super::turns::{Ease, GroupTurn, HandBack, Turn};
use crate::domain::release::Release;
use crate::domain::season::{ChaperoneId, ChildId, NumberId, Season, Side};
use std::collections::{BTreeSet, HashMap};

/// Things shown at once, at most; the rest is counted.
pub const THINGS_MAX: usize = 6;

/// One thing to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Thing {
    /// Tell the stage side if these children are still changing: the number they go into is next.
    Tell {
        /// Which number.
        number: NumberId,
        /// For whom it is held.
        children: Vec<ChildId>,
    },
    /// Her number is on: its children come off at these sides.
    ComesOff {
        /// Which number.
        number: NumberId,
        /// Sides of exit, as far as they are written.
        sides: Vec<Side>,
    },
    /// Her number lines up.
    LineUp {
        /// Which number.
        number: NumberId,
        /// Numbers still to begin before it.
        ahead: usize,
        /// Its ready call has been given.
        called: bool,
        /// Sides of entrance, as far as they are written.
        sides: Vec<Side>,
    },
    /// Wait at the quick-change room and help with the next costume.
    Wait {
        /// For whom.
        children: Vec<ChildId>,
        /// Out of which number.
        from: NumberId,
        /// Into which number.
        into: NumberId,
        /// Seconds left for the change.
        left: i64,
    },
    /// Bring children to the quick-change room.
    Bring {
        /// Whom.
        children: Vec<ChildId>,
        /// After which number.
        from: NumberId,
        /// Who takes them over.
        to: Vec<ChaperoneId>,
    },
    /// There is no time for the change: somebody has to decide.
    NoTime {
        /// Whose.
        children: Vec<ChildId>,
        /// Out of which number.
        from: NumberId,
        /// Into which number.
        into: NumberId,
    },
    /// Children come to her.
    Comes {
        /// Whom.
        children: Vec<ChildId>,
        /// From whom.
        by: Vec<ChaperoneId>,
        /// After which number.
        from: NumberId,
    },
    /// Children go from her.
    Goes {
        /// Whom.
        children: Vec<ChildId>,
        /// To whom.
        to: Vec<ChaperoneId>,
        /// After which number.
        from: NumberId,
    },
    /// One of her numbers is cut: nobody lines up for it.
    Cut {
        /// Which.
        number: NumberId,
    },
    /// Children go out by the door, not before a moment that only the itinerary can name.
    Out {
        /// Whom.
        children: Vec<ChildId>,
        /// They are all who are with her at the end.
        all: bool,
        /// Not before.
        not_before: Release,
    },
}

/// What things are called in words.
#[derive(Debug, Clone, Copy)]
pub struct Names<'a> {
    /// The season.
    pub season: &'a Season,
    /// What each child is called on staff sheets.
    pub children: &'a HashMap<ChildId, String>,
}

impl Names<'_> {
    fn number(&self, number: NumberId) -> &str {
        &self.season.numbers[number.at()].name
    }

    fn children(&self, children: &[ChildId]) -> String {
        let name = |child: &ChildId| self.children.get(child).cloned().unwrap_or_default();
        listed(&children.iter().map(name).collect::<Vec<_>>())
    }

    /// Chaperones by given name, by full name where two of the season share one.
    pub fn chaperones(&self, chaperones: &[ChaperoneId]) -> String {
        let given = |name: &str| name.split_whitespace().next().unwrap_or_default().to_owned();
        let called = |chaperone: &ChaperoneId| {
            let name = &self.season.chaperones[chaperone.at()].name;
            let same = self.season.chaperones.iter().filter(|other| given(&other.name) == given(name));
            if same.count() > 1 { name.clone() } else { given(name) }
        };
        if chaperones.is_empty() {
            return "nobody named".to_owned();
        }
        listed(&chaperones.iter().map(called).collect::<Vec<_>>())
    }
}

fn listed(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

fn sided(sides: &[Side]) -> &'static str {
    match sides {
        [] => "",
        [Side::Left] => "left side",
        [Side::Right] => "right side",
        _ => "both sides",
    }
}

/// Time left as people say it, never more than there is.
pub fn time_left(seconds: i64) -> String {
    if seconds < 60 { format!("{seconds} s") } else { format!("{} min", seconds / 60) }
}

impl Thing {
    /// What to do, in a sentence or two.
    pub fn words(&self, names: &Names<'_>) -> String {
        match self {
            Thing::Tell { number, children } => format!(
                "Tell the stage side if {} {} still changing: {} is next.",
                names.children(children),
                are(children),
                names.number(*number)
            ),
            Thing::ComesOff { number, sides } if sides.is_empty() => {
                format!("{} is on: be there when they come off.", names.number(*number))
            }
            Thing::ComesOff { number, sides } => {
                format!("{} is on: they come off at the {}.", names.number(*number), sided(sides))
            }
            Thing::LineUp { number, ahead, sides, .. } => {
                let when = match ahead {
                    0 => "Next".to_owned(),
                    1 => "In two numbers".to_owned(),
                    2 => "In three numbers".to_owned(),
                    3 => "In four numbers".to_owned(),
                    more => format!("In {} numbers", more + 1),
                };
                let place = if sides.is_empty() { String::new() } else { format!(": {}", sided(sides)) };
                format!("{when}: {}. Line up{place}.", names.number(*number))
            }
            Thing::Wait { children, from, into, left } => format!(
                "Wait at the quick-change room for {} (out of {}, into {}, {}).",
                names.children(children),
                names.number(*from),
                names.number(*into),
                time_left(*left)
            ),
            Thing::Bring { children, from, to } => format!(
                "Bring {} to the quick-change room after {}: {} takes over.",
                names.children(children),
                names.number(*from),
                names.chaperones(to)
            ),
            Thing::NoTime { children, from, into } => format!(
                "No time to change for {} (out of {}, into {}): ask the coordinator.",
                names.children(children),
                names.number(*from),
                names.number(*into)
            ),
            Thing::Comes { children, by, from } => format!(
                "{} {} to you from {} after {}.",
                names.children(children),
                if children.len() == 1 { "comes" } else { "come" },
                names.chaperones(by),
                names.number(*from)
            ),
            Thing::Goes { children, to, from } => format!(
                "{} {} to {} after {}.",
                names.children(children),
                if children.len() == 1 { "goes" } else { "go" },
                names.chaperones(to),
                names.number(*from)
            ),
            Thing::Cut { number } => {
                format!(
                    "{} is cut: nobody lines up for it. Keep its children with you.",
                    names.number(*number)
                )
            }
            Thing::Out { children, all, not_before } => {
                let who = if *all { "Your children".to_owned() } else { names.children(children) };
                format!(
                    "{who} may go out by the door from {}, not before.",
                    not_before.at().strftime("%H:%M")
                )
            }
        }
    }
}

fn are(children: &[ChildId]) -> &'static str {
    if children.len() == 1 { "is" } else { "are" }
}

/// Her next things.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Next {
    /// Each with its moment, seconds from the planned curtain up; none where the itinerary names one, or where there is
    /// none.
    pub things: Vec<(Option<i64>, Thing)>,
    /// How many more there are later.
    pub later: usize,
}

/// Works out what one chaperone has to do next; `release` gives the moment of each child's itinerary.
pub fn next(
    running: &Running<'_>,
    chaperone: ChaperoneId,
    release: &dyn Fn(ChildId) -> Option<Release>,
) -> Next {
    let hers = Hers { running, chaperone };
    let mut things: Vec<(i64, usize, Thing)> = Vec::new();
    things.extend(hers.numbers());
    things.extend(hers.turns());
    // The stage cannot wait; what is said at one moment keeps the running order in which it was found.
    things.sort_by_key(|(at, rank, _)| (*rank > 0, *at, *rank));
    let later = things.len().saturating_sub(THINGS_MAX);
    let shown = things.into_iter().take(THINGS_MAX).map(|(at, _, thing)| (Some(at), thing));
    let last = hers.cut().chain(hers.out(release)).map(|thing| (None, thing));
    Next { things: shown.chain(last).collect(), later }
}

struct Hers<'a> {
    running: &'a Running<'a>,
    chaperone: ChaperoneId,
}

impl Hers<'_> {
    fn has(&self, at: usize) -> bool {
        self.running.day.minds(self.chaperone, at)
    }

    fn number(&self, at: usize) -> NumberId {
        self.running.day.numbers[at].number
    }

    fn stage(&self, at: usize) -> StageNow {
        self.running.progress[at].stage
    }

    /// What her numbers ask for.
    fn numbers(&self) -> Vec<(i64, usize, Thing)> {
        let running = self.running;
        let mut out = Vec::new();
        for (at, timed) in running.day.numbers.iter().enumerate().filter(|(at, _)| self.has(*at)) {
            let number = timed.number;
            match self.stage(at) {
                StageNow::Over => {}
                StageNow::On => {
                    let sides = self.sides(at, |part| part.exit);
                    out.push((timed.ends, 1, Thing::ComesOff { number, sides }));
                }
                StageNow::ToCome => {
                    let ahead = running.progress[at].ahead;
                    let called = timed.ready <= running.now;
                    let sides = self.sides(at, |part| part.entrance);
                    out.push((timed.ready, 2, Thing::LineUp { number, ahead, called, sides }));
                    let changing = self.changing(at);
                    if ahead == 0 && !changing.is_empty() {
                        out.push((running.now, 0, Thing::Tell { number, children: changing }));
                    }
                }
            }
        }
        out
    }

    /// Children who have come off and may still be changing for a number.
    fn changing(&self, at: usize) -> Vec<ChildId> {
        let off = |turn: &&Turn| {
            turn.into == at && turn.ease != Ease::Easy && self.stage(turn.from) == StageNow::Over
        };
        self.running.day.turns.iter().filter(off).map(|turn| turn.child).collect()
    }

    fn sides(&self, at: usize, side: impl Fn(&super::Part) -> Option<Side>) -> Vec<Side> {
        let line = self.running.day.line_up(at);
        let has = |wanted| line.iter().any(|part| side(part) == Some(wanted));
        [Side::Left, Side::Right].into_iter().filter(|side| has(*side)).collect()
    }

    /// What turnarounds of children from or into her charge ask for, children of one passage together, and those who are
    /// taken back at the end.
    fn turns(&self) -> Vec<(i64, usize, Thing)> {
        let day = &self.running.day;
        let passages = day.passages(|turn| self.stage(turn.into) == StageNow::ToCome);
        let things = passages.into_iter().filter_map(|passage| {
            let ends = day.numbers[passage.turn.from].ends;
            Some((ends, 3, self.passage(passage)?))
        });
        things.chain(self.back()).collect()
    }

    /// Children who go back to whoever signs them out, those of one number and the same adults together.
    fn back(&self) -> Vec<(i64, usize, Thing)> {
        let day = &self.running.day;
        let open = day.hand_backs().into_iter().filter(|back| self.stage(back.after) != StageNow::Over);
        let hers = open.filter(|back| back.to == self.chaperone || back.from.contains(&self.chaperone));
        let mut groups: Vec<(HandBack, Vec<ChildId>)> = Vec::new();
        for back in hers {
            let same = |(one, _): &&mut (HandBack, Vec<ChildId>)| {
                (one.after, &one.from, one.to) == (back.after, &back.from, back.to)
            };
            match groups.iter_mut().find(same) {
                Some((_, children)) => children.push(back.child),
                None => groups.push((back.clone(), vec![back.child])),
            }
        }
        let thing = |(back, children): (HandBack, Vec<ChildId>)| {
            let (from, ends) = (self.number(back.after), day.numbers[back.after].ends);
            let thing = if back.to == self.chaperone {
                Thing::Comes { children, by: back.from, from }
            } else {
                Thing::Goes { children, to: vec![back.to], from }
            };
            (ends, 3, thing)
        };
        groups.into_iter().map(thing).collect()
    }

    fn passage(&self, GroupTurn { turn, children }: GroupTurn) -> Option<Thing> {
        let (from, into) = (self.number(turn.from), self.number(turn.into));
        let by = self.running.day.in_charge(turn.child, turn.from).to_vec();
        let to = self.running.day.in_charge(turn.child, turn.into).to_vec();
        let (gives, takes) = (by.contains(&self.chaperone), to.contains(&self.chaperone));
        // A child who has come off long since has been passed on: another number has begun meanwhile.
        let gone = self.stage(turn.from) == StageNow::Over
            && (turn.from + 1..self.running.day.numbers.len()).any(|at| self.stage(at) != StageNow::ToCome);
        match turn.ease {
            Ease::Impossible if gives || takes => Some(Thing::NoTime { children, from, into }),
            // Where nobody takes the child over, whoever has it stays with it.
            Ease::Quick if takes => Some(Thing::Wait { children, from, into, left: turn.left }),
            Ease::Quick if gives && !gone => Some(Thing::Bring { children, from, to }),
            // An adult who has both numbers keeps the child.
            Ease::Easy if gone || by.iter().any(|one| to.contains(one)) => None,
            Ease::Easy if takes => Some(Thing::Comes { children, by, from }),
            Ease::Easy if gives => Some(Thing::Goes { children, to, from }),
            _ => None,
        }
    }

    fn cut(&self) -> impl Iterator<Item = Thing> {
        let leads = |number: NumberId| self.running.planned.leads(number).contains(&self.chaperone);
        let hers = self.running.cut.iter().filter(move |number| leads(**number));
        hers.map(|number| Thing::Cut { number: *number })
    }

    /// The children who are with her at the end, by the moment from which they may go.
    fn out(&self, release: &dyn Fn(ChildId) -> Option<Release>) -> Vec<Thing> {
        let (live, planned) = (&self.running.day, &self.running.planned);
        let mut mine: BTreeSet<(Release, ChildId)> = BTreeSet::new();
        for child in planned.children() {
            // Where all its numbers are cut, a child stays with those of its first.
            let with = match live.of_child(child) {
                [] => planned
                    .of_child(child)
                    .first()
                    .map_or(Vec::new(), |part| planned.with_whom(part).to_vec()),
                _ => live.out_with(child),
            };
            if with.contains(&self.chaperone)
                && let Some(from) = release(child)
            {
                mine.insert((from, child));
            }
        }
        let mine: Vec<(Release, ChildId)> = mine.into_iter().collect();
        mine.chunk_by(|a, b| a.0 == b.0)
            .map(|group| Thing::Out {
                children: group.iter().map(|(_, child)| *child).collect(),
                all: group.len() == mine.len(),
                not_before: group[0].0,
            })
            .collect()
    }
}
