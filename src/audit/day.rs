//! The day of an event as the checker works it out: when each number is on, when people come and go, and who signs.

use super::view::{
    CHANGEOVER_SECONDS, Child, Duty, Event, LENGTH_SECONDS, STEP_SECONDS, Slot, Times, View, before, dated,
    time,
};
use jiff::civil::Time;
use jiff::{Timestamp, ToSpan};

/// Kinds of events that may go by slots.
const SLOTTED: [&str; 3] = ["class", "rehearsal", "photographs"];

/// One number on the clock.
struct On<'a> {
    name: &'a str,
    call: Option<Time>,
    /// Seconds from the beginning to its end.
    ends: i64,
}

impl Event {
    /// At a class, a rehearsal or photographs one number called later than the event makes slots of all.
    fn by_slots(&self) -> bool {
        let later = |slot: &Slot| matches!(slot, Slot::Number { call: Some(call), .. } if *call > self.call);
        SLOTTED.contains(&self.kind.as_str()) && self.ordered && self.order.iter().any(later)
    }

    fn is_named(&self, name: &str) -> bool {
        name == self.name || name == dated(&self.name, self.date)
    }

    /// Whether a duty is one at this event; one at all events is so where its number is danced.
    fn has(&self, duty: &Duty) -> bool {
        let danced = |slot: &Slot| matches!(slot, Slot::Number { name, .. } if *name == duty.number);
        let everywhere = duty.event == "all" && (duty.number.is_empty() || self.order.iter().any(danced));
        everywhere || self.is_named(&duty.event)
    }
}

fn minute(time: Time) -> i64 {
    i64::from(time.hour()) * 60 + i64::from(time.minute())
}

