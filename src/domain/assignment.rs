//! Who does what at the least cost: tasks shared out among people, each of whom takes only so many.
//!
//! Tasks are taken one after the other, and each is placed along the cheapest chain of hand-overs among those placed
//! before it (successive shortest paths), so that what is placed costs the least there is at every step. The same input
//! gives the same answer: of equal choices the first is taken, of people as of chains.

/// What it costs that a person does a task; none where she may not.
pub type Cost = Option<u32>;

/// For each task, who does it; none where nobody may, or all who may have their fill. Where not all can be placed the
/// earlier tasks are.
///
/// `costs` holds a row for each task with a cell for each person, `most` how many tasks each person takes, `each_more`
/// what each further task of one person costs above the one before: it spreads tasks among those who are equally fit.
pub fn share_out(costs: &[Vec<Cost>], most: &[usize], each_more: u32) -> Vec<Option<usize>> {
    let mut given: Vec<Option<usize>> = vec![None; costs.len()];
    let mut load = vec![0_usize; most.len()];
    for task in 0..costs.len() {
        let (reach, via) = chains(costs, &given, task, most.len());
        let last = (0..most.len())
            .filter(|who| load[*who] < most[*who])
            .filter_map(|who| Some((reach[who]? + marginal(load[who], each_more), who)))
            .min();
        let Some((_, last)) = last else { continue };
        load[last] += 1;
        let mut to = last;
        while let Some((from, moved)) = via[to] {
            given[moved] = Some(to);
            to = from;
        }
        given[task] = Some(to);
    }
    given
}

/// What a person's next task costs beside its own cost.
fn marginal(load: usize, each_more: u32) -> i64 {
    i64::try_from(load).unwrap_or(i64::MAX).saturating_mul(i64::from(each_more))
}

/// The cheapest way to make room for a task with each person: what it costs, and from whom which task comes to her.
type Chains = (Vec<Option<i64>>, Vec<Option<(usize, usize)>>);

/// Bellman and Ford's relaxation, since handing over may save something; it ends because what is placed is cheapest.
fn chains(costs: &[Vec<Cost>], given: &[Option<usize>], task: usize, people: usize) -> Chains {
    let moves = hand_overs(costs, given, people);
    let mut reach: Vec<Option<i64>> = (0..people).map(|who| costs[task][who].map(i64::from)).collect();
    let mut via = vec![None; people];
    loop {
        let mut better = false;
        for from in 0..people {
            let Some(here) = reach[from] else { continue };
            for to in 0..people {
                let Some((change, moved)) = moves[from * people + to] else { continue };
                if reach[to].is_none_or(|known| here + change < known) {
                    reach[to] = Some(here + change);
                    via[to] = Some((from, moved));
                    better = true;
                }
            }
        }
        if !better {
            return (reach, via);
        }
    }
}

/// For each two people the task whose hand-over from the first to the second costs least, with that change of cost.
fn hand_overs(costs: &[Vec<Cost>], given: &[Option<usize>], people: usize) -> Vec<Option<(i64, usize)>> {
    let mut moves: Vec<Option<(i64, usize)>> = vec![None; people * people];
    for (task, from) in given.iter().enumerate() {
        let Some(from) = *from else { continue };
        let Some(now) = costs[task][from] else { continue };
        for (to, then) in costs[task].iter().enumerate().filter(|(to, _)| *to != from) {
            let Some(then) = *then else { continue };
            let change = i64::from(then) - i64::from(now);
            let slot = &mut moves[from * people + to];
            if slot.is_none_or(|(known, _)| change < known) {
                *slot = Some((change, task));
            }
        }
    }
    moves
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// `costs`: a line a task, `-` for nobody may; `expect`: who does each.
    fn check(costs: &str, most: &[usize], each_more: u32, expect: &[Option<usize>]) {
        let rows: Vec<Vec<Cost>> = costs
            .split('/')
            .map(|row| row.split_whitespace().map(|cell| cell.parse().ok()).collect())
            .collect();
        assert_eq!(share_out(&rows, most, each_more), expect, "{costs} {most:?}");
    }

    #[test]
    fn each_goes_to_whom_it_costs_least() {
        check("3 1 2", &[1, 1, 1], 0, &[Some(1)]);
        check("1 2 / 1 9", &[1, 1], 0, &[Some(1), Some(0)]);
        // Two hand-overs: the third task moves both before it.
        check("1 2 9 / 9 1 2 / 1 9 9", &[1, 1, 1], 0, &[Some(1), Some(2), Some(0)]);
        check("5 5 / 5 5 / 5 5", &[2, 1], 0, &[Some(0), Some(0), Some(1)]);
    }

    #[test]
    fn equals_share_evenly_and_the_first_begins() {
        check("5 5 / 5 5 / 5 5 / 5 5", &[4, 4], 1, &[Some(0), Some(1), Some(0), Some(1)]);
        check("0 9 / 0 9 / 0 9", &[3, 3], 1, &[Some(0), Some(0), Some(0)]);
    }

    #[test]
    fn where_not_all_can_be_placed_the_earlier_are() {
        check("1 - / 1 -", &[1, 1], 0, &[Some(0), None]);
        check("- -", &[1, 1], 0, &[None]);
        check("1 1 / 1 - / 2 -", &[1, 1], 0, &[Some(1), Some(0), None]);
        assert_eq!(share_out(&[], &[1], 0), []);
        assert_eq!(share_out(&[vec![]], &[], 0), [None]);
    }

    /// Every way to place all tasks, tried.
    fn cheapest(costs: &[Vec<Cost>], load: &mut [usize], most: &[usize], each_more: u32) -> Option<i64> {
        let Some((first, rest)) = costs.split_first() else { return Some(0) };
        let mut best = None;
        for who in 0..most.len() {
            let Some(cost) = first[who].filter(|_| load[who] < most[who]) else { continue };
            let more = i64::from(cost) + marginal(load[who], each_more);
            load[who] += 1;
            let all = cheapest(rest, load, most, each_more).map(|rest| rest + more);
            load[who] -= 1;
            best = [best, all].into_iter().flatten().min();
        }
        best
    }

    fn total(costs: &[Vec<Cost>], given: &[Option<usize>], people: usize, each_more: u32) -> Option<i64> {
        let mut load = vec![0; people];
        let mut sum = 0;
        for (row, who) in costs.iter().zip(given) {
            let who = (*who)?;
            sum += i64::from(row[who]?) + marginal(load[who], each_more);
            load[who] += 1;
        }
        Some(sum)
    }

    proptest! {
        #[test]
        fn nothing_tried_costs_less(
            cells in proptest::collection::vec(proptest::option::weighted(0.8, 0_u32..12), 18),
            most in proptest::collection::vec(0_usize..4, 3),
            each_more in 0_u32..4,
        ) {
            let costs: Vec<Vec<Cost>> = cells.chunks(3).map(<[_]>::to_vec).collect();
            let given = share_out(&costs, &most, each_more);
            for (who, most) in most.iter().enumerate() {
                prop_assert!(given.iter().filter(|given| **given == Some(who)).count() <= *most);
            }
            let best = cheapest(&costs, &mut [0; 3], &most, each_more);
            prop_assert_eq!(total(&costs, &given, 3, each_more), best);
        }
    }
}
