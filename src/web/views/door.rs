//! The page for what cannot be shown: wrong or expired links, forms too large, a program that is busy.

use askama::Template;

use super::Telephone;
use crate::web::labels::{ENGLISH, Labels};

/// A page that says why there is nothing to see and what to do next.
#[derive(Debug, Template)]
#[template(path = "door.html")]
pub struct DoorPage {
    /// HTTP status code to send it with.
    pub status: u16,
    /// Words of the reader's language.
    pub labels: &'static Labels,
    /// The heading, a sentence.
    pub heading: String,
    /// Why, and what to do next.
    pub words: String,
    /// The school's telephone, where the reader is a guardian.
    pub telephone: Option<Telephone>,
    /// Where to go on, and what that is called.
    pub onward: Option<(&'static str, &'static str)>,
}

impl DoorPage {
    fn of(status: u16, labels: &'static Labels, heading: &str, words: &str) -> Self {
        DoorPage {
            status,
            labels,
            heading: heading.to_owned(),
            words: words.to_owned(),
            telephone: None,
            onward: None,
        }
    }

    /// 200: the address without a link.
    pub fn front() -> Self {
        Self::of(
            200,
            &ENGLISH,
            "Times for every child, and who has been heard from",
            "This program writes to the families of a children's show: when and where each child is wanted. There is \
             nothing to see here without a link of your own. Please open the one in the latest message you got from \
             the school.",
        )
    }

    /// 403: a form posted from another site.
    pub fn foreign() -> Self {
        Self::of(
            403,
            &ENGLISH,
            "That form did not come from this page",
            "Nothing was noted. Please open the page from your own link, and answer there.",
        )
    }

    /// 403: a page of the coordinator without her link.
    pub fn no_entry() -> Self {
        Self::of(
            403,
            &ENGLISH,
            "This page opens with the coordinator's link",
            "Open that link once in this browser. Whoever runs the program can make a new one.",
        )
    }

    /// 200: the coordinator's browser has left.
    pub fn left() -> Self {
        Self::of(
            200,
            &ENGLISH,
            "You have left",
            "This browser no longer opens the season's pages. Your link opens them again, here or elsewhere.",
        )
    }

    /// 200: the coordinator came in by a link on another site.
    pub fn come_in() -> Self {
        let mut page = Self::of(200, &ENGLISH, "You are in", "This browser now opens the season's pages.");
        page.onward = Some(("/season", "The whole season"));
        page
    }

    /// 400: the form could not be read.
    pub fn bad_form(labels: &'static Labels) -> Self {
        Self::of(400, labels, labels.door.bad_form_title, labels.door.bad_form)
    }

    /// 404: nothing at this address.
    pub fn not_found(labels: &'static Labels) -> Self {
        Self::of(404, labels, labels.door.not_found_title, labels.door.not_found)
    }

    /// 410: the link is no longer valid.
    pub fn gone(labels: &'static Labels) -> Self {
        Self::of(410, labels, labels.door.gone_title, labels.door.gone)
    }

    /// 413: too large.
    pub fn too_large(labels: &'static Labels) -> Self {
        Self::of(413, labels, labels.door.too_large_title, labels.door.too_large)
    }

    /// 503: cannot answer now.
    pub fn busy(labels: &'static Labels) -> Self {
        Self::of(503, labels, labels.door.busy_title, labels.door.busy)
    }

    /// The same page with a number to ring.
    pub fn with_telephone(mut self, telephone: Option<Telephone>) -> Self {
        self.telephone = telephone;
        self
    }
}