impl View {
    /// The numbers of an event in their order.
    fn running<'a>(&self, event: &'a Event) -> Vec<On<'a>> {
        let slots = event.by_slots();
        let mut clock = 0;
        let mut all = Vec::new();
        for slot in &event.order {
            let (name, call, minutes) = match slot {
                Slot::Interval(minutes) => {
                    clock += minutes * 60;
                    continue;
                }
                Slot::Number { name, call, minutes } => (name, *call, *minutes),
            };
            if let Some(call) = call.filter(|_| slots) {
                // As long after its own call as the event begins after the event's.
                clock = clock.max((minute(call) - minute(event.call)) * 60);
            }
            let (length, rest) = match minutes.filter(|_| slots) {
                Some(minutes) => (minutes * 60, 0),
                None => self.numbers.get(name).map_or((LENGTH_SECONDS, CHANGEOVER_SECONDS), |number| {
                    (number.seconds, number.changeover)
                }),
            };
            clock += length;
            all.push(On { name, call, ends: clock });
            clock += rest;
        }
        all
    }

    /// Whether families are told of an event: a class visit only where a notice to them is about it, unless it is written.
    pub fn for_families(&self, event: &Event) -> bool {
        match event.concerns.as_str() {
            "" if event.kind == "class" => self.notices.iter().any(|notice| {
                !notice.to.starts_with("chaperones")
                    && (notice.about == event.kind || event.is_named(&notice.about))
            }),
            words => words != "chaperones only",
        }
    }

    /// The times of a child, or of a chaperone, at an event; none when there is nothing to do there or it is called off.
    pub fn times(&self, person: &str, event: &Event) -> Option<Times> {
        if self.chaperones.contains_key(person) {
            return self.duty_times(person, event);
        }
        let child = self.children.get(person)?;
        if event.cancelled || !self.for_families(event) || !in_cast(child, event) {
            return None;
        }
        let calls = event.order.iter().filter_map(|slot| match slot {
            Slot::Number { name, call, .. } if child.numbers.contains(name) => {
                Some(call.unwrap_or(event.call))
            }
            _ => None,
        });
        let call = self.instant(event.date.to_datetime(calls.min()?))?;
        let curtain_up = self.instant(event.date.to_datetime(event.starts))?;
        let after_own =
            event.dismissal == "after own last number" || (event.dismissal.is_empty() && event.by_slots());
        Some(Times {
            call,
            park_by: before(call, event.walk + event.sign_in)?,
            curtain_up,
            dismissal: match time(&event.dismissal) {
                Some(fixed) => self.after_start(event, fixed),
                None if after_own => self.end(event, curtain_up, Some(&|name| child.numbers.contains(name))),
                None => self.end(event, curtain_up, None),
            },
            before: [None, None],
        })
    }

    fn duties_at<'a>(&'a self, chaperone: &'a str, event: &'a Event) -> impl Iterator<Item = &'a Duty> {
        self.duties.iter().filter(move |duty| duty.chaperone == chaperone && event.has(duty))
    }

    /// The earliest call of a child whom a chaperone signs in, whatever the child's number; none where nobody has a call of
    /// their own, since all are then called together.
    fn first_signed_in(&self, chaperone: &str, event: &Event) -> Option<Timestamp> {
        let own = |slot: &Slot| matches!(slot, Slot::Number { call: Some(_), .. });
        let name = self.chaperones.get(chaperone)?;
        let theirs = self.children.keys().filter(|child| {
            event.order.iter().any(own) && self.signers(child, event)[0] == Some(name.as_str())
        });
        theirs.filter_map(|child| Some(self.times(child, event)?.call)).min()
    }

    /// A chaperone comes so long before the first call of their numbers, or of the event where one of them has no call of
    /// its own or there is none; the shift lasts as long as the event, and where children go after their slots as long as the
    /// last of their numbers.
    fn duty_times(&self, chaperone: &str, event: &Event) -> Option<Times> {
        let held: Vec<&str> = self.duties_at(chaperone, event).map(|duty| duty.number.as_str()).collect();
        if event.cancelled || held.is_empty() {
            return None;
        }
        let running = self.running(event);
        let own = |number: &&str| running.iter().find(|on| on.name == *number).and_then(|on| on.call);
        let numbers: Vec<&str> = held.iter().copied().filter(|number| !number.is_empty()).collect();
        let calls: Vec<Time> = numbers.iter().filter_map(own).collect();
        let whole = if calls.len() == numbers.len() { None } else { Some(event.call) };
        let children = calls.into_iter().chain(whole).min().unwrap_or(event.call);
        let children = event.date.to_datetime(children);
        let lead = self.leads.get(event.kind.as_str()).copied().unwrap_or(0);
        let called = self.instant(children)?;
        let children = self.first_signed_in(chaperone, event).map_or(called, |first| first.min(called));
        let call = children.checked_sub(lead.minutes()).ok()?;
        let curtain_up = self.instant(event.date.to_datetime(event.starts))?;
        let within = |minutes: i64| children.checked_sub(minutes.minutes()).ok().filter(|_| minutes < lead);
        let after_slots =
            event.by_slots() && (event.dismissal.is_empty() || event.dismissal == "after own last number");
        let goes_after_own = after_slots && held.len() == numbers.len();
        Some(Times {
            call,
            park_by: before(call, event.walk)?,
            curtain_up,
            dismissal: if goes_after_own {
                self.end(event, curtain_up, Some(&|name| numbers.contains(&name)))
            } else {
                self.end(event, curtain_up, None)
            },
            before: self.briefed.map(within),
        })
    }

    /// The end of an event, or of the last of some numbers.
    fn end(&self, event: &Event, begins: Timestamp, own: Option<&dyn Fn(&str) -> bool>) -> Option<Timestamp> {
        let announced = event.ends.and_then(|ends| self.after_start(event, ends));
        if !event.ordered {
            return announced;
        }
        let running = self.running(event);
        let counted = running.iter().filter(|on| own.is_none_or(|own| own(on.name)));
        let last = counted.map(|on| on.ends).max().unwrap_or(0);
        let end = begins.as_second() + last;
        let reckoned = Timestamp::from_second(-(-end).div_euclid(STEP_SECONDS) * STEP_SECONDS).ok()?;
        // An announced end may be later than the last number's, never earlier.
        Some(announced.filter(|_| own.is_none()).map_or(reckoned, |announced| announced.max(reckoned)))
    }

    /// A child's numbers at an event, in the order in which they are danced.
    fn danced<'a>(&self, child: &Child, event: &'a Event) -> Vec<&'a str> {
        let named = event.order.iter().filter_map(|slot| match slot {
            Slot::Number { name, .. } => Some(name.as_str()),
            Slot::Interval(_) => None,
        });
        named.filter(|name| child.numbers.contains(*name)).collect()
    }

    /// Names of the chaperones who sign a child in and out, each where somebody does.
    ///
    /// In signs who has the first number that anybody takes children over for, out who has the last; who signed in signs
    /// out where the season wants it so. Where children stay with their own chaperone nobody takes them over; a child with
    /// no other number is with whoever leads it.
    pub fn signers(&self, child: &str, event: &Event) -> [Option<&str>; 2] {
        let Some(child) = self.children.get(child) else { return [None, None] };
        let danced = self.danced(child, event);
        let held = |number: &str| self.duties.iter().any(|duty| event.has(duty) && duty.number == number);
        let taking: Vec<&str> = danced
            .iter()
            .copied()
            .filter(|name| held(name) && !self.numbers.get(*name).is_some_and(|number| number.own_chaperone))
            .collect();
        let led = danced.iter().copied().find(|name| held(name));
        let first = taking.first().copied().or(led);
        let last = if self.back { first } else { taking.last().copied().or(led) };
        let marked = |number: Option<&str>, marked: fn(&Duty) -> bool| {
            let mut of_number =
                self.duties.iter().filter(|duty| event.has(duty) && Some(duty.number.as_str()) == number);
            let first = of_number.clone().next();
            let signs = of_number.find(|duty| marked(duty)).or(first)?;
            self.chaperones.get(&signs.chaperone).map(String::as_str)
        };
        [marked(first, |duty| duty.signs_in), marked(last, |duty| duty.signs_out)]
    }

    /// Whether some chaperone looks after one of a child's numbers at an event, so that they can be introduced.
    pub fn looked_after(&self, child: &str, event: &Event) -> bool {
        self.signers(child, event)[0].is_some()
    }

    /// Whether a child surely has a quick change at a show: two of its numbers in one act, fewer than the season's
    /// threshold between them, and another costume for the second.
    pub fn quick_change(&self, child: &str) -> bool {
        let Some(found) = self.children.get(child) else {
            return false;
        };
        let shows = self.events.iter().filter(|e| e.kind == "show" && e.ordered);
        shows.filter(|show| self.times(child, show).is_some()).any(|show| {
            let mut between: Option<usize> = None;
            show.order.iter().any(|slot| match slot {
                Slot::Interval(_) => {
                    between = None;
                    false
                }
                Slot::Number { name, .. } if found.numbers.contains(name) => {
                    let changes = !self.numbers.get(name).is_some_and(|number| number.worn);
                    between.replace(0).is_some_and(|n| n < self.quick_below) && changes
                }
                Slot::Number { .. } => {
                    between = between.map(|n| n + 1);
                    false
                }
            })
        })
    }
}

fn in_cast(child: &Child, event: &Event) -> bool {
    event.cast.is_empty() || child.casts.is_empty() || child.casts.contains(&event.cast)
}
