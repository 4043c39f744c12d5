//! A small town: five children, their adults, a dress rehearsal and two shows.

use crate::common::{self, at};
use allheard::domain::board::{Board, Item};
use allheard::domain::book::{Book, Row};
use allheard::domain::facts::Fingerprint;
use allheard::domain::plan::{self, Wanted};
use allheard::domain::record::{Answer, AnswerKind, Ask, Cover, NoticeKey, Record};
use allheard::domain::season::{Channel, GuardianId};
use jiff::Timestamp;

const TOWN: &str = "
# season
setting | value
version | 1
name | The Brass Heron
school | Fenmouth Dance
zone | Europe/London
country | GB
merge minutes | 60
# places
ref | name | door | sign-in minutes
P001 | Corn Loft | side door | 5
# ways
place | from | walk minutes
Corn Loft | Brewery car park | 12-18
Corn Loft | Tram | 8
# events
ref | name | kind | place | date | call | starts | dismissal | bring | turn-in
E001 | Dress | dress rehearsal | Corn Loft | 2027-03-25 | 17:00 | 18:00 | | water | yes
E002 | Saturday | show | Corn Loft | 2027-03-27 | 18:00 | 19:00 | | water | no
E003 | Sunday | show | Corn Loft | 2027-03-28 | 13:20 | 14:30 | | water | no
# numbers
ref | name | length | changeover
N001 | Kelp | 2:00 | 0:20
N002 | Foghorn | 3:00 | 0:20
N003 | Gulls | 2:30 | 0:30
N004 | Ropewalk | 2:00 | 0:20
N005 | Finale | 4:00 | 0:20
# running order
event | place | number | minutes | call
Dress | 1 | Kelp | |
Dress | 2 | Foghorn | | 16:30
Dress | 3 | interval | 15 |
Dress | 4 | Gulls | | 17:45
Dress | 5 | Ropewalk | | 17:45
Dress | 6 | Finale | | 17:45
Saturday | 1 | Kelp | |
Saturday | 2 | Foghorn | |
Saturday | 3 | interval | 15 |
Saturday | 4 | Gulls | |
Saturday | 5 | Ropewalk | |
Saturday | 6 | Finale | |
Sunday | 1 | Kelp | |
Sunday | 2 | Gulls | |
# children
ref | given name | family name | numbers | g1 ref | g1 name | g1 mobile | g1 e-mail | g1 household | g1 brings | g1 collects | g1 texts | g1 mails | g2 ref | g2 name | g2 mobile | g2 e-mail | g2 household | g2 brings | g2 collects | g2 texts | g2 mails
C001 | Ada | Reed | Kelp; Foghorn | G001 | Rosa Reed | 07700 900001 | rosa@example.com | | yes | yes | yes | yes | | | | | | | | |
C002 | Bo | Reed | Gulls; Ropewalk | G001 | Rosa Reed | 07700 900001 | rosa@example.com | | yes | yes | yes | yes | | | | | | | | |
C003 | Cy | Vale | Foghorn; Gulls | G002 | Nora Vale | 07700 900002 | nora@example.com | a | yes | no | yes | yes | G003 | Omar Hill | 07700 900003 | omar@example.com | b | no | yes | yes | yes
C004 | Di | Moss | Finale | G004 | Pia Moss | 07700 900004 | | | yes | no | yes | | G005 | Quin Moss | 07700 900004 | | | no | yes | yes |
C005 | Ed | Vale | Kelp | G002 | Nora Vale | 07700 900002 | nora@example.com | c | yes | yes | yes | yes | | | | | | | | |
# chaperones
ref | name
V001 | Uma Lock
# duties
chaperone | event | number | signs in | signs out
Uma Lock | all | Kelp | yes | yes
# house rules
ref | name | event | language | text | acknowledge
R001 | Stay | | en | Stay with the chaperone. | yes
R002 | Closed | Dress | en | The rehearsal is closed. | yes
R003 | Food | Dress | en | Bring no nuts. | no
# notices
ref | name | about | to | counted from | days before | at | minutes before | by | answer owed | wording
T001 | Sheet | dress rehearsal | everyone | call | 7 | 10:00 | | mail | yes | call-sheet
T002 | Again | dress rehearsal | not heard from | call | 3 | 18:00 | | text | yes | reminder
T003 | Costumes | dress rehearsal | turn-in | call | 2 | 18:00 | | text | yes | turn-in
T004 | Shows | show | everyone | first show | 12 | 10:00 | | mail and text | yes | call-sheet
";

/// The workbook.
pub fn book() -> Book {
    common::book(TOWN)
}

/// The workbook with one more line among its settings.
pub fn set(book: &Book, setting: &str, value: &str) -> Book {
    let mut book = book.clone();
    let mut row = Row { number: 99, ..Row::default() };
    row.set("setting", setting);
    row.set("value", value);
    book.sheet_mut("season").rows.push(row);
    book
}

/// Long before anything is due.
pub fn early() -> Timestamp {
    at("2027-03-01T12:00:00Z")
}

/// The item of a child and an event by their refs.
pub fn item(board: &Board, child: &str, event: &str) -> Item {
    board.item(child, event).expect("both are there")
}

pub fn guardian(board: &Board, reference: &str) -> GuardianId {
    board.guardian(reference).expect("she is there")
}

/// What happens to a guardian and an item, in order, each with its instant.
pub fn told(
    board: &Board,
    record: &mut Record,
    who: &str,
    item: Item,
    notice: NoticeKey,
    channel: Channel,
    at: Timestamp,
) {
    let ask = Ask { guardian: guardian(board, who), item, notice, channel };
    record.covered.insert(ask, Cover::Done(at));
    record.tell(ask, board.fingerprint(item), true, at);
}

/// A guardian answers about facts as they are.
pub fn says(board: &Board, record: &mut Record, who: &str, item: Item, kind: AnswerKind, at: Timestamp) {
    answers(record, guardian(board, who), item, kind, board.fingerprint(item), at, false);
}

pub fn answers(
    record: &mut Record,
    who: GuardianId,
    item: Item,
    kind: AnswerKind,
    fingerprint: Fingerprint,
    at: Timestamp,
    one_phone: bool,
) {
    record.answer(who, item, Answer { kind, fingerprint, at, one_phone });
}

/// Messages as words: `mail G001 C001/E001/T001 C002/E001/T001`, sorted.
pub fn shown(board: &Board, wanted: &[Wanted]) -> Vec<String> {
    let mut lines: Vec<String> = wanted
        .iter()
        .map(|w| {
            let who: Vec<&str> =
                w.guardians.iter().map(|g| board.season.guardians[g.at()].reference.as_str()).collect();
            let parts: Vec<String> = w
                .parts
                .iter()
                .map(|(item, notice)| {
                    let (child, event) = board.item_refs(*item);
                    format!("{child}/{event}/{}", plan::notice_word(board, *notice))
                })
                .collect();
            format!("{} {} {}", w.channel.word(), who.join("+"), parts.join(" "))
        })
        .collect();
    lines.sort();
    lines
}

/// The messages whose line contains a word.
pub fn with_word(board: &Board, wanted: &[Wanted], word: &str) -> Vec<String> {
    shown(board, wanted).into_iter().filter(|line| line.contains(word)).collect()
}
