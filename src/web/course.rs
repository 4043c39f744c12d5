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
        Hand::Command => "by a command at the host",
        Hand::Demonstration => "by the demonstration itself",
    };
    match course {
        Course::NotYet => CourseLine {
            going: false,
            words: "This season is not set going yet: it is planned, and nothing leaves.".to_owned(),
            act: None,
        },
        Course::Going { since, by } => CourseLine {
            going: true,
            words: format!("Messages leave when they are due: set going {} on {}.", hand(by), moment(since)),
            act: Some((PAUSE, "Pause: let nothing leave")),
        },
        Course::Paused { since, by } => CourseLine {
            going: false,
            words: format!(
                "Paused {} on {}: nothing planned leaves. Replies to a person's own message still go, and what was due \
                 meanwhile is caught up with when you go on, as far as it is still of use.",
                hand(by),
                moment(since)
            ),
            act: Some((GO_ON, "Go on: let messages leave")),
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
            (_, false) => "That was so already. Nothing was changed.",
            (PAUSE, true) => "Paused: nothing planned leaves until you go on.",
            (_, true) => "Messages leave again when they are due.",
        };
        Ok(Some(words.to_owned()))
    }
}
