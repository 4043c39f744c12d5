//! Changes of a running order: two of its lines change places, or one moves.

use crate::domain::season::{NumberId, Slot};

/// One line of a running order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Piece {
    /// A number.
    Number(NumberId),
    /// An interval, counted from 0.
    Interval(usize),
}

/// Where something moves to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Target {
    /// Before everything else.
    First,
    /// Right behind another line.
    Behind(Piece),
}

/// One change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OrderShift {
    /// Two lines change places.
    Exchange(Piece, Piece),
    /// A line moves.
    Move(Piece, Target),
}

/// Why an order was not changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unmoved {
    /// It has no such line.
    Missing,
    /// It would be the same order.
    Same,
}

/// The order after a change.
pub fn shifted(order: &[Slot], shift: OrderShift) -> Result<Vec<Slot>, Unmoved> {
    let mut order = order.to_vec();
    match shift {
        OrderShift::Exchange(one, other) => {
            let (one, other) = (place(&order, one)?, place(&order, other)?);
            if one == other {
                return Err(Unmoved::Same);
            }
            order.swap(one, other);
        }
        OrderShift::Move(piece, target) => {
            let from = place(&order, piece)?;
            let mut to = match target {
                Target::First => 0,
                Target::Behind(other) => place(&order, other)? + 1,
            };
            if to > from {
                to -= 1;
            }
            if to == from {
                return Err(Unmoved::Same);
            }
            let slot = order.remove(from);
            order.insert(to, slot);
        }
    }
    Ok(order)
}

fn place(order: &[Slot], piece: Piece) -> Result<usize, Unmoved> {
    let found = match piece {
        Piece::Number(wanted) => {
            order.iter().position(|slot| matches!(slot, Slot::Number { number, .. } if *number == wanted))
        }
        Piece::Interval(nth) => {
            let intervals = order.iter().enumerate().filter(|(_, slot)| matches!(slot, Slot::Interval(_)));
            intervals.map(|(at, _)| at).nth(nth)
        }
    };
    found.ok_or(Unmoved::Missing)
}
