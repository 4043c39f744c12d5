//! A carrier that keeps what it is given, and fails on request.

use crate::service::ports::{Outcome, Parcel};
use std::sync::Mutex;

/// What a test wants to happen to a parcel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fate {
    /// Taken, and said so.
    Taken,
    /// Taken, but the answer was lost.
    TakenUnsaid,
    /// Not taken, and the answer was lost.
    LostUnsaid,
    /// Not this time.
    NotNow,
    /// Refused, and perhaps for our sake.
    Suspect,
    /// Refused for good: the address does not work.
    Refused,
    /// The carrier itself cannot be used.
    Unusable,
}

type Fates = Box<dyn Fn(&Parcel, usize) -> Fate + Send + Sync>;

/// Keeps parcels.
pub struct Memory {
    taken: Mutex<Vec<Parcel>>,
    offered: Mutex<usize>,
    fate: Fates,
}

impl Memory {
    /// `fate` decides by parcel and by how many were offered before.
    pub fn new(fate: impl Fn(&Parcel, usize) -> Fate + Send + Sync + 'static) -> Memory {
        Memory { taken: Mutex::new(Vec::new()), offered: Mutex::new(0), fate: Box::new(fate) }
    }

    /// Everything taken so far, in order.
    pub fn taken(&self) -> Vec<Parcel> {
        self.taken.lock().map(|t| t.clone()).unwrap_or_default()
    }

    pub(super) fn send(&self, parcel: &Parcel) -> Outcome {
        let nth = self.offered.lock().map_or(0, |mut offered| {
            *offered += 1;
            *offered - 1
        });
        let fate = (self.fate)(parcel, nth);
        if matches!(fate, Fate::Taken | Fate::TakenUnsaid)
            && let Ok(mut taken) = self.taken.lock()
        {
            taken.push(parcel.clone());
        }
        match fate {
            Fate::Taken => Outcome::Accepted,
            Fate::TakenUnsaid | Fate::LostUnsaid => Outcome::Uncertain { why: "no answer".to_owned() },
            Fate::NotNow => Outcome::Temporary { why: "busy".to_owned(), after_seconds: None },
            Fate::Refused => Outcome::Refused { why: "no such address".to_owned(), address: true },
            Fate::Suspect => Outcome::Suspect { why: "refused (554)".to_owned() },
            Fate::Unusable => Outcome::Unusable { why: "login refused".to_owned() },
        }
    }
}
