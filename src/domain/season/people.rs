//! Who people are, how they can be reached, and who answers for whom.

use super::super::day::own::Own;
use super::{Chaperone, ChaperoneId, Child, ChildId, GuardianId, HouseholdId, Ref};

/// Whom something is about: a child who is brought, or a chaperone who has duties.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Person {
    /// A child.
    Child(ChildId),
    /// A chaperone.
    Chaperone(ChaperoneId),
}

impl Person {
    /// The child, if it is one.
    pub fn child(self) -> Option<ChildId> {
        match self {
            Person::Child(child) => Some(child),
            Person::Chaperone(_) => None,
        }
    }

    /// Whether it is a chaperone.
    pub fn is_chaperone(self) -> bool {
        matches!(self, Person::Chaperone(_))
    }
}

impl From<ChildId> for Person {
    fn from(child: ChildId) -> Person {
        Person::Child(child)
    }
}

/// A language as a BCP 47 tag in lower case, such as `en` or `es`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Language(pub String);

/// What kind of line a phone number is, as far as the numbering plan tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Line {
    /// A mobile, or a number that may be one (as in North America), or one the plan does not know: may be texted.
    Textable,
    /// A land line or a service number: never texted, may be rung.
    VoiceOnly,
}

/// A telephone number that could exist.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Phone {
    /// `+` and at most 15 digits (ITU-T E.164).
    pub e164: String,
    /// Whether the numbering plan data call it valid; drama and test numbers are possible but not valid.
    pub valid: bool,
    /// Whether a text may be sent to it.
    pub line: Line,
}

/// A mail address: non-empty local part and domain, no spaces or line breaks, at most 254 octets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MailAddress(pub String);

/// Whether an address may be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Consent {
    /// Agreed, with who and when as written in the workbook.
    Agreed(String),
    /// Refused.
    Refused,
    /// Nothing is written: may be mailed, is not texted, and is listed.
    Unknown,
}

/// Where and how one person can be written to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contact {
    /// Telephone.
    pub phone: Option<Phone>,
    /// Mail address.
    pub mail: Option<MailAddress>,
    /// May be texted.
    pub texts: Consent,
    /// May be mailed.
    pub mails: Consent,
    /// Language wanted.
    pub language: Language,
}

impl Contact {
    /// The number a text may go to: textable and agreed.
    pub fn text_to(&self) -> Option<&str> {
        match (&self.phone, &self.texts) {
            (Some(phone), Consent::Agreed(_)) if phone.line == Line::Textable => Some(&phone.e164),
            _ => None,
        }
    }

    /// The address a mail may go to: present and not refused.
    pub fn mail_to(&self) -> Option<&str> {
        match (&self.mail, &self.mails) {
            (Some(mail), Consent::Agreed(_) | Consent::Unknown) => Some(&mail.0),
            _ => None,
        }
    }
}

/// One adult who is written to: answerable for children, or a chaperone answerable for her own duties.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Guardian {
    /// Lasting name.
    pub reference: Ref,
    /// Full name.
    pub name: String,
    /// Ways to reach.
    pub contact: Contact,
}

/// Guardians who live together; two households never see each other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Household {
    /// Lasting name.
    pub reference: Ref,
}

/// One guardian's part in one child's life. A chaperone is in her own care.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Care {
    /// Whose.
    pub who: Person,
    /// Who answers.
    pub guardian: GuardianId,
    /// From which household.
    pub household: HouseholdId,
    /// Brings the child.
    pub brings: bool,
    /// Collects the child.
    pub collects: bool,
}

/// Who people are. Versions of a season in which they are the same share one.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct People {
    /// Children in workbook order.
    pub children: Vec<Child>,
    /// Guardians, each once; after them every chaperone, who is written to in the same way.
    pub guardians: Vec<Guardian>,
    /// Households; after them every chaperone's own.
    pub households: Vec<Household>,
    /// Who answers for whom.
    pub cares: Vec<Care>,
    /// Chaperones.
    pub chaperones: Vec<Chaperone>,
    /// Which chaperones dance, and which have children among the dancers.
    pub own: Own,
}

impl People {
    /// Guardians of children: those who are not there only as chaperones.
    pub fn families(&self) -> &[Guardian] {
        &self.guardians[..self.guardians.len().saturating_sub(self.chaperones.len())]
    }

    /// Puts every chaperone among those who are written to, as answerable for herself; done once, when all are known.
    pub fn seat_chaperones(&mut self) {
        self.own = Own::of(self);
        for (at, chaperone) in (0_u32..).zip(&self.chaperones) {
            let guardian = GuardianId(self.guardians.len() as u32);
            let household = HouseholdId(self.households.len() as u32);
            self.households.push(Household { reference: format!("H{}", chaperone.reference) });
            self.cares.push(Care {
                who: Person::Chaperone(ChaperoneId(at)),
                guardian,
                household,
                brings: false,
                collects: false,
            });
            self.guardians.push(Guardian {
                reference: chaperone.reference.clone(),
                name: chaperone.name.clone(),
                contact: chaperone.contact.clone(),
            });
        }
    }
}
