//! How what happened becomes cases, and when the forecast looks.

use super::*;

const SHEET: Fingerprint = Fingerprint(1);
const CHANGED: Fingerprint = Fingerprint(2);

fn at(hour: i64) -> Timestamp {
    Timestamp::UNIX_EPOCH + SignedDuration::from_hours(hour)
}

fn said(kind: AnswerKind, road: &str, noted_by: &str, fingerprint: Fingerprint) -> NewAnswer {
    NewAnswer {
        at: at(0),
        road: road.to_owned(),
        external: String::new(),
        guardian: String::new(),
        child: String::new(),
        event: String::new(),
        kind: Some(kind),
        fingerprint,
        one_phone: false,
        words: String::new(),
        noted_by: noted_by.to_owned(),
        outcome: String::new(),
    }
}

fn asked(channel: Channel, facts: Fingerprint) -> Deed<'static> {
    Deed::Asked(channel, Some(facts))
}

/// Channel and hour of each asking, the hour of an answer, and that of another way.
type Seen = (Vec<(Channel, f64)>, Option<f64>, Option<f64>);

fn check(deeds: Vec<(i64, Deed<'_>)>, expect: &[Seen]) {
    let deeds: Vec<(Timestamp, Deed<'_>)> = deeds.into_iter().map(|(hour, deed)| (at(hour), deed)).collect();
    let seen = |case: &Case| {
        (case.askings.iter().map(|a| (a.channel, a.at)).collect(), case.answered, case.otherwise)
    };
    assert_eq!(in_cases(&deeds).iter().map(seen).collect::<Vec<Seen>>(), expect);
}

#[test]
fn an_answer_ends_a_case_and_a_reminder_to_who_answered_begins_none() {
    let yes = said(AnswerKind::Heard, "page", "", SHEET);
    let deeds = vec![
        (10, asked(Channel::Mail, SHEET)),
        (34, asked(Channel::Text, SHEET)),
        (40, Deed::Said(&yes)),
        (50, asked(Channel::Text, SHEET)),
    ];
    check(deeds, &[(vec![(Channel::Mail, 10.0), (Channel::Text, 34.0)], Some(40.0), None)]);
}

#[test]
fn a_change_asks_anew() {
    let yes = said(AnswerKind::Heard, "text", "", SHEET);
    let deeds =
        vec![(10, asked(Channel::Mail, SHEET)), (12, Deed::Said(&yes)), (20, asked(Channel::Text, CHANGED))];
    check(
        deeds,
        &[(vec![(Channel::Mail, 10.0)], Some(12.0), None), (vec![(Channel::Text, 20.0)], None, None)],
    );
}

#[test]
fn messages_of_one_hour_are_one_text() {
    for order in [[Channel::Mail, Channel::Text], [Channel::Text, Channel::Mail]] {
        let deeds = order.map(|channel| (10, asked(channel, SHEET))).into_iter().collect();
        check(deeds, &[(vec![(Channel::Text, 10.0)], None, None)]);
    }
}

#[test]
fn a_call_and_the_door_answer_no_message() {
    for (road, by) in [("call", "P001"), ("door", "")] {
        let rung = said(AnswerKind::CantCome, road, by, SHEET);
        let deeds = vec![(10, asked(Channel::Mail, SHEET)), (30, Deed::Said(&rung))];
        check(deeds, &[(vec![(Channel::Mail, 10.0)], None, Some(30.0))]);
    }
}

#[test]
fn a_question_settles_nothing_and_an_answer_nobody_asked_for_is_no_case() {
    let question = said(AnswerKind::Question, "mail", "", SHEET);
    let yes = said(AnswerKind::Heard, "page", "", SHEET);
    check(
        vec![(10, asked(Channel::Mail, SHEET)), (11, Deed::Said(&question))],
        &[(vec![(Channel::Mail, 10.0)], None, None)],
    );
    check(vec![(11, Deed::Said(&yes))], &[]);
}

#[test]
fn looks_are_even_and_end_at_the_deadline() {
    for (hours, count) in [(0, 0), (5, 6), (24 * 10 + 1, 11), (24 * 60, 28)] {
        let looks = looks(at(100), at(100 + hours));
        assert_eq!(looks.len(), count, "{hours} hours");
        assert!(looks.is_sorted() && looks.first().is_none_or(|first| *first > at(100)));
        assert!(count == 0 || looks.last() == Some(&at(100 + hours)));
    }
}
