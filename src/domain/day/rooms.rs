//! Where every child is between sign-in and sign-out, and how many heads each room has, minute by minute.
//!
//! A number's room is the first that a duty of its chaperones names, in workbook order; one in which children stay with
//! their own chaperone has none. Of an event with a running order:
//!
//! 1. A child is there from its call until it may be collected.
//! 2. Until its first number comes off a child belongs to that number, then to its next, and after its last to its last:
//!    the same rule as for who has it in care ([`super::care`]).
//! 3. It waits in the room of the number it belongs to. Where that has none, it waits where it waited for the number
//!    before, at first in the room of its first number that has one; where none has, no room is written for it.
//! 4. It is away from the number's ready call until the number comes off.
//! 5. Coming to the number by a change that is not easy, it is in the quick-change room of the place instead, from
//!    coming off the number before until the other begins; the walks are counted as time in that room. A place without
//!    such a room has rule 4.
//!
//! An adult counts in the room of her own duty for the number that she has next (the number's room where she has none of
//! her own, else the room she was in before), by rules 2 and 4: from before sign-in until the end, and not while she is
//! away with a number. One without any number counts in the first room her duties name. Nobody counts who is under age or
//! whose vetting has lapsed, while a number is on stage in which her own child dances, or from her own ready call until
//! she comes off when she dances herself.
//!
//! Heads are counted at every whole minute from curtain up, before it too, as a person with a clock would: what begins
//! and ends between two of them is not seen.

use super::own::Own;
use super::turns::Ease;
use super::{Day, Timed};
use crate::domain::itinerary::Programme;
use crate::domain::release::Release;
use crate::domain::season::{ChaperoneId, ChildId, RoomId};
use crate::domain::wall;
use std::collections::{BTreeMap, HashMap};

/// Seconds of a minute.
const MINUTE: i64 = 60;

/// The whole minute at which something that happens so many seconds from curtain up is first seen.
pub fn minute_of(seconds: i64) -> i64 {
    -(-seconds).div_euclid(MINUTE)
}

/// Where a child is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Whereabouts {
    /// In a room.
    Room(RoomId),
    /// Waiting, and no room is written.
    Unwritten,
    /// Called, on the way, or on stage.
    Away,
}

/// A time that a child spends in one place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RoomStretch {
    /// Who.
    pub child: ChildId,
    /// Seconds from curtain up.
    pub from: i64,
    /// Seconds from curtain up, the first at which it is over.
    pub until: i64,
    /// Where.
    pub place: Whereabouts,
    /// Position of the number the child belongs to then.
    pub number: usize,
}

/// What one room holds for some minutes on end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Heads {
    /// Which room.
    pub room: RoomId,
    /// First minute from curtain up.
    pub from: i64,
    /// The first minute that is different.
    pub until: i64,
    /// Children, at least one.
    pub children: usize,
    /// Adults who count.
    pub adults: usize,
    /// The youngest age of the youngest band; none where no child's ages are written.
    pub youngest: Option<u8>,
}

/// The rooms of a day.
#[derive(Debug, Default)]
pub struct Rooms {
    /// The room of each number, by position.
    pub of_number: Vec<Option<RoomId>>,
    /// The quick-change room of the place.
    pub quick_change: Option<RoomId>,
    /// Where each child is, by child and time.
    pub stretches: Vec<RoomStretch>,
    /// Heads by room and time; the minutes in which a room has no child are left out.
    pub heads: Vec<Heads>,
    /// Where the stretches of each child who has some begin.
    begin: Vec<usize>,
}

impl Rooms {
    /// Where a child waits before its part in a number (by position of the number), as far as a room is written.
    pub fn before(&self, child: ChildId, number: usize) -> Option<RoomId> {
        let from = *self.begin.get(child.at())?;
        let own = self.stretches[from..].iter().take_while(|stretch| stretch.child == child);
        own.filter(|stretch| stretch.number == number).find_map(|stretch| match stretch.place {
            Whereabouts::Room(room) if Some(room) != self.quick_change => Some(room),
            _ => None,
        })
    }
}

/// What one chaperone has at an event.
#[derive(Default)]
struct Held {
    /// Her numbers, by position, each with the room her own duty names.
    numbers: BTreeMap<usize, Option<RoomId>>,
    /// The first room of a duty without a number.
    stays: Option<RoomId>,
}

