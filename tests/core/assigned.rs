//! Calls shared out against an independent solver of assignments: SciPy's `linear_sum_assignment`.

use crate::peers::{here, python, ready};
use allheard::demo::dice::Dice;
use allheard::domain::assignment::{Cost, share_out};
use serde_json::{Value, json};
use std::io::Write as _;
use std::process::{Command, Stdio};

/// Random lists compared.
const LISTS: usize = 240;
/// Calls and ringers of the largest.
const LARGEST: (usize, usize) = (120, 40);

struct Random {
    costs: Vec<Vec<Cost>>,
    most: Vec<usize>,
    each_more: u32,
}

impl Random {
    /// A list of a size of its own: few or many kinds of costs, some of which nobody may take, and shares that often just do.
    fn new(seed: u64) -> Random {
        let mut dice = Dice::new(seed, "calls");
        let (calls, ringers) = (1 + dice.below(LARGEST.0), 1 + dice.below(LARGEST.1));
        let kinds = [2, 17, 10_000][dice.below(3)];
        let barred = [0.0, 0.2, 0.9][dice.below(3)];
        let mut cost = || if dice.chance(barred) { None } else { Some(dice.below(kinds) as u32) };
        let costs = (0..calls).map(|_| (0..ringers).map(|_| cost()).collect()).collect();
        let share = calls.div_ceil(ringers);
        let most = (0..ringers).map(|_| share + dice.below(2)).collect();
        Random { costs, most, each_more: [0, 1, 5][dice.below(3)] }
    }

    /// What an assignment costs; none if a call has nobody.
    fn total(&self, given: &[Option<usize>]) -> Option<i64> {
        let mut load = vec![0_i64; self.most.len()];
        let mut sum = 0;
        for (row, who) in self.costs.iter().zip(given) {
            let who = (*who)?;
            sum += i64::from(row[who].expect("she may")) + load[who] * i64::from(self.each_more);
            load[who] += 1;
        }
        Some(sum)
    }
}

#[test]
fn calls_are_shared_out_at_the_least_cost_there_is() {
    if !ready("the assignment of calls", &[python()]) {
        return;
    }
    let lists: Vec<Random> = (0..LISTS as u64).map(Random::new).collect();
    let given: Vec<Value> = lists
        .iter()
        .map(|list| json!({ "costs": list.costs, "most": list.most, "each_more": list.each_more }))
        .collect();
    let mut command = Command::new(python().unwrap());
    command.arg(here("tests/peers/assign_calls.py")).stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut running = command.spawn().unwrap();
    let mut input = running.stdin.take().unwrap();
    let octets = serde_json::to_vec(&given).unwrap();
    let writer = std::thread::spawn(move || input.write_all(&octets));
    let done = running.wait_with_output().unwrap();
    writer.join().unwrap().unwrap();
    assert!(done.status.success(), "the solver failed");
    let said = String::from_utf8(done.stdout).unwrap();
    let least: Vec<Option<i64>> = said.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(least.len(), lists.len());
    let mut largest = 0;
    for (nth, (list, least)) in lists.iter().zip(&least).enumerate() {
        let given = share_out(&list.costs, &list.most, list.each_more);
        for (who, most) in list.most.iter().enumerate() {
            assert!(given.iter().filter(|one| **one == Some(who)).count() <= *most, "list {nth}");
        }
        assert_eq!(list.total(&given), *least, "list {nth}");
        largest = largest.max(list.costs.len() * list.most.len());
    }
    let whole = least.iter().flatten().count();
    println!("{whole} of {LISTS} lists can be placed whole; the largest has {largest} pairs");
    assert!(whole > LISTS / 3 && whole < LISTS, "both kinds are there: {whole}");
}
