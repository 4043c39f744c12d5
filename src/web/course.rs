//! Whether the season is going: the sentence on the coordinator's pages, and the buttons that pause it and go on.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::routes::Front;
use super::shown;
use super::views::CourseLine;
use crate::service::office::OfficeFault;
use crate::service::ports::{Course, Gateway, Hand, Store};

/// Nothing planned leaves from now on.
pub(super) const PAUSE: &str = "pause";
/// What is planned leaves again.
pub(super) const GO_ON: &str = "go_on";

/// Whether messages leave, in words.
pub(super) fn line(course: Course, zone: &TimeZone) -> CourseLine {
    let moment = |at: Timestamp| {
        let at = shown::as_of(zone, at);
        format!("{}, {}", at.english_day(), at.clock())
    };
    let hand = |by: Hand| match by {
        Hand::Coordinator => "by the coordinator",
        Hand::Command => "by a command on the server",
        Hand::Demonstration => "by the demonstration itself",
    };
    match course {
        Course::NotYet => CourseLine {
            going: false,
            words: "Not started yet: the season is planned, and nothing is sent.".to_owned(),
            act: None,
        },
        Course::Going { since, by } => CourseLine {
            going: true,
            words: format!("Messages are sent when they are due: started {} on {}.", hand(by), moment(since)),
            act: Some((PAUSE, "Pause sending")),
        },
        Course::Paused { since, by } => CourseLine {
            going: false,
            words: format!(
                "Paused {} on {}: nothing planned is sent. Replies to a person's own message still go out. When you \
                 resume, what was due meanwhile is sent if it is still of use.",
                hand(by),
                moment(since)
            ),
            act: Some((GO_ON, "Resume sending")),
        },
    }
}

impl<S: Store + 'static, G: Gateway + 'static> Front<S, G> {
    /// Pauses the season or goes on; what was done, in a sentence. None for any other act, and for a season that was
    /// never set going, which the page of the plan does.
    pub async fn course_act(&self, act: &str) -> Result<Option<String>, OfficeFault> {
        let done = match act {
            PAUSE => self.office.pause(Hand::Coordinator).await?,
            GO_ON if self.office.course().await? != Course::NotYet => {
                self.office.set_going(Hand::Coordinator).await?
            }
            _ => return Ok(None),
        };
        let words = match (act, done) {
            (_, false) => "Already so. Nothing changed.",
            (PAUSE, true) => "Paused: nothing planned is sent until you resume.",
            (_, true) => "Resumed: messages are sent when they are due.",
        };
        Ok(Some(words.to_owned()))
    }
}