impl Day<'_> {
    /// The rooms of the day; nothing without a running order, or where the place has no rooms.
    pub fn rooms(&self, programme: &Programme) -> Rooms {
        let event = self.event();
        let here = |room: RoomId| self.season.rooms[room.at()].place == event.place;
        let mut at_place = (0_u32..).map(RoomId).take(self.season.rooms.len()).filter(|room| here(*room));
        if !event.ordered || at_place.clone().next().is_none() {
            return Rooms::default();
        }
        let quick_change = at_place.find(|room| self.season.rooms[room.at()].quick_change);
        let named = self.rooms_of_numbers();
        let takes_over = |number: &Timed| !self.season.numbers[number.number.at()].own_chaperone;
        let of_number: Vec<Option<RoomId>> = self
            .numbers
            .iter()
            .zip(&named)
            .map(|(number, room)| room.filter(|_| takes_over(number)))
            .collect();
        let (mut stretches, mut begin) = (Vec::new(), vec![0; self.season.children.len() + 1]);
        for stay in self.stays(programme) {
            begin[stay.0.at()] = stretches.len();
            self.stretches(stay, (&of_number, &named), quick_change, &mut stretches);
        }
        let heads = self.heads(&stretches, &self.posts(&of_number));
        Rooms { of_number, quick_change, stretches, heads, begin }
    }

    /// The first room that is written beside each number.
    fn rooms_of_numbers(&self) -> Vec<Option<RoomId>> {
        let mut first: HashMap<_, RoomId> = HashMap::new();
        for duty in self.season.duties_at(self.id) {
            if let (Some(number), Some(room)) = (duty.number, duty.room) {
                first.entry(number).or_insert(room);
            }
        }
        self.numbers.iter().map(|number| first.get(&number.number).copied()).collect()
    }

    /// From call to release of every child, seconds from curtain up.
    fn stays(&self, programme: &Programme) -> Vec<(ChildId, i64, i64)> {
        let mut known: HashMap<Release, i64> = HashMap::new();
        let mut moment = |release: Release| {
            let at = || self.moment(wall::instant(&self.season.zone, release.at()));
            *known.entry(release).or_insert_with(at)
        };
        let stay = |child| {
            let it = programme.get(child, self.id)?;
            Some((child, self.moment(it.call_at), moment(it.collect_from?)))
        };
        self.coming().map(|parts| parts[0].child).filter_map(stay).collect()
    }

    fn stretches(
        &self,
        (child, arrives, leaves): (ChildId, i64, i64),
        (of_number, named): (&[Option<RoomId>], &[Option<RoomId>]),
        quick_change: Option<RoomId>,
        out: &mut Vec<RoomStretch>,
    ) {
        let mut put = |from: i64, until: i64, place, number| {
            let (from, until) = (from.max(arrives), until.min(leaves));
            if from < until {
                out.push(RoomStretch { child, from, until, place, number });
            }
        };
        // A child who dances the finale alone waits with those who lead it.
        let parts = self.of_child(child).iter();
        let first = parts
            .clone()
            .find_map(|part| of_number[part.at])
            .or_else(|| parts.clone().find_map(|part| named[part.at]));
        let waits_first = first.map_or(Whereabouts::Unwritten, Whereabouts::Room);
        let (mut held_from, mut waits, mut last) = (arrives, waits_first, 0);
        let mut came_from: Option<usize> = None;
        for part in self.of_child(child) {
            let number = &self.numbers[part.at];
            waits = of_number[part.at].map_or(waits, Whereabouts::Room);
            let hurried = came_from.is_some_and(|from| self.hurries(child, from, part.at));
            let (until, place) = match quick_change {
                Some(room) if hurried => (number.starts, Whereabouts::Room(room)),
                _ => (number.ready, waits),
            };
            put(held_from, until, place, part.at);
            put(held_from.max(until), number.ends, Whereabouts::Away, part.at);
            (held_from, last, came_from) = (number.ends, part.at, Some(part.at));
        }
        put(held_from, leaves, waits, last);
    }

    fn hurries(&self, child: ChildId, from: usize, into: usize) -> bool {
        let begins =
            self.turns.partition_point(|turn| (turn.from, turn.into, turn.child) < (from, into, child));
        self.turns.get(begins).is_some_and(|turn| {
            (turn.from, turn.into, turn.child) == (from, into, child) && turn.ease != Ease::Easy
        })
    }

    /// Which adults who count are in which room from when until when, seconds from curtain up.
    fn posts(&self, of_number: &[Option<RoomId>]) -> Vec<(RoomId, i64, i64)> {
        let position: HashMap<_, usize> =
            self.numbers.iter().enumerate().map(|(at, n)| (n.number, at)).collect();
        let mut duties: BTreeMap<ChaperoneId, Held> = BTreeMap::new();
        for duty in self.season.duties.iter().filter(|duty| duty.event == self.id) {
            let Held { numbers, stays } = duties.entry(duty.chaperone).or_default();
            match duty.number {
                Some(number) => {
                    let Some(at) = position.get(&number) else { continue };
                    let own = numbers.entry(*at).or_default();
                    *own = own.or(duty.room);
                }
                None => *stays = stays.or(duty.room),
            }
        }
        let Own { dancers, children: own } = &self.season.own;
        let mut posts = Vec::new();
        for (who, Held { numbers, stays }) in duties.into_iter().filter(|(who, _)| self.counts(*who)) {
            let (mut waiting, mut absences) = (Vec::new(), Vec::new());
            let (mut free_from, mut room) = (i64::MIN, stays.filter(|_| numbers.is_empty()));
            for (at, named) in numbers {
                let number = &self.numbers[at];
                room = named.or(of_number[at]).or(room);
                waiting.extend(room.map(|room| (room, free_from, number.ends)));
                absences.push((number.ready, number.ends));
                free_from = number.ends;
            }
            waiting.extend(room.map(|room| (room, free_from, i64::MAX)));
            let watching = self.danced_by(own.get(&who).into_iter().flatten()).into_iter().map(|at| {
                let number = &self.numbers[at];
                (number.starts, number.ends)
            });
            let herself = dancers.iter().filter(|(chaperone, _)| *chaperone == who);
            let dancing = herself.flat_map(|(_, child)| self.of_child(*child)).map(|part| {
                let number = &self.numbers[part.at];
                (number.ready, number.ends)
            });
            absences.extend(watching.chain(dancing));
            absences.sort_unstable();
            for (room, from, until) in waiting {
                let mut from = from;
                for (goes, comes) in &absences {
                    if from < until.min(*goes) {
                        posts.push((room, from, until.min(*goes)));
                    }
                    from = from.max(*comes);
                }
                if from < until {
                    posts.push((room, from, until));
                }
            }
        }
        posts
    }

    fn heads(&self, stretches: &[RoomStretch], posts: &[(RoomId, i64, i64)]) -> Vec<Heads> {
        #[derive(Default)]
        struct Change {
            children: i64,
            adults: i64,
            ages: Vec<(u8, i64)>,
        }
        let (Some(first), Some(last)) =
            (stretches.iter().map(|s| s.from).min(), stretches.iter().map(|s| s.until).max())
        else {
            return Vec::new();
        };
        let seen = |seconds: i64| minute_of(seconds.clamp(first, last));
        let mut changes: BTreeMap<RoomId, BTreeMap<i64, Change>> = BTreeMap::new();
        for stretch in stretches {
            let Whereabouts::Room(room) = stretch.place else { continue };
            let of_room = changes.entry(room).or_default();
            let age = self.season.children[stretch.child.at()].ages.map(|(youngest, _)| youngest);
            for (at, by) in [(stretch.from, 1), (stretch.until, -1)] {
                let change = of_room.entry(seen(at)).or_default();
                change.children += by;
                change.ages.extend(age.map(|age| (age, by)));
            }
        }
        for (room, from, until) in posts {
            let Some(of_room) = changes.get_mut(room) else { continue };
            of_room.entry(seen(*from)).or_default().adults += 1;
            of_room.entry(seen(*until)).or_default().adults -= 1;
        }
        let mut heads: Vec<Heads> = Vec::new();
        for (room, changes) in changes {
            let (mut children, mut adults, mut ages) = (0_i64, 0_i64, BTreeMap::<u8, i64>::new());
            let mut open: Option<Heads> = None;
            for (minute, change) in changes {
                children += change.children;
                adults += change.adults;
                for (age, by) in change.ages {
                    *ages.entry(age).or_default() += by;
                }
                let now = Heads {
                    room,
                    from: minute,
                    until: minute,
                    children: usize::try_from(children).unwrap_or(0),
                    adults: usize::try_from(adults).unwrap_or(0),
                    youngest: ages.iter().find(|(_, count)| **count > 0).map(|(age, _)| *age),
                };
                let same = |a: &Heads| {
                    (a.children, a.adults, a.youngest) == (now.children, now.adults, now.youngest)
                };
                if open.as_ref().is_some_and(same) {
                    continue;
                }
                heads.extend(
                    open.take().filter(|open| open.children > 0).map(|open| Heads { until: minute, ..open }),
                );
                open = Some(now);
            }
        }
        heads
    }
}
